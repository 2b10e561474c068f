//! Bowed tones whose pitch is known, sounds that have none, and what a room and a phone do to them.
//!
//! A tone is a harmonic series falling as 1/l (the sawtooth of Helmholtz motion) through a body of a few
//! resonances, with bow noise, a slow attack and release, and a small random wander of the pitch that the
//! reference follows. Everything is drawn from one seeded generator.

use std::f64::consts::TAU;

use rustfft::{FftPlanner, num_complex::Complex};

/// A reproducible stream of random numbers (xorshift64*, Vigna 2016).
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        let mut one = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..8 {
            one.next();
        }
        one
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// Evenly between 0 and 1.
    pub fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// Normal, mean 0, variance 1 (Box & Muller 1958).
    pub fn normal(&mut self) -> f64 {
        (-2.0 * self.even().max(1e-300).ln()).sqrt() * (TAU * self.even()).cos()
    }
}

/// What is done to a tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Condition {
    Clean,
    White20,
    Pink10,
    Ringing18,
    Room,
    Phone,
}

impl Condition {
    pub const ALL: [Self; 6] =
        [Self::Clean, Self::White20, Self::Pink10, Self::Ringing18, Self::Room, Self::Phone];

    pub fn name(self) -> &'static str {
        match self {
            Self::Clean => "clean",
            Self::White20 => "white 20 dB",
            Self::Pink10 => "pink 10 dB",
            Self::Ringing18 => "ring -18 dB",
            Self::Room => "room 0.5 s",
            Self::Phone => "phone 15 dB",
        }
    }
}

/// A tone with its truth.
pub struct Tone {
    pub samples: Vec<f32>,
    /// The nominal pitch.
    pub hertz: f64,
    /// The true pitch at each sample.
    pub pitch: Vec<f64>,
    /// Where the tone is within 12 dB of full.
    pub sounding: Vec<bool>,
    /// Where nothing sounds, 60 ms or more from the tone (and from its echo).
    pub silent: Vec<bool>,
}

/// Tone `index` of `count`, spread evenly over E1–E6 and up to 60 cents off.
pub fn bowed(index: usize, count: usize, condition: Condition, rate: f64) -> Tone {
    let mut random = Random::new(1000 + index as u64);
    let midi = 28.0 + (60.0 * index as f64 / (count.max(2) - 1) as f64).round();
    let hertz = 440.0 * ((midi - 69.0 + random.between(-0.6, 0.6)) / 12.0).exp2();
    let length = (1.5 * rate) as usize;
    let (start, end) = ((0.25 * rate) as usize, (1.25 * rate) as usize);
    let (attack, release) = (random.between(0.02, 0.08) * rate, random.between(0.03, 0.1) * rate);

    let wander = slow_noise(&mut random, length, rate, 6.0);
    let pitch: Vec<f64> = wander.iter().map(|one| hertz * (0.3 * one / 1200.0).exp2()).collect();
    let swell = slow_noise(&mut random, length, rate, 8.0);
    let envelope: Vec<f64> = (0..length)
        .map(|at| {
            if at < start || at >= end {
                return 0.0;
            }
            let rise = ((at - start) as f64 / attack).min(1.0);
            let fall = ((end - at) as f64 / release).min(1.0);
            (0.5 - 0.5 * (std::f64::consts::PI * rise.min(fall)).cos()) * (1.0 + 0.06 * swell[at])
        })
        .collect();

    let mut mono = harmonics(&mut random, hertz, &pitch, rate);
    let bow = bow_noise(&mut random, length);
    let body = rms(&mono);
    for (at, one) in mono.iter_mut().enumerate() {
        *one = (*one / body + 0.006 * bow[at]) * envelope[at] * 0.12;
    }
    let middle = rms(&mono[start + length / 8..end - length / 8]);
    match condition {
        Condition::Clean => {}
        Condition::White20 => add(&mut mono, &white(&mut random, length), middle / 10.0),
        Condition::Pink10 => add(&mut mono, &pink(&mut random, length), middle / 10f64.sqrt()),
        Condition::Ringing18 => {
            let ringing = ringing_string(&mut random, hertz, length, rate);
            add(&mut mono, &ringing, middle / 10f64.powf(18.0 / 20.0));
        }
        Condition::Room => mono = in_a_room(&mut random, &mono, rate, 0.5),
        Condition::Phone => {
            mono = high_pass(&mono, 220.0, rate);
            let left = rms(&mono[start + length / 8..end - length / 8]);
            add(&mut mono, &pink(&mut random, length), left / 10f64.powf(15.0 / 20.0));
        }
    }
    let near = (0.06 * rate) as usize;
    let tail = if condition == Condition::Room { length } else { end + near };
    Tone {
        samples: mono.iter().map(|&one| one as f32).collect(),
        hertz,
        pitch,
        sounding: envelope.iter().map(|&one| one > 0.25).collect(),
        silent: (0..length)
            .map(|at| condition != Condition::Ringing18 && (at + near < start || at > tail))
            .collect(),
    }
}

