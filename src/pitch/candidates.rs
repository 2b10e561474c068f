//! Period candidates from one window of samples.
//!
//! The normalised square difference n(τ) = 2 r(τ) / m(τ) of McLeod & Wyvill, "A smarter way to find
//! pitch" (ICMC 2005), with r by FFT and m by running sums; a candidate is refined at the longest
//! multiple of its period that the window holds, which divides the error by that multiple.

use std::sync::Arc;

use rustfft::{Fft, FftPlanner, num_complex::Complex};

use super::contour::{Candidate, Frame, MOST_CANDIDATES};
use super::settings::TrackerSettings;
use crate::units::{Hertz, Seconds};

/// A longer period must beat a shorter one by this much an octave.
const OCTAVE_COST: f32 = 0.02;

/// Reads one window at a time.
pub(super) struct FrameReader {
    rate: f64,
    window: usize,
    shortest: usize,
    longest: usize,
    size: usize,
    forward: Arc<dyn Fft<f64>>,
    inverse: Arc<dyn Fft<f64>>,
    spectrum: Vec<Complex<f64>>,
    scratch: Vec<Complex<f64>>,
    squares: Vec<f64>,
    nsdf: Vec<f64>,
}

impl FrameReader {
    pub(super) fn new(settings: &TrackerSettings) -> Self {
        let rate = settings.rate.hertz();
        let longest = (rate / settings.lowest.0).ceil() as usize;
        let shortest = ((rate / settings.highest.0).floor() as usize).max(4);
        let window = ((settings.window.0 * rate) as usize).max(longest * 5 / 2) & !1;
        let size = (window + window / 2 + 2).next_power_of_two();
        let mut planner = FftPlanner::new();
        let forward = planner.plan_fft_forward(size);
        let inverse = planner.plan_fft_inverse(size);
        let scratch = forward.get_inplace_scratch_len().max(inverse.get_inplace_scratch_len());
        Self {
            rate,
            window,
            shortest,
            longest,
            size,
            forward,
            inverse,
            spectrum: vec![Complex::default(); size],
            scratch: vec![Complex::default(); scratch],
            squares: vec![0.0; window + 1],
            nsdf: vec![0.0; window / 2 + 2],
        }
    }

    /// Samples in a window.
    pub(super) fn window(&self) -> usize {
        self.window
    }

    /// The frame of a window, without its time and without a decision about its pitch.
    pub(super) fn read(&mut self, samples: &[f32]) -> Frame {
        let mean = samples.iter().map(|&x| f64::from(x)).sum::<f64>() / self.window as f64;
        let mut sum = 0.0;
        for (index, &x) in samples.iter().enumerate() {
            let x = f64::from(x) - mean;
            self.spectrum[index] = Complex::new(x, 0.0);
            sum += x * x;
            self.squares[index + 1] = sum;
        }
        let level_db = level(sum / self.window as f64);
        let mut frame = Frame {
            time: Seconds(0.0),
            pitch: None,
            clarity: 0.0,
            level_db,
            candidates: [None; MOST_CANDIDATES],
            harmonic_db: -120.0,
            noise_db: level_db,
        };
        if level_db < -90.0 {
            return frame;
        }
        self.spectrum[self.window..].fill(Complex::default());
        self.forward.process_with_scratch(&mut self.spectrum, &mut self.scratch);
        for bin in &mut self.spectrum {
            *bin = Complex::new(bin.norm_sqr(), 0.0);
        }
        self.inverse.process_with_scratch(&mut self.spectrum, &mut self.scratch);
        let scale = 2.0 / self.size as f64;
        let lags = self.nsdf.len();
        for lag in 0..lags {
            let energy = self.squares[self.window - lag] + sum - self.squares[lag];
            self.nsdf[lag] = if energy > sum * 1e-6 { self.spectrum[lag].re * scale / energy } else { 0.0 };
        }

        let mut found = [None::<Candidate>; MOST_CANDIDATES];
        let mut clarity = 0.0f32;
        for lag in self.shortest..=self.longest.min(lags - 2) {
            if self.nsdf[lag] < 0.3 || !self.is_peak(lag) {
                continue;
            }
            let (period, height) = self.refined(lag);
            let pitch = self.rate / period;
            let octaves_below_top = (self.shortest as f64 / self.rate * pitch).log2() as f32;
            let strength = height as f32 + OCTAVE_COST * octaves_below_top;
            clarity = clarity.max(height as f32);
            insert(&mut found, Candidate { pitch: Hertz(pitch), strength });
        }
        frame.candidates = found;
        frame.clarity = clarity.clamp(0.0, 1.0);
        let share = f64::from(frame.clarity);
        frame.harmonic_db = level(share * sum / self.window as f64);
        frame.noise_db = level((1.0 - share) * sum / self.window as f64);
        frame
    }

