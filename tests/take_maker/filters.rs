//! Small filters for rendering: second-order sections (Bristow-Johnson, *Cookbook formulae for audio
//! EQ biquad filter coefficients*), reading between samples, convolution, pink noise, RMS in time.

use super::random::Random;
use rustfft::{FftPlanner, num_complex::Complex};
use std::f64::consts::{PI, TAU};

/// A second-order section in transposed direct form II.
#[derive(Debug, Clone)]
pub struct Section {
    b: [f64; 3],
    a: [f64; 2],
    z: [f64; 2],
}

impl Section {
    fn new(b: [f64; 3], a0: f64, a1: f64, a2: f64) -> Self {
        Self { b: b.map(|v| v / a0), a: [a1 / a0, a2 / a0], z: [0.0; 2] }
    }

    pub fn low_pass(hertz: f64, q: f64, rate: f64) -> Self {
        let (w, alpha) = Self::angle(hertz, q, rate);
        let c = w.cos();
        Self::new([(1.0 - c) / 2.0, 1.0 - c, (1.0 - c) / 2.0], 1.0 + alpha, -2.0 * c, 1.0 - alpha)
    }

    pub fn high_pass(hertz: f64, q: f64, rate: f64) -> Self {
        let (w, alpha) = Self::angle(hertz, q, rate);
        let c = w.cos();
        Self::new([(1.0 + c) / 2.0, -1.0 - c, (1.0 + c) / 2.0], 1.0 + alpha, -2.0 * c, 1.0 - alpha)
    }

    /// Peak gain 1 at the centre.
    pub fn band_pass(hertz: f64, q: f64, rate: f64) -> Self {
        let (w, alpha) = Self::angle(hertz, q, rate);
        Self::new([alpha, 0.0, -alpha], 1.0 + alpha, -2.0 * w.cos(), 1.0 - alpha)
    }

    fn angle(hertz: f64, q: f64, rate: f64) -> (f64, f64) {
        let w = TAU * (hertz / rate).min(0.49);
        (w, w.sin() / (2.0 * q))
    }

    pub fn push(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.z[0];
        self.z[0] = self.b[1] * x - self.a[0] * y + self.z[1];
        self.z[1] = self.b[2] * x - self.a[1] * y;
        y
    }

    pub fn run(mut self, samples: &mut [f32]) {
        for sample in samples {
            *sample = self.push(f64::from(*sample)) as f32;
        }
    }
}

/// Reads a recording at any position: 16 taps of a Hann-windowed sinc from a table.
pub struct Between {
    table: Vec<[f32; 16]>,
}

const PHASES: usize = 512;

impl Between {
    pub fn new() -> Self {
        let table = (0..=PHASES)
            .map(|phase| {
                let part = phase as f64 / PHASES as f64;
                std::array::from_fn(|tap| {
                    let x = tap as f64 - 7.0 - part;
                    let sinc = if x.abs() < 1e-9 { 1.0 } else { (PI * x).sin() / (PI * x) };
                    let hann = 0.5 + 0.5 * (PI * x / 8.5).cos();
                    (sinc * hann) as f32
                })
            })
            .collect();
        Self { table }
    }

    pub fn read(&self, samples: &[f32], position: f64) -> f32 {
        let whole = position.floor();
        let fine = (position - whole) * PHASES as f64;
        let (row, part) = (fine as usize, (fine - fine.floor()) as f32);
        let first = whole as i64 - 7;
        let (low, high) = (&self.table[row], &self.table[(row + 1).min(PHASES)]);
        (0..16)
            .map(|tap| {
                let at = first + tap as i64;
                let sample = if at >= 0 { samples.get(at as usize).copied().unwrap_or(0.0) } else { 0.0 };
                sample * (low[tap] + part * (high[tap] - low[tap]))
            })
            .sum()
    }
}

/// The whole convolution of two signals.
pub fn convolved(signal: &[f32], response: &[f32]) -> Vec<f32> {
    let length = signal.len() + response.len() - 1;
    let size = length.next_power_of_two();
    let mut planner = FftPlanner::<f32>::new();
    let spectrum = |planner: &mut FftPlanner<f32>, x: &[f32]| {
        let mut buffer: Vec<_> = x.iter().map(|s| Complex::new(*s, 0.0)).collect();
        buffer.resize(size, Complex::new(0.0, 0.0));
        planner.plan_fft_forward(size).process(&mut buffer);
        buffer
    };
    let mut product = spectrum(&mut planner, signal);
    for (a, b) in product.iter_mut().zip(spectrum(&mut planner, response)) {
        *a *= b;
    }
    planner.plan_fft_inverse(size).process(&mut product);
    product[..length].iter().map(|c| c.re / size as f32).collect()
}

/// White noise of RMS 1.
pub fn white(random: &mut Random) -> f64 {
    (random.unit() + random.unit() + random.unit() - 1.5) * 2.0
}

/// Pink noise (Kellet's filter of white noise, from memory), RMS near 1.
pub fn pink(length: usize, random: &mut Random) -> Vec<f32> {
    let mut b = [0.0f64; 3];
    let mut noise: Vec<f32> = (0..length)
        .map(|_| {
            let w = white(random);
            b[0] = 0.997_65 * b[0] + w * 0.099_046;
            b[1] = 0.963 * b[1] + w * 0.296_516_4;
            b[2] = 0.57 * b[2] + w * 1.052_691_3;
            (b.iter().sum::<f64>() + w * 0.1848) as f32
        })
        .collect();
    let level = rms(&noise).max(1e-9) as f32;
    noise.iter_mut().for_each(|s| *s /= level);
    noise
}

/// Root mean square.
pub fn rms(samples: &[f32]) -> f64 {
    (samples.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / samples.len().max(1) as f64).sqrt()
}

/// Short-time RMS every `hop` samples in windows of `window` samples, centred.
pub fn levels(samples: &[f32], window: usize, hop: usize) -> Vec<f64> {
    let mut sums = vec![0.0f64; samples.len() + 1];
    for (i, sample) in samples.iter().enumerate() {
        sums[i + 1] = sums[i] + f64::from(*sample).powi(2);
    }
    (0..samples.len())
        .step_by(hop)
        .map(|at| {
            let (from, to) = (at.saturating_sub(window / 2), (at + window / 2 + 1).min(samples.len()));
            ((sums[to] - sums[from]).max(0.0) / window as f64).sqrt()
        })
        .collect()
}
