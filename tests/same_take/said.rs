//! What a report says of the playing, without the figures: this must not depend on how loud a take is.

use fingertape::findings::{NoteVerdict, Outcome, Report, RestVerdict};

/// The words of a report.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// Judged, or why not.
    pub outcome: Outcome,
    /// The verdict on each written note, by its index.
    pub notes: Vec<(usize, NoteVerdict)>,
    /// The verdict on each written rest, by its index.
    pub rests: Vec<(usize, RestVerdict)>,
    /// Notes that are not on the sheet: the nearest semitone above the written ones' own A, and the event before.
    pub extra: Vec<(i32, Option<usize>)>,
    /// Where the player left off and where they resumed.
    pub restarts: Vec<(usize, usize)>,
}

/// The words of a report of a take that sounds `semitones` higher than written in its first shape.
pub fn said(report: &Report, semitones: i32) -> Said {
    Said {
        outcome: report.outcome,
        notes: report.notes.iter().map(|note| (note.index, note.verdict)).collect(),
        rests: report.rests.iter().map(|rest| (rest.index, rest.verdict)).collect(),
        extra: report
            .extra
            .iter()
            .map(|extra| (extra.played_midi.round() as i32 - semitones, extra.after_index))
            .collect(),
        restarts: report.restarts.iter().map(|one| (one.left_at_index, one.resumed_at_index)).collect(),
    }
}

impl Said {
    /// What differs from another shape of the same take, one line each.
    pub fn differences(&self, other: &Said) -> Vec<String> {
        let mut found = Vec::new();
        if self.outcome != other.outcome {
            found.push(format!("outcome: {:?}, then {:?}", self.outcome, other.outcome));
        }
        if self.notes.len() == other.notes.len() {
            for (one, two) in self.notes.iter().zip(&other.notes).filter(|(one, two)| one != two) {
                found.push(format!("note {}: {:?}, then {:?}", one.0, one.1, two.1));
            }
            for (one, two) in self.rests.iter().zip(&other.rests).filter(|(one, two)| one != two) {
                found.push(format!("rest {}: {:?}, then {:?}", one.0, one.1, two.1));
            }
        }
        if self.extra != other.extra {
            found.push(format!("extra notes: {:?}, then {:?}", self.extra, other.extra));
        }
        if self.restarts != other.restarts {
            found.push(format!("restarts: {:?}, then {:?}", self.restarts, other.restarts));
        }
        found
    }
}
