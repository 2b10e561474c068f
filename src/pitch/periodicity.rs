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

use std::f64::consts::TAU;
use std::ops::Range;
use std::sync::Arc;

use rustfft::{Fft, FftPlanner, num_complex::Complex};

use super::refine::sum_of_squares;

/// Lines above this say little about the period and are mostly bow noise, in hertz.
const LINES_UP_TO: f64 = 5_000.0;

/// As many multiples of a frequency are compared with their neighbours, at most.
const MOST_MULTIPLES: usize = 22;
/// And so many at least.
const FEWEST_BETWEEN: usize = 3;
/// Lines this far below the strongest are not there, in dB.
const NOTHING_BELOW: f32 = 60.0;
/// Lines this far below the strongest multiple may be noise, in dB.
const STRONG_LINE: f32 = 20.0;
/// What sounds along is no further than this below strong lines around it, in dB,
const WELL_BELOW: f32 = 8.0;
/// or this much higher than what lies between the multiples.
const STANDS_OUT: f32 = 3.0;
/// A frequency that sounds is at most so much softer than the softer of its harmonics by which it is doubted, in dB; where
/// two notes meet there is nothing but noise.
const BESIDE: f32 = 6.0;

/// The two curves of one window at a time, at every `step`th lag.
pub(super) struct Periodicity {
    window: usize,
    size: usize,
    step: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
    spectrum: Vec<Complex<f32>>,
    folded: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    taper: Vec<f32>,
    /// The bins whose magnitudes count as lines.
    lines: Range<usize>,
    /// Their magnitudes, in the scale of the window at hand.
    magnitudes: Vec<f32>,
    /// Bins a hertz.
    bin: f64,
    /// 1 / (what the lines of a steady tone keep at each lag under the taper).
    kept: Vec<f32>,
    energy: Vec<f32>,
    /// What m(τ) loses from each lag to the next, padded to whole blocks of lags.
    lost: Vec<f32>,
    waveform: Vec<f32>,
    line: Vec<f32>,
}

/// The longest step between lags.
pub(super) const LONGEST_STEP: usize = 8;
/// The period of the tone that calibrates the taper, in samples: several of the longest steps.
const CALIBRATION: usize = 4 * LONGEST_STEP;

impl Periodicity {
    /// For windows of `window` samples (even) at `rate`; lags up to half a window are computed, every
    /// `step`th (a power of two up to [`LONGEST_STEP`]). A step of 2 leaves out what is above a quarter of
    /// the rate, as if the samples had been resampled without error to half the rate.
    pub(super) fn new(window: usize, step: usize, rate: f64, lowest: f64) -> Self {
        let lags = window / 2 / step + 1;
        let size = transform_size(window + window / 2 + 1).next_multiple_of(2 * step);
        let mut planner = FftPlanner::new();
        let forward = planner.plan_fft_forward(size);
        let inverse = planner.plan_fft_inverse(size / step);
        let scratch = forward.get_inplace_scratch_len().max(inverse.get_inplace_scratch_len());
        let bin = size as f64 / rate;
        let half = size / step / 2;
        let taper = (0..window)
            .map(|at| (0.5 - 0.5 * (TAU * (at as f64 + 0.5) / window as f64).cos()) as f32)
            .collect();
        let mut one = Self {
            window,
            size,
            step,
            forward,
            inverse,
            spectrum: vec![Complex::default(); size],
            folded: vec![Complex::default(); size / step],
            scratch: vec![Complex::default(); scratch],
            taper,
            magnitudes: vec![0.0; half + 1],
            bin,
            lines: ((0.7 * lowest * bin) as usize).clamp(1, half)
                ..((LINES_UP_TO * bin) as usize).clamp(1, half),
            kept: vec![1.0; lags],
            energy: vec![0.0; lags],
            lost: vec![0.0; (lags + 8) * step],
            waveform: vec![0.0; lags],
            line: vec![0.0; lags],
        };
        one.calibrate();
        one
    }

