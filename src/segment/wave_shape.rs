//! Whether the wave keeps its shape across a moment. The Helmholtz motion of a bowed string repeats exactly,
//! so its harmonics are locked to one another (McIntyre, Schumacher and Woodhouse, "On the oscillations of
//! musical instruments", JASA 74, 1983): a finger that rolls or a bow that sags moves all of them together
//! and the shape stays. A bow that turns sends the motion round the other way (the wave stands on its head),
//! and a stroke that begins anew finds another balance of its harmonics.

use crate::pitch::Contour;
use crate::samples::Samples;
use std::f64::consts::{PI, TAU};

/// Harmonics that are compared.
const HARMONICS: usize = 12;
/// Places of one period: eight times the highest harmonic, so that little folds back into those compared,
/// and as many lags at which two periods are laid on each other.
const PLACES: usize = 96;
/// Length of the window whose periods are averaged: in seconds, and at least in periods.
pub(super) const WINDOW: (f64, f64) = (0.04, 4.5);
/// Steps from the middle of a window to its end at which its weight is known.
const WEIGHTS: usize = 1024;
/// How much longer the long windows are.
const LONG: f64 = 2.2;
/// The pitch of a window is that of voiced frames within this of its middle, in seconds.
const NEAR: f64 = 0.035;
/// Two pitches further apart than this are two notes, and shapes say nothing: in cents.
const SAME_PITCH: f64 = 60.0;
/// How long the shape is looked at beside a moment at least, in seconds.
const BESIDE: f64 = 0.06;

/// Compares the shapes of the wave at moments of a take.
#[derive(Debug, Clone)]
pub struct WaveShape<'a> {
    samples: &'a Samples,
    contour: &'a Contour,
    /// Cosine and sine of every whole number of places.
    circle: Vec<(f64, f64)>,
    /// For every lag: cosines, then sines, of how far it turns each harmonic.
    lags: Vec<[[f64; HARMONICS]; 2]>,
    /// What every window weighs, from its middle to its end (Hann).
    weights: Vec<f64>,
}

/// How the wave changes between two windows of one pitch: from 0 (the same) to about 1 (nothing in common) after
/// the best lag, levels compressed to their square root.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShapeChange {
    /// From the window before the moment to the one after it.
    pub across: f64,
    /// The most that it changes on either side anyway, over about as long.
    pub anyway: f64,
}

/// A closer look at the same two windows, each number on the same scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShapeDetails {
    /// How much less it changes where the second stands on its head: from −1, when the bow went on, to 1.
    pub turned: f64,
    /// The change where a harmonic counts as loud as it is.
    pub loudest: f64,
    /// The change of the levels of the harmonics alone, whatever their phases.
    pub balance: f64,
    /// The change between windows of twice the length; between the two themselves where those do not fit.
    pub long: f64,
}

/// One period of the wave, as its harmonics.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Period {
    hertz: f64,
    /// Real and imaginary part of each harmonic, its level compressed to its square root.
    harmonics: [(f64, f64); HARMONICS],
}

impl Period {
    /// The correlation of the levels of the harmonics of two periods, whatever their phases; `None` for two pitches, or
    /// for silence.
    pub(super) fn balance(&self, other: &Self) -> Option<f64> {
        let norm = self.norm_with(other)?;
        let pairs = self.harmonics.iter().zip(&other.harmonics);
        Some(pairs.map(|(x, y)| x.0.hypot(x.1) * y.0.hypot(y.1)).sum::<f64>() / norm)
    }

    /// What a correlation with another period is divided by; `None` for two pitches, or for silence.
    fn norm_with(&self, other: &Self) -> Option<f64> {
        if (1200.0 * (self.hertz / other.hertz).log2()).abs() > SAME_PITCH {
            return None;
        }
        let power = |p: &Self| p.harmonics.iter().map(|(re, im)| re * re + im * im).sum::<f64>();
        let norm = (power(self) * power(other)).sqrt();
        (norm >= 1e-12).then_some(norm)
    }

    fn with(self, each: impl Fn((f64, f64)) -> (f64, f64)) -> Self {
        Self { hertz: self.hertz, harmonics: self.harmonics.map(each) }
    }
}

impl<'a> WaveShape<'a> {
    /// Shapes along this contour.
    pub fn new(samples: &'a Samples, contour: &'a Contour) -> Self {
        let turn = |k: usize| (TAU * k as f64 / PLACES as f64).sin_cos();
        let circle: Vec<(f64, f64)> = (0..PLACES).map(turn).map(|(sine, cosine)| (cosine, sine)).collect();
        let turned = |lag: usize, l: usize| circle[(l + 1) * lag % PLACES];
        let lags = (0..PLACES)
            .map(|lag| [std::array::from_fn(|l| turned(lag, l).0), std::array::from_fn(|l| turned(lag, l).1)])
            .collect();
        let weights = (0..=WEIGHTS).map(|k| 0.5 + 0.5 * (PI * k as f64 / WEIGHTS as f64).cos()).collect();
        Self { samples, contour, circle, lags, weights }
    }

