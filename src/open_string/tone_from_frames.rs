//! Frames of pitch become a tone: its pitch over the last half second, how far it moves, whether it is steady.

use crate::pitch::Frame;
use crate::units::{Cents, Hertz, Seconds};
use std::collections::VecDeque;

/// Frames at the start of a tone that are not read (the bow catches the string; 10 ms each).
const ATTACK: usize = 8;
/// Frames that a first reading needs after these. With the tracker's delay it comes within half a second.
const FIRST: usize = 20;
/// Frames that a reading is taken over, at most: smooth, and half a second behind a turning peg at most.
const SMOOTH: usize = 50;
/// Frames over which it is judged how far a tone moves (as many as there are): a slow sway turns back within them.
const KEPT: usize = 100;
/// A pitch farther than this from the tone so far is not the tone, in cents.
const JUMP: f64 = 70.0;
/// So many frames without the tone's pitch in a row end it.
const GAP: usize = 6;
/// So many frames at another pitch in a row are another tone.
const ANOTHER: usize = 4;
/// Less clear frames are not read.
const LEAST_CLARITY: f32 = 0.8;
/// Quieter frames are not read, in dB below full scale: a bowed string near a microphone is far above.
const LEAST_LEVEL: f32 = -55.0;
/// A tone quieter than [`LOUD`] must be this much above the quietest moment so far, in dB: mains hum never is.
const ABOVE_QUIETEST: f32 = 10.0;
/// A tone as loud as this is no hum, in dB below full scale.
const LOUD: f32 = -38.0;
/// Half the range of a steady tone, in cents, is at most this.
const STEADY: f64 = 5.0;
/// Half the range of a tone that can still be read.
const READABLE: f64 = 15.0;
/// A steady part must last this long to be kept as a reading of its string, in frames.
const KEEP: usize = 30;
/// Half the range from which a regular swing is vibrato, in cents.
const SWING: f64 = 7.0;

/// What sounds at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sound {
    /// Nothing with a pitch: silence, noise, talk that glides.
    Nothing,
    /// Something with a pitch has begun; it is too early to say which.
    Settling,
    /// A tone that can be read.
    Tone(Tone),
}

/// A tone as far as it has sounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tone {
    /// Its pitch: the middle of the last half second.
    pub pitch: Hertz,
    /// How far it moves: half the range from the 5th to the 95th hundredth of the last second.
    pub moves: Cents,
    /// Whether it is steady.
    pub steadiness: Steadiness,
}

/// How steady a tone is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Steadiness {
    /// It moves by at most 5 cents to either side.
    Steady,
    /// It moves by up to 15 cents: its pitch can be read, about.
    Moving,
    /// It moves by more: its pitch is not read.
    Wandering,
    /// It swings regularly, 4 to 8 times a second, as a finger makes it and an open string does not.
    Swinging,
}

/// A steady part of a tone, from its beginning to its end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Where it begins.
    pub from: Seconds,
    /// Where it ends.
    pub to: Seconds,
    /// Its pitch: the mean of the middle half of its frames.
    pub pitch: Hertz,
    /// Half the range from its 5th to its 95th hundredth.
    pub moves: Cents,
}

/// The tone that sounds, frame by frame.
#[derive(Debug, Default)]
pub(super) struct ToneFollower {
    run: Option<Run>,
    /// The quietest smoothed level so far.
    quietest: Option<f32>,
    level: Option<f32>,
}

/// A tone that goes on. Values are cents above its first pitch.
#[derive(Debug)]
struct Run {
    first: Hertz,
    frames: usize,
    last: VecDeque<f64>,
    missing: usize,
    /// Pitches in a row that are far from the tone.
    strays: Vec<Hertz>,
    /// The steady part that goes on: its values and where it began.
    steady: Vec<f64>,
    steady_from: Seconds,
}