    /// Finds what the taper keeps at each lag: a single line far from both ends of the spectrum meets the
    /// envelope at each of its periods, and the envelope is smooth between them.
    fn calibrate(&mut self) {
        let (middle, reach) = (self.size / CALIBRATION, self.size / CALIBRATION / 2);
        let tone: Vec<f32> =
            (0..self.window).map(|at| (TAU * at as f64 / CALIBRATION as f64).cos() as f32).collect();
        let lines = std::mem::replace(&mut self.lines, middle - reach..middle + reach);
        self.measure(&tone);
        self.lines = lines;
        let period = CALIBRATION / self.step;
        let met: Vec<f32> = self.line.iter().step_by(period).copied().collect();
        for (lag, kept) in self.kept.iter_mut().enumerate() {
            let (before, part) = (lag / period, (lag % period) as f32 / period as f32);
            let after = met[(before + 1).min(met.len() - 1)];
            *kept = 1.0 / (met[before] + (after - met[before]) * part).max(0.05);
        }
    }

    /// Measures a window; gives its energy (sum of squares).
    pub(super) fn measure(&mut self, samples: &[f32]) -> f32 {
        for ((slot, &sample), &taper) in self.spectrum.iter_mut().zip(samples).zip(&self.taper) {
            *slot = Complex::new(sample, sample * taper);
        }
        self.spectrum[self.window..].fill(Complex::default());
        let total = self.energies(samples);
        self.forward.process_with_scratch(&mut self.spectrum, &mut self.scratch);
        self.powers(total);
        self.inverse.process_with_scratch(&mut self.folded, &mut self.scratch);
        let top = self.folded[0];
        // r(0) is half of m(0): this makes n(0) exactly 1.
        let scale = total * 2.0 / top.re.max(f32::MIN_POSITIVE);
        let line = 1.0 / top.im.max(f32::MIN_POSITIVE);
        let floor = total * 1e-6 + f32::MIN_POSITIVE;
        let curves = self.waveform.iter_mut().zip(&mut self.line);
        let known = self.folded.iter().zip(&self.energy).zip(&self.kept);
        for ((waveform, lines), ((both, &energy), &kept)) in curves.zip(known) {
            *waveform = both.re * scale / energy.max(floor);
            *lines = both.im * line * kept;
        }
        total
    }

    /// n(τ) at every `step`th lag from 0 to half a window.
    pub(super) fn waveform(&self) -> &[f32] {
        &self.waveform
    }

    /// The lines' curve at the same lags, about 1 at the period of a steady tone.
    pub(super) fn lines(&self) -> &[f32] {
        &self.line
    }

    /// How strong the lines at the multiples of a frequency are in the window at hand, and halfway between them.
    pub(super) fn multiples(&self, frequency: f64) -> Multiples {
        let Range { start, end } = self.lines;
        let reach = 0.15 * frequency * self.bin;
        // Either line of a Hann window is as wide as two transforms' bins of the window itself.
        let apart = (0.5 * frequency * self.bin - reach) * self.window as f64 > 2.0 * self.size as f64;
        let mut multiples = Multiples { heights: [0.0; 2 * MOST_MULTIPLES + 2], known: 1..1, apart };
        for (half, height) in multiples.heights.iter_mut().enumerate().skip(1) {
            let at = 0.5 * half as f64 * frequency * self.bin;
            let from = (at - reach).ceil() as usize;
            let to = ((at + reach).floor() as usize + 1).max(from + 1);
            if to > end {
                break;
            }
            if from < start {
                // The half below it must be known too.
                let start = half.div_ceil(2) + 1;
                multiples.known = start..start;
                continue;
            }
            // And the half above it.
            multiples.known.end = half.div_ceil(2).max(multiples.known.start);
            let top = self.magnitudes[from..to].iter().fold(f32::MIN_POSITIVE, |a, &b| a.max(b));
            // 20 log10 of two is 6.02 dB.
            *height = 6.02 * top.log2();
        }
        // Below that there is nothing but rounding.
        let known = 2 * multiples.known.start - 1..2 * multiples.known.end;
        let heights = &mut multiples.heights[known];
        let floor = heights.iter().copied().fold(f32::MIN, f32::max) - NOTHING_BELOW;
        heights.iter_mut().for_each(|height| *height = height.max(floor));
        multiples
    }

