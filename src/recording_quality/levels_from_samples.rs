//! Samples become levels: how loud, how quiet, and how periodic each moment is.

/// A power as decibels below full scale, where a full-scale square wave is 0 dB. Nothing is −200 dB.
pub(super) fn decibels(power: f64) -> f64 {
    10.0 * power.max(1e-20).log10()
}

/// The constant offset of the recorder: the median over the quietest quarter of frames of `length`
/// samples of their means. Loud frames do not count, since a lopsided or clipped wave has a mean of
/// its own.
pub(super) fn offset(samples: &[f32], length: usize) -> f64 {
    let mut frames: Vec<(f64, f64)> = samples
        .chunks(length.max(1))
        .map(|frame| {
            let count = frame.len() as f64;
            let mean = frame.iter().map(|&sample| f64::from(sample)).sum::<f64>() / count;
            (frame.iter().map(|&sample| (f64::from(sample) - mean).powi(2)).sum::<f64>() / count, mean)
        })
        .collect();
    frames.sort_by(|a, b| a.0.total_cmp(&b.0));
    frames.truncate(frames.len().div_ceil(4));
    let means: Vec<f64> = frames.into_iter().map(|(_, mean)| mean).collect();
    quantile(&means, 0.5).unwrap_or(0.0)
}

/// Level of each frame of `length` samples in decibels, with `offset` taken out.
pub(super) fn frame_levels(samples: &[f32], length: usize, offset: f64) -> Vec<f64> {
    samples
        .chunks(length.max(1))
        .map(|frame| {
            let squares: f64 = frame.iter().map(|&sample| (f64::from(sample) - offset).powi(2)).sum();
            decibels(squares / frame.len() as f64)
        })
        .collect()
}

/// The value below which `share` (0 to 1) of `values` lie; `None` of nothing.
pub(super) fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(((sorted.len() as f64 - 1.0).max(0.0) * share).round() as usize).copied()
}

/// How periodic one moment is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Periodicity {
    /// Level of the moment in decibels, below 2 kHz.
    pub level: f64,
    /// Highest normalised square difference at a period of 38 Hz to 1.5 kHz: 1 for a steady tone,
    /// s / (s + n) for a tone of power s in noise of power n, under 0.4 for noise.
    pub clarity: f64,
}

/// Seconds from one moment to the next.
pub(super) const MOMENT: f64 = 0.05;

/// The periodicity of each moment, 50 ms apart, from windows of 100 ms. McLeod and Wyvill, "A smarter
/// way to find pitch", ICMC 2005: the normalised square difference, searched from its first zero on,
/// so that slow noise, which resembles itself over short lags, is not taken for a tone. We differ: the
/// sound is first averaged down to about 4 kHz, since only presence is asked and not pitch.
pub(super) fn periodicities(samples: &[f32], rate: f64) -> Vec<Periodicity> {
    let factor = ((rate / 4000.0) as usize).max(1);
    let slow: Vec<f64> = samples
        .chunks_exact(factor)
        .map(|chunk| chunk.iter().map(|&sample| f64::from(sample)).sum::<f64>() / factor as f64)
        .collect();
    let rate = rate / factor as f64;
    let (window, hop) = ((rate * 0.1) as usize, (rate * MOMENT) as usize);
    let longest = (rate / 38.0).ceil() as usize;
    if slow.len() < window || window <= longest {
        return Vec::new();
    }
    (0..=slow.len() - window)
        .step_by(hop.max(1))
        .map(|start| {
            let frame = &slow[start..start + window];
            let mean = frame.iter().sum::<f64>() / window as f64;
            let frame: Vec<f64> = frame.iter().map(|sample| sample - mean).collect();
            let power = frame.iter().map(|sample| sample * sample).sum::<f64>() / window as f64;
            Periodicity { level: decibels(power), clarity: clarity(&frame, longest) }
        })
        .collect()
}

fn clarity(frame: &[f64], longest: usize) -> f64 {
    let mut best = 0.0f64;
    let mut past_zero = false;
    for lag in 1..=longest {
        let (early, late) = (&frame[..frame.len() - lag], &frame[lag..]);
        let (mut product, mut energy) = (0.0, 1e-18);
        for (a, b) in early.iter().zip(late) {
            product += a * b;
            energy += a * a + b * b;
        }
        let similarity = 2.0 * product / energy;
        past_zero |= similarity < 0.0;
        if past_zero {
            best = best.max(similarity);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_full_scale_sine_is_3_db_below_a_full_scale_square() {
        let sine: Vec<f32> = (0..4800).map(|n| (n as f32 * 0.1).sin()).collect();
        assert_abs_diff_eq!(frame_levels(&sine, 4800, 0.0)[0], -3.01, epsilon = 0.05);
        assert_abs_diff_eq!(frame_levels(&[0.0; 10], 10, 0.0)[0], -200.0, epsilon = 1e-9);
    }

    #[test]
    fn tones_of_the_lowest_and_highest_strings_are_periodic_and_noise_is_not() {
        for rate in [8000.0, 44_100.0, 96_000.0] {
            for frequency in [41.2, 440.0, 1318.5] {
                let tone: Vec<f32> = (0..rate as usize)
                    .map(|n| (std::f64::consts::TAU * frequency * n as f64 / rate).sin() as f32)
                    .collect();
                let all = periodicities(&tone, rate);
                assert!(all.iter().all(|moment| moment.clarity > 0.9), "{frequency} Hz at {rate}");
            }
        }
        // A seeded generator: white noise, and the same summed up (brown noise).
        let mut state = 1u32;
        let white: Vec<f32> = (0..44_100)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect();
        let mut sum = 0.0;
        let brown: Vec<f32> = white
            .iter()
            .map(|step| {
                sum = sum * 0.999 + step * 0.01;
                sum
            })
            .collect();
        for noise in [white, brown] {
            let clear = periodicities(&noise, 44_100.0).iter().filter(|moment| moment.clarity > 0.7).count();
            assert!(clear <= 1, "{clear} moments of noise look periodic");
        }
    }

    #[test]
    fn quantiles_are_values_that_occur() {
        assert_eq!(quantile(&[3.0, 1.0, 2.0], 0.5), Some(2.0));
        assert_eq!(quantile(&[], 0.5), None);
    }
}
