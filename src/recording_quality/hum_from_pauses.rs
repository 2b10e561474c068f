//! Pauses become mains hum: lines at multiples of 50 or 60 Hz that stay the same through all of them.
//!
//! A bass plays G1 at 49.0 Hz and B1 at 61.7 Hz, and its strings ring on in rests. Hum is told from them
//! by where and how it sounds: in pauses only, at the exact multiples, at an unchanging level, while a
//! string decays by 10 dB and more in a second (common practice).

use super::levels_from_samples::{decibels, frame_levels, quantile};
use std::f64::consts::TAU;

/// Mains hum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hum {
    /// 50 or 60.
    pub hertz: f64,
    /// Level of its lines together in decibels below full scale.
    pub level: f64,
}

/// Length of one look at a pause, in seconds: 2 Hz apart can be told apart.
const LOOK: f64 = 0.5;

/// Lines that are looked at: the mains frequency and its multiples.
const LINES: [f64; 4] = [1.0, 2.0, 3.0, 4.0];

/// A line stands out by this many decibels from its surroundings.
const STANDS_OUT: f64 = 12.0;

/// A line keeps its level from look to look within this many decibels (standard deviation).
const STEADY: f64 = 2.0;

/// A ringing string loses more than this many decibels from one half of a look to the other (0.25 s).
const DECAYS: f64 = 1.0;

/// Hum below this level (decibels below full scale) disturbs nothing.
const FAINTEST: f64 = -75.0;

/// Hum in the pauses of a take; `None` where there is none, or no pause to hear it in.
pub(super) fn hum(samples: &[f32], rate: f64, offset: f64) -> Option<Hum> {
    let frame = (rate * 0.02) as usize;
    let levels = frame_levels(samples, frame, offset);
    let (loud, floor) = (quantile(&levels, 0.9)?, quantile(&levels, 0.1)?);
    // Pauses are well below the playing and close to the quietest there is.
    let quiet = (floor + 6.0).min(loud - 15.0);
    let look = (rate * LOOK) as usize;
    let frames = (LOOK / 0.02) as usize;
    let looks: Vec<&[f32]> = (0..levels.len().saturating_sub(frames))
        .step_by(frames / 2)
        .filter(|&k| levels[k..k + frames].iter().all(|&level| level <= quiet))
        .filter_map(|k| samples.get(k * frame..k * frame + look))
        .collect();
    if looks.len() < 2 {
        return None;
    }
    [50.0, 60.0].into_iter().find_map(|hertz| {
        let lines: Vec<f64> =
            LINES.iter().filter_map(|multiple| line(&looks, rate, hertz * multiple, offset)).collect();
        let level = decibels(lines.iter().map(|level| 10f64.powf(level / 10.0)).sum());
        (lines.len() >= 2 && level > FAINTEST).then_some(Hum { hertz, level })
    })
}

/// The level of a line that stands out and keeps its level in nearly all looks.
fn line(looks: &[&[f32]], rate: f64, hertz: f64, offset: f64) -> Option<f64> {
    let (mut levels, mut decay) = (Vec::new(), 0.0);
    for look in looks {
        let here = decibels(power_at(look, rate, hertz, offset));
        let around: f64 =
            [-12.0, -8.0, 8.0, 12.0].iter().map(|by| power_at(look, rate, hertz + by, offset)).sum::<f64>()
                / 4.0;
        // Two hertz to either side must be lower: a neighbouring note would peak there.
        let beside = power_at(look, rate, hertz - 2.5, offset).max(power_at(look, rate, hertz + 2.5, offset));
        if here >= decibels(around) + STANDS_OUT && here > decibels(beside) + 3.0 {
            levels.push(here);
            let (early, late) = look.split_at(look.len() / 2);
            decay += decibels(power_at(early, rate, hertz, offset))
                - decibels(power_at(late, rate, hertz, offset));
        }
    }
    let mean = levels.iter().sum::<f64>() / levels.len().max(1) as f64;
    let spread = levels.iter().map(|level| (level - mean).powi(2)).sum::<f64>() / levels.len().max(1) as f64;
    let rings = decay / levels.len().max(1) as f64 > DECAYS;
    (levels.len() * 4 >= looks.len() * 3 && spread.sqrt() <= STEADY && !rings).then_some(mean)
}

