//! The weights that turn cues into the log odds of an onset.

use super::boundaries::Features;

const BIAS: f64 = -4.0;
const WEIGHTS: [f64; Features::NAMES.len()] = [5.0, 1.5, 1.5, 1.5, 0.5, 0.5, -0.5, 1.0, 3.0, -1.5, 0.5, 3.0];

/// Log odds (natural logarithm) that a note begins, clamped to ±7.
pub fn llr(features: &Features) -> f64 {
    let sum: f64 = features.values.iter().zip(WEIGHTS).map(|(x, w)| x * w).sum();
    (BIAS + sum).clamp(-7.0, 7.0)
}
