//! A student's result as the page of the take has it: the mark, the notes behind it, and where to listen.

use super::criteria_from_report::{ListenPlace, clock};
use super::rubric::Rubric;
use super::student_result::{ClassTake, StudentResult};
use crate::page::{MarkedFor, PlayingTest};
use crate::report::words;

/// The mark in a line: the teacher's own, the program's, or that there is none yet and why.
pub fn mark_line(result: &StudentResult, rubric: &Rubric) -> String {
    match (&result.teachers, result.mark, &result.why_none) {
        (Some(own), ..) => format!("Mark: {} (the teacher's own)", own.mark),
        (None, Some(mark), _) => {
            let band = result.band.as_ref().map_or(String::new(), |band| format!(", {band}"));
            format!("Mark: {mark} of {}{band}", rubric.highest)
        }
        (None, None, why) => format!("No mark yet. {}", why.as_deref().unwrap_or("")).trim_end().to_owned(),
    }
}

/// What a page says of the take at this place, and of the mark.
pub fn playing_test(result: &StudentResult, rubric: &Rubric, take: &ClassTake) -> PlayingTest {
    let teachers = result.teachers.as_ref().map(|own| own.note.clone()).filter(|note| !note.is_empty());
    let late = take.late.map(|day| format!("Late: {day}"));
    let before = result.before.map(|before| format!("Last test: {before}"));
    let mark = take.mark();
    let criteria = mark.map_or(&[][..], |mark| &mark.criteria);
    let marked = criteria.iter().map(|one| MarkedFor {
        name: one.criterion.word(),
        weight: one.weight,
        good: one.good,
        counted: one.counted,
        sentences: one.sentences.clone(),
    });
    let group = &result.student.group;
    PlayingTest {
        who: if group.is_empty() { result.shown.clone() } else { format!("{}, {group}", result.shown) },
        mark: mark_line(result, rubric),
        notes: teachers.into_iter().chain(late).chain(before).collect(),
        criteria: marked.collect(),
        how: mark.and_then(|mark| mark.how.clone()),
        alone: result.teachers.as_ref().map(|_| match result.mark {
            Some(mark) => format!("The program alone would have said {mark}."),
            None => "The program alone would have given no mark.".to_owned(),
        }),
        listen: mark.map_or(Vec::new(), |mark| {
            mark.listen.iter().map(|one| words::sentence(&format!("{}: {}", time(one), one.what))).collect()
        }),
    }
}

/// `0:07.4  Bar 2, beat 1: ...`
pub fn place(place: &ListenPlace) -> String {
    format!("{}  {}", time(place), place.what)
}

fn time(place: &ListenPlace) -> String {
    place.time_s.map_or("whole take".to_owned(), clock)
}

#[cfg(test)]
mod tests {
    use super::super::mark_from_report::mark_from_report;
    use super::super::rubric::Thresholds;
    use super::super::student_result::TakeResult;
    use super::super::students_from_table::Student;
    use super::super::teachers_marks::TeachersMark;
    use super::*;
    use crate::findings::Outcome;
    use crate::notation::Instrument;
    use crate::report::sample_report::{report, wrong};

    #[test]
    fn a_page_says_the_mark_what_is_behind_it_and_where_to_listen() {
        let rubric = Rubric::default();
        let mut good = report(Instrument::Violin, &["E4", "F#4", "G4", "E4"]);
        wrong(&mut good, 1, -1.0);
        let mut refused = good.clone();
        refused.outcome = Outcome::TooNoisy;
        let take = |report: crate::findings::Report| ClassTake {
            name: "a".into(),
            result: TakeResult::Heard {
                mark: mark_from_report(&report, &rubric, Thresholds::default()),
                report: Box::new(report),
            },
            late: None,
        };
        let student = Student {
            row: 2,
            name: "violin-1".into(),
            label: "violin-1".into(),
            instrument: None,
            group: String::new(),
            level: String::new(),
            melody: String::new(),
        };
        let takes = vec![take(good), take(refused)];
        let mut result = StudentResult::new(student, "violin-1".into(), "m".into(), takes);
        result.settle(&rubric);
        let test = playing_test(&result, &rubric, &result.takes[0]);
        assert_eq!(test.who, "violin-1");
        assert_eq!(test.mark, "Mark: 89 of 100, nearly there");
        assert_eq!((test.criteria[0].name, test.criteria[0].good, test.criteria[0].counted), ("pitch", 3, 4));
        assert!(test.how.as_deref().unwrap().ends_with("= 80 of 90; of 100 that is 89."), "{test:?}");
        assert!(test.listen.is_empty() && test.alone.is_none());
        let test = playing_test(&result, &rubric, &result.takes[1]);
        assert!(test.criteria.is_empty() && test.how.is_none());
        assert!(test.listen[0].starts_with("Whole take: "), "{test:?}");
        result.teachers = Some(TeachersMark { mark: "95".into(), note: "played it again in class".into() });
        let test = playing_test(&result, &rubric, &result.takes[0]);
        assert_eq!(
            (test.mark.as_str(), &test.notes[..]),
            ("Mark: 95 (the teacher's own)", &["played it again in class".to_owned()][..])
        );
        assert_eq!(test.alone.as_deref(), Some("The program alone would have said 89."));
    }
}
