//! Whether the wave after a moment goes on as the wave before it would: a bow change on the same pitch
//! keeps the period but breaks the phase, however shallow the dip of the level.

use crate::pitch::Contour;
use crate::samples::Samples;

/// Compares the sound just before with the sound just after a moment.
#[derive(Debug, Clone, Copy)]
pub struct Continuity<'a> {
    samples: &'a Samples,
    /// What is taken off every sample: a constant would make any two moments alike.
    offset: f64,
    contour: &'a Contour,
}

/// What a comparison says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Goes {
    /// How well the wave goes on in phase, −1 to 1 (normalised cross-correlation at the lag of a whole number
    /// of periods).
    pub on: f32,
    /// The same where the pitch may wander as the contour says it does between the two windows (vibrato does
    /// that; but a contour that stumbles over a break bends along with it, so this alone proves nothing).
    pub on_along: f32,
}

/// Relative error of the lag that is forgiven: the contour's own, and a slow wobble over the gap.
const DRIFT: f64 = 0.0015;
/// Pitch on either side is taken from voiced frames within this distance of the windows, in seconds.
const NEAR: f64 = 0.07;

impl<'a> Continuity<'a> {
    /// A comparison of moments in these samples along their contour.
    pub fn new(samples: &'a Samples, contour: &'a Contour) -> Self {
        Self { samples, offset: samples.offset(), contour }
    }

    /// Compares a window that ends `guard` seconds before `time` with one that begins as long after it.
    /// `None` where there is no steady pitch on both sides that is nearly the same.
    pub fn across(&self, time: f64, guard: f64) -> Option<Goes> {
        let rate = self.samples.rate.hertz();
        let before = self.contour.median_hertz(time - guard - NEAR, time - guard)?;
        let after = self.contour.median_hertz(time + guard, time + guard + NEAR)?;
        let middle = (before * after).sqrt();
        if (1200.0 * (after / before).log2()).abs() > 60.0 {
            return None;
        }
        let period = rate / middle;
        let between = self.mean_between(time, guard + 1.5 / middle).unwrap_or(middle);
        let window = (3.0 * period).max(0.012 * rate).round() as i64;
        let start = ((time - guard) * rate).round() as i64 - window;
        let least = window as f64 + 2.0 * guard * rate;
        let straight = (least / period).round() * period;
        let along = (least * between / rate).round() * rate / between;
        let longest = straight.max(along) * (1.0 + DRIFT) + 2.0;
        if start < 0 || (start as f64 + longest).ceil() as i64 + window >= self.samples.mono.len() as i64 {
            return None;
        }
        // Everything that is compared, from the first window on.
        let end = (start as f64 + longest).ceil() as usize + window as usize;
        let centred = |&one: &f32| (f64::from(one) - self.offset) as f32;
        let sound: Vec<f32> = self.samples.mono[start as usize..end].iter().map(centred).collect();
        let x = &sound[..window as usize];
        let on = best_near(&sound, x, straight, straight * DRIFT);
        let on_along =
            if (along - straight).abs() < 0.5 { on } else { best_near(&sound, x, along, along * DRIFT) };
        Some(Goes { on, on_along })
    }

    /// Mean frequency of the contour within `reach` of a time, if it is voiced throughout.
    fn mean_between(&self, time: f64, reach: f64) -> Option<f64> {
        let hop = self.contour.hop.0;
        let a = ((time - reach) / hop).round().max(0.0) as usize;
        let b = ((time + reach) / hop).round().max(0.0) as usize + 1;
        let frames = self.contour.frames.get(a..b.min(self.contour.frames.len()))?;
        let mut sum = 0.0;
        for frame in frames {
            sum += frame.pitch?.0;
        }
        (!frames.is_empty()).then(|| sum / frames.len() as f64)
    }
}

/// The best normalised correlation of a window with the sound at a place, give or take `reach` samples.
fn best_near(sound: &[f32], x: &[f32], place: f64, reach: f64) -> f32 {
    let reach = reach.max(1.0);
    let own = power(x);
    let steps = (reach.ceil() as i64).min(6);
    let mut best = -1.0_f32;
    let mut last = usize::MAX;
    for step in -steps..=steps {
        let at = (place + reach * step as f64 / steps as f64).round() as usize;
        if at == last {
            continue;
        }
        last = at;
        let y = &sound[at..at + x.len()];
        let norm = (own * power(y)).sqrt();
        if norm > 1e-9 {
            best = best.max(product(x, y) / norm);
        }
    }
    best
}

fn power(x: &[f32]) -> f32 {
    product(x, x)
}

/// Inner product in eight lanes, so that it can use vector registers.
fn product(x: &[f32], y: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; 8];
    let (xs, ys) = (x.chunks_exact(8), y.chunks_exact(8));
    let rest: f32 = xs.remainder().iter().zip(ys.remainder()).map(|(a, b)| a * b).sum();
    for (a, b) in xs.zip(ys) {
        for k in 0..8 {
            lanes[k] += a[k] * b[k];
        }
    }
    lanes.iter().sum::<f32>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::{TrackerSettings, contour};
    use crate::units::SampleRate;

    /// A harmonic tone of 294 Hz that jumps in phase by `turn` (in periods) after one second.
    fn tone(turn: f64) -> Samples {
        let rate = 44_100.0;
        let mono = (0..(2.0 * rate) as usize)
            .map(|k| {
                let t = k as f64 / rate;
                let phase = 294.0 * t + if t > 1.0 { turn } else { 0.0 };
                (1..9)
                    .map(|l| (std::f64::consts::TAU * phase * f64::from(l)).sin() / f64::from(l))
                    .sum::<f64>() as f32
                    * 0.2
            })
            .collect();
        Samples { mono, rate: SampleRate(44_100) }
    }

    #[test]
    fn a_steady_tone_goes_on_and_a_broken_phase_does_not() {
        for guard in [0.008, 0.025, 0.05] {
            for (turn, goes_on) in [(0.0, true), (0.5, false), (0.25, false)] {
                let samples = tone(turn);
                let heard = contour(&samples, TrackerSettings::for_instrument(samples.rate, None));
                let on = Continuity::new(&samples, &heard).across(1.0, guard).unwrap().on;
                assert_eq!(on > 0.9, goes_on, "guard {guard}, turn {turn}: {on}");
            }
        }
    }
}