impl ToneFollower {
    /// The next frame: what sounds now, and the steady part that has just ended, if one has.
    pub fn next(&mut self, frame: &Frame) -> (Sound, Option<Stretch>) {
        let heard = self.readable(frame);
        let mut ended = None;
        match (&mut self.run, heard) {
            (None, Some(pitch)) => self.run = Some(Run::new(pitch, frame.time)),
            (None, None) => {}
            (Some(run), None) => {
                run.missing += 1;
                if run.missing > GAP {
                    ended = self.end(frame.time);
                }
            }
            (Some(run), Some(pitch)) => {
                if (pitch.cents_above(run.first).0 - run.now()).abs() <= JUMP {
                    ended = run.add(pitch, frame.time);
                } else {
                    run.strays.push(pitch);
                    if run.strays.len() >= ANOTHER {
                        ended = self.end(frame.time);
                        self.run = Some(Run::new(pitch, frame.time));
                    }
                }
            }
        }
        (self.run.as_ref().map_or(Sound::Nothing, Run::sound), ended)
    }

    /// No more frames: the steady part that went on until now, if one did.
    pub fn end(&mut self, now: Seconds) -> Option<Stretch> {
        self.run.take().and_then(|run| run.kept(now))
    }

    /// The frame's pitch where it is clear and loud enough to be a bowed string.
    fn readable(&mut self, frame: &Frame) -> Option<Hertz> {
        let level = match self.level {
            Some(before) => before + 0.1 * (frame.level_db - before),
            None => frame.level_db,
        };
        self.level = Some(level);
        let quietest = self.quietest.map_or(level, |quietest| quietest.min(level));
        self.quietest = Some(quietest);
        let near = frame.level_db > LEAST_LEVEL
            && (frame.level_db > LOUD || frame.level_db > quietest + ABOVE_QUIETEST);
        frame.pitch.filter(|_| near && frame.clarity >= LEAST_CLARITY)
    }
}

impl Run {
    fn new(pitch: Hertz, now: Seconds) -> Self {
        Self {
            first: pitch,
            frames: 1,
            last: VecDeque::from([0.0]),
            missing: 0,
            strays: Vec::new(),
            steady: Vec::new(),
            steady_from: now,
        }
    }

    /// Where the tone is now, in cents: the middle of its last five frames.
    fn now(&self) -> f64 {
        let mut last: Vec<f64> = self.last.iter().rev().take(5).copied().collect();
        last.sort_by(f64::total_cmp);
        last[last.len() / 2]
    }

    fn add(&mut self, pitch: Hertz, now: Seconds) -> Option<Stretch> {
        (self.missing, self.frames) = (0, self.frames + 1);
        self.strays.clear();
        if self.last.len() == KEPT {
            self.last.pop_front();
        }
        let value = pitch.cents_above(self.first).0;
        self.last.push_back(value);
        if self.is_steady() {
            if self.steady.is_empty() {
                self.steady.extend(self.smooth());
                self.steady_from = Seconds(now.0 - 0.01 * (self.steady.len() - 1) as f64);
            } else {
                self.steady.push(value);
            }
            return None;
        }
        let ended = self.kept_steady(now);
        self.steady.clear();
        ended
    }

    /// The values that a reading is taken over: none before there are enough.
    fn smooth(&self) -> Vec<f64> {
        let count = self.frames.saturating_sub(ATTACK).min(SMOOTH).min(self.last.len());
        if count < FIRST { Vec::new() } else { self.last.iter().rev().take(count).rev().copied().collect() }
    }

    fn is_steady(&self) -> bool {
        matches!(self.sound(), Sound::Tone(Tone { steadiness: Steadiness::Steady, .. }))
    }

    /// The last second without the attack.
    fn last_second(&self) -> Vec<f64> {
        let count = self.frames.saturating_sub(ATTACK).min(self.last.len());
        self.last.iter().rev().take(count).rev().copied().collect()
    }