    /// How the shape changes from a window that ends `guard` seconds before `time` to one that begins as long
    /// after it. `None` where there is no pitch on both sides that is nearly the same.
    pub fn change(&self, time: f64, guard: f64) -> Option<ShapeChange> {
        let (window, before, after) = self.sides(time, guard)?;
        let across = self.apart(&before, &after)?;
        let reach = guard + 0.5 * window;
        let next = reach + (2.0 * reach).max(BESIDE);
        let anyway = [(&before, -next), (&after, next)]
            .into_iter()
            .filter_map(|(near, at)| self.apart(near, &self.period(time + at, window)?))
            .fold(0.0, f64::max);
        Some(ShapeChange { across, anyway })
    }

    /// What else a look at the same windows says; `None` as for [`WaveShape::change`].
    pub fn details(&self, time: f64, guard: f64) -> Option<ShapeDetails> {
        let (window, before, after) = self.sides(time, guard)?;
        let (best, worst) = self.correlations(&before, &after)?;
        let across = apart(best);
        let loud = |(re, im): (f64, f64)| (re * re.hypot(im), im * re.hypot(im));
        let far = guard + 0.5 * LONG * window;
        let long = self
            .period(time - far, LONG * window)
            .zip(self.period(time + far, LONG * window))
            .and_then(|(before, after)| self.apart(&before, &after));
        Some(ShapeDetails {
            // Where the second stands on its head, the worst correlation is the best.
            turned: across - apart(-worst),
            loudest: self.apart(&before.with(loud), &after.with(loud))?,
            balance: apart(before.balance(&after)?),
            long: long.unwrap_or(across),
        })
    }

    /// Length in seconds and mean periods of the windows on both sides of a moment.
    fn sides(&self, time: f64, guard: f64) -> Option<(f64, Period, Period)> {
        let window = self.window(self.pitch(time - guard)?);
        let reach = guard + 0.5 * window;
        Some((window, self.period(time - reach, window)?, self.period(time + reach, window)?))
    }

    /// The mean period of each of so many frames of the contour, of a window of at least so many seconds and periods.
    pub(super) fn periods(&self, frames: usize, (seconds, periods): (f64, f64)) -> Vec<Option<Period>> {
        let at = |frame: usize| {
            let time = frame as f64 * self.contour.hop.0;
            self.period(time, seconds.max(periods / self.pitch(time)?))
        };
        (0..frames).map(at).collect()
    }

    /// Length of a window in seconds.
    fn window(&self, hertz: f64) -> f64 {
        WINDOW.0.max(WINDOW.1 / hertz)
    }

    /// The mean period of the window of so many seconds around a time.
    fn period(&self, time: f64, window: f64) -> Option<Period> {
        let hertz = self.pitch(time)?;
        let rate = self.samples.rate.hertz();
        let half = 0.5 * window * rate;
        let middle = time * rate;
        let (from, to) = ((middle - half).ceil(), (middle + half).floor());
        if from < 0.0 || to as usize >= self.samples.mono.len() {
            return None;
        }
        // One place more than there are, so that the place after the last needs no asking.
        let mut sums = [0.0_f64; PLACES + 1];
        let mut shares = [0.0_f64; PLACES + 1];
        let step = hertz / rate * PLACES as f64;
        let mut place = ((from - middle) * step).rem_euclid(PLACES as f64);
        let mut away = (from - middle) / half * WEIGHTS as f64;
        for sample in &self.samples.mono[from as usize..=to as usize] {
            let weight = self.weights[(away.abs() as usize).min(WEIGHTS)];
            let (low, high) = (place as usize, weight * place.fract());
            sums[low] += (weight - high) * f64::from(*sample);
            shares[low] += weight - high;
            sums[low + 1] += high * f64::from(*sample);
            shares[low + 1] += high;
            away += WEIGHTS as f64 / half;
            place += step;
            if place >= PLACES as f64 {
                place %= PLACES as f64;
            }
        }
        sums[0] += sums[PLACES];
        shares[0] += shares[PLACES];
        let mut harmonics = [(0.0, 0.0); HARMONICS];
        for (below, harmonic) in harmonics.iter_mut().enumerate() {
            let (mut re, mut im) = (0.0, 0.0);
            for place in 0..PLACES {
                let (cosine, sine) = self.circle[(below + 1) * place % PLACES];
                let value = sums[place] / shares[place].max(1e-12);
                re += value * cosine;
                im -= value * sine;
            }
            let level = re.hypot(im).max(1e-12).sqrt();
            *harmonic = (re / level, im / level);
        }
        Some(Period { hertz, harmonics })
    }

