//! The log odds of an onset from cues: a network small enough to read (`onset_weights.rs`).
//!
//! It was trained on real single notes assembled into takes with known truth (`tests/onset_cues/train.py`), on the
//! half of the recordings that no reported figure uses.

use super::boundaries::Features;
use super::onset_weights::{FIRST, FIRST_BIAS, SECOND, SECOND_BIAS};

/// Log odds are kept within this, so that no single cue decides alone.
const LIMIT: f64 = 6.0;

/// Log odds (natural logarithm) that a note begins, clamped to ±6.
pub fn llr(features: &Features) -> f64 {
    let mut sum = SECOND_BIAS;
    for ((row, bias), weight) in FIRST.iter().zip(FIRST_BIAS).zip(SECOND) {
        let unit: f64 = row.iter().zip(features.values).map(|(w, x)| w * x).sum::<f64>() + bias;
        sum += weight * unit.tanh();
    }
    sum.clamp(-LIMIT, LIMIT)
}

#[cfg(test)]
mod tests {
    use crate::segment::{Features, onset_weights::CUES};

    #[test]
    fn the_model_was_trained_on_the_cues_that_there_are() {
        assert_eq!(CUES, Features::NAMES.len(), "train again: tests/onset_cues/train.py");
    }
}