    /// m(τ), the energy of the two overlapping parts, at every `step`th lag; gives the total energy.
    fn energies(&mut self, samples: &[f32]) -> f32 {
        const BLOCK: usize = 8;
        let total = sum_of_squares(samples);
        let (head, tail) = samples.split_at(self.window / 2);
        for ((lost, a), b) in self.lost.iter_mut().zip(head).zip(tail.iter().rev()) {
            *lost = a * a + b * b;
        }
        // Exact sums from block to block, short ones within a block.
        let mut left = 2.0 * total;
        let blocks = self.lost.chunks_exact(BLOCK * self.step);
        for (slots, lost) in self.energy.chunks_mut(BLOCK).zip(blocks) {
            let base = left as f32;
            let mut gone = 0.0f32;
            for (slot, lost) in slots.iter_mut().zip(lost.chunks_exact(self.step)) {
                *slot = base - gone;
                gone += lost.iter().sum::<f32>();
            }
            left -= f64::from(gone);
        }
        total as f32
    }

    /// Both spectra from the transform of the pair, up to the fold: power of the plain window as real part,
    /// magnitude of the tapered one as imaginary part, scaled so that neither drowns the other in rounding.
    fn powers(&mut self, total: f32) {
        let (half, size) = (self.folded.len() / 2, self.size);
        let Range { start, end } = self.lines.clone();
        self.folded[0] = Complex::new(self.spectrum[0].re.powi(2), 0.0);
        let highest = if self.step == 1 { self.spectrum[half].re.powi(2) } else { 0.0 };
        self.folded[half] = Complex::new(highest, 0.0);
        let pairs = |range: Range<usize>| {
            let mirrored = self.spectrum[size - range.end + 1..size - range.start + 1].iter().rev();
            self.spectrum[range].iter().zip(mirrored)
        };
        for range in [1..start, end..half] {
            for (slot, (a, b)) in self.folded[range.clone()].iter_mut().zip(pairs(range)) {
                *slot = Complex::new(plain(a, b), 0.0);
            }
        }
        for (slot, (a, b)) in self.folded[start..end].iter_mut().zip(pairs(start..end)) {
            let tapered = Complex::new(a.im + b.im, b.re - a.re).norm_sqr() * 0.25;
            *slot = Complex::new(plain(a, b), tapered.sqrt());
        }
        for (kept, slot) in self.magnitudes[start..end].iter_mut().zip(&self.folded[start..end]) {
            *kept = slot.im;
        }
        let mut magnitudes = [0.0f32; 4];
        for four in self.folded[start..end].chunks_exact(4) {
            for (sum, one) in magnitudes.iter_mut().zip(four) {
                *sum += one.im;
            }
        }
        // Half the sum of the powers, by Parseval's theorem.
        let powers = 0.5 * self.size as f32 * total;
        let scale = powers / magnitudes.iter().sum::<f32>().max(f32::MIN_POSITIVE);
        for slot in &mut self.folded[start..end] {
            slot.im *= scale;
        }
        let (front, back) = self.folded.split_at_mut(half);
        for (a, b) in front[1..].iter().zip(back[1..].iter_mut().rev()) {
            *b = *a;
        }
    }
}

/// The lines at the multiples of a frequency.
pub(super) struct Multiples {
    /// The heights at so many halves of the frequency, in dB, in the scale of the window.
    heights: [f32; 2 * MOST_MULTIPLES + 2],
    /// The multiples that lie among the lines.
    known: Range<usize>,
    /// Whether what lies halfway between them is out of their lines' reach.
    apart: bool,
}

impl Multiples {
    fn height(&self, k: usize) -> f32 {
        self.heights[2 * k]
    }

    /// Those that neither of two numbers divides, each with the heights of the nearest below and above it that one of
    /// them does.
    fn undivided(&self, divisors: [usize; 2]) -> impl Iterator<Item = (usize, [f32; 2])> {
        let divided = move |k: &usize| divisors.iter().any(|&d| k.is_multiple_of(d));
        self.known.clone().filter(move |k| !divided(k)).filter_map(move |k| {
            let below = (self.known.start..k).rev().find(divided)?;
            let above = (k + 1..self.known.end).find(divided)?;
            Some((k, [self.height(below), self.height(above)]))
        })
    }