/// A harmonic series of the given pitch through a random body, unscaled.
fn harmonics(random: &mut Random, hertz: f64, pitch: &[f64], rate: f64) -> Vec<f64> {
    let resonances: Vec<(f64, f64, f64)> = (0..6)
        .map(|_| {
            (200.0 * random.between(0.0, 4.3).exp2(), random.between(4.0, 15.0), random.between(0.5, 3.0))
        })
        .collect();
    let count = ((0.45 * rate / hertz) as usize).min(40);
    let mut mono = vec![0.0; pitch.len()];
    for harmonic in 1..=count {
        let frequency = harmonic as f64 * hertz;
        let body: f64 = 0.35
            + resonances
                .iter()
                .map(|(centre, q, gain)| {
                    gain / (1.0 + (q * (frequency / centre - centre / frequency)).powi(2)).sqrt()
                })
                .sum::<f64>();
        let below = (frequency / 120.0).min(1.0);
        let above = 1.0 / (1.0 + (frequency / 4500.0).powi(4)).sqrt();
        let amplitude = body * below * above / harmonic as f64;
        let mut phase = random.between(0.0, TAU);
        for (one, f) in mono.iter_mut().zip(pitch) {
            *one += amplitude * phase.sin();
            phase += TAU * harmonic as f64 * f / rate;
        }
    }
    mono
}

/// An open string a fifth to a ninth away, decaying.
fn ringing_string(random: &mut Random, hertz: f64, length: usize, rate: f64) -> Vec<f64> {
    let strings = [28, 33, 38, 43, 36, 43, 50, 57, 48, 55, 62, 69, 55, 62, 69, 76];
    let away = |midi: i32| 12.0 * (440.0 * ((f64::from(midi) - 69.0) / 12.0).exp2() / hertz).log2();
    let near: Vec<i32> =
        strings.into_iter().filter(|&midi| (1.5..15.0).contains(&away(midi).abs())).collect();
    let midi = near.get((random.even() * near.len() as f64) as usize).copied().unwrap_or(76);
    let open = 440.0 * ((f64::from(midi) - 69.0 + random.between(-0.1, 0.1)) / 12.0).exp2();
    let mono = harmonics(random, open, &vec![open; length], rate);
    let scale = 1.0 / rms(&mono[..length / 2]);
    mono.iter().enumerate().map(|(at, one)| one * scale * (-0.7 * at as f64 / rate).exp()).collect()
}

/// Sounds without a pitch.
#[derive(Debug, Clone, Copy)]
pub enum Noise {
    Silence,
    White70,
    White30,
    Pink50,
    Pink30,
    Room40,
    Rumble40,
    Dither,
}

impl Noise {
    pub const ALL: [Self; 8] = [
        Self::Silence,
        Self::White70,
        Self::White30,
        Self::Pink50,
        Self::Pink30,
        Self::Room40,
        Self::Rumble40,
        Self::Dither,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Self::Silence => "digital silence",
            Self::White70 => "white -70 dBFS",
            Self::White30 => "white -30 dBFS",
            Self::Pink50 => "pink -50 dBFS",
            Self::Pink30 => "pink -30 dBFS",
            Self::Room40 => "room -40 dBFS",
            Self::Rumble40 => "rumble -40 dBFS",
            Self::Dither => "16-bit dither",
        }
    }

    pub fn samples(self, length: usize, rate: f64) -> Vec<f32> {
        let mut random = Random::new(77);
        let (noise, db) = match self {
            Self::Silence => (vec![0.0; length], 0.0),
            Self::White70 => (white(&mut random, length), -70.0),
            Self::White30 => (white(&mut random, length), -30.0),
            Self::Pink50 => (pink(&mut random, length), -50.0),
            Self::Pink30 => (pink(&mut random, length), -30.0),
            Self::Room40 => {
                let dry = shaped(&mut random, length, rate, |f| {
                    1.0 / (1.0 + (f / 300.0).powi(2)).sqrt() / (1.0 + (40.0 / f.max(1.0)).powi(2))
                });
                let mut wet = in_a_room(&mut random, &dry, rate, 0.5);
                let scale = 1.0 / rms(&wet);
                wet.iter_mut().for_each(|one| *one *= scale);
                (wet, -40.0)
            }
            Self::Rumble40 => (shaped(&mut random, length, rate, |f| 1.0 / f.max(15.0)), -40.0),
            Self::Dither => (
                (0..length).map(|_| (random.even() - random.even()).round()).collect(),
                20.0 * (1.0f64 / 32768.0).log10(),
            ),
        };
        let gain = 10f64.powf(db / 20.0);
        noise.iter().map(|one| (one * gain) as f32).collect()
    }
}

