//! Whether one sound may be two notes of its pitch, between which the ear did not hear the bow turn.

use super::played::PlayedNote;
use crate::segment::Envelope;
use crate::units::Seconds;

/// A note that lasts so many times as long as it is written may be two,
const AS_LONG_AS_TWO: f64 = 1.5;
/// if the level falls by so many dB within it and comes back,
const BETWEEN_TWO: f32 = 9.0;
/// so many seconds from either end at least, against the loudest moments of as many on either side.
const FROM_THE_ENDS: f64 = 0.1;

/// Whether a note that should last `written` seconds lasts as long as two and its level falls and comes back within it: then
/// nobody can say that the other one was left out.
pub(super) fn may_be_two(note: &PlayedNote, written: f64, envelope: &Envelope) -> bool {
    let (onset, offset) = (note.onset.0, note.offset.0);
    let (from, to) = (onset + FROM_THE_ENDS, offset - FROM_THE_ENDS);
    offset - onset > AS_LONG_AS_TWO * written && from < to && {
        let at = envelope.trough(Seconds(from), Seconds(to)).1;
        envelope.fall_between(at, at, 0.0, FROM_THE_ENDS) > BETWEEN_TWO
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::align::StepKind;

    /// A note from 1 s to 1.8, at −20 dB but for a dip of so many dB around a moment; how long it should last.
    fn found(at: f64, dip: f32, written: f64) -> bool {
        let level = |time: f64| if (time - at).abs() < 0.02 { -20.0 - dip } else { -20.0 };
        let envelope = Envelope::of_levels(3.0, -100.0, level);
        let kind = StepKind::Written { note: 0, restart: false };
        may_be_two(&PlayedNote::sounding(kind, 1.0, 1.8), written, &envelope)
    }

    #[test]
    fn a_note_as_long_as_two_may_be_two_if_its_level_falls_and_comes_back() {
        assert!(found(1.4, 10.0, 0.4) && found(1.15, 10.0, 0.5) && found(1.4, 10.0, 0.53));
        assert!(!found(1.4, 10.0, 0.54), "it is not so long");
        assert!(!found(1.4, 8.0, 0.4) && !found(1.4, 0.0, 0.4), "it is one stroke");
        assert!(!found(1.05, 10.0, 0.4) && !found(1.75, 10.0, 0.4), "its own onset, its own end");
    }

    #[test]
    fn a_moment_is_never_two() {
        assert!(!found(1.4, 10.0, 0.8));
        let nothing = Envelope::of_levels(0.05, -100.0, |_| -20.0);
        let kind = StepKind::Written { note: 0, restart: false };
        assert!(!may_be_two(&PlayedNote::sounding(kind, 0.0, 0.05), 0.01, &nothing));
    }
}
