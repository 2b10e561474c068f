//! Samples become the stretches where the recorder ran into its limit: flat tops with corners.
//!
//! The top of a low, smooth tone is nearly flat too, and coarse formats (8 bits, µ-law) make real
//! plateaus. A clipped top is told from them by its corners: the signal arrives with a step that a
//! curve which is that flat cannot have. Near the top of a cosine, n samples that stay within ε are
//! followed by a step of about 4ε(n + 1)/n², at most 1.8 ε from n = 3 on; a corner is 6 ε or more.
//!
//! A lossy codec after the recorder rounds the corners away: clipping is found in Opus, whose decoder has
//! a hard limit of its own, and mostly missed in AAC, MP3 and Vorbis. Nothing is said rather than guessed:
//! a steady tone at the top of the range looks the same there.

/// Fewest samples of a flat top.
const FLAT: usize = 3;

/// A step this many times the flatness is a corner.
const CORNER: f32 = 6.0;

/// Flatness relative to the highest sample; 16-bit samples are 3·10⁻⁵ apart.
const FLATNESS: f32 = 1e-4;

/// The coarsest linear format has 8 bits: steps of 1/128.
const COARSEST_STEP: f32 = 1.0 / 128.0;

/// The highest that µ-law (0.980) and A-law (0.984) decode to, whose steps near it are 1/32.
const LOGARITHMIC_TOP: f32 = 0.985;
const LOGARITHMIC_STEP: f32 = 1.0 / 32.0;

/// Tops closer together than this many seconds are one stretch.
const GAP: f64 = 0.25;

/// A stretch of clipping, in samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Clipped {
    /// First clipped sample.
    pub first: usize,
    /// Last clipped sample.
    pub last: usize,
    /// How many flat tops.
    pub tops: usize,
}

/// The stretches of clipping, in order. Positive and negative limits are looked for separately, since
/// an offset makes them differ.
pub(super) fn clipping(samples: &[f32], rate: f64) -> Vec<Clipped> {
    let mut tops: Vec<(usize, usize)> = Vec::new();
    for sign in [1.0, -1.0] {
        tops.extend(flat_tops(samples, sign));
    }
    tops.sort_unstable();
    let gap = (GAP * rate) as usize;
    let mut stretches: Vec<Clipped> = Vec::new();
    for (first, last) in tops {
        match stretches.last_mut() {
            Some(stretch) if first <= stretch.last + gap => {
                stretch.last = stretch.last.max(last);
                stretch.tops += 1;
            }
            _ => stretches.push(Clipped { first, last, tops: 1 }),
        }
    }
    stretches
}

fn flat_tops(samples: &[f32], sign: f32) -> Vec<(usize, usize)> {
    let top = samples.iter().fold(0.0f32, |top, &sample| top.max(sign * sample));
    if top < 0.1 {
        return Vec::new();
    }
    let near = |sample: f32, flatness: f32| sign * sample >= top - flatness;
    let step = step_below(samples, sign, top);
    let flatness = (FLATNESS * top).max(0.5 * step);
    let mut tops = Vec::new();
    let mut at = 0;
    while at < samples.len() {
        if !near(samples[at], flatness) {
            at += 1;
            continue;
        }
        let length = samples[at..].iter().take_while(|&&sample| near(sample, flatness)).count();
        let end = at + length;
        let before = at.checked_sub(1).map_or(0.0, |k| top - sign * samples[k]);
        let after = samples.get(end).map_or(0.0, |&sample| top - sign * sample);
        if length >= FLAT && before.max(after) >= CORNER * flatness {
            tops.push((at, end - 1));
        }
        at = end;
    }
    tops
}

/// The distance between neighbouring values near the top, at most that of the coarsest format.
fn step_below(samples: &[f32], sign: f32, top: f32) -> f32 {
    let mut high: Vec<f32> =
        samples.iter().map(|&sample| sign * sample).filter(|&sample| sample >= 0.5 * top).collect();
    high.sort_by(f32::total_cmp);
    let step = high.windows(2).map(|pair| pair[1] - pair[0]).filter(|&step| step > 1e-7);
    let step = step.fold(f32::INFINITY, f32::min);
    step.min(if top < LOGARITHMIC_TOP { LOGARITHMIC_STEP } else { COARSEST_STEP })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A decaying tone with harmonics at `gain`, cut at ±1 and rounded to `bits`.
    fn tone(frequency: f64, gain: f64, bits: u32) -> Vec<f32> {
        let scale = f64::from(1u32 << (bits - 1));
        (0..44_100)
            .map(|n| {
                let t = f64::from(n) / 44_100.0;
                let wave: f64 = (1..6)
                    .map(|h| (std::f64::consts::TAU * frequency * t * f64::from(h)).sin() / f64::from(h * h))
                    .sum();
                let sample = (gain * wave * (-t).exp()).clamp(-1.0, 1.0 - 1.0 / scale);
                ((sample * scale).round() / scale) as f32
            })
            .collect()
    }

    #[test]
    fn a_tone_that_was_cut_off_is_clipped_where_it_was_cut() {
        for (frequency, bits) in [(41.2, 16), (220.0, 16), (659.0, 16), (220.0, 8)] {
            let stretches = clipping(&tone(frequency, 1.6, bits), 44_100.0);
            assert!(!stretches.is_empty(), "{frequency} Hz, {bits} bits");
            assert!(stretches[0].first < 4_410);
            assert!(stretches[0].tops >= 3);
        }
    }

    #[test]
    fn a_loud_tone_that_was_not_cut_off_is_not_clipped() {
        for (bits, gain) in [(16, 0.24), (8, 0.24), (16, 0.2497), (8, 0.2497)] {
            for frequency in [41.2, 49.0, 110.0, 220.0, 659.0] {
                let loudest =
                    tone(frequency, 1.0, 24).iter().fold(0.0f32, |top, sample| top.max(sample.abs()));
                // The loudest sample comes to 0.96 or 0.999, below the clamp in `tone`.
                let stretches = clipping(&tone(frequency, gain / f64::from(loudest), bits), 44_100.0);
                assert!(stretches.is_empty(), "{frequency} Hz, {bits} bits: {stretches:?}");
            }
        }
    }

    #[test]
    fn a_pure_low_sine_at_full_scale_is_not_clipped() {
        let sine: Vec<f32> =
            (0..96_000).map(|n| (std::f32::consts::TAU * 41.2 * n as f32 / 96_000.0).sin()).collect();
        assert_eq!(clipping(&sine, 96_000.0), vec![]);
        assert_eq!(clipping(&[0.0; 100], 96_000.0), vec![]);
        assert_eq!(clipping(&[], 96_000.0), vec![]);
    }
}
