//! Where the take was recorded: a dry desk, a room, a phone in a room, a room with a metronome.

use super::filters::{Section, convolved, pink, rms, white};
use super::random::Random;

/// The four conditions; takes are spread evenly over them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Condition {
    Dry,
    Room,
    Phone,
    Click,
}

impl Condition {
    pub const ALL: [Condition; 4] = [Self::Dry, Self::Room, Self::Phone, Self::Click];

    pub fn name(self) -> &'static str {
        ["dry", "room", "phone", "click"][self as usize]
    }
}

/// When the metronome clicks: the first click and the time between two, in seconds.
pub struct Clicks {
    pub first: f64,
    pub every: f64,
}

/// Turns the dry sound into what the device stored. `body` is the RMS of the notes' bodies.
pub fn recorded(
    dry: Vec<f32>,
    rate: f64,
    condition: Condition,
    clicks: Option<Clicks>,
    body: f64,
    random: &mut Random,
) -> Vec<f32> {
    let mut sound = dry;
    if let Some(clicks) = clicks {
        click(&mut sound, rate, &clicks, body, random);
    }
    let length = sound.len();
    if condition != Condition::Dry {
        let response = room(rate, random);
        sound = convolved(&sound, &response);
        sound.truncate(length);
    }
    let snr = match condition {
        Condition::Dry => random.between(26.0, 45.0),
        Condition::Room | Condition::Click => random.between(18.0, 30.0),
        Condition::Phone => random.between(15.0, 28.0),
    };
    add_noise(&mut sound, rate, body * 10f64.powf(-snr / 20.0), random);
    if condition == Condition::Phone {
        sound = phone(sound, rate, random);
    }
    let peak = sound.iter().fold(0.0f32, |p, s| p.max(s.abs())).max(1e-6);
    let wanted = 10f64.powf(random.between(-16.0, -1.0) / 20.0) as f32;
    sound.iter_mut().for_each(|s| *s *= wanted / peak);
    sound
}

/// A room response: the direct sound, early reflections, and noise decaying by RT60.
fn room(rate: f64, random: &mut Random) -> Vec<f32> {
    let rt60 = random.between(0.3, 0.7);
    let mut tail: Vec<f32> = (0..(1.1 * rt60 * rate) as usize)
        .map(|i| {
            let time = i as f64 / rate;
            if time < 0.008 { 0.0 } else { (white(random) * 10f64.powf(-3.0 * time / rt60)) as f32 }
        })
        .collect();
    Section::low_pass(random.between(3500.0, 8000.0), 0.6, rate).run(&mut tail);
    Section::high_pass(90.0, 0.7, rate).run(&mut tail);
    let direct_to_tail_db = random.between(-2.0, 9.0);
    let energy = tail.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>().sqrt();
    let gain = (10f64.powf(-direct_to_tail_db / 20.0) / energy) as f32;
    tail.iter_mut().for_each(|s| *s *= gain);
    tail[0] += 1.0;
    for _ in 0..6 {
        let at = (random.between(0.003, 0.04) * rate) as usize;
        tail[at] += (random.between(0.08, 0.3) * if random.chance(0.5) { 1.0 } else { -1.0 }) as f32;
    }
    tail
}

fn add_noise(sound: &mut [f32], rate: f64, level: f64, random: &mut Random) {
    let mut noise = pink(sound.len(), random);
    let hum = if random.chance(0.2) { random.between(0.1, 0.5) } else { 0.0 };
    Section::high_pass(40.0, 0.7, rate).run(&mut noise);
    let scale = level / rms(&noise).max(1e-9);
    for (i, (sample, noise)) in sound.iter_mut().zip(&noise).enumerate() {
        let phase = std::f64::consts::TAU * 50.0 * i as f64 / rate;
        let buzz = hum * level * (phase.sin() + 0.6 * (2.0 * phase).sin() + 0.4 * (6.0 * phase).sin());
        *sample += (f64::from(*noise) * scale + buzz) as f32;
    }
}

/// A small microphone without low notes, and automatic gain.
fn phone(mut sound: Vec<f32>, rate: f64, random: &mut Random) -> Vec<f32> {
    Section::high_pass(random.log_between(150.0, 300.0), 0.7, rate).run(&mut sound);
    Section::low_pass(random.between(6000.0, 8000.0), 0.7, rate).run(&mut sound);
    let level = rms(&sound).max(1e-9);
    let ratio = random.between(0.3, 0.7);
    let (attack, release) = ((-1.0 / (0.015 * rate)).exp(), (-1.0 / (random.between(0.3, 1.0) * rate)).exp());
    let mut follower = level;
    for sample in &mut sound {
        let size = f64::from(sample.abs());
        let constant = if size > follower { attack } else { release };
        follower = constant * follower + (1.0 - constant) * size;
        let gain = (level / follower.max(0.05 * level)).powf(ratio);
        let loud = f64::from(*sample) * gain / (8.0 * level);
        *sample = loud.tanh() as f32;
    }
    sound
}

/// A metronome beside the player.
fn click(sound: &mut [f32], rate: f64, clicks: &Clicks, body: f64, random: &mut Random) {
    let tone = random.log_between(700.0, 2600.0);
    let gain = body * 10f64.powf(random.between(-16.0, 8.0) / 20.0);
    let decay = random.between(0.002, 0.012);
    let mut at = clicks.first;
    while at < sound.len() as f64 / rate {
        let start = (at * rate) as usize;
        for i in 0..(8.0 * decay * rate) as usize {
            let time = i as f64 / rate;
            let wave = (std::f64::consts::TAU * tone * time).sin() + 0.4 * white(random);
            if let Some(sample) = sound.get_mut(start + i) {
                *sample += (wave * (-time / decay).exp() * gain) as f32;
            }
        }
        at += clicks.every;
    }
}