    /// How far the odd multiples lie below the even ones around them, in dB (negative: below), which tells a note from the
    /// octave below it; the median, so that one strong or missing harmonic decides nothing. `None` where there are
    /// fewer than [`FEWEST_BETWEEN`] of them.
    pub(super) fn odd_over_even(&self) -> Option<f32> {
        median(self.undivided([2, 2]).map(|(k, [below, above])| self.height(k) - 0.5 * (below + above)))
    }

    /// How far those that neither of two numbers divides lie below the lower of the two around them, in dB: how little
    /// there is of a sound whose second and third harmonics, say, are two notes. (Of the lower, because above the last
    /// harmonic of a tone there is nothing.) `None` as above.
    pub(super) fn over_both_around(&self, divisors: [usize; 2]) -> Option<f32> {
        median(self.undivided(divisors).map(|(k, [below, above])| self.height(k) - below.min(above)))
    }

    /// Whether the frequency itself sounds nearly as loud as the softer of the lines at two numbers, which may be notes of
    /// their own: then they are its harmonics, and what is missing between them is missing for another reason (a string
    /// that is plucked at a fifth of its length has no fifth harmonic).
    pub(super) fn sounds_beside(&self, [one, other]: [usize; 2]) -> bool {
        [1, one, other].iter().all(|k| self.known.contains(k))
            && self.height(1) > self.height(one).min(self.height(other)) - BESIDE
    }

    /// Whether nothing sounds at the odd multiples where the even ones are strong: they lie well below them and do not
    /// stand out from what is halfway between the multiples. Never where the window is too short to tell.
    pub(super) fn are_empty_where_odd(&self) -> bool {
        if !self.apart {
            return false;
        }
        let top = self.known.clone().map(|k| self.height(k)).fold(f32::MIN, f32::max);
        let strong = || {
            let means = self.undivided([2, 2]).map(|(k, [below, above])| (k, 0.5 * (below + above)));
            means.filter(|&(_, around)| around > top - STRONG_LINE)
        };
        let noise = |k: usize| 0.5 * (self.heights[2 * k - 1] + self.heights[2 * k + 1]);
        let below = median(strong().map(|(k, around)| self.height(k) - around));
        let out = median(strong().map(|(k, _)| self.height(k) - noise(k)));
        below.is_some_and(|below| below < -WELL_BELOW) && out.is_some_and(|out| out < STANDS_OUT)
    }
}

/// The median of at least [`FEWEST_BETWEEN`] values and at most [`MOST_MULTIPLES`].
fn median(values: impl Iterator<Item = f32>) -> Option<f32> {
    let mut sorted = [0.0f32; MOST_MULTIPLES];
    let mut count = 0;
    for (slot, value) in sorted.iter_mut().zip(values) {
        *slot = value;
        count += 1;
    }
    let sorted = &mut sorted[..count];
    sorted.sort_unstable_by(f32::total_cmp);
    (count >= FEWEST_BETWEEN).then(|| sorted[count / 2])
}

/// The power of the real part's transform at a bin, from the pair's transform there and at the mirrored bin.
fn plain(a: &Complex<f32>, b: &Complex<f32>) -> f32 {
    Complex::new(a.re + b.re, a.im - b.im).norm_sqr() * 0.25
}

/// The smallest length of at least `least` of the form 2ⁿ or 3·2ⁿ.
fn transform_size(least: usize) -> usize {
    let power = least.next_power_of_two();
    if power / 4 * 3 >= least { power / 4 * 3 } else { power }
}

