//! Samples become what sounds now: frame by frame, from the past alone.

use super::follower::{Follower, Place};
use crate::notation::{EventKind, HeardNames, Instrument, Melody, Spelling};
use crate::pitch::{Frame, PitchTracker, TrackerSettings};
use crate::units::{Cents, Hertz, SampleRate, Seconds};

/// What sounds at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Now {
    /// The moment, from the first sample that was pushed. It lies half a window of the pitch tracker before the
    /// newest sample.
    pub time: Seconds,
    /// The note that sounds, or `None` where nothing with a pitch does.
    pub sounding: Option<Sounding>,
    /// Where in the melody this is.
    pub place: Place,
    /// The level in dB below full scale.
    pub level_db: f32,
}

/// A note that sounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sounding {
    /// The note as the player reads it (the bass an octave above what sounds).
    pub written: Spelling,
    /// How far it is from that note, −50 to 50 cents; up to 60 from the note on the sheet, so that a wavering finger
    /// does not flicker between two names.
    pub cents: Cents,
}

/// Within this of the note on the sheet, the note on the sheet is what sounds.
const SAME_NOTE_CENTS: f64 = 60.0;

/// A candidate that is believed as soon as two frames agree on it. Noise stays below.
const STRONG: f32 = 0.6;

/// The live window as a share of the one for the report: a shorter one follows sooner, and errs a little more often.
const WINDOW: f64 = 0.5;

/// Frames a second.
const FRAMES_A_SECOND: u64 = 100;

/// Reads along while somebody plays. Any chunking gives the same readings.
pub struct LiveReader {
    tracker: PitchTracker,
    follower: Follower,
    events: Vec<EventKind>,
    names: HeardNames,
    shift: i32,
    a4: Hertz,
    rate: SampleRate,
    pushed: u64,
    /// The strongest candidate of the frame before.
    top: Option<Hertz>,
    last: Option<Now>,
}

impl LiveReader {
    /// A reader at the start of a take, in which the melody's first note is expected `lead_in` after the first
    /// sample.
    pub fn new(
        melody: &Melody,
        instrument: Instrument,
        bpm: f64,
        a4: Hertz,
        rate: SampleRate,
        lead_in: Seconds,
    ) -> Self {
        Self {
            tracker: PitchTracker::new(live_settings(rate, instrument)),
            follower: Follower::new(melody, bpm, FRAMES_A_SECOND as f64, lead_in),
            events: melody.events.iter().map(|event| event.kind).collect(),
            names: HeardNames::of(melody.written(), melody.sheet.key()),
            shift: instrument.sounding_shift(),
            a4,
            rate,
            pushed: 0,
            top: None,
            last: None,
        }
    }

    /// The next samples; `on` is called with each new frame. Nothing is allocated up to
    /// [`TrackerSettings::longest`].
    pub fn push(&mut self, samples: &[f32], mut on: impl FnMut(&Now)) {
        let mut samples = samples;
        while !samples.is_empty() {
            // At most one frame is completed by the samples up to the next multiple of the hop.
            let count = self.until_next_hop().min(samples.len());
            let (now, later) = samples.split_at(count);
            self.tracker.push(now);
            self.pushed += count as u64;
            samples = later;
            let Some(frame) = self.tracker.provisional() else { continue };
            if self.last.is_some_and(|last| last.time == frame.time) {
                continue;
            }
            let midi = self.pitch(&frame).map(|pitch| pitch.midi(self.a4).0);
            let place = self.follower.step(midi, frame.level_db);
            let sounding = midi.map(|midi| self.name(midi, place));
            let now = Now { time: frame.time, sounding, place, level_db: frame.level_db };
            self.last = Some(now);
            on(&now);
        }
    }

    /// The newest reading.
    pub fn last(&self) -> Option<Now> {
        self.last
    }

    /// Samples until the next multiple of the hop, at least one.
    fn until_next_hop(&self) -> usize {
        let rate = u64::from(self.rate.0);
        let hop = self.pushed * FRAMES_A_SECOND / rate + 1;
        ((hop * rate).div_ceil(FRAMES_A_SECOND) - self.pushed).max(1) as usize
    }

    /// The pitch of a frame: at once what two frames in a row say strongest, else what the tracker's path says, which
    /// weighs a leap for longer.
    fn pitch(&mut self, frame: &Frame) -> Option<Hertz> {
        let top = frame.candidates[0].filter(|top| top.strength > STRONG).map(|top| top.pitch);
        let before = std::mem::replace(&mut self.top, top);
        match (top, before) {
            (Some(top), Some(before)) if top.cents_above(before).0.abs() < SAME_NOTE_CENTS => Some(top),
            _ => frame.pitch,
        }
    }

    fn name(&self, midi: f64, place: Place) -> Sounding {
        let expected = place.event.and_then(|event| match self.events.get(event) {
            Some(&EventKind::Note { written, sounding }) => Some((written, sounding)),
            _ => None,
        });
        if let Some((written, sounding)) = expected {
            let cents = 100.0 * (midi - f64::from(sounding));
            if cents.abs() <= SAME_NOTE_CENTS {
                return Sounding { written, cents: Cents(cents) };
            }
        }
        let nearest = midi.round();
        let written = self.names.name(nearest as i32 - self.shift, expected.map(|note| note.0));
        Sounding { written, cents: Cents(100.0 * (midi - nearest)) }
    }
}

fn live_settings(rate: SampleRate, instrument: Instrument) -> TrackerSettings {
    let mut settings = TrackerSettings::for_instrument(rate, Some(instrument));
    settings.window.0 *= WINDOW;
    settings
}