    fn is_peak(&self, lag: usize) -> bool {
        self.nsdf[lag] >= self.nsdf[lag - 1] && self.nsdf[lag] > self.nsdf[lag + 1]
    }

    /// The period near a peak, from the peak at its largest usable multiple, and the height at one period.
    fn refined(&self, lag: usize) -> (f64, f64) {
        let (mut period, height) = parabola(&self.nsdf, lag);
        let mut multiple = 2;
        while period * f64::from(multiple) < (self.nsdf.len() - 5) as f64 {
            let near = (period * f64::from(multiple)).round() as usize;
            let reach = 2.min(lag / 3);
            let Some(peak) = (near - reach..=near + reach).find(|&at| self.is_peak(at)) else { break };
            let (at, far) = parabola(&self.nsdf, peak);
            if far < 0.7 * height {
                break;
            }
            period = at / f64::from(multiple);
            multiple *= 2;
        }
        (period, height)
    }
}

/// The top of the parabola through a point and its neighbours: place and height.
fn parabola(values: &[f64], at: usize) -> (f64, f64) {
    let (a, b, c) = (values[at - 1], values[at], values[at + 1]);
    let bend = a - 2.0 * b + c;
    if bend >= 0.0 {
        return (at as f64, b);
    }
    let shift = (0.5 * (a - c) / bend).clamp(-1.0, 1.0);
    (at as f64 + shift, b - 0.25 * (a - c) * shift)
}

/// Puts a candidate in its place, strongest first; the weakest falls out.
fn insert(found: &mut [Option<Candidate>; MOST_CANDIDATES], new: Candidate) {
    let mut new = Some(new);
    for slot in found {
        if slot.is_none_or(|old| new.is_some_and(|new| new.strength > old.strength)) {
            std::mem::swap(slot, &mut new);
        }
        if new.is_none() {
            return;
        }
    }
}

/// Mean square in dB below full scale, not under −120.
fn level(power: f64) -> f32 {
    (10.0 * power.max(1e-12).log10()) as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Instrument;
    use crate::pitch::contour;
    use crate::samples::Samples;
    use crate::units::SampleRate;

    #[test]
    fn a_sawtooth_has_its_pitch_within_a_cent() {
        let rate = 44_100;
        for (instrument, hz) in [
            (Instrument::Violin, 440.0),
            (Instrument::Bass, 41.2),
            (Instrument::Cello, 65.4),
            (Instrument::Violin, 1318.5),
        ] {
            let mono = (0..rate)
                .map(|i| {
                    let t = f64::from(i) / f64::from(rate);
                    (1..=12)
                        .map(|l| 0.1 / f64::from(l) * (std::f64::consts::TAU * hz * f64::from(l) * t).sin())
                        .sum::<f64>() as f32
                })
                .collect();
            let rate = SampleRate(rate as u32);
            let line =
                contour(&Samples { mono, rate }, TrackerSettings::for_instrument(rate, Some(instrument)));
            assert_eq!(line.frames.len(), 101);
            for frame in &line.frames[3..97] {
                let cents = frame
                    .pitch
                    .unwrap_or_else(|| panic!("no pitch at {:?} of {hz}", frame.time))
                    .cents_above(Hertz(hz))
                    .0;
                assert!(cents.abs() < 1.0, "{cents} c at {:?}", frame.time);
            }
        }
    }

    #[test]
    fn silence_has_no_pitch() {
        let rate = SampleRate(8000);
        let line =
            contour(&Samples { mono: vec![0.0; 8000], rate }, TrackerSettings::for_instrument(rate, None));
        assert!(line.frames.iter().all(|frame| frame.pitch.is_none()));
    }
}
