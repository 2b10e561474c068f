//! The weights that turn cues into the log odds of an onset.

use super::boundaries::Features;

/// Log odds (natural logarithm) that a note begins, clamped to ±7.
pub fn llr(features: &Features) -> f64 {
    let v = features.values;
    (-4.0 + 5.0 * v[0] + 3.0 * v[3] + 1.5 * v[6] + 2.0 * v[9] + 3.0 * v[19]).clamp(-7.0, 7.0)
}