    fn sound(&self) -> Sound {
        let mut values = self.smooth();
        if values.is_empty() {
            return Sound::Settling;
        }
        values.sort_by(f64::total_cmp);
        let mut last_second = self.last_second();
        last_second.sort_by(f64::total_cmp);
        let moves = half_range(&last_second);
        let steadiness = if moves > SWING && self.swings() {
            Steadiness::Swinging
        } else if moves <= STEADY {
            Steadiness::Steady
        } else if moves <= READABLE {
            Steadiness::Moving
        } else {
            Steadiness::Wandering
        };
        let pitch = self.first.shifted(Cents(middle(&values)));
        Sound::Tone(Tone { pitch, moves: Cents(moves), steadiness })
    }

    fn kept(self, now: Seconds) -> Option<Stretch> {
        self.kept_steady(now)
    }

    fn kept_steady(&self, now: Seconds) -> Option<Stretch> {
        if self.steady.len() < KEEP {
            return None;
        }
        let mut values = self.steady.clone();
        values.sort_by(f64::total_cmp);
        let pitch = self.first.shifted(Cents(middle(&values)));
        Some(Stretch { from: self.steady_from, to: now, pitch, moves: Cents(half_range(&values)) })
    }

    /// Whether the last second swings 4 to 8 times a second: the autocorrelation of the pitch, its straight
    /// trend removed, comes back after one swing and is opposite after half of it.
    fn swings(&self) -> bool {
        let values = without_trend(&self.last_second());
        if values.len() < 50 {
            return false;
        }
        let power: f64 = values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64;
        let at = |lag: usize| {
            let products = values.iter().zip(&values[lag..]).map(|(a, b)| a * b);
            products.sum::<f64>() / (values.len() - lag) as f64 / power.max(1e-9)
        };
        (12..=26).any(|lag| at(lag) > 0.45 && at(lag / 2) < -0.35)
    }
}

fn without_trend(values: &[f64]) -> Vec<f64> {
    let n = values.len() as f64;
    let (mid, mean) = (0.5 * (n - 1.0), values.iter().sum::<f64>() / n);
    let (mut xy, mut xx) = (0.0, 0.0);
    for (k, v) in values.iter().enumerate() {
        let x = k as f64 - mid;
        xy += x * (v - mean);
        xx += x * x;
    }
    let slope = if xx > 0.0 { xy / xx } else { 0.0 };
    values.iter().enumerate().map(|(k, v)| v - mean - slope * (k as f64 - mid)).collect()
}

/// Half the range from the 5th to the 95th hundredth of sorted values.
fn half_range(sorted: &[f64]) -> f64 {
    let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
    0.5 * (at(0.95) - at(0.05))
}

