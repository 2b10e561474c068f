//! How periodic a window is at every lag, in two ways, from one pair of transforms.
//!
//! **Waveform**: the normalised square difference n(τ) = 2 r(τ) / m(τ) of McLeod & Wyvill, "A smarter way
//! to find pitch" (ICMC 2005); 1 where the window repeats itself exactly.
//!
//! **Lines**: the autocorrelation of the magnitude spectrum instead of the power spectrum (the generalised
//! autocorrelation of Tolonen & Karjalainen, "A computationally efficient multipitch analysis model", IEEE
//! TSAP 8, 2000, with exponent 1 instead of their 0.67), of the Hann-tapered window, between the lowest
//! pitch and 5 kHz. A harmonic 20 dB above the fundamental outweighs it 100 to 1 in r, 10 to 1 here, so
//! that the period of all lines wins over the period of the loudest.
//!
//! Both windows are real: one complex transform carries both, the plain one as real part, the tapered one
//! as imaginary part. The same holds on the way back, because both spectra are real and even.

use std::sync::Arc;

use rustfft::{Fft, FftPlanner, num_complex::Complex};

/// Lines above this say little about the period and are mostly bow noise, in hertz.
const LINES_UP_TO: f64 = 5_000.0;

/// The two curves of one window at a time.
pub(super) struct Periodicity {
    window: usize,
    size: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
    spectrum: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    taper: Vec<f32>,
    /// The bins whose magnitudes count as lines.
    lines: std::ops::Range<usize>,
    /// 1 / (what the lines of a steady tone keep at each lag under the taper).
    kept: Vec<f32>,
    energy: Vec<f32>,
    waveform: Vec<f32>,
    line: Vec<f32>,
}

impl Periodicity {
    /// For windows of `window` samples (even) at `rate`; lags up to half a window are computed.
    pub(super) fn new(window: usize, rate: f64, lowest: f64) -> Self {
        let lags = window / 2 + 1;
        let size = transform_size(window + lags);
        let mut planner = FftPlanner::new();
        let forward = planner.plan_fft_forward(size);
        let inverse = planner.plan_fft_inverse(size);
        let scratch = forward.get_inplace_scratch_len().max(inverse.get_inplace_scratch_len());
        let bin = size as f64 / rate;
        let taper = (0..window)
            .map(|at| (0.5 - 0.5 * (std::f64::consts::TAU * (at as f64 + 0.5) / window as f64).cos()) as f32)
            .collect();
        let mut one = Self {
            window,
            size,
            forward,
            inverse,
            spectrum: vec![Complex::default(); size],
            scratch: vec![Complex::default(); scratch],
            taper,
            lines: ((0.7 * lowest * bin) as usize).max(1)..((LINES_UP_TO * bin) as usize).min(size / 2),
            kept: vec![1.0; lags],
            energy: vec![0.0; lags],
            waveform: vec![0.0; lags],
            line: vec![0.0; lags],
        };
        // A single line far from the edges shows what the taper keeps at each lag.
        let (middle, reach) = (size / 4, size / 8);
        let tone: Vec<f32> =
            (0..window).map(|at| (std::f64::consts::FRAC_PI_2 * at as f64).cos() as f32).collect();
        let lines = std::mem::replace(&mut one.lines, middle - reach..middle + reach);
        one.measure(&tone);
        // At a quarter of the rate the period is four samples: the envelope is met at every fourth lag.
        let met: Vec<f32> = one.line.iter().step_by(4).copied().collect();
        for (lag, kept) in one.kept.iter_mut().enumerate() {
            let (before, part) = (lag / 4, (lag % 4) as f32 / 4.0);
            let after = met[(before + 1).min(met.len() - 1)];
            *kept = 1.0 / (met[before] + (after - met[before]) * part).max(0.05);
        }
        one.lines = lines;
        one
    }

    /// Measures a window; gives its energy (sum of squares).
    pub(super) fn measure(&mut self, samples: &[f32]) -> f32 {
        for ((slot, &sample), &taper) in self.spectrum.iter_mut().zip(samples).zip(&self.taper) {
            *slot = Complex::new(sample, sample * taper);
        }
        self.spectrum[self.window..].fill(Complex::default());
        let total = self.energies(samples);
        self.forward.process_with_scratch(&mut self.spectrum, &mut self.scratch);
        self.powers();
        self.inverse.process_with_scratch(&mut self.spectrum, &mut self.scratch);
        let top = self.spectrum[0];
        // r(0) is half of m(0): this makes n(0) exactly 1.
        let scale = total * 2.0 / top.re.max(f32::MIN_POSITIVE);
        let line = 1.0 / top.im.max(f32::MIN_POSITIVE);
        let floor = total * 1e-6 + f32::MIN_POSITIVE;
        for lag in 0..self.waveform.len() {
            self.waveform[lag] = self.spectrum[lag].re * scale / self.energy[lag].max(floor);
            self.line[lag] = self.spectrum[lag].im * line * self.kept[lag];
        }
        total
    }

    /// n(τ) by lag in samples, 0 to half a window.
    pub(super) fn waveform(&self) -> &[f32] {
        &self.waveform
    }

    /// The lines' curve by lag in samples, 0 to half a window, about 1 at the period of a steady tone.
    pub(super) fn lines(&self) -> &[f32] {
        &self.line
    }

