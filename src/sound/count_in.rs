//! The clicks that count a player in.

use crate::samples::Samples;
use crate::units::{Hertz, SampleRate, Seconds};
use std::f64::consts::TAU;

/// A count-in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountIn {
    /// Beats a minute, above 0.
    pub bpm: f64,
    /// Beats in all.
    pub beats: u32,
    /// Beats in a bar, at least 1: the first of each sounds higher.
    pub bar: u32,
    /// How loud, 0 to 1: the peak of a click at full scale 1.
    pub volume: f32,
}

/// A click's length and how fast it dies away: short, so that nothing of it is left when the playing begins.
const CLICK: Seconds = Seconds(0.03);
const DECAY: Seconds = Seconds(0.006);
/// Soft beginning, without which the loudspeaker cracks.
const RISE: Seconds = Seconds(0.001);
/// Above the open strings of all four instruments, and easy to hear on small loudspeakers.
const FIRST: Hertz = Hertz(1760.0);
const OTHERS: Hertz = Hertz(1320.0);

/// The clicks as samples: beat n begins at sample n · 60 / bpm · rate; the last beat's time is included.
pub fn count_in(settings: &CountIn, rate: SampleRate) -> Samples {
    let beat = 60.0 / settings.bpm * rate.hertz();
    let mut mono = vec![0.0_f32; (f64::from(settings.beats) * beat).round() as usize];
    for number in 0..settings.beats {
        let start = (f64::from(number) * beat).round() as usize;
        let sound = click(number % settings.bar.max(1) == 0, settings.volume, rate);
        for (slot, sample) in mono.iter_mut().skip(start).zip(sound) {
            *slot = sample;
        }
    }
    Samples { mono, rate }
}

/// One click, the first of a bar or another, with its peak at `volume` at most.
pub(super) fn click(first: bool, volume: f32, rate: SampleRate) -> impl Iterator<Item = f32> {
    let pitch = if first { FIRST } else { OTHERS };
    let count = (CLICK.0 * rate.hertz()) as usize;
    (0..count).map(move |n| {
        let time = n as f64 / rate.hertz();
        let shape = (time / RISE.0).min(1.0) * (-time / DECAY.0).exp();
        volume.clamp(0.0, 1.0) * (shape * (TAU * pitch.0 * time).sin()) as f32
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_click_begins_on_each_beat_and_is_over_long_before_the_next() {
        let settings = CountIn { bpm: 120.0, beats: 4, bar: 4, volume: 0.5 };
        let clicks = count_in(&settings, SampleRate(8000));
        assert_eq!(clicks.mono.len(), 16_000);
        for beat in 0..4 {
            let start = beat * 4000;
            assert!(clicks.mono[start..start + 80].iter().any(|sample| sample.abs() > 0.1));
            assert!(clicks.mono[start + 240..start + 4000].iter().all(|sample| *sample == 0.0));
        }
    }

    #[test]
    fn no_click_is_louder_than_it_was_asked_to_be() {
        for volume in [0.0, 0.2, 1.0, 7.0] {
            let settings = CountIn { bpm: 100.0, beats: 3, bar: 3, volume };
            let most = count_in(&settings, SampleRate(48_000)).mono.into_iter().fold(0.0, f32::max);
            assert!(most <= volume.min(1.0), "{volume}: {most}");
        }
    }
}
