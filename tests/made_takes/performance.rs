//! What a player did with a melody: notes in time, with the planted mistakes.

use super::Case;
use fingertape::notation::{EventKind, Length, Melody};
use fingertape::sound::Noise;

/// A mistake planted in a take. Indices count the events of the melody, rests included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Planted {
    /// Another pitch is played: a sounding MIDI number.
    Wrong { index: usize, midi: i32 },
    /// The note is this far from its pitch.
    Cents { index: usize, cents: f64 },
    /// Every note of this sounding MIDI number is this far from its pitch: a mistuned open string.
    OpenString { midi: i32, cents: f64 },
    /// The note is left out; its time is kept.
    Missing { index: usize },
    /// The note is played on the bow of the one before, without a break.
    Merged { index: usize },
    /// A note that is not on the sheet, after this event.
    Extra { after: usize, midi: i32, beats: f64 },
    /// The rest lasts this many beats.
    RestLasts { index: usize, beats: f64 },
    /// The note before the rest is held through it.
    RestFilled { index: usize },
    /// The player stops after one event and begins again at an earlier one.
    Restart { left_at: usize, resumed_at: usize },
    /// The whole instrument is tuned this many cents away.
    Tuned(f64),
    /// Everything sounds this many octaves away.
    Octaves(i32),
    /// Nothing is played at all.
    Silence,
}

/// One sounding note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Played {
    /// The sounding MIDI number with decimals.
    pub midi: f64,
    /// When the bow starts, in seconds from the start of the take.
    pub onset: f64,
    /// How long the bow moves, in seconds.
    pub bowed: f64,
}

/// A whole take.
#[derive(Debug, Clone, PartialEq)]
pub struct Performance {
    /// The notes in order.
    pub notes: Vec<Played>,
    /// The length of the take in seconds.
    pub length: f64,
    /// The seed of everything random in it.
    pub seed: u64,
}

/// Silence before the first note and after the last, in seconds.
const MARGIN: f64 = 0.7;

/// Plays the melody with the planted mistakes. Between them the player is human: every note up to 6
/// cents and 15 ms from its place.
pub fn performance(case: &Case, melody: &Melody) -> Performance {
    let mut player = Player {
        random: Noise::new(case.seed),
        second_per_beat: 60.0 / case.bpm,
        beat: melody.metre.beat(),
        now: MARGIN,
        notes: Vec::new(),
    };
    if case.planted.contains(&Planted::Silence) {
        return Performance { notes: Vec::new(), length: 3.0, seed: case.seed };
    }
    let restart = case.planted.iter().find_map(|planted| match *planted {
        Planted::Restart { left_at, resumed_at } => Some((left_at, resumed_at)),
        _ => None,
    });
    if let Some((left_at, resumed_at)) = restart {
        (0..=left_at).for_each(|index| player.play(case, melody, index));
        // A breath before the new attempt.
        player.now += 1.5;
        (resumed_at..melody.events.len()).for_each(|index| player.play(case, melody, index));
    } else {
        (0..melody.events.len()).for_each(|index| player.play(case, melody, index));
    }
    let length = player.now + MARGIN;
    Performance { notes: player.notes, length, seed: case.seed }
}

struct Player {
    random: Noise,
    second_per_beat: f64,
    beat: Length,
    now: f64,
    notes: Vec<Played>,
}

impl Player {
    fn play(&mut self, case: &Case, melody: &Melody, index: usize) {
        let event = &melody.events[index];
        let in_beats = event.length / self.beat;
        let mut seconds = *in_beats.numer() as f64 / *in_beats.denom() as f64 * self.second_per_beat;
        match event.kind {
            EventKind::Rest => {
                for planted in &case.planted {
                    match *planted {
                        Planted::RestLasts { index: at, beats } if at == index => {
                            seconds = beats * self.second_per_beat;
                        }
                        Planted::RestFilled { index: at } if at == index => self.hold_on(seconds),
                        _ => {}
                    }
                }
            }
            EventKind::Note { sounding, .. } => self.note(case, index, sounding, seconds),
        }
        self.now += seconds;
        for planted in &case.planted {
            if let Planted::Extra { after, midi, beats } = *planted
                && after == index
            {
                let seconds = beats * self.second_per_beat;
                self.bow(f64::from(midi), seconds);
                self.now += seconds;
            }
        }
    }

    fn note(&mut self, case: &Case, index: usize, sounding: i32, seconds: f64) {
        let mut midi = f64::from(sounding) + 0.06 * self.random.uniform();
        for planted in &case.planted {
            match *planted {
                Planted::Missing { index: at } if at == index => return,
                Planted::Merged { index: at } if at == index => return self.hold_on(seconds),
                Planted::Wrong { index: at, midi: played } if at == index => midi = f64::from(played),
                Planted::Cents { index: at, cents } if at == index => {
                    midi = f64::from(sounding) + cents / 100.0
                }
                Planted::OpenString { midi: open, cents } if open == sounding => {
                    midi = f64::from(sounding) + cents / 100.0;
                }
                Planted::Tuned(cents) => midi += cents / 100.0,
                Planted::Octaves(octaves) => midi += 12.0 * f64::from(octaves),
                _ => {}
            }
        }
        self.bow(midi, seconds);
    }

    /// A new bow, a little early or late, lifted just before the next note.
    fn bow(&mut self, midi: f64, seconds: f64) {
        let onset = self.now + 0.015 * self.random.uniform();
        self.notes.push(Played { midi, onset, bowed: seconds - 0.05 });
    }

    fn hold_on(&mut self, seconds: f64) {
        if let Some(last) = self.notes.last_mut() {
            last.bowed += seconds;
        }
    }
}
