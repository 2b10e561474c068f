//! Results as words: a report for each student, and the list of what somebody has to listen to.

use super::playing_test::{mark_line, place};
use super::rubric::Rubric;
use super::student_result::{ClassTake, StudentResult, TakeResult};
use super::students_from_table::shown;
use crate::report::{TextSettings, for_child};

/// The report for one student: the mark with the notes behind it, the places to listen to, and what `check` says to the
/// player. Ends with a line feed.
pub fn student_text(result: &StudentResult, rubric: &Rubric) -> String {
    let mut out = format!("{}: {}\n", shown(&result.shown), shown(&result.melody));
    out.push_str(&format!("{}\n", shown(&mark_line(result, rubric))));
    if let Some(own) = result.teachers.as_ref().filter(|own| !own.note.is_empty()) {
        out.push_str(&format!("{}\n", shown(&own.note)));
    }
    if let Some(before) = result.before {
        out.push_str(&format!("Last test: {before}\n"));
    }
    for (at, take) in result.takes.iter().enumerate() {
        let counts = match result.in_the_mark[..] {
            [one] if one == at && result.takes.len() > 1 => " (this one counts)",
            [_, _, ..] if result.in_the_mark.contains(&at) => " (counts with the others)",
            _ => "",
        };
        let late = take.late.map_or(String::new(), |day| format!(" (late: {day})"));
        out.push_str(&format!("\nTake: {}{late}{counts}\n", shown(&take.name)));
        out.push_str(&take_text(take));
    }
    let told = result.told_at().and_then(|at| match &result.takes[at].result {
        TakeResult::Heard { report, .. } => Some(report),
        TakeResult::Failed(_) => None,
    });
    // A take that was refused is told of too: what to do, and that nothing counts.
    if let Some(report) = told {
        out.push_str("\nFor the player\n");
        out.push_str(&for_child(report, &TextSettings::default()));
    }
    out
}

fn take_text(take: &ClassTake) -> String {
    let mark = match &take.result {
        TakeResult::Failed(why) => return format!("  {}\n", shown(why)),
        TakeResult::Heard { mark, .. } => mark,
    };
    let mut out = String::new();
    match (mark.mark, &mark.why_none) {
        (Some(number), _) => out.push_str(&format!("  mark {number}\n")),
        (None, Some(why)) => out.push_str(&format!("  no mark: {why}\n")),
        (None, None) => {}
    }
    if let Some(how) = &mark.how {
        out.push_str(&format!("  {how}\n"));
    }
    for criterion in &mark.criteria {
        let share = criterion.share().map_or("-".to_owned(), |share| format!("{:.0} %", share * 100.0));
        out.push_str(&format!("  {} {share} (weight {})\n", criterion.criterion.word(), criterion.weight));
        for sentence in &criterion.sentences {
            out.push_str(&format!("    {sentence}\n"));
        }
    }
    if !mark.listen.is_empty() {
        out.push_str("  To listen to:\n");
        out.push_str(&places(take, "    "));
    }
    out
}

fn places(take: &ClassTake, indent: &str) -> String {
    let Some(mark) = take.mark() else { return String::new() };
    mark.listen.iter().map(|one| format!("{indent}{}\n", shown(&place(one)))).collect()
}

/// The list of what somebody has to listen to or look at, in the order of the class list; ends with a line feed.
pub fn listen_text(results: &[StudentResult]) -> String {
    let mut out = String::from("To listen to, or to look at. Times are minutes and seconds in the take.\n");
    let mut any = false;
    for result in results.iter().filter(|result| result.open()) {
        any = true;
        let state = match (result.mark, &result.why_none) {
            (Some(mark), _) => format!("has {mark}; still open and not counted in it:"),
            (None, Some(why)) => format!("no mark: {}", shown(why)),
            (None, None) => "no mark".to_owned(),
        };
        out.push_str(&format!("\n{}: {state}\n", shown(&result.shown)));
        for take in &result.takes {
            match &take.result {
                // Said once: here or above.
                TakeResult::Failed(why) if result.why_none.as_ref() == Some(why) => {
                    out.push_str(&format!("  {}\n", shown(&take.name)));
                }
                TakeResult::Failed(why) => {
                    out.push_str(&format!("  {}: {}\n", shown(&take.name), shown(why)));
                }
                TakeResult::Heard { mark, .. } if !mark.listen.is_empty() => {
                    out.push_str(&format!("  {}\n{}", shown(&take.name), places(take, "    ")));
                }
                TakeResult::Heard { .. } => {}
            }
        }
    }
    if !any {
        out.push_str("\nNothing: every student has a mark, and nothing in it is open.\n");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::mark_from_report::mark_from_report;
    use super::super::rubric::Thresholds;
    use super::super::students_from_table::Student;
    use super::*;
    use crate::notation::Instrument;
    use crate::report::sample_report::{report, wrong};

    #[test]
    fn a_students_report_has_the_mark_its_notes_and_the_players_words() {
        let mut report = report(Instrument::Violin, &["E4", "F#4", "G4", "E4"]);
        wrong(&mut report, 1, -1.0);
        let rubric = Rubric::default();
        let mark = mark_from_report(&report, &rubric, Thresholds::default());
        let student = Student {
            row: 2,
            name: "a\nb".into(),
            label: "violin-1".into(),
            instrument: Some(Instrument::Violin),
            group: String::new(),
            level: String::new(),
            melody: String::new(),
        };
        let take = ClassTake {
            name: "a.m4a".into(),
            result: TakeResult::Heard { report: Box::new(report), mark },
            late: None,
        };
        let mut result = StudentResult::new(student, "a\nb".into(), "Gate".into(), vec![take]);
        result.settle(&rubric);
        let text = student_text(&result, &rubric);
        // 40 · 3/4 + 30 + 20, of 90.
        assert!(text.starts_with("a\\nb: Gate\nMark: 89 of 100, nearly there\n"), "{text}");
        assert!(text.contains("  Reckoned as weight × good part: 40 × 3/4 + 30 × 4/4 + 20 × 3/3 = 80 of 90; of 100 that is 89.\n"), "{text}");
        assert!(text.contains("    Bar 1, beat 2: F natural was played for F sharp (0:00.8).\n"), "{text}");
        assert!(text.contains("For the player"), "{text}");
        assert!(listen_text(&[result]).contains("Nothing: every student has a mark"));
    }
}