    /// m(τ), the energy of the two overlapping parts, by lag; the total energy.
    fn energies(&mut self, samples: &[f32]) -> f32 {
        const BLOCK: usize = 8;
        let total: f64 =
            samples.chunks(64).map(|chunk| f64::from(chunk.iter().map(|x| x * x).sum::<f32>())).sum();
        let mut left = 2.0 * total;
        let window = self.window;
        for (block, slots) in self.energy.chunks_mut(BLOCK).enumerate() {
            let start = block * BLOCK;
            let mut gone = 0.0f32;
            let base = left as f32;
            for (at, slot) in slots.iter_mut().enumerate() {
                *slot = base - gone;
                let (head, tail) = (samples[start + at], samples[window - 1 - start - at]);
                gone += head * head + tail * tail;
            }
            left -= f64::from(gone);
        }
        total as f32
    }

    /// Both spectra from the transform of the pair: power of the plain window as real part, magnitude of
    /// the tapered one as imaginary part, scaled so that neither drowns the other in rounding.
    fn powers(&mut self) {
        let half = self.size / 2;
        let (mut powers, mut magnitudes) = (0.0f32, 0.0f32);
        let zero = self.spectrum[0];
        self.spectrum[0] = Complex::new(zero.re * zero.re, 0.0);
        let middle = self.spectrum[half];
        self.spectrum[half] = Complex::new(middle.re * middle.re, 0.0);
        let (front, back) = self.spectrum.split_at_mut(half);
        for (k, (a, b)) in front[1..].iter_mut().zip(back[1..].iter().rev()).enumerate() {
            let plain = Complex::new(a.re + b.re, a.im - b.im).norm_sqr() * 0.25;
            let tapered = Complex::new(a.im + b.im, b.re - a.re).norm_sqr() * 0.25;
            let magnitude = if self.lines.contains(&(k + 1)) { tapered.sqrt() } else { 0.0 };
            powers += plain;
            magnitudes += magnitude;
            *a = Complex::new(plain, magnitude);
        }
        let scale = powers / magnitudes.max(f32::MIN_POSITIVE);
        for (a, b) in front[1..].iter_mut().zip(back[1..].iter_mut().rev()) {
            a.im *= scale;
            *b = *a;
        }
    }
}

/// The smallest even length of at least `least` with only the factors 2 and 3 (one 3 or none).
fn transform_size(least: usize) -> usize {
    let power = least.next_power_of_two();
    if power / 4 * 3 >= least { power / 4 * 3 } else { power }
}

/// The top of the parabola through a point and its neighbours: place and height.
pub(super) fn parabola(values: &[f32], at: usize) -> (f64, f64) {
    vertex(at, f64::from(values[at - 1]), f64::from(values[at]), f64::from(values[at + 1]))
}

/// The top of the parabola through `here` at the place `at` and its two neighbours: place and height.
pub(super) fn vertex(at: usize, left: f64, here: f64, right: f64) -> (f64, f64) {
    let bend = left - 2.0 * here + right;
    if bend >= 0.0 {
        return (at as f64, here);
    }
    let shift = (0.5 * (left - right) / bend).clamp(-1.0, 1.0);
    (at as f64 + shift, here - 0.25 * (left - right) * shift)
}

/// Whether a curve has a peak at a place that has two neighbours.
pub(super) fn is_peak(values: &[f32], at: usize) -> bool {
    values[at] >= values[at - 1] && values[at] > values[at + 1]
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn wave(window: usize, period: f64, amplitudes: &[f64]) -> Vec<f32> {
        (0..window)
            .map(|at| {
                let phase = std::f64::consts::TAU * at as f64 / period;
                amplitudes
                    .iter()
                    .enumerate()
                    .map(|(l, a)| a * ((l + 1) as f64 * phase + l as f64).sin())
                    .sum::<f64>() as f32
            })
            .collect()
    }

    #[test]
    fn the_normalised_difference_is_the_papers_equation() {
        // McLeod & Wyvill 2005, equation 7, worked directly.
        let window = 96;
        let samples: Vec<f32> = (0..window).map(|at| ((at * at * 7 + at * 3) % 23) as f32 - 11.0).collect();
        let mut curves = Periodicity::new(window, 8000.0, 200.0);
        curves.measure(&samples);
        for lag in 0..=window / 2 {
            let (mut r, mut m) = (0.0, 0.0);
            for at in 0..window - lag {
                r += samples[at] * samples[at + lag];
                m += samples[at].powi(2) + samples[at + lag].powi(2);
            }
            assert_abs_diff_eq!(curves.waveform()[lag], 2.0 * r / m, epsilon = 1e-5);
        }
    }

    #[test]
    fn a_repeating_window_reaches_one_on_both_curves() {
        let mut curves = Periodicity::new(2048, 44_100.0, 174.0);
        curves.measure(&wave(2048, 100.0, &[1.0, 0.5, 0.3, 0.2]));
        assert_abs_diff_eq!(curves.waveform()[100], 1.0, epsilon = 1e-4);
        assert_abs_diff_eq!(curves.lines()[100], 1.0, epsilon = 0.05);
        assert_abs_diff_eq!(curves.lines()[200], 1.0, epsilon = 0.08);
    }

    #[test]
    fn lines_tell_a_loud_third_harmonic_from_the_fundamental() {
        // Third harmonic 20 dB above the others: on the waveform a third of the period looks like a period.
        let mut curves = Periodicity::new(4096, 44_100.0, 60.0);
        curves.measure(&wave(4096, 180.0, &[0.1, 0.1, 1.0, 0.1, 0.1]));
        assert!(curves.waveform()[60] > 0.9, "{}", curves.waveform()[60]);
        assert!(curves.lines()[180] - curves.lines()[60] > 0.3);
    }
}