/// The window nearest to `wanted` samples that wastes no transform: up to 3 % shorter if that saves a size.
pub(super) fn thrifty_window(wanted: usize) -> usize {
    let wanted = wanted & !1;
    let shorter = (wanted * 97 / 100) & !1;
    let size = transform_size(shorter + shorter / 2 + 1);
    if size < transform_size(wanted + wanted / 2 + 1) { ((size - 1) / 3 * 2) & !1 } else { wanted }
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
                let phase = TAU * at as f64 / period;
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
        let mut curves = Periodicity::new(window, 1, 8000.0, 200.0);
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
    fn a_step_of_two_gives_every_second_lag_of_a_sound_without_treble() {
        let samples = wave(2048, 100.3, &[1.0, 0.5, 0.3, 0.2]);
        let mut every = Periodicity::new(2048, 1, 44_100.0, 174.0);
        let mut second = Periodicity::new(2048, 2, 44_100.0, 174.0);
        every.measure(&samples);
        second.measure(&samples);
        assert_eq!(second.waveform().len(), 513);
        for lag in 0..=512 {
            assert_abs_diff_eq!(second.waveform()[lag], every.waveform()[2 * lag], epsilon = 2e-3);
            assert_abs_diff_eq!(second.lines()[lag], every.lines()[2 * lag], epsilon = 1e-2);
        }
    }

    #[test]
    fn a_repeating_window_reaches_one_on_both_curves() {
        let mut curves = Periodicity::new(2048, 1, 44_100.0, 174.0);
        curves.measure(&wave(2048, 100.0, &[1.0, 0.5, 0.3, 0.2]));
        assert_abs_diff_eq!(curves.waveform()[100], 1.0, epsilon = 1e-4);
        assert_abs_diff_eq!(curves.lines()[100], 1.0, epsilon = 0.05);
        assert_abs_diff_eq!(curves.lines()[200], 1.0, epsilon = 0.08);
    }

    #[test]
    fn lines_tell_a_loud_third_harmonic_from_the_fundamental() {
        // Third harmonic 20 dB above the others: on the waveform a third of the period looks like a period.
        let mut curves = Periodicity::new(4096, 1, 44_100.0, 60.0);
        curves.measure(&wave(4096, 180.0, &[0.1, 0.1, 1.0, 0.1, 0.1]));
        assert!(curves.waveform()[60] > 0.9, "{}", curves.waveform()[60]);
        assert!(curves.lines()[180] - curves.lines()[60] > 0.3);
    }

    #[test]
    fn odd_lines_say_how_loud_the_octave_below_is() {
        let mut curves = Periodicity::new(4096, 1, 44_100.0, 60.0);
        // A note of period 100 with strong even and odd harmonics, and the octave below it 20 dB softer.
        let both: Vec<f64> = (1..=20).map(|k| if k % 2 == 0 { 1.0 } else { 0.1 }).collect();
        curves.measure(&wave(4096, 200.0, &both));
        let below = curves.multiples(44_100.0 / 200.0).odd_over_even().expect("lines enough");
        assert!((below + 20.0).abs() < 2.0, "{below}");
        let own = curves.multiples(44_100.0 / 100.0).odd_over_even().expect("lines enough");
        assert!(own.abs() < 2.0, "{own}");
    }

    #[test]
    fn an_octave_below_that_noise_hides_is_empty_and_one_that_stands_out_is_not() {
        let mut state = 1_u32;
        let mut white = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / (1_u32 << 23) as f32 - 1.0
        };
        // The lines of a cello's note at 196 Hz, as one was measured; those of 98 Hz between them at a strength.
        let mut empty = |odd: f64, noise: f32, window: usize| {
            let even = [1.0, 1.0, 0.35, 0.22, 0.18, 0.08, 0.14, 0.07];
            let lines: Vec<f64> = even.iter().flat_map(|&even| [odd, even]).collect();
            let mut curves = Periodicity::new(window, 1, 44_100.0, 60.0);
            let samples: Vec<f32> =
                wave(window, 450.0, &lines).iter().map(|sample| sample + noise * white()).collect();
            curves.measure(&samples);
            curves.multiples(98.0).are_empty_where_odd()
        };
        assert!(empty(0.0, 0.5, 4096));
        assert!(!empty(0.15, 0.5, 4096), "lines that stand out");
        assert!(!empty(0.0, 0.5, 2048), "46 ms are too short to tell lines from what lies between them");
    }
}
