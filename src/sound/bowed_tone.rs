//! One bowed note from a few numbers.
//!
//! A bowed string moves as Helmholtz found (*On the Sensations of Tone*, 1863): a corner runs round it,
//! and the force on the bridge is a sawtooth, all harmonics at 1/n. Bowing locks the modes into exact
//! harmonics (Fletcher, *JASA* 64, 1978), so they are exact here. The body then colours them with a
//! few broad resonances (centres from memory of published admittance curves; only the colour depends
//! on them, never the pitch). The bow adds a little noise. When the bow leaves, the string rings on
//! and its higher harmonics die first.

use super::Noise;
use crate::notation::Instrument;
use crate::samples::Samples;
use crate::units::{Hertz, SampleRate, Seconds};
use std::f64::consts::TAU;

/// A bowed note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BowedTone {
    /// The fundamental, above 0 and below half of the rate; the tone is in tune to 0.1 cents.
    pub pitch: Hertz,
    /// How long the bow drives the string, above 0; ringing comes on top.
    pub bowed: Seconds,
    /// The rise from nothing to the full tone, at most `bowed`; 0.06 s is a clean start.
    pub attack: Seconds,
    /// How long the string takes to ring down by 60 dB after the bow has left (a finger damps: 0.1 to
    /// 0.3 s; an open string rings 1 s and more).
    pub ring: Seconds,
    /// The level of the full tone: root mean square in dB below full scale, such as −20.
    pub level_db: f64,
    /// The noise of the bow, in dB relative to the tone, such as −40.
    pub noise_db: f64,
    /// The instrument whose body colours the tone.
    pub body: Instrument,
    /// Which of the many tones alike: the phases and the noise.
    pub seed: u64,
}

impl BowedTone {
    /// A clean mezzo-forte note on a stopped string.
    pub fn new(pitch: Hertz, bowed: Seconds, body: Instrument) -> Self {
        Self {
            pitch,
            bowed,
            attack: Seconds(0.06),
            ring: Seconds(0.25),
            level_db: -20.0,
            noise_db: -42.0,
            body,
            seed: 0,
        }
    }
}

/// The samples of a bowed note: `bowed` and then `ring` long, from silence to silence, without any
/// component above 0.45 of the rate. The same tone gives the same samples.
pub fn bowed_tone(tone: &BowedTone, rate: SampleRate) -> Samples {
    let step = 1.0 / rate.hertz();
    let bowed = (tone.bowed.0 / step).round() as usize;
    let total = bowed + (tone.ring.0 / step).round() as usize;
    let mut random = Noise::new(tone.seed);
    let harmonics = harmonics(tone, rate, &mut random);
    let level = 10_f64.powf(tone.level_db / 20.0);
    let noise_level = level * 10_f64.powf(tone.noise_db / 20.0);
    let mut scratch = BowNoise::new(tone, rate);
    let mut oscillators: Vec<Oscillator> =
        harmonics.iter().map(|harmonic| Oscillator::new(harmonic, tone, rate)).collect();
    let mono = (0..total)
        .map(|at| {
            let time = at as f64 * step;
            let drive = rise(time / tone.attack.0.max(step));
            let since_bow = at.checked_sub(bowed);
            let string: f64 = oscillators.iter_mut().map(|one| one.next(since_bow.is_some())).sum();
            let bow = if since_bow.is_none() { scratch.next(&mut random) } else { 0.0 };
            // The bow bites harder while the tone is still speaking.
            let bite = drive * (1.0 + 3.0 * (1.0 - drive));
            (drive * level * string + bite * noise_level * bow) as f32
        })
        .collect();
    Samples { mono, rate }
}

/// A smooth rise from 0 to 1 (raised cosine).
fn rise(x: f64) -> f64 {
    if x >= 1.0 { 1.0 } else { 0.5 - 0.5 * (std::f64::consts::PI * x.max(0.0)).cos() }
}

struct Harmonic {
    number: f64,
    amplitude: f64,
    phase: f64,
}

