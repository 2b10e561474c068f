//! A performance as samples: bowed tones in a quiet room.

use super::Performance;
use fingertape::notation::{Instrument, Melody};
use fingertape::samples::Samples;
use fingertape::sound::{BowedTone, Noise, bowed_tone};
use fingertape::units::{A4_ISO16, MidiPitch, SampleRate, Seconds};

/// The rate of all committed takes of our own making: a common one for speech recorders, and small files.
pub const RATE: SampleRate = SampleRate(16_000);
/// The noise of the room: peak, relative to full scale.
const ROOM: f64 = 3e-4;

/// Records a performance, at A4 = 440 Hz. An open string rings longer than a stopped one.
pub fn samples_from_performance(performance: &Performance, melody: &Melody, rate: SampleRate) -> Samples {
    let instrument = melody.instrument.unwrap_or(Instrument::Violin);
    let mut mono = vec![0.0_f32; (performance.length * rate.hertz()).round() as usize];
    for (number, note) in performance.notes.iter().enumerate() {
        let open = instrument.open_strings().iter().any(|open| (note.midi - f64::from(*open)).abs() < 0.3);
        let tone = BowedTone {
            ring: Seconds(if open { 0.6 } else { 0.2 }),
            level_db: -19.0 - (number % 3) as f64,
            seed: performance.seed + number as u64,
            ..BowedTone::new(MidiPitch(note.midi).hertz(A4_ISO16), Seconds(note.bowed), instrument)
        };
        let start = (note.onset * rate.hertz()).round() as usize;
        for (place, sample) in mono[start..].iter_mut().zip(&bowed_tone(&tone, rate).mono) {
            *place += sample;
        }
    }
    if !performance.notes.is_empty() {
        let mut room = Noise::new(performance.seed ^ 0xD1CE);
        mono.iter_mut().for_each(|sample| *sample += (ROOM * room.uniform()) as f32);
    }
    Samples { mono, rate }
}
