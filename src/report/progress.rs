//! Several takes of one melody side by side, bar by bar: what improved.

use super::changes::counts_by_bar;
use super::words;
use crate::findings::{NoteVerdict, Outcome, Report};
use std::fmt::Write as _;

/// How many takes stand side by side within 80 columns: the newest.
const SIDE_BY_SIDE: usize = 8;

/// Right notes and written notes, as `14 of 16`; of a refused take, why it was refused.
pub fn right_notes(report: &Report) -> String {
    match report.outcome {
        Outcome::Judged => {
            let right = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Right).count();
            let unsure = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Unsure).count();
            match unsure {
                0 => format!("{right} of {} notes right", report.notes.len()),
                _ => format!("{right} of {} notes right, {unsure} not sure", report.notes.len()),
            }
        }
        Outcome::Silence => "refused: silent".to_owned(),
        Outcome::TooQuiet => "refused: too quiet".to_owned(),
        Outcome::TooNoisy => "refused: too noisy".to_owned(),
        Outcome::NotThisMelody => "refused: not this melody".to_owned(),
    }
}

/// A table of takes (number and report), oldest first: in each bar, how many notes and rests were right of those
/// that could be judged. Under it, the bars that improved from the first judged take to the last. Ends with a line
/// feed; empty where no take was judged.
pub fn progress(takes: &[(u32, Report)]) -> String {
    let judged: Vec<&(u32, Report)> = takes.iter().filter(|take| take.1.outcome == Outcome::Judged).collect();
    let newest = &judged[judged.len().saturating_sub(SIDE_BY_SIDE)..];
    let counts: Vec<_> = newest.iter().map(|take| counts_by_bar(&take.1)).collect();
    let mut bars: Vec<u32> = counts.iter().flatten().map(|counted| counted.0).collect();
    bars.sort_unstable();
    bars.dedup();
    let (Some(first), Some(last)) = (counts.first(), counts.last()) else { return String::new() };
    let mut text = String::from("bar   ");
    for (number, _) in newest {
        let _ = write!(text, "{:>9}", format!("take {number}"));
    }
    text.push('\n');
    let in_bar = |counted: &[(u32, usize, usize)], bar: u32| {
        counted.iter().find(|one| one.0 == bar).map(|&(_, right, all)| (right, all))
    };
    for &bar in &bars {
        let name = if bar == 0 { "pickup".to_owned() } else { bar.to_string() };
        let _ = write!(text, "{name:<6}");
        for counted in &counts {
            let cell =
                in_bar(counted, bar).map_or_else(|| "-".to_owned(), |(right, all)| format!("{right}/{all}"));
            let _ = write!(text, "{cell:>9}");
        }
        text.push('\n');
    }
    text.push_str("\nRight notes and rests of those that could be judged, in each bar.\n");
    if counts.len() > 1 {
        let share = |(right, all): (usize, usize)| right as f64 / all as f64;
        let better: Vec<u32> = bars
            .into_iter()
            .filter(|&bar| match (in_bar(first, bar), in_bar(last, bar)) {
                (Some(was), Some(is)) => share(is) > share(was),
                _ => false,
            })
            .collect();
        if !better.is_empty() {
            let (from, to) = (newest[0].0, newest[newest.len() - 1].0);
            let _ = writeln!(text, "Better in take {to} than in take {from}: {}.", words::bars(&better));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::super::sample_report::{report, unheard};
    use super::*;
    use crate::notation::Instrument;

    #[test]
    fn each_bar_of_each_take_has_its_count() {
        let now = report(Instrument::Violin, &["D4", "E4", "F#4", "G4", "A4", "-", "B4", "A4"]);
        let mut before = now.clone();
        unheard(&mut before, 0, NoteVerdict::Missing);
        unheard(&mut before, 1, NoteVerdict::Unsure);
        let text = progress(&[(1, before.clone()), (3, now)]);
        assert_eq!(
            text,
            "bar      take 1   take 3\n1           2/3      4/4\n2           4/4      4/4\n\n\
             Right notes and rests of those that could be judged, in each bar.\n\
             Better in take 3 than in take 1: bar 1.\n"
        );
        assert_eq!(right_notes(&before), "5 of 7 notes right, 1 not sure");
    }

    #[test]
    fn many_takes_fit_80_columns_and_refused_ones_are_not_counted() {
        let one = report(Instrument::Violin, &["D4"]);
        let mut silent = one.clone();
        silent.outcome = Outcome::Silence;
        assert_eq!(progress(&[(1, silent.clone())]), "");
        assert_eq!(right_notes(&silent), "refused: silent");
        let takes: Vec<(u32, Report)> = (990..1010).map(|number| (number, one.clone())).collect();
        let text = progress(&takes);
        assert!(text.contains("take 1009") && !text.contains("take 1000"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() < 80), "{text}");
    }
}
