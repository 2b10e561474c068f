//! Where in the melody somebody is: a filter over the written notes, fed frame by frame.
//!
//! Each note and rest is a chain of stages that are left at a steady rate, so that its length has an Erlang
//! distribution around the written one (a hidden Markov model with expanded states: Rabiner, "A tutorial on hidden
//! Markov models", Proc. IEEE 77, 1989, section IV D). The forward recursion gives a probability to each stage
//! from the past alone; the place shown is the note that has most of it. It is for a player's eyes while they play
//! and decides nothing: the report is made from the whole take.

use crate::notation::{EventKind, Melody, as_f64};
use crate::units::Seconds;

/// Where somebody is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The index of the note or rest in the melody; `None` before the first and of a melody without notes.
    pub event: Option<usize>,
    /// The bar as printed.
    pub bar: u32,
    /// The beat in the bar where the note or rest begins, from 1.
    pub beat: f64,
    /// Whether it is the last note or rest and most of its written length has passed.
    pub at_end: bool,
}

/// Stages of a note in each beat, and at least.
const STAGES_A_BEAT: f64 = 4.0;
const FEWEST_STAGES: usize = 3;
/// Of a note's end, so much goes to the note after the next (a note left out).
const SKIP: f64 = 0.02;
/// Each frame, so much of everything goes back to the beginning of some bar (a new attempt).
const BACK: f64 = 2e-6;
/// How likely a frame sounds like this, relative to each other. Frames a hundredth of a second apart say nearly the same, so
/// that one by itself says little: a wrong note of a beat is no new attempt elsewhere. Within a semitone of the note.
const RIGHT: f64 = 1.0;
/// Another pitch in a note: a wrong note, the note before still ringing.
const OTHER: f64 = 0.87;
/// No pitch in a note: bow noise, a bow change.
const UNPITCHED: f64 = 0.92;
/// A pitch in a rest, or before the first note: a string rings, somebody tunes.
const SOUND_IN_REST: f64 = 0.92;
/// An octave away counts as nearly right: a pitch found too early may be that.
const OCTAVE: f64 = 0.95;
/// A dip in level of this many dB within [`DIP_FRAMES`] and back is a bow change, the only sign between two notes of
/// one pitch.
const DIP_DB: f32 = 3.0;
const DIP_FRAMES: usize = 12;

/// Follows the player through the melody.
#[derive(Debug, Clone)]
pub struct Follower {
    /// What each event sounds like: a MIDI number, or `None` for a rest.
    events: Vec<(Option<f64>, u32, f64)>,
    /// The event and the chance of being left in a frame, for each stage.
    stages: Vec<(usize, f64)>,
    /// The stages where a bar begins: going back leads there.
    first_of_bar: Vec<usize>,
    /// The stage in the middle of the last event.
    ending: usize,
    /// The probability of each stage, and the room for the next.
    now: Vec<f64>,
    next: Vec<f64>,
    /// The probability of not having begun.
    waiting: f64,
    waiting_leave: f64,
    levels: [f32; DIP_FRAMES],
    shown: Option<usize>,
    /// The probability of each event, for the decision.
    by_event: Vec<f64>,
}

impl Follower {
    /// A follower before the first note, which is expected after `lead_in`; `frame_rate` frames a second.
    pub fn new(melody: &Melody, bpm: f64, frame_rate: f64, lead_in: Seconds) -> Self {
        let beat = as_f64(melody.metre.beat());
        let frames_a_beat = frame_rate * 60.0 / bpm.max(1.0);
        let (mut events, mut stages, mut first_of_bar) = (Vec::new(), Vec::new(), Vec::new());
        let mut bar = None;
        for (index, event) in melody.events.iter().enumerate() {
            let beats = as_f64(event.length) / beat;
            let count = ((beats * STAGES_A_BEAT).round() as usize).max(FEWEST_STAGES);
            let leave = (count as f64 / (beats * frames_a_beat).max(1.0)).min(0.9);
            if bar != Some(event.bar) {
                first_of_bar.push(stages.len());
                bar = Some(event.bar);
            }
            stages.extend(std::iter::repeat_n((index, leave), count));
            let sounding = match event.kind {
                EventKind::Note { sounding, .. } => Some(f64::from(sounding)),
                EventKind::Rest => None,
            };
            events.push((sounding, event.bar, as_f64(event.beat)));
        }
        let count = stages.len();
        let last = events.len().saturating_sub(1);
        let of_last = stages.iter().filter(|stage: &&(usize, f64)| stage.0 == last).count();
        Self {
            ending: count - of_last / 2,
            by_event: vec![0.0; events.len()],
            events,
            stages,
            first_of_bar,
            now: vec![0.0; count],
            next: vec![0.0; count],
            waiting: 1.0,
            waiting_leave: 1.0 / (lead_in.0 * frame_rate).max(1.0),
            levels: [-120.0; DIP_FRAMES],
            shown: None,
        }
    }

