//! The true pitch of a source recording, by an estimator that shares nothing with the program's
//! tracker: non-linear least squares for a harmonic tone. For a Hann-weighted window much longer than
//! the period the harmonics hardly overlap, and the least-squares fit maximises the summed power at
//! the harmonics (Christensen & Jakobsson, *Multi-Pitch Estimation*, 2009, harmonic summation).

use rustfft::{FftPlanner, num_complex::Complex};

/// A coarse pitch of a steady tone, octave included: harmonics against the places half-way between
/// them (the kernel of Camacho & Harris, "A sawtooth waveform inspired pitch estimator", JASA 2008).
pub fn coarse_pitch(samples: &[f32], rate: f64) -> f64 {
    let length = 32768usize;
    let middle = samples.len() / 2;
    let used = &samples[middle.saturating_sub(length / 2)..(middle + length / 2).min(samples.len())];
    let mut buffer = vec![Complex::new(0.0, 0.0); 2 * length];
    for (i, sample) in used.iter().enumerate() {
        let hann = 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / used.len() as f64).cos();
        buffer[i].re = f64::from(*sample) * hann;
    }
    FftPlanner::new().plan_fft_forward(buffer.len()).process(&mut buffer);
    let bin = rate / buffer.len() as f64;
    // Widened by a maximum over ±1.2 % so that vibrato does not fall between the teeth.
    let loudness = |hertz: f64| {
        let (low, high) = ((hertz * 0.988 / bin).floor() as usize, (hertz * 1.012 / bin).ceil() as usize);
        buffer[low.max(1)..=high.min(length - 1)].iter().map(|c| c.norm()).fold(0.0, f64::max).sqrt()
    };
    let mut best = (0.0, 0.0);
    let mut hertz = 30.0;
    while hertz < 2800.0 {
        let mut score = 0.0;
        for harmonic in 1..=16 {
            let at = harmonic as f64 * hertz;
            if at > 5000.0f64.max(2.2 * hertz) {
                break;
            }
            let weight = 1.0 / (harmonic as f64).sqrt();
            score += weight * (loudness(at) - loudness(at - 0.5 * hertz));
        }
        if score > best.0 {
            best = (score, hertz);
        }
        hertz *= 1.004;
    }
    best.1
}

/// Pitch in hertz of one window, within ±`reach` cents of `near`.
pub fn fitted_pitch(window: &[f32], rate: f64, near: f64, reach: f64) -> f64 {
    let count = window.len();
    let weighted: Vec<f64> = window
        .iter()
        .enumerate()
        .map(|(i, s)| {
            f64::from(*s) * (0.5 - 0.5 * (std::f64::consts::TAU * (i as f64 + 0.5) / count as f64).cos())
        })
        .collect();
    let harmonics = ((4000.0 / near) as usize).clamp(3, 12);
    let power = |cents: f64| {
        let hertz = near * (cents / 1200.0).exp2();
        (1..=harmonics)
            .map(|harmonic| {
                // One bin of a Fourier transform at any frequency (Goertzel 1958).
                let twice = 2.0 * (std::f64::consts::TAU * hertz * harmonic as f64 / rate).cos();
                let (mut s1, mut s2) = (0.0, 0.0);
                for sample in &weighted {
                    (s1, s2) = (sample + twice * s1 - s2, s1);
                }
                s1 * s1 + s2 * s2 - twice * s1 * s2
            })
            .sum::<f64>()
    };
    let step = 6.0;
    let mut best = (f64::MIN, 0.0);
    let mut cents = -reach;
    while cents <= reach {
        let here = power(cents);
        if here > best.0 {
            best = (here, cents);
        }
        cents += step;
    }
    let (mut low, mut high) = (best.1 - step, best.1 + step);
    for _ in 0..12 {
        let (a, b) = (low + 0.382 * (high - low), low + 0.618 * (high - low));
        if power(a) > power(b) {
            high = b;
        } else {
            low = a;
        }
    }
    near * (0.5 * (low + high) / 1200.0).exp2()
}

/// Seconds between two points of a pitch track.
pub const TRACK_STEP: f64 = 0.05;

/// The pitch every [`TRACK_STEP`], as cents above the median, and that median in hertz. Windows hold
/// at least seven periods.
pub fn pitch_track(samples: &[f32], rate: f64) -> (f64, Vec<f32>) {
    let coarse = coarse_pitch(samples, rate);
    let window = ((0.093f64).max(8.0 / coarse) * rate) as usize;
    let hop = TRACK_STEP * rate;
    let points = (samples.len() as f64 / hop) as usize + 1;
    // The first fit looks widely, at the middle, so that the track starts from the right place.
    let middle = samples.len().saturating_sub(window) / 2;
    let mut near = fitted_pitch(&samples[middle..(middle + window).min(samples.len())], rate, coarse, 60.0);
    let centre = near;
    let mut hertz = Vec::with_capacity(points);
    for point in 0..points {
        let start = ((point as f64 * hop) as usize)
            .saturating_sub(window / 2)
            .min(samples.len().saturating_sub(window));
        let fitted = fitted_pitch(&samples[start..(start + window).min(samples.len())], rate, near, 24.0);
        if (1200.0 * (fitted / centre).log2()).abs() < 70.0 {
            near = fitted;
        } else {
            near = centre;
        }
        hertz.push(near);
    }
    let mut sorted = hertz.clone();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2];
    (median, hertz.iter().map(|h| (1200.0 * (h / median).log2()) as f32).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_harmonic_tone_is_measured_to_a_tenth_of_a_cent() {
        for hertz in [41.9, 146.2, 661.3] {
            let tone: Vec<f32> = (0..44100)
                .map(|i| {
                    let phase = std::f64::consts::TAU * hertz * f64::from(i) / 44100.0;
                    (1..8).map(|l| (phase * f64::from(l)).sin() / f64::from(l)).sum::<f64>() as f32 * 0.2
                })
                .collect();
            let (median, _) = pitch_track(&tone, 44100.0);
            assert!((1200.0 * (median / hertz).log2()).abs() < 0.1, "{hertz}: {median}");
        }
    }
}
