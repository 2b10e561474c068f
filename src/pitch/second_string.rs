//! A second note in a frame: the bow of a beginner often touches the next string.
//!
//! One period is cancelled and what is left is read as if it were a window of its own (period cancellation: de Cheveigné,
//! "Separation of concurrent harmonic sounds", JASA 93, 1993): what repeats after T is the same T/2 before and after a
//! moment, so the difference of both is without it.

use std::cmp::Ordering;
use std::ops::Range;

use super::candidates::FrameReader;
use super::contour::{Contour, Frame};
use super::settings::TrackerSettings;
use crate::samples::Samples;
use crate::units::Hertz;

/// Where what is left has less than this share of a frame's power, nothing else is looked for, in dB: a string that rings,
/// the room, bow noise.
const LEAST_LEFT_DB: f64 = -10.0;
/// Every so many samples show how much is left.
const SPARSE: usize = 4;
/// Both notes are at least so strong candidates of what the other leaves;
const LEAST_STRENGTH: f32 = 0.75;
/// one that is still to be looked at again, so strong.
const LEAST_PROMISE: f32 = 0.4;
/// A pitch within so many semitones of the other, or of one of its harmonics, is the other one, which moved.
const OWN: f64 = 0.7;
/// Harmonics looked at for that.
const OWN_HARMONICS: u32 = 8;
/// Frames this far below the loud ones are not looked at, in dB.
const SOFT: f32 = 25.0;

/// Between frames with the same two notes so many frames are the same, if nothing else sounds there.
const LONGEST_GAP: usize = 20;

/// What sounds so many frames before or after two notes tells which of them goes on.
const BESIDE: usize = 8;
/// At least so many frames of one pitch do.
const LEAST_BESIDE: usize = 3;

/// The contour of a take, with both notes where two sound at once. The `pitch` of such frames is that of the note that sounds
/// alone before or after them, or that moves while the other one stays.
pub fn with_second_strings(mut contour: Contour, samples: &Samples, settings: TrackerSettings) -> Contour {
    let mut two = TwoNotes::new(samples, TrackerSettings { rate: samples.rate, ..settings });
    let mut levels: Vec<f32> = contour.frames.iter().map(|frame| frame.level_db).collect();
    levels.sort_by(f32::total_cmp);
    let loud = levels.get(levels.len() * 9 / 10).copied().unwrap_or_default();
    for frame in contour.frames.iter_mut().filter(|frame| frame.level_db > loud - SOFT) {
        if let Some((one, other)) = two.in_frame(frame) {
            frame.pitch = Some(one);
            frame.second = Some(other);
        }
    }
    fill_gaps(&mut contour.frames);
    put_melody_first(&mut contour.frames);
    contour
}

/// Two notes that sound together before and after a moment sound together in it: a window in which one of them is soft
/// shows the other alone, or the time after which both repeat.
fn fill_gaps(frames: &mut [Frame]) {
    let mut last: Option<(usize, [Hertz; 2])> = None;
    for k in 0..frames.len() {
        let Some(two) = frames[k].pitch.zip(frames[k].second).map(<[Hertz; 2]>::from) else { continue };
        if let Some((before, notes)) = last
            && (2..=LONGEST_GAP + 1).contains(&(k - before))
            && notes.iter().all(|&note| two.iter().any(|&other| is_near(note, other)))
        {
            let another = |pitch: Hertz| {
                !notes.iter().any(|&note| is_near(note, pitch))
                    && !notes.iter().all(|&note| is_its_own(note, pitch))
            };
            let gap = &mut frames[before + 1..k];
            if !gap.iter().any(|frame| frame.pitch.is_some_and(another)) {
                for frame in gap {
                    let own = frame.pitch.filter(|&pitch| notes.iter().any(|&note| is_near(note, pitch)));
                    let own = own.unwrap_or(notes[0]);
                    frame.pitch = Some(own);
                    frame.second = notes.into_iter().find(|&note| !is_near(note, own));
                }
            }
        }
        last = Some((k, two));
    }
}

/// Makes of the two notes of each stretch the one the pitch that seems to be of the melody, the same throughout.
fn put_melody_first(frames: &mut [Frame]) {
    let stretches = stretches(frames);
    let first: Vec<usize> = (0..stretches.len())
        .map(|k| {
            let (range, notes) = &stretches[k];
            let mut votes = [0_usize; 2];
            let before = k.checked_sub(1).map(|j| &stretches[j]).filter(|s| range.start - s.0.end <= BESIDE);
            let after = stretches.get(k + 1).filter(|s| s.0.start - range.end <= BESIDE);
            for (_, others) in before.into_iter().chain(after) {
                let stays = notes.map(|note| others.iter().any(|&other| is_near(note, other)));
                if stays[0] != stays[1] {
                    votes[usize::from(stays[0])] += 2;
                }
            }
            let alone = |from: usize, to: usize, note: Hertz| {
                let near = |f: &&Frame| f.second.is_none() && f.pitch.is_some_and(|p| is_near(p, note));
                frames[from..to].iter().filter(near).count() >= LEAST_BESIDE
            };
            for (vote, &note) in votes.iter_mut().zip(notes) {
                *vote += usize::from(alone(range.start.saturating_sub(BESIDE), range.start, note));
                *vote += usize::from(alone(range.end, (range.end + BESIDE).min(frames.len()), note));
            }
            let leads =
                frames[range.clone()].iter().filter(|f| f.pitch.is_some_and(|p| is_near(p, notes[0])));
            match votes[0].cmp(&votes[1]) {
                Ordering::Greater => 0,
                Ordering::Less => 1,
                Ordering::Equal => usize::from(2 * leads.count() < range.len()),
            }
        })
        .collect();
    for ((range, notes), first) in stretches.into_iter().zip(first) {
        for frame in &mut frames[range] {
            if frame.second.is_some_and(|second| is_near(second, notes[first])) {
                std::mem::swap(&mut frame.pitch, &mut frame.second);
            }
        }
    }
}

