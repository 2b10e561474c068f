//! Which of the written notes can be on the recording at all: where it was started late or stopped early, some cannot,
//! and nobody left these out.

use crate::findings::{NoteVerdict, Report};
use std::ops::Range;

/// The recording is over with its last note where no more than this follows, in seconds.
pub(super) const OVER: f64 = 1.0;

/// The recording began after the playing where something sounds no later than this after its start, in seconds: whoever
/// starts a recorder and then lifts a bow takes longer, and a note that was cut begins at 0 (within 0.01 s in takes cut
/// at any place).
const BEGUN: f64 = 0.1;

/// The notes, by their places among the notes, that can be on the recording. Those before have not been heard, and it
/// begins in the middle of the playing; those after have not been heard, and it is over with the last one that was.
pub fn recorded_part(report: &Report) -> Range<usize> {
    let from = begun_before(report).unwrap_or(0);
    from..over_before(report).unwrap_or(report.notes.len()).max(from)
}

/// The first note (its place among the notes) that is on a recording which began after the playing: the sound is there
/// from its start, and all notes before this one are missing.
pub(super) fn begun_before(report: &Report) -> Option<usize> {
    let missing = report.notes.iter().take_while(|note| note.verdict == NoteVerdict::Missing).count();
    let onsets = report.notes.iter().filter_map(|note| note.onset_s);
    let first = onsets.chain(report.extra.iter().map(|extra| extra.onset_s)).fold(f64::INFINITY, f64::min);
    (missing > 0 && missing < report.notes.len() && first <= BEGUN).then_some(missing)
}

/// From this note on (its place among the notes) nothing was played, and the recording is over too: perhaps the recorder
/// was stopped, not the player.
fn over_before(report: &Report) -> Option<usize> {
    let missing = report.notes.iter().rev().take_while(|note| note.verdict == NoteVerdict::Missing).count();
    let over = missing > 0 && is_over(report);
    over.then(|| report.notes.len() - missing)
}

/// Whether the recording is over with the last sound that was heard.
pub(super) fn is_over(report: &Report) -> bool {
    let ends = report.notes.iter().filter_map(|note| note.offset_s);
    let last = ends.chain(report.extra.iter().map(|extra| extra.offset_s)).fold(0.0, f64::max);
    last > 0.0 && report.take.duration_s - last < OVER
}

/// Whether a rest stands before the first note that is on a recording which began late: nobody can tell of it.
pub fn rest_before_recording(report: &Report, index: usize) -> bool {
    begun_before(report).is_some_and(|first| index < report.notes[first].index)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Instrument;
    use crate::report::sample_report::{report, unheard};

    #[test]
    fn a_recording_that_begins_with_sound_lacks_the_missing_notes_before_it() {
        let mut report = report(Instrument::Violin, &["D4", "E4", "-", "F#4", "G4"]);
        report.take.duration_s = 6.0;
        assert_eq!(recorded_part(&report), 0..4);
        for index in [0, 1] {
            unheard(&mut report, index, NoteVerdict::Missing);
        }
        // They were left out, where the recording waited for the playing.
        assert_eq!(recorded_part(&report), 0..4);
        report.notes[2].onset_s = Some(0.02);
        assert_eq!(recorded_part(&report), 2..4);
        assert!(rest_before_recording(&report, 2) && !rest_before_recording(&report, 4));
        unheard(&mut report, 4, NoteVerdict::Missing);
        report.take.duration_s = report.notes[2].offset_s.unwrap() + 0.3;
        assert_eq!(recorded_part(&report), 2..3);
    }

    #[test]
    fn where_no_note_was_heard_the_recording_is_not_to_blame() {
        let mut report = report(Instrument::Violin, &["D4", "E4"]);
        for index in [0, 1] {
            unheard(&mut report, index, NoteVerdict::Missing);
        }
        assert_eq!(recorded_part(&report), 0..2);
    }
}