/// White noise of mean square 1.
pub fn white(random: &mut Random, length: usize) -> Vec<f64> {
    (0..length).map(|_| random.normal()).collect()
}

/// Pink noise (power falling as 1/f from 20 Hz) of mean square 1.
pub fn pink(random: &mut Random, length: usize) -> Vec<f64> {
    shaped(random, length, 44_100.0, |f| 1.0 / f.max(20.0).sqrt())
}

/// Noise of mean square 1 with the given amplitude spectrum.
fn shaped(random: &mut Random, length: usize, rate: f64, amplitude: impl Fn(f64) -> f64) -> Vec<f64> {
    let size = length.next_power_of_two();
    let mut spectrum: Vec<Complex<f64>> = (0..size)
        .map(|bin| {
            let hertz = bin.min(size - bin) as f64 * rate / size as f64;
            Complex::new(random.normal(), random.normal()) * amplitude(hertz)
        })
        .collect();
    spectrum[0] = Complex::default();
    FftPlanner::new().plan_fft_inverse(size).process(&mut spectrum);
    let mut noise: Vec<f64> = spectrum[..length].iter().map(|one| one.re).collect();
    let scale = 1.0 / rms(&noise);
    noise.iter_mut().for_each(|one| *one *= scale);
    noise
}

/// The hiss of a bow: noise around 2–6 kHz, mean square 1.
fn bow_noise(random: &mut Random, length: usize) -> Vec<f64> {
    shaped(random, length, 44_100.0, |f| (f / 2000.0).min(1.0) / (1.0 + (f / 6000.0).powi(2)))
}

/// Noise of mean square 1 with nothing above `cut` hertz.
fn slow_noise(random: &mut Random, length: usize, rate: f64, cut: f64) -> Vec<f64> {
    shaped(random, length, rate, |f| if f > 0.0 && f < cut { 1.0 } else { 0.0 })
}

/// Direct sound and a diffuse tail that falls 60 dB in `rt60` seconds, as loud as the direct sound.
pub fn in_a_room(random: &mut Random, mono: &[f64], rate: f64, rt60: f64) -> Vec<f64> {
    let length = (rt60 * rate) as usize;
    let mut response: Vec<f64> =
        (0..length).map(|at| random.normal() * (-6.908 * at as f64 / length as f64).exp()).collect();
    let energy = response.iter().map(|one| one * one).sum::<f64>().sqrt();
    response.iter_mut().for_each(|one| *one /= energy);
    response[0] += 1.0;
    let size = (mono.len() + length).next_power_of_two();
    let mut planner = FftPlanner::new();
    let forward = planner.plan_fft_forward(size);
    let padded = |values: &[f64]| {
        let mut all: Vec<Complex<f64>> = values.iter().map(|&one| Complex::new(one, 0.0)).collect();
        all.resize(size, Complex::default());
        all
    };
    let (mut a, mut b) = (padded(mono), padded(&response));
    forward.process(&mut a);
    forward.process(&mut b);
    for (x, y) in a.iter_mut().zip(&b) {
        *x *= y / size as f64;
    }
    planner.plan_fft_inverse(size).process(&mut a);
    a[..mono.len()].iter().map(|one| one.re).collect()
}

/// A phone microphone's lack of bass: second order below `cut`.
pub fn high_pass(mono: &[f64], cut: f64, rate: f64) -> Vec<f64> {
    let pole = (-TAU * cut / rate).exp();
    let mut out = mono.to_vec();
    for _ in 0..2 {
        let (mut before, mut state) = (0.0, 0.0);
        for one in &mut out {
            state = pole * (state + *one - before);
            before = *one;
            *one = state;
        }
    }
    out
}

pub fn add(mono: &mut [f64], other: &[f64], gain: f64) {
    mono.iter_mut().zip(other).for_each(|(one, other)| *one += gain * other);
}

pub fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|one| one * one).sum::<f64>() / values.len().max(1) as f64).sqrt()
}
