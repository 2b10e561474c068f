//! Samples at a lower rate, through a filter that keeps what lies above half the new rate out of it.
//!
//! Band-limited interpolation with a windowed sinc, the filter worked out once for each phase (Smith & Gossett, *A
//! flexible sampling-rate conversion method*, ICASSP 1984; Kaiser's window and his formula for the ripple that it
//! leaves, *Nonrecursive digital filter design*, 1974).

use crate::samples::Samples;
use crate::units::SampleRate;
use std::f64::consts::PI;

/// Zero crossings of the sinc to either side.
const CROSSINGS: f64 = 12.0;
/// Kaiser's β for 70 dB: 0.1102 (70 − 8.7).
const BETA: f64 = 6.755;
/// The edge of the band that is kept, of half the new rate: the filter falls from here to there.
const KEPT: f64 = 0.9;
/// More phases than this are rounded to this many: the moment is then off by 1/1024 of an input sample at most.
const MOST_PHASES: u64 = 512;

/// The samples at `rate` or, where they have fewer already, as they are.
pub fn resampled(samples: &Samples, rate: SampleRate) -> Samples {
    if samples.rate.0 <= rate.0 || samples.mono.is_empty() {
        return samples.clone();
    }
    let (from, to) = (u64::from(samples.rate.0), u64::from(rate.0));
    let exact = to / greatest_common_divisor(from, to);
    let phases = exact.min(MOST_PHASES);
    // In input samples.
    let reach = (CROSSINGS * from as f64 / to as f64 / KEPT).ceil() as usize;
    let filters: Vec<Vec<f32>> = (0..phases)
        .map(|phase| filter(phase as f64 / phases as f64, reach, KEPT * to as f64 / from as f64))
        .collect();
    // Silence at both ends, so that no filter reaches over an end.
    let mut padded = vec![0.0; reach];
    padded.extend_from_slice(&samples.mono);
    padded.resize(padded.len() + reach + 10, 0.0);
    let count = (samples.mono.len() as u64 * to).div_ceil(from);
    let mono = (0..count)
        .map(|k| {
            // Where output k lies, in phases of an input sample.
            let at = (k * from * phases + to / 2) / to;
            let (whole, phase) = ((at / phases) as usize, (at % phases) as usize);
            dot(&filters[phase], &padded[whole..])
        })
        .collect();
    Samples { mono, rate }
}

/// The taps for a point `phase` of a sample after the middle one; `cutoff` is of half the input rate. The taps sum to 1;
/// zeros make their number a multiple of eight.
fn filter(phase: f64, reach: usize, cutoff: f64) -> Vec<f32> {
    let width = reach as f64 + 1.0;
    let taps: Vec<f64> = (0..=2 * reach)
        .map(|k| {
            let x = k as f64 - reach as f64 - phase;
            let sinc = if x == 0.0 { 1.0 } else { (PI * cutoff * x).sin() / (PI * cutoff * x) };
            sinc * bessel_i0(BETA * (1.0 - (x / width).powi(2)).max(0.0).sqrt())
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    let mut taps: Vec<f32> = taps.iter().map(|tap| (tap / sum) as f32).collect();
    taps.resize(taps.len().next_multiple_of(8), 0.0);
    taps
}

/// The sum in eight parts, so that it can be worked out eight at a time. There are a multiple of eight taps.
fn dot(taps: &[f32], samples: &[f32]) -> f32 {
    let mut parts = [0.0_f32; 8];
    for (taps, samples) in taps.as_chunks::<8>().0.iter().zip(samples.as_chunks::<8>().0) {
        for k in 0..8 {
            parts[k] += taps[k] * samples[k];
        }
    }
    parts.iter().sum()
}

/// The modified Bessel function of the first kind, order 0, by its power series (Abramowitz & Stegun 9.6.12).
fn bessel_i0(x: f64) -> f64 {
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..40 {
        term *= (0.5 * x / f64::from(k)).powi(2);
        sum += term;
    }
    sum
}

fn greatest_common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { greatest_common_divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn tone(hertz: f64, rate: u32) -> Samples {
        let mono =
            (0..rate).map(|k| (2.0 * PI * hertz * f64::from(k) / f64::from(rate)).sin() as f32).collect();
        Samples { mono, rate: SampleRate(rate) }
    }

    fn level_db(samples: &[f32]) -> f64 {
        let middle = &samples[samples.len() / 4..samples.len() * 3 / 4];
        let power = middle.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / middle.len() as f64;
        10.0 * (2.0 * power).log10()
    }

    #[test]
    fn a_tone_in_the_band_keeps_its_level_and_its_phase() {
        for rate in [44_100, 48_000, 22_050, 96_000, 47_999] {
            let out = resampled(&tone(1000.0, rate), SampleRate(16_000));
            assert_eq!(out.mono.len(), 16_000, "{rate}");
            let same = tone(1000.0, 16_000);
            for (k, (a, b)) in out.mono.iter().zip(&same.mono).enumerate().skip(200).take(15_600) {
                assert!((a - b).abs() < 2e-3, "{rate} Hz, sample {k}: {a} {b}");
            }
        }
    }

    #[test]
    fn what_lies_above_half_the_new_rate_does_not_come_back_as_another_tone() {
        for hertz in [8_900.0, 10_000.0, 15_000.0, 20_000.0] {
            let out = resampled(&tone(hertz, 44_100), SampleRate(16_000));
            assert!(level_db(&out.mono) < -60.0, "{hertz} Hz: {} dB", level_db(&out.mono));
        }
        assert_abs_diff_eq!(
            level_db(&resampled(&tone(6000.0, 48_000), SampleRate(16_000)).mono),
            0.0,
            epsilon = 0.1
        );
    }

    #[test]
    fn fewer_samples_stay_as_they_are() {
        let low = tone(300.0, 8_000);
        assert_eq!(resampled(&low, SampleRate(16_000)), low);
        let none = Samples { mono: vec![], rate: SampleRate(48_000) };
        assert!(resampled(&none, SampleRate(16_000)).mono.is_empty());
    }
}