/// Power of the sinusoid at one frequency through a Hann window (a Goertzel sum, written out). Both oscillators go on
/// by rotation: over half a second that is exact to 1 part in 10¹¹, and a tenth of the work of sines.
fn power_at(samples: &[f32], rate: f64, hertz: f64, offset: f64) -> f64 {
    let count = samples.len() as f64;
    let mut tone = Oscillator::new(0.0, TAU * hertz / rate);
    let mut hann = Oscillator::new(TAU * 0.5 / count, TAU / count);
    let (mut re, mut im) = (0.0, 0.0);
    for &sample in samples {
        let sample = (f64::from(sample) - offset) * (0.5 - 0.5 * hann.cosine);
        re += sample * tone.cosine;
        im += sample * tone.sine;
        tone.step();
        hann.step();
    }
    // A sinusoid of amplitude a gives a·count/4; its power is a²/2.
    8.0 * (re * re + im * im) / (count * count)
}

/// Cosine and sine of an angle that grows by the same each step.
struct Oscillator {
    cosine: f64,
    sine: f64,
    by: (f64, f64),
}

impl Oscillator {
    fn new(angle: f64, by: f64) -> Self {
        let ((sine, cosine), (step_sine, step_cosine)) = (angle.sin_cos(), by.sin_cos());
        Self { cosine, sine, by: (step_cosine, step_sine) }
    }

    fn step(&mut self) {
        (self.cosine, self.sine) = (
            self.cosine * self.by.0 - self.sine * self.by.1,
            self.sine * self.by.0 + self.cosine * self.by.1,
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    const RATE: f64 = 8000.0;

    fn noise(seed: u32) -> impl FnMut() -> f64 {
        let mut state = seed;
        move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / 8_388_608.0 - 1.0
        }
    }

    /// Two seconds of a note, two of a pause in which it rings on with the given decay, and again.
    fn take(note: f64, ring: f64, decay: f64, add: impl Fn(f64) -> f64) -> Vec<f32> {
        let mut noise = noise(3);
        (0..(8.0 * RATE) as usize)
            .map(|n| {
                let t = n as f64 / RATE;
                let since = t % 4.0 - 2.0;
                let gain = if since < 0.0 { 0.3 } else { 0.3 * ring * (-decay * since).exp() };
                let tone: f64 = (1..6).map(|h| (TAU * note * t * f64::from(h)).sin() / f64::from(h)).sum();
                (gain * tone + 0.0005 * noise() + add(t)) as f32
            })
            .collect()
    }

    #[test]
    fn an_oscillator_is_where_sine_and_cosine_are_after_half_a_second() {
        let by = TAU * 240.0 / 192_000.0;
        let mut oscillator = Oscillator::new(0.3, by);
        for _ in 0..96_000 {
            oscillator.step();
        }
        let (sine, cosine) = (0.3 + 96_000.0 * by).sin_cos();
        assert_abs_diff_eq!(oscillator.sine, sine, epsilon = 1e-10);
        assert_abs_diff_eq!(oscillator.cosine, cosine, epsilon = 1e-10);
    }

    #[test]
    fn hum_in_the_pauses_is_found_with_its_frequency() {
        for hertz in [50.0, 60.0] {
            let hummed = take(146.8, 0.0, 0.0, |t| {
                0.01 * (TAU * hertz * t).sin()
                    + 0.005 * (TAU * 2.0 * hertz * t).sin()
                    + 0.004 * (TAU * 3.0 * hertz * t).sin()
            });
            let found = hum(&hummed, RATE, 0.0).unwrap();
            assert_eq!(found.hertz, hertz);
            assert_abs_diff_eq!(found.level, -41.5, epsilon = 1.0);
        }
    }

    #[test]
    fn the_lowest_notes_of_a_bass_are_not_hum() {
        // E1, G1, and a G1 and B1 tuned so that they hit the mains exactly; dead stop and ringing strings.
        for note in [41.2, 49.0, 50.0, 60.0, 61.7] {
            for (ring, decay) in [(0.0, 0.0), (0.1, 2.0), (0.02, 1.2)] {
                let found = hum(&take(note, ring, decay, |_| 0.0), RATE, 0.0);
                assert_eq!(found, None, "{note} Hz ringing {ring} with decay {decay}");
            }
        }
    }

    #[test]
    fn a_take_without_pauses_says_nothing_about_hum() {
        let tone: Vec<f32> =
            (0..80_000).map(|n| (0.3 * (TAU * 50.0 * f64::from(n) / RATE).sin()) as f32).collect();
        assert_eq!(hum(&tone, RATE, 0.0), None);
        assert_eq!(hum(&[], RATE, 0.0), None);
    }
}
