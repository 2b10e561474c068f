//! Speech-like sound for "ready, go" and for talk in pauses: gliding glottal pulses through moving
//! formants (the source-filter model; Fant, *Acoustic Theory of Speech Production*, 1960).

use super::filters::{Section, white};
use super::random::Random;

/// Adds `seconds` of talk from `start` (seconds), at RMS `level`.
pub fn talk(mix: &mut [f32], rate: f64, start: f64, seconds: f64, level: f64, random: &mut Random) {
    let voice = random.log_between(130.0, 320.0);
    let vowels = [
        [730.0, 1090.0, 2440.0],
        [530.0, 1840.0, 2480.0],
        [270.0, 2290.0, 3010.0],
        [570.0, 840.0, 2410.0],
        [300.0, 870.0, 2240.0],
    ];
    let mut time = start;
    let end = start + seconds;
    while time < end - 0.06 {
        let length = random.between(0.1, 0.28).min(end - time);
        let formants = random.pick(&vowels).map(|f| f * random.between(1.0, 1.2));
        let (from, to) = (voice * random.between(0.85, 1.3), voice * random.between(0.75, 1.15));
        syllable(mix, rate, time, length, (from, to), formants, level, random);
        time += length;
        if random.chance(0.5) {
            hiss(mix, rate, time - 0.05, random.between(0.04, 0.1), level, random);
        }
        time += if random.chance(0.35) { random.between(0.08, 0.25) } else { random.between(0.01, 0.05) };
    }
}

#[allow(clippy::too_many_arguments)]
fn syllable(
    mix: &mut [f32],
    rate: f64,
    start: f64,
    seconds: f64,
    (from, to): (f64, f64),
    formants: [f64; 3],
    level: f64,
    random: &mut Random,
) {
    let mut bands: Vec<Section> =
        formants.iter().zip([8.0, 12.0, 15.0]).map(|(f, q)| Section::band_pass(*f, q, rate)).collect();
    let mut phase = 0.0;
    let first = (start * rate) as usize;
    let count = (seconds * rate) as usize;
    for i in 0..count {
        let part = i as f64 / count as f64;
        phase += (from + (to - from) * part + 6.0 * (part * 9.0).sin()) / rate;
        if phase >= 1.0 {
            phase -= 1.0;
        }
        // Rosenberg's pulse: opens slowly, closes fast (JASA 1971).
        let pulse = if phase < 0.4 {
            0.5 * (1.0 - (std::f64::consts::PI * phase / 0.4).cos())
        } else if phase < 0.56 {
            (std::f64::consts::FRAC_PI_2 * (phase - 0.4) / 0.16).cos()
        } else {
            0.0
        };
        let source = pulse - 0.27 + 0.02 * white(random);
        let shape = (std::f64::consts::PI * part).sin().powf(0.6);
        let voiced: f64 = bands.iter_mut().zip([1.0, 0.5, 0.25]).map(|(b, g)| g * b.push(source)).sum();
        if let Some(sample) = mix.get_mut(first + i) {
            *sample += (6.0 * voiced * shape * level) as f32;
        }
    }
}

fn hiss(mix: &mut [f32], rate: f64, start: f64, seconds: f64, level: f64, random: &mut Random) {
    let mut band = Section::band_pass(random.between(3000.0, 6000.0), 1.5, rate);
    let first = (start.max(0.0) * rate) as usize;
    let count = (seconds * rate) as usize;
    for i in 0..count {
        let shape = (std::f64::consts::PI * i as f64 / count as f64).sin();
        if let Some(sample) = mix.get_mut(first + i) {
            *sample += (0.5 * band.push(white(random)) * shape * level) as f32;
        }
    }
}