/// Where the same two notes sound, and which.
fn stretches(frames: &[Frame]) -> Vec<(Range<usize>, [Hertz; 2])> {
    let mut found: Vec<(Range<usize>, [Hertz; 2])> = Vec::new();
    for (k, frame) in frames.iter().enumerate() {
        let Some(two) = frame.pitch.zip(frame.second).map(<[Hertz; 2]>::from) else { continue };
        match found.last_mut() {
            Some((range, notes))
                if range.end == k
                    && notes.iter().all(|&note| two.iter().any(|&other| is_near(note, other))) =>
            {
                range.end = k + 1;
            }
            _ => found.push((k..k + 1, two)),
        }
    }
    found
}

fn is_near(one: Hertz, other: Hertz) -> bool {
    one.cents_above(other).0.abs() < 100.0 * OWN
}

/// Looks for two notes in one frame after another.
struct TwoNotes<'a> {
    samples: &'a [f32],
    rate: f64,
    reader: FrameReader,
    left: Vec<f32>,
}

impl<'a> TwoNotes<'a> {
    fn new(samples: &'a Samples, settings: TrackerSettings) -> Self {
        let reader = FrameReader::new(&settings);
        let left = vec![0.0; reader.window()];
        Self { samples: &samples.mono, rate: settings.rate.hertz(), reader, left }
    }

    /// Both notes of a frame. Each candidate in turn is taken for one of them: what it leaves shows the other, what that one
    /// leaves shows the first better, and so on.
    fn in_frame(&mut self, frame: &Frame) -> Option<(Hertz, Hertz)> {
        let from = frame.time.0 * self.rate;
        if let Some(pitch) = frame.pitch
            && self.share_left(from, pitch)? < f64::from(frame.level_db) + LEAST_LEFT_DB
        {
            return None;
        }
        let candidates = frame.candidates.iter().flatten().map(|one| one.pitch);
        let firsts = frame.pitch.into_iter().chain(candidates.filter(|&one| Some(one) != frame.pitch));
        firsts.into_iter().find_map(|first| {
            let other = self.beside(from, first, LEAST_PROMISE)?;
            let one = self.beside(from, other, LEAST_STRENGTH)?;
            let other = self.beside(from, one, LEAST_STRENGTH)?;
            Some((one, other))
        })
    }

    /// The power that is left without a pitch, in dB like a frame's level.
    fn share_left(&self, centre: f64, pitch: Hertz) -> Option<f64> {
        let window = self.left.len();
        let apart = Apart::new(self.samples, centre, 0.5 * self.rate / pitch.0, window)?;
        let sparse: f64 = (0..window).step_by(SPARSE).map(|k| f64::from(apart.difference(k)).powi(2)).sum();
        // Noise, and a second note on average, are twice as strong in the difference of two moments.
        let power = 0.5 * sparse * SPARSE as f64 / window as f64;
        Some(10.0 * power.max(1e-12).log10())
    }

    /// The strongest pitch of what is left without another one.
    fn beside(&mut self, centre: f64, pitch: Hertz, least: f32) -> Option<Hertz> {
        let apart = Apart::new(self.samples, centre, 0.5 * self.rate / pitch.0, self.left.len())?;
        for (k, slot) in self.left.iter_mut().enumerate() {
            *slot = apart.difference(k);
        }
        let found = self.reader.read(&self.left).candidates[0]?;
        (found.strength > least && !is_its_own(found.pitch, pitch)).then_some(found.pitch)
    }
}

/// Whether a pitch is another one or a harmonic of it, or as good as that.
fn is_its_own(found: Hertz, pitch: Hertz) -> bool {
    (1..=OWN_HARMONICS).any(|k| is_near(found, Hertz(pitch.0 * f64::from(k))))
}

/// The samples of a window half a period before and half a period after each of its moments.
struct Apart<'a> {
    before: &'a [f32],
    after: &'a [f32],
    /// The weights of four neighbours for what lies between the middle two, for either.
    weights: [[f32; 4]; 2],
}

impl<'a> Apart<'a> {
    /// Of the window around a sample; `None` where the take does not reach so far.
    fn new(samples: &'a [f32], centre: f64, half: f64, window: usize) -> Option<Self> {
        let first = centre.round() - 0.5 * window as f64;
        let side = |at: f64| {
            let whole = at.floor();
            let start = whole as i64 - 1;
            let start = usize::try_from(start).ok()?;
            Some((samples.get(start..start + window + 3)?, cubic((at - whole) as f32)))
        };
        let (before, one) = side(first - half)?;
        let (after, other) = side(first + half)?;
        Some(Self { before, after, weights: [one, other] })
    }

    fn difference(&self, k: usize) -> f32 {
        let at = |samples: &[f32], weights: &[f32; 4]| -> f32 {
            samples[k..k + 4].iter().zip(weights).map(|(sample, weight)| sample * weight).sum()
        };
        at(self.after, &self.weights[1]) - at(self.before, &self.weights[0])
    }
}

/// What four neighbours weigh at a place between the middle two, 0 to 1 (cubic convolution: Keys, IEEE TASSP 29, 1981).
fn cubic(u: f32) -> [f32; 4] {
    let (u2, u3) = (u * u, u * u * u);
    [-0.5 * u + u2 - 0.5 * u3, 1.0 - 2.5 * u2 + 1.5 * u3, 0.5 * u + 2.0 * u2 - 1.5 * u3, -0.5 * u2 + 0.5 * u3]
}