/// The mean of the middle half of sorted values.
fn middle(sorted: &[f64]) -> f64 {
    let quarter = sorted.len() / 4;
    let half = &sorted[quarter..sorted.len() - quarter];
    half.iter().sum::<f64>() / half.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use std::f64::consts::TAU;

    fn frame(k: usize, pitch: Option<f64>) -> Frame {
        Frame {
            time: Seconds(k as f64 * 0.01),
            pitch: pitch.map(Hertz),
            clarity: if pitch.is_some() { 0.98 } else { 0.2 },
            level_db: if pitch.is_some() { -20.0 } else { -70.0 },
            candidates: [None; crate::pitch::MOST_CANDIDATES],
            harmonic_db: -20.0,
            noise_db: -60.0,
            second: None,
        }
    }

    /// Pushes cents around 440 Hz; what sounded last, the frame of the first steady reading, what was kept.
    fn follow(cents: &[Option<f64>]) -> (Sound, Option<usize>, Vec<Stretch>) {
        let mut follower = ToneFollower::default();
        let (mut last, mut first, mut kept) = (Sound::Nothing, None, Vec::new());
        for (k, cents) in cents.iter().enumerate() {
            let pitch = cents.map(|c| 440.0 * (c / 1200.0).exp2());
            let (sound, ended) = follower.next(&frame(k, pitch));
            if matches!(sound, Sound::Tone(Tone { steadiness: Steadiness::Steady, .. })) {
                first.get_or_insert(k);
            }
            kept.extend(ended);
            last = sound;
        }
        kept.extend(follower.end(Seconds(cents.len() as f64 * 0.01)));
        (last, first, kept)
    }

    fn tone(sound: Sound) -> Tone {
        match sound {
            Sound::Tone(tone) => tone,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_steady_tone_is_read_after_28_frames_and_kept() {
        let (last, first, kept) = follow(&[Some(-12.0); 150]);
        assert_eq!(first, Some(ATTACK + FIRST - 1));
        assert_abs_diff_eq!(tone(last).pitch.cents_above(Hertz(440.0)).0, -12.0, epsilon = 1e-6);
        assert_eq!(kept.len(), 1);
        assert_abs_diff_eq!(kept[0].pitch.cents_above(Hertz(440.0)).0, -12.0, epsilon = 1e-6);
        assert_abs_diff_eq!(kept[0].from.0, 0.08, epsilon = 0.011);
        assert_abs_diff_eq!(kept[0].to.0, 1.5, epsilon = 0.011);
    }

    #[test]
    fn an_unsteady_bow_is_said_with_half_its_range() {
        // A slow triangle from −10 to +10 over 0.4 s: the 5th to 95th hundredth is ±9.
        let wobble: Vec<_> = (0..200).map(|k| Some(((k % 40) as f64 - 20.0).abs() - 10.0)).collect();
        let tone = tone(follow(&wobble).0);
        assert_abs_diff_eq!(tone.moves.0, 9.0, epsilon = 0.8);
        assert_ne!(tone.steadiness, Steadiness::Steady);
        assert_eq!(follow(&wobble).1, None);
    }

    #[test]
    fn a_regular_swing_is_vibrato_and_a_restless_bow_is_not() {
        let vibrato: Vec<_> = (0..150).map(|k| Some(20.0 * (TAU * 5.5 * k as f64 * 0.01).sin())).collect();
        assert_eq!(tone(follow(&vibrato).0).steadiness, Steadiness::Swinging);
        // A walk of the pitch without a period (a fixed sequence).
        let mut state = 7_u32;
        let mut value = 0.0;
        let restless: Vec<_> = (0..150)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                value = 0.93 * value + 12.0 * (f64::from(state >> 8) / f64::from(1 << 24) - 0.5);
                Some(value)
            })
            .collect();
        assert_ne!(tone(follow(&restless).0).steadiness, Steadiness::Swinging);
    }

    #[test]
    fn a_glide_like_speech_is_never_steady() {
        let glide: Vec<_> = (0..120).map(|k| Some(3.0 * k as f64)).collect();
        let (_, first, kept) = follow(&glide);
        assert_eq!((first, kept), (None, vec![]));
    }

    #[test]
    fn a_stray_frame_does_not_end_a_tone_and_another_note_does() {
        let mut stray = vec![Some(0.0); 100];
        stray[60] = Some(1200.0);
        stray[61] = None;
        assert_eq!(follow(&stray).2.len(), 1);
        let mut two = vec![Some(0.0); 80];
        two.extend([Some(700.0); 80]);
        let kept = follow(&two).2;
        assert_eq!(kept.len(), 2);
        assert_abs_diff_eq!(kept[1].pitch.cents_above(Hertz(440.0)).0, 700.0, epsilon = 1e-6);
    }

    #[test]
    fn a_turned_peg_gives_two_readings_and_not_their_mean() {
        let mut turned = vec![Some(-30.0); 100];
        turned.extend((0..30).map(|k| Some(-30.0 + k as f64)));
        turned.extend([Some(0.0); 160]);
        let kept = follow(&turned).2;
        let cents: Vec<f64> = kept.iter().map(|s| s.pitch.cents_above(Hertz(440.0)).0.round()).collect();
        assert_eq!(cents, [-30.0, 0.0]);
    }

    #[test]
    fn a_quiet_hum_that_was_always_there_is_not_read() {
        let mut follower = ToneFollower::default();
        for k in 0..200 {
            let hum = Frame { level_db: -45.0, ..frame(k, Some(100.0)) };
            assert_eq!(follower.next(&hum).0, Sound::Nothing);
        }
    }
}
