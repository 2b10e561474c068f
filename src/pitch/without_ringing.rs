//! The sound without what still rings of the sound before: the string that the bow has left, its open neighbours, the
//! room.
//!
//! Spectral subtraction with a model of decay, as for the late part of a room's response: Lebart, Boucher and Denbigh,
//! "A new method based on spectral subtraction for speech dereverberation", Acta Acustica 87, 2001 (cited from memory). What
//! sounds at a frequency now and is no more than a sound that was there a tenth of a second ago would have left is taken out.
//! A bowed tone loses nothing in its first tenth of a second and then 3 dB in every line of its spectrum, so its period stays;
//! what dies away by 3 dB in a tenth of a second or faster loses 15.

use super::settings::TrackerSettings;
use crate::samples::Samples;
use rustfft::{FftPlanner, num_complex::Complex};

/// How long ago the sound that may still ring is looked for, in seconds.
const AGO: f64 = 0.1;
/// The share of its power that it may have kept since then: what dies away by 3 dB in a tenth of a second (by 60 dB in two
/// seconds, as an open string does) or faster is ringing.
const KEPT: f32 = 0.5;
/// What rings is lowered to this share of its power at most: by 15 dB. Holes would sound like tones of their own.
const FLOOR: f32 = 0.031_6;
/// Windows overlap by this many steps: the squares of Hann windows then sum to a constant.
const STEPS: usize = 4;

/// The samples less `offset` (see [`Samples::offset`]), without what only rings. As many as there were. The windows are as
/// long as the settings' window, to the nearest power of two of samples.
pub fn without_ringing(samples: &Samples, offset: f64, settings: &TrackerSettings) -> Samples {
    let rate = samples.rate.hertz();
    let size = (1_usize << (settings.window.0 * rate).log2().round() as u32).max(64);
    let hop = size / STEPS;
    let ago = ((AGO * rate / hop as f64).round() as usize).max(1);
    let mut planner = FftPlanner::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let window: Vec<f32> = (0..size)
        .map(|i| (0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / size as f64).cos()) as f32)
        .collect();
    // The squares of the windows sum to 3/8 of the steps; the transforms there and back multiply by the size.
    let scale = 1.0 / (0.375 * STEPS as f32 * size as f32);
    // Powers of the windows that the next ones are held against.
    let mut past = vec![vec![0.0_f32; size / 2 + 1]; ago];
    let mut left = vec![0.0_f32; samples.mono.len()];
    let mut frame = vec![Complex::new(0.0, 0.0); size];
    let mut scratch = vec![
        Complex::new(0.0, 0.0);
        forward.get_inplace_scratch_len().max(inverse.get_inplace_scratch_len())
    ];
    let frames = samples.mono.len().div_ceil(hop) + STEPS - 1;
    // Two real windows in one complex transform: one as the real part, one as the imaginary.
    for pair in (0..frames).step_by(2) {
        let first = |k: usize| ((pair + k) * hop) as i64 - (size - hop) as i64;
        for (i, value) in frame.iter_mut().enumerate() {
            let at = |k: usize| {
                let place = first(k) + i as i64;
                let sample = usize::try_from(place).ok().and_then(|p| samples.mono.get(p));
                sample.map_or(0.0, |&one| (f64::from(one) - offset) as f32) * window[i]
            };
            *value = Complex::new(at(0), at(1));
        }
        forward.process_with_scratch(&mut frame, &mut scratch);
        for bin in 0..=size / 2 {
            let (a, b) = apart(&frame, bin);
            let a = a * gain(a, &mut past[pair % ago][bin]);
            let b = b * gain(b, &mut past[(pair + 1) % ago][bin]);
            let i = Complex::new(0.0, 1.0);
            frame[bin] = a + i * b;
            if bin > 0 {
                frame[size - bin] = a.conj() + i * b.conj();
            }
        }
        inverse.process_with_scratch(&mut frame, &mut scratch);
        for (i, value) in frame.iter().enumerate() {
            for (k, part) in [value.re, value.im].into_iter().enumerate() {
                let place = usize::try_from(first(k) + i as i64).ok();
                if let Some(sum) = place.and_then(|p| left.get_mut(p)) {
                    *sum += part * window[i] * scale;
                }
            }
        }
    }
    Samples { mono: left, rate: samples.rate }
}

/// What is left of a line of the spectrum, as a factor, given its power a while ago, in whose place its power now is put.
fn gain(line: Complex<f32>, before: &mut f32) -> f32 {
    let power = line.norm_sqr();
    let share = if power > 0.0 { 1.0 - KEPT * *before / power } else { 0.0 };
    *before = power;
    share.max(FLOOR).sqrt()
}