    /// Median frequency of the voiced frames around a time.
    pub(super) fn pitch(&self, time: f64) -> Option<f64> {
        self.contour.median_hertz(time - NEAR, time + NEAR)
    }

    /// 1 less the best correlation of two periods over all lags; `None` for two pitches, or for silence.
    fn apart(&self, a: &Period, b: &Period) -> Option<f64> {
        self.correlations(a, b).map(|(best, _)| apart(best))
    }

    /// The best and the worst normalised correlation of two periods over all lags; `None` for two pitches, or for silence.
    pub(super) fn correlations(&self, a: &Period, b: &Period) -> Option<(f64, f64)> {
        let norm = a.norm_with(b)?;
        // Of each harmonic of one against that of the other.
        let (mut re, mut im) = ([0.0; HARMONICS], [0.0; HARMONICS]);
        for (l, (x, y)) in a.harmonics.iter().zip(&b.harmonics).enumerate() {
            re[l] = x.0 * y.0 + x.1 * y.1;
            im[l] = x.1 * y.0 - x.0 * y.1;
        }
        let (mut best, mut worst) = (f64::NEG_INFINITY, f64::INFINITY);
        for [cosines, sines] in &self.lags {
            let mut sum = 0.0;
            for l in 0..HARMONICS {
                sum += re[l] * cosines[l] - im[l] * sines[l];
            }
            best = best.max(sum);
            worst = worst.min(sum);
        }
        Some((best / norm, worst / norm))
    }
}

/// How far apart two periods of such a correlation are.
fn apart(correlation: f64) -> f64 {
    (1.0 - correlation).clamp(0.0, 1.5)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::{TrackerSettings, contour};
    use crate::units::SampleRate;

    /// Two seconds of a tone of 294 Hz with eight harmonics. After one second harmonic `l` is turned by
    /// `turn(l)` periods; the pitch sways by `sway` cents five times a second.
    fn tone(sway: f64, turn: impl Fn(usize) -> f64) -> Samples {
        let rate = 44_100.0;
        let mut phase = 0.0;
        let mut mono = Vec::new();
        for k in 0..(2.0 * rate) as usize {
            let time = k as f64 / rate;
            phase += 294.0 * (sway / 1200.0 * (TAU * 5.0 * time).sin()).exp2() / rate;
            let harmonic = |l: usize| {
                let turned = if time > 1.0 { turn(l) } else { 0.0 };
                (TAU * (phase * l as f64 + turned)).sin() / l as f64
            };
            mono.push(0.2 * (1..9).map(harmonic).sum::<f64>() as f32);
        }
        Samples { rate: SampleRate(44_100), mono }
    }

    fn change(samples: &Samples) -> (ShapeChange, ShapeDetails) {
        let contour = contour(samples, TrackerSettings::for_instrument(samples.rate, None));
        let shape = WaveShape::new(samples, &contour);
        (shape.change(1.0, 0.05).unwrap(), shape.details(1.0, 0.05).unwrap())
    }

    #[test]
    fn a_tone_that_goes_on_keeps_its_shape_even_with_vibrato() {
        for sway in [0.0, 15.0] {
            let (change, details) = change(&tone(sway, |_| 0.0));
            assert!(
                change.across < 0.05 && details.turned < -0.2 && details.long < 0.05,
                "{sway} {change:?} {details:?}"
            );
        }
    }

    #[test]
    fn a_jump_in_time_alone_is_no_change_of_shape() {
        let (change, details) = change(&tone(0.0, |l| 0.3 * l as f64));
        assert!(change.across < 0.02 && details.balance < 0.02, "{change:?} {details:?}");
    }

    #[test]
    fn a_wave_that_stands_on_its_head_is_a_turned_bow() {
        let (change, details) = change(&tone(0.0, |_| 0.5));
        assert!(
            change.across > 0.2 && details.turned > 0.2 && details.balance < 0.02,
            "{change:?} {details:?}"
        );
        assert!(change.anyway < 0.02, "{change:?} {details:?}");
    }

    #[test]
    fn harmonics_that_begin_anew_change_the_shape_and_not_the_balance() {
        let (change, details) = change(&tone(0.0, |l| 0.37 * (l * l) as f64));
        assert!(change.across > 0.3 && details.balance < 0.02, "{change:?} {details:?}");
    }

    #[test]
    fn two_pitches_have_no_common_shape() {
        let rate = 44_100.0;
        let mono = (0..88_200).map(|k| {
            let hertz = if k < 44_100 { 294.0 } else { 330.0 };
            (0.2 * (TAU * hertz * k as f64 / rate).sin()) as f32
        });
        let samples = Samples { rate: SampleRate(44_100), mono: mono.collect() };
        let contour = contour(&samples, TrackerSettings::for_instrument(samples.rate, None));
        assert_eq!(WaveShape::new(&samples, &contour).change(1.0, 0.05), None);
    }
}
