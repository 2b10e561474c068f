//! How far an onset is from where the level says: a network small enough to read (`onset_shift_weights.rs`).
//!
//! It was trained on real single notes assembled into takes with known truth (`tests/training/train_times.py`), on the half
//! of the recordings that no reported figure uses.

use super::boundaries::Features;
use super::network::network;
use super::onset_shift_weights::{CUES, FIRST, FIRST_BIAS, SECOND, SECOND_BIAS};

/// An onset is moved by no more than this, in seconds.
const FURTHEST: f64 = 0.06;

/// How much later than the level says a note begins, in seconds, at most 0.06 either way: from the cues of the
/// boundary nearest to that moment, which lies `away` seconds after it. Where bows turn softly or fingers move
/// under one bow, the level of both notes together says little about when the second comes up.
pub fn onset_shift(features: &Features, away: f64) -> f64 {
    let mut cues = [away; CUES];
    // (A cue that was added since the training is passed over.)
    cues[..CUES - 1].copy_from_slice(&features.values[..CUES - 1]);
    network((&FIRST, &FIRST_BIAS), (&SECOND, SECOND_BIAS), &cues).clamp(-FURTHEST, FURTHEST)
}

#[cfg(test)]
mod tests {
    use super::{FURTHEST, onset_shift};
    use crate::segment::{Features, onset_shift_weights::CUES};
    use proptest::prelude::*;

    #[test]
    fn the_shift_was_trained_on_the_cues_that_there_are() {
        assert_eq!(CUES, Features::NAMES.len() + 1, "train again: tests/training/train_times.py");
    }

    proptest! {
        #[test]
        fn whatever_the_cues_say_no_onset_is_moved_far(
            cues in proptest::collection::vec(-2.0..2.0_f64, CUES - 1),
            away in -0.15..0.15_f64,
        ) {
            let features = Features { values: cues.try_into().unwrap() };
            prop_assert!(onset_shift(&features, away).abs() <= FURTHEST);
        }
    }
}
