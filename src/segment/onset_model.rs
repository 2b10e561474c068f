//! The log odds of an onset from cues: two networks small enough to read (`onset_weights.rs`).
//!
//! They were trained on real single notes assembled into takes with known truth (`tests/training/train_cue_networks.py`),
//! on the half of the recordings that no reported figure uses.

use super::boundaries::Features;
use super::network::network;
use super::onset_weights::{
    AMONG_CUES, AMONG_FIRST, AMONG_FIRST_BIAS, AMONG_SECOND, AMONG_SECOND_BIAS, CUES, FIRST, FIRST_BIAS,
    SECOND, SECOND_BIAS,
};

/// Log odds are kept within this, so that no single cue decides alone.
pub(super) const LIMIT: f64 = 6.0;

/// Log odds of a stretch of time without a candidate.
pub const NOBODY: f64 = -LIMIT;
/// Stretches of time around a candidate.
pub const AROUND: usize = AMONG_CUES - CUES - 1;

/// Log odds (natural logarithm) that a note begins, by the cues of one candidate alone, clamped to ±6.
pub fn alone(features: &Features) -> f64 {
    network((&FIRST, &FIRST_BIAS), (&SECOND, SECOND_BIAS), &known(features, 0.0)).clamp(-LIMIT, LIMIT)
}

/// The same among the candidates around it, whose greatest log odds alone in each stretch are given.
pub fn among(features: &Features, alone: f64, around: &[f64; AROUND]) -> f64 {
    let mut cues = known::<AMONG_CUES>(features, alone);
    cues[CUES + 1..].copy_from_slice(around);
    network((&AMONG_FIRST, &AMONG_FIRST_BIAS), (&AMONG_SECOND, AMONG_SECOND_BIAS), &cues).clamp(-LIMIT, LIMIT)
}

/// The cues that the networks were trained on, then `further` in every place that is left. (A cue that was added since
/// is passed over.)
fn known<const INPUTS: usize>(features: &Features, further: f64) -> [f64; INPUTS] {
    let mut cues = [further; INPUTS];
    cues[..CUES].copy_from_slice(&features.values[..CUES]);
    cues
}

#[cfg(test)]
mod tests {
    use super::{AROUND, LIMIT, NOBODY, alone, among};
    use crate::segment::{Features, onset_weights::CUES};
    use proptest::prelude::*;

    #[test]
    fn the_model_was_trained_on_the_cues_that_there_are() {
        assert_eq!(CUES, Features::NAMES.len(), "train again: tests/training/train_cue_networks.py");
    }

    proptest! {
        #[test]
        fn whatever_the_cues_say_no_onset_is_certain(
            cues in proptest::collection::vec(-2.0..2.0_f64, CUES),
            (by_itself, around) in (-LIMIT..LIMIT, proptest::array::uniform6(-LIMIT..LIMIT)),
        ) {
            let features = Features { values: cues.try_into().unwrap() };
            prop_assert!(alone(&features).abs() <= LIMIT);
            prop_assert!(among(&features, by_itself, &around).abs() <= LIMIT);
        }
    }

    #[test]
    fn silence_into_a_loud_clear_note_is_an_onset_and_nothing_happening_is_none() {
        let named = |pairs: &[(&str, f64)]| {
            let mut features = Features::default();
            for (name, value) in pairs {
                let place = Features::NAMES.iter().position(|n| n == name).unwrap();
                features.values[place] = *value;
            }
            features
        };
        let note = [("voiced_after", 1.0), ("room", -1.0), ("shape_turned", -1.0)];
        let goes_on = named(&[&note[..], &[("voiced_before", 1.0)]].concat());
        let begins = named(
            &[
                &note[..],
                &[("dip_far", 0.9), ("level_rise", 1.0), ("rise_from_silence", 1.0), ("no_phase", 1.0)],
                &[("no_shape", 1.0), ("level_step", 1.5)],
            ]
            .concat(),
        );
        assert!(alone(&goes_on) < -3.0, "{}", alone(&goes_on));
        assert!(alone(&begins) > 1.0, "{}", alone(&begins));
        let among_nobody = |features: &Features| among(features, alone(features), &[NOBODY; AROUND]);
        assert!(among_nobody(&goes_on) < -3.0, "{}", among_nobody(&goes_on));
        assert!(among_nobody(&begins) > 1.0, "{}", among_nobody(&begins));
    }
}
