//! Whether the wave after a moment goes on as the wave before it would: a bow change on the same pitch
//! keeps the period but breaks the phase.

use crate::pitch::Contour;
use crate::samples::Samples;

/// For each frame of a contour, how well the sound after it continues the sound before it, −1 to 1:
/// the normalised cross-correlation of a window just before with a window just after, at the lag that
/// a whole number of periods predicts. `None` where there is no pitch to predict from.
#[derive(Debug, Clone)]
pub struct Continuity {
    /// One value a frame of the contour.
    pub at: Vec<Option<f32>>,
}

/// The pitch may drift this much over the gap and still count as the same wave (a relative lag).
const DRIFT: f64 = 0.006;

impl Continuity {
    /// Measures continuity along a contour.
    pub fn from_samples(samples: &Samples, contour: &Contour) -> Self {
        let at = (0..contour.frames.len()).map(|k| at_frame(samples, contour, k)).collect();
        Self { at }
    }
}

/// The pitch before and after frame `k`: the nearest voiced frames within 60 ms on either side.
fn period_around(contour: &Contour, k: usize) -> Option<f64> {
    let before = (k.saturating_sub(6)..=k).rev().find_map(|i| contour.frames[i].pitch);
    let after = (k..(k + 7).min(contour.frames.len())).find_map(|i| contour.frames[i].pitch);
    match (before, after) {
        (Some(a), Some(b)) if a.cents_above(b).0.abs() < 60.0 => Some(1.0 / (a.0 * b.0).sqrt()),
        _ => None,
    }
}

fn at_frame(samples: &Samples, contour: &Contour, k: usize) -> Option<f32> {
    let rate = samples.rate.hertz();
    let period = period_around(contour, k)? * rate;
    let centre = (k as f64 * contour.hop.0 * rate).round() as i64;
    let window = (3.0 * period).max(0.012 * rate).round() as i64;
    let guard = (0.008 * rate).round() as i64;
    let start = centre - guard - window;
    // The lag that carries the window before to the window after: a whole number of periods.
    let least = (window + 2 * guard) as f64;
    let periods = (least / period).ceil();
    let lag = periods * period;
    let reach = (lag * DRIFT).max(1.0);
    if start < 0 || (start as f64 + lag + reach) as i64 + window + 1 >= samples.mono.len() as i64 {
        return None;
    }
    let x = &samples.mono[start as usize..(start + window) as usize];
    let own: f64 = x.iter().map(|&v| f64::from(v) * f64::from(v)).sum();
    let mut best = -1.0_f64;
    let steps = (reach.ceil() as i64).min(24);
    for step in -steps..=steps {
        let at = start as f64 + lag + reach * step as f64 / steps as f64;
        let at = at.round() as usize;
        let y = &samples.mono[at..at + window as usize];
        let (mut cross, mut other) = (0.0_f32, 0.0_f32);
        for (a, b) in x.iter().zip(y) {
            cross += a * b;
            other += b * b;
        }
        let norm = (own * f64::from(other)).sqrt();
        if norm > 1e-9 {
            best = best.max(f64::from(cross) / norm);
        }
    }
    Some(best as f32)
}
