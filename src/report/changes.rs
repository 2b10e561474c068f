//! What changed from one take of a melody to the next, as a few sentences for the player.

use super::words;
use crate::findings::{NoteVerdict, Outcome, Report, RestFinding, RestVerdict};

/// Whether two reports are about the same written notes, so that they can be compared note by note; both
/// judged.
pub fn same_melody(one: &Report, other: &Report) -> bool {
    let judged = |report: &Report| report.outcome == Outcome::Judged;
    let written = |report: &Report| -> Vec<(usize, u32, String)> {
        report.notes.iter().map(|note| (note.index, note.bar, note.written.clone())).collect()
    };
    judged(one) && judged(other) && written(one) == written(other) && one.rests.len() == other.rests.len()
}

/// What changed since an earlier take (whose number is given), in one paragraph that ends with a line feed;
/// empty where the two cannot be compared. What the program was unsure of in either take is not counted.
pub fn what_changed(before: &Report, number: u32, now: &Report) -> String {
    if !same_melody(before, now) {
        return String::new();
    }
    let since = format!("Since take {number}");
    let better = bars_where(before, now, |was, is| !was && is);
    let worse = bars_where(before, now, |was, is| was && !is);
    let mut said = Vec::new();
    if !better.is_empty() {
        let verb = if better.len() == 1 { "has" } else { "have" };
        said.push(format!("{since}, {} {verb} got better.", words::bars(&better)));
    }
    if !worse.is_empty() {
        let place = words::sentence(&words::bars(&worse));
        let verb = if worse.len() == 1 { "was" } else { "were" };
        said.push(format!("{place} {verb} better last time: play that slowly once, then all of it again."));
    }
    if said.is_empty() {
        let all = now.notes.iter().all(|note| note.verdict == NoteVerdict::Right)
            && now.rests.iter().all(|rest| rest.verdict == RestVerdict::Kept);
        said.push(match all {
            true => format!("{since} nothing was lost: all of it is right again."),
            false => format!("{since}, the same places are right and the same places are open."),
        });
    }
    let mut text = said.join(" ");
    text.push('\n');
    text
}

fn good_note(verdict: NoteVerdict) -> Option<bool> {
    match verdict {
        NoteVerdict::Right => Some(true),
        NoteVerdict::Wrong | NoteVerdict::Missing => Some(false),
        NoteVerdict::Unsure => None,
    }
}

fn good_rest(rest: &RestFinding) -> Option<bool> {
    match rest.verdict {
        _ if rest.only_assumed() => None,
        RestVerdict::Kept => Some(true),
        RestVerdict::Rushed | RestVerdict::Stretched | RestVerdict::Filled => Some(false),
        RestVerdict::Unsure => None,
    }
}

/// Right and judged (right, wrong or missing) notes and rests of each bar, bars in order. What the program was not
/// sure of counts in neither.
pub(crate) fn counts_by_bar(report: &Report) -> Vec<(u32, usize, usize)> {
    let notes = report.notes.iter().map(|note| (note.bar, good_note(note.verdict)));
    let rests = report.rests.iter().map(|rest| (rest.bar, good_rest(rest)));
    let mut bars: Vec<(u32, usize, usize)> = Vec::new();
    for (bar, good) in notes.chain(rests) {
        let Some(good) = good else { continue };
        match bars.iter_mut().find(|counted| counted.0 == bar) {
            Some(counted) => {
                counted.1 += usize::from(good);
                counted.2 += 1;
            }
            None => bars.push((bar, usize::from(good), 1)),
        }
    }
    bars.sort_unstable();
    bars
}

/// Bars in which more notes and rests changed the one way than the other; only those judged in both takes count.
fn bars_where(before: &Report, now: &Report, changed: impl Fn(bool, bool) -> bool) -> Vec<u32> {
    let notes = before.notes.iter().zip(&now.notes);
    let notes = notes.map(|(was, is)| (is.bar, good_note(was.verdict), good_note(is.verdict)));
    let rests = before.rests.iter().zip(&now.rests);
    let rests = rests.map(|(was, is)| (is.bar, good_rest(was), good_rest(is)));
    let mut balance: Vec<(u32, i32)> = Vec::new();
    for (bar, was, is) in notes.chain(rests) {
        let (Some(was), Some(is)) = (was, is) else { continue };
        let change = i32::from(changed(was, is)) - i32::from(changed(is, was));
        match balance.iter_mut().find(|counted| counted.0 == bar) {
            Some(counted) => counted.1 += change,
            None => balance.push((bar, change)),
        }
    }
    balance.sort_unstable();
    balance.into_iter().filter_map(|(bar, change)| (change > 0).then_some(bar)).collect()
}

#[cfg(test)]
mod tests {
    use super::super::sample_report::{report, unheard};
    use super::*;
    use crate::notation::Instrument;

    fn four_notes() -> Report {
        report(Instrument::Violin, &["D4", "E4", "F#4", "G4"])
    }

    #[test]
    fn a_note_that_came_right_is_praised_in_its_bar() {
        let (mut before, now) = (four_notes(), four_notes());
        unheard(&mut before, 1, NoteVerdict::Missing);
        let text = what_changed(&before, 3, &now);
        assert!(text.starts_with("Since take 3, bar 1 has got better."), "{text}");
        assert!(!text.contains("last time"), "{text}");
        let text = what_changed(&now, 3, &before);
        assert!(text.starts_with("Bar 1 was better last time"), "{text}");
    }

    #[test]
    fn what_was_unsure_in_either_take_is_not_held_against_anybody() {
        let (mut before, mut now) = (four_notes(), four_notes());
        unheard(&mut before, 0, NoteVerdict::Unsure);
        unheard(&mut now, 1, NoteVerdict::Unsure);
        let text = what_changed(&before, 1, &now);
        assert!(text.contains("the same places"), "{text}");
        assert!(what_changed(&four_notes(), 1, &four_notes()).contains("all of it is right again"));
    }

    #[test]
    fn another_melody_and_a_refused_take_are_not_compared() {
        let other = report(Instrument::Violin, &["D4", "E4"]);
        assert_eq!(what_changed(&other, 1, &four_notes()), "");
        let mut refused = four_notes();
        refused.outcome = Outcome::Silence;
        assert_eq!(what_changed(&refused, 1, &four_notes()), "");
    }
}