    /// The next frame: its pitch as a MIDI number with decimals, if it has one, and its level in dB.
    pub fn step(&mut self, midi: Option<f64>, level_db: f32) -> Place {
        let dip = self.dip(level_db);
        self.next.fill(0.0);
        let last = self.stages.len().saturating_sub(1);
        for (at, &(event, leave)) in self.stages.iter().enumerate() {
            let held = self.now[at];
            if held == 0.0 {
                continue;
            }
            // The last stage has nowhere to go.
            let leave = if at == last { 0.0 } else { leave };
            let end_of_event = self.stages.get(at + 1).is_some_and(|next| next.0 != event);
            // After a bow change the next note is as likely as this one.
            let leave = if end_of_event && dip { leave.max(0.5) } else { leave };
            self.next[at] += held * (1.0 - leave);
            let on = if end_of_event { held * leave * (1.0 - SKIP) } else { held * leave };
            if at < last {
                self.next[at + 1] += on;
            }
            if end_of_event {
                let over = self.stages.iter().skip(at + 1).position(|stage| stage.0 > event + 1);
                let to = over.map_or(at + 1, |over| at + 1 + over);
                self.next[to] += held * leave * SKIP;
            }
        }
        let begun = 1.0 - self.waiting;
        let share = BACK * begun / self.first_of_bar.len().max(1) as f64;
        for &to in &self.first_of_bar {
            self.next[to] += share;
        }
        if let Some(first) = self.next.first_mut() {
            *first += self.waiting * self.waiting_leave;
        }
        let mut waiting = self.waiting * (1.0 - self.waiting_leave) * rest_likelihood(midi);
        self.by_event.fill(0.0);
        let mut total = waiting;
        for (value, &(event, _)) in self.next.iter_mut().zip(&self.stages) {
            *value *= match self.events[event].0 {
                Some(written) => note_likelihood(midi, written),
                None => rest_likelihood(midi),
            };
            total += *value;
            self.by_event[event] += *value;
        }
        if total > 0.0 {
            self.next.iter_mut().for_each(|value| *value /= total);
            self.by_event.iter_mut().for_each(|value| *value /= total);
            waiting /= total;
        }
        self.waiting = waiting;
        std::mem::swap(&mut self.now, &mut self.next);
        self.decide()
    }

    /// Moves the shown place only where another is clearly more probable.
    fn decide(&mut self) -> Place {
        let best = (0..self.by_event.len()).max_by(|&a, &b| self.by_event[a].total_cmp(&self.by_event[b]));
        if let Some(best) = best.filter(|&best| self.by_event[best] > self.waiting) {
            let shown = self.shown.map_or(0.0, |shown| self.by_event[shown]);
            if self.by_event[best] > 1.3 * shown {
                self.shown = Some(best);
            }
        }
        match self.shown {
            Some(event) => {
                let (_, bar, beat) = self.events[event];
                let ended: f64 = self.now[self.ending..].iter().sum();
                let at_end = event + 1 == self.events.len() && ended > 0.5;
                Place { event: Some(event), bar, beat, at_end }
            }
            None => {
                let (bar, beat) = self.events.first().map_or((1, 1.0), |&(_, bar, beat)| (bar, beat));
                Place { event: None, bar, beat, at_end: false }
            }
        }
    }

    /// Whether the level has just come back from a dip.
    fn dip(&mut self, level_db: f32) -> bool {
        self.levels.rotate_left(1);
        self.levels[DIP_FRAMES - 1] = level_db;
        let (lowest_at, lowest) = self
            .levels
            .iter()
            .enumerate()
            .min_by(|a, b| a.1.total_cmp(b.1))
            .map_or((0, level_db), |(at, &level)| (at, level));
        let before = self.levels[..lowest_at].iter().copied().fold(f32::NEG_INFINITY, f32::max);
        before > lowest + DIP_DB && level_db > lowest + DIP_DB
    }
}

fn note_likelihood(midi: Option<f64>, written: f64) -> f64 {
    let Some(midi) = midi else { return UNPITCHED };
    let away = (midi - written).abs();
    let folded = (away - 12.0 * (away / 12.0).round()).abs();
    if away < 0.7 {
        RIGHT
    } else if folded < 0.5 && away < 13.0 {
        OCTAVE
    } else {
        OTHER
    }
}

fn rest_likelihood(midi: Option<f64>) -> f64 {
    if midi.is_some() { SOUND_IN_REST } else { RIGHT }
}
