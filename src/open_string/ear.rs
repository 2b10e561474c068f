//! Chunks of samples become what sounds, moment by moment: the tracker's frames as they come.

use super::tone_from_frames::{Sound, Stretch, ToneFollower};
use crate::notation::Instrument;
use crate::pitch::{PitchTracker, TrackerSettings};
use crate::units::{A4_ISO16, MidiPitch, SampleRate, Seconds};

/// The ear listens this far below the lowest open string, in semitones: a slack string is still found.
const BELOW_LOWEST: f64 = 7.0;
/// In a pause after this many frames the tracker begins anew, so that its memory does not grow.
const FORGET_AFTER: usize = 6000;
/// The pause must have lasted this many frames.
const PAUSE: usize = 100;

/// What sounds at one moment, about 30 ms (violin) to 60 ms (bass) ago.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// The middle of the frame, from the first sample.
    pub time: Seconds,
    /// What sounds.
    pub sound: Sound,
    /// The steady part of a tone that ended just before, if one did.
    pub ended: Option<Stretch>,
}

/// Hears one string at a time. Any chunking of the same samples gives the same moments, one every 10 ms.
pub struct StringEar {
    tracker: PitchTracker,
    follower: ToneFollower,
    piece: usize,
    /// Of the frames since the tracker began: how many there are, and how many of the newest are silent.
    frames: usize,
    silent: usize,
    /// Samples since the tracker began, and when it began.
    pushed: u64,
    began: Seconds,
    next_piece: usize,
}

impl StringEar {
    /// An ear for an instrument.
    pub fn new(rate: SampleRate, instrument: Instrument) -> Self {
        let usual = TrackerSettings::for_instrument(rate, Some(instrument));
        let lowest = f64::from(instrument.open_strings()[0]) - BELOW_LOWEST;
        let settings = TrackerSettings {
            lowest: MidiPitch(lowest).hertz(A4_ISO16),
            longest: Seconds(0.02 * FORGET_AFTER as f64),
            ..usual
        };
        // At most one frame ends in a piece.
        let piece = (rate.0 / 100).max(1) as usize;
        Self {
            tracker: PitchTracker::new(settings),
            follower: ToneFollower::default(),
            piece,
            frames: 0,
            silent: 0,
            pushed: 0,
            began: Seconds(0.0),
            next_piece: piece,
        }
    }

    /// The next samples; `each` is called with every moment that they complete.
    pub fn push(&mut self, samples: &[f32], each: &mut impl FnMut(Moment)) {
        let mut samples = samples;
        while !samples.is_empty() {
            let (piece, rest) = samples.split_at(self.next_piece.min(samples.len()));
            samples = rest;
            self.tracker.push(piece);
            self.pushed += piece.len() as u64;
            self.next_piece -= piece.len();
            if self.next_piece > 0 {
                continue;
            }
            self.next_piece = self.piece;
            let Some(frame) = self.tracker.provisional() else { continue };
            if (frame.time.0 * 100.0).round() as usize + 1 == self.frames {
                continue;
            }
            self.frames += 1;
            let time = Seconds(self.began.0 + frame.time.0);
            let (sound, ended) = self.follower.next(&crate::pitch::Frame { time, ..frame });
            self.silent = if sound == Sound::Nothing { self.silent + 1 } else { 0 };
            each(Moment { time, sound, ended });
            if self.frames > FORGET_AFTER && self.silent > PAUSE {
                let rate = self.tracker.settings().rate.hertz();
                self.began = Seconds(self.began.0 + self.pushed as f64 / rate);
                self.tracker.reset();
                (self.frames, self.silent, self.pushed) = (0, 0, 0);
            }
        }
    }

    /// The sound has ended: the moments that are still on their way, and the steady part that went on.
    pub fn finish(&mut self, each: &mut impl FnMut(Moment)) {
        self.push(&vec![0.0; self.tracker.delay() + self.piece], each);
        let now = Seconds(self.began.0 + 0.01 * self.frames as f64);
        let ended = self.follower.end(now);
        if ended.is_some() {
            each(Moment { time: now, sound: Sound::Nothing, ended });
        }
    }

    /// How long after a sound its moment comes, at most: half the tracker's window and one frame.
    pub fn delay(&self) -> Seconds {
        Seconds((self.tracker.delay() + self.piece) as f64 / self.tracker.settings().rate.hertz())
    }
}