/// The spectra of the real and of the imaginary part at a bin.
fn apart(spectrum: &[Complex<f32>], bin: usize) -> (Complex<f32>, Complex<f32>) {
    let (here, there) = (spectrum[bin], spectrum[(spectrum.len() - bin) % spectrum.len()].conj());
    let difference = (here - there) * 0.5;
    ((here + there) * 0.5, Complex::new(difference.im, -difference.re))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Instrument;
    use crate::units::SampleRate;
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    const RATE: f64 = 44_100.0;

    fn settings() -> TrackerSettings {
        TrackerSettings::for_instrument(SampleRate(44_100), Some(Instrument::Violin))
    }

    /// A tone of six harmonics, its strength told for each moment.
    fn tone(hertz: f64, seconds: f64, strength: impl Fn(f64) -> f64) -> Vec<f32> {
        let at = |time: f64| {
            let harmonic = |l: f64| (std::f64::consts::TAU * hertz * l * time + l).sin() / l;
            (0.1 * strength(time) * (1..=6).map(|l| harmonic(f64::from(l))).sum::<f64>()) as f32
        };
        (0..(seconds * RATE) as usize).map(|i| at(i as f64 / RATE)).collect()
    }

    fn rest_of(mono: Vec<f32>) -> Vec<f32> {
        without_ringing(&Samples { mono, rate: SampleRate(44_100) }, 0.0, &settings()).mono
    }

    fn rms_db(samples: &[f32]) -> f64 {
        let sum: f64 = samples.iter().map(|&one| f64::from(one).powi(2)).sum();
        10.0 * (sum / samples.len() as f64).log10()
    }

    fn between(samples: &[f32], from: f64, to: f64) -> &[f32] {
        &samples[(from * RATE) as usize..(to * RATE) as usize]
    }

    #[test]
    fn a_bowed_tone_loses_3_db_and_keeps_its_wave() {
        let tone = tone(440.0, 1.0, |_| 1.0);
        let rest = rest_of(tone.clone());
        assert_eq!(rest.len(), tone.len());
        for (one, left) in between(&tone, 0.3, 0.8).iter().zip(between(&rest, 0.3, 0.8)) {
            assert_abs_diff_eq!(*left, one * 0.5_f32.sqrt(), epsilon = 0.002);
        }
    }

    #[test]
    fn what_dies_away_goes_and_what_begins_meanwhile_stays() {
        // Until 0.5 s an A4, then it rings on and dies away by 60 dB a second; from 0.55 s a D5 is bowed.
        let dying = |time: f64| 10f64.powf(-3.0 * (time - 0.5).max(0.0));
        let (old, new) =
            (tone(440.0, 1.0, dying), tone(587.33, 1.0, |time| f64::from(u8::from(time > 0.55))));
        let both = old.iter().zip(&new).map(|(a, b)| a + b).collect();
        let rest = rest_of(both);
        let alone = rest_of(old.clone());
        let lost =
            |time: f64| rms_db(between(&old, time, time + 0.1)) - rms_db(between(&alone, time, time + 0.1));
        assert!(lost(0.3) < 3.1, "{}", lost(0.3));
        assert!(lost(0.62) > 14.0, "{}", lost(0.62));
        let kept = rms_db(between(&rest, 0.62, 0.72)) - rms_db(between(&new, 0.62, 0.72));
        assert!((-3.5..0.5).contains(&kept), "{kept}");
    }

    #[test]
    fn a_constant_is_left_out_and_silence_stays_silent() {
        let samples = Samples { mono: vec![0.25; 10_000], rate: SampleRate(44_100) };
        let rest = without_ringing(&samples, 0.25, &settings());
        assert_eq!(rest.mono, vec![0.0; 10_000]);
        for length in [0, 1, 511, 2048] {
            assert_eq!(rest_of(vec![0.0; length]), vec![0.0; length]);
        }
    }

    #[test]
    fn at_any_rate_and_for_any_instrument_the_beginning_is_kept_and_the_rest_loses_3_db() {
        for (rate, instrument) in
            [(8_000, None), (22_050, Some(Instrument::Bass)), (192_000, Some(Instrument::Cello))]
        {
            let settings = TrackerSettings::for_instrument(SampleRate(rate), instrument);
            let wave = |i: u32| {
                (0.2 * (std::f64::consts::TAU * 220.0 * f64::from(i) / f64::from(rate)).sin()) as f32
            };
            let samples = Samples { mono: (0..rate).map(wave).collect(), rate: SampleRate(rate) };
            let left = without_ringing(&samples, 0.0, &settings).mono;
            let second = |time: f64| (time * f64::from(rate)) as usize;
            for (one, left) in samples.mono.iter().zip(&left).take(second(0.03)) {
                assert_abs_diff_eq!(one, left, epsilon = 0.002);
            }
            for (one, left) in samples.mono.iter().zip(&left).take(second(0.8)).skip(second(0.3)) {
                assert_abs_diff_eq!(one * 0.5_f32.sqrt(), *left, epsilon = 0.004);
            }
        }
    }

    proptest! {
        #[test]
        fn nothing_gets_louder(sound in proptest::collection::vec(-1.0_f32..1.0, 1..20_000)) {
            let energy = |samples: &[f32]| samples.iter().map(|&one| f64::from(one).powi(2)).sum::<f64>();
            let rest = rest_of(sound.clone());
            prop_assert!(rest.iter().all(|one| one.is_finite()));
            prop_assert!(energy(&rest) <= 1.001 * energy(&sound));
        }
    }
}