/// The harmonics below 0.45 of the rate, scaled so that together they have a root mean square of 1.
fn harmonics(tone: &BowedTone, rate: SampleRate, random: &mut Noise) -> Vec<Harmonic> {
    let top = 0.45 * rate.hertz();
    let count = ((top / tone.pitch.0) as usize).min(80);
    let mut harmonics: Vec<Harmonic> = (1..=count.max(1))
        .map(|number| {
            let number = number as f64;
            let amplitude = body(tone.body, number * tone.pitch.0) / number;
            Harmonic { number, amplitude, phase: 0.6 * random.uniform() }
        })
        .collect();
    let power: f64 = harmonics.iter().map(|harmonic| 0.5 * harmonic.amplitude.powi(2)).sum();
    for harmonic in &mut harmonics {
        harmonic.amplitude /= power.sqrt();
    }
    harmonics
}

/// How strongly the body passes a frequency on: a floor, a fall below the air resonance, and a few
/// broad peaks, given as centre in hertz, height and width in octaves.
fn body(instrument: Instrument, hertz: f64) -> f64 {
    let (air, peaks): (f64, [(f64, f64, f64); 4]) = match instrument {
        Instrument::Violin => {
            (270.0, [(275.0, 1.0, 0.25), (460.0, 1.2, 0.25), (550.0, 1.2, 0.25), (2500.0, 1.5, 0.7)])
        }
        Instrument::Viola => {
            (220.0, [(225.0, 1.0, 0.25), (380.0, 1.2, 0.25), (450.0, 1.2, 0.25), (1900.0, 1.4, 0.7)])
        }
        Instrument::Cello => {
            (95.0, [(100.0, 1.0, 0.25), (175.0, 1.2, 0.25), (200.0, 1.2, 0.25), (1000.0, 1.3, 0.8)])
        }
        Instrument::Bass => {
            (60.0, [(65.0, 1.0, 0.25), (105.0, 1.2, 0.25), (120.0, 1.2, 0.25), (700.0, 1.2, 0.9)])
        }
    };
    let low = (hertz / air).powi(2) / (1.0 + (hertz / air).powi(2));
    let resonances: f64 = peaks
        .iter()
        .map(|(centre, height, width)| height * (-((hertz / centre).log2() / width).powi(2)).exp())
        .sum();
    (0.15 + 0.85 * low) * (0.6 + resonances)
}

/// One harmonic: a phasor that turns by the same angle every sample and fades once the bow has left.
struct Oscillator {
    real: f64,
    imaginary: f64,
    turn: (f64, f64),
    decay: f64,
}

impl Oscillator {
    fn new(harmonic: &Harmonic, tone: &BowedTone, rate: SampleRate) -> Self {
        let angle = TAU * harmonic.number * tone.pitch.0 / rate.hertz();
        // 60 dB in `ring`, and quicker for the higher harmonics.
        let faster = 1.0 + 0.15 * (harmonic.number - 1.0);
        let decay = 0.001_f64.powf(faster / (tone.ring.0 * rate.hertz()).max(1.0));
        Self {
            real: harmonic.amplitude * harmonic.phase.cos(),
            imaginary: harmonic.amplitude * harmonic.phase.sin(),
            turn: (angle.cos(), angle.sin()),
            decay,
        }
    }

    fn next(&mut self, free: bool) -> f64 {
        let now = self.imaginary;
        let scale = if free { self.decay } else { 1.0 };
        let real = scale * (self.real * self.turn.0 - self.imaginary * self.turn.1);
        self.imaginary = scale * (self.real * self.turn.1 + self.imaginary * self.turn.0);
        self.real = real;
        now
    }
}

/// Noise of the bow hair: white noise between two one-pole filters, about 0.3 to 3 kHz, at unit level.
struct BowNoise {
    low: f64,
    slow: f64,
    to_low: f64,
    to_slow: f64,
    gain: f64,
}

impl BowNoise {
    fn new(tone: &BowedTone, rate: SampleRate) -> Self {
        let pole = |hertz: f64| 1.0 - (-TAU * hertz / rate.hertz()).exp();
        let (to_low, to_slow) = (pole((6.0 * tone.pitch.0).clamp(1000.0, 4000.0)), pole(300.0));
        // Uniform noise has a variance of 1/3; a one-pole low-pass keeps p/(2 − p) of it.
        let gain = 1.0 / ((1.0 / 3.0) * to_low / (2.0 - to_low)).sqrt();
        Self { low: 0.0, slow: 0.0, to_low, to_slow, gain }
    }

    fn next(&mut self, random: &mut Noise) -> f64 {
        self.low += self.to_low * (random.uniform() - self.low);
        self.slow += self.to_slow * (self.low - self.slow);
        self.gain * (self.low - self.slow)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate(22_050);

    /// The fundamental by phase advance: the tone is turned back by the nominal frequency, averaged
    /// over two stretches of whole periods, and the angle between the two averages is what is left.
    fn cents_off(samples: &Samples, nominal: f64, from: f64, seconds: f64) -> f64 {
        let rate = samples.rate.hertz();
        let average = |start: f64, length: f64| {
            let first = (start * rate) as usize;
            let count = (length * rate) as usize;
            (first..first + count).fold((0.0, 0.0), |(re, im), at| {
                let angle = TAU * nominal * at as f64 / rate;
                // A Hann window keeps the other harmonics out.
                let window = 0.5 - 0.5 * (TAU * (at - first) as f64 / count as f64).cos();
                let x = f64::from(samples.mono[at]) * window;
                (re + x * angle.cos(), im - x * angle.sin())
            })
        };
        let half = seconds / 2.0;
        let (a, b) = (average(from, half), average(from + half, half));
        let turned = (a.0 * b.1 - a.1 * b.0).atan2(a.0 * b.0 + a.1 * b.1);
        let hertz = nominal + turned / (TAU * half);
        1200.0 * (hertz / nominal).log2()
    }

    #[test]
    fn a_bowed_tone_is_in_tune_to_a_tenth_of_a_cent() {
        for (hertz, body) in [
            (41.203, Instrument::Bass),
            (65.406, Instrument::Cello),
            (261.626, Instrument::Viola),
            (659.255, Instrument::Violin),
        ] {
            let tone = BowedTone { seed: 11, ..BowedTone::new(Hertz(hertz), Seconds(1.5), body) };
            let off = cents_off(&bowed_tone(&tone, RATE), hertz, 0.25, 1.0);
            assert!(off.abs() < 0.1, "{hertz} Hz: {off} cents");
        }
    }

    #[test]
    fn the_ruler_of_that_test_can_see_a_tenth_of_a_cent() {
        let tone =
            BowedTone::new(Hertz(261.626).shifted(crate::units::Cents(0.2)), Seconds(1.5), Instrument::Viola);
        let off = cents_off(&bowed_tone(&tone, RATE), 261.626, 0.25, 1.0);
        assert!((off - 0.2).abs() < 0.05, "{off}");
    }

    #[test]
    fn the_same_tone_gives_the_same_samples_and_another_seed_others() {
        let tone = BowedTone::new(Hertz(293.66), Seconds(0.3), Instrument::Violin);
        assert_eq!(bowed_tone(&tone, RATE), bowed_tone(&tone, RATE));
        assert_ne!(bowed_tone(&tone, RATE), bowed_tone(&BowedTone { seed: 1, ..tone }, RATE));
    }

    #[test]
    fn the_level_is_what_was_asked_for_and_the_end_is_silent() {
        for hertz in [50.0, 300.0, 1200.0] {
            let tone = BowedTone::new(Hertz(hertz), Seconds(0.8), Instrument::Cello);
            let sound = bowed_tone(&tone, RATE);
            let body = &sound.mono[4410..13_230];
            let power = body.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / body.len() as f64;
            assert!((10.0 * power.log10() + 20.0).abs() < 0.3, "{hertz} Hz: {}", 10.0 * power.log10());
            let last = sound.mono[sound.mono.len() - 20..].iter().fold(0.0_f32, |most, x| most.max(x.abs()));
            assert!(last < 0.001, "{last}");
            assert_eq!(sound.mono.len(), (1.05 * RATE.hertz()).round() as usize);
        }
    }

    #[test]
    fn a_tone_near_the_top_of_a_low_rate_has_nothing_that_folds_back() {
        // Harmonics of 3000 Hz at a rate of 8000 Hz: only the first is below 3600 Hz.
        let tone =
            BowedTone { noise_db: -200.0, ..BowedTone::new(Hertz(3000.0), Seconds(0.5), Instrument::Violin) };
        let sound = bowed_tone(&tone, SampleRate(8000));
        // 2·3000 would fold to 2000 Hz: look there.
        let (re, im) = sound.mono[1000..3000].iter().enumerate().fold((0.0, 0.0), |(re, im), (at, x)| {
            let angle = TAU * 2000.0 * at as f64 / 8000.0;
            (re + f64::from(*x) * angle.cos(), im + f64::from(*x) * angle.sin())
        });
        assert!((re.hypot(im)) / 2000.0 < 1e-4);
    }
}
