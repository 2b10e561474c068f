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

/// A note of two may be looked for so many frames after it was heard, where nothing shows a pitch by itself.
const STILL_THERE: usize = 20;
/// Between frames with the same two notes so many frames are the same, if nothing else sounds there.
const LONGEST_GAP: usize = 20;

/// A stretch of so many frames
const LEAST_REACHING: usize = 15;
/// goes on for so many more at either end, at most.
const FURTHEST_END: usize = 8;
/// What sounds so many frames before or after two notes tells which of them goes on.
const BESIDE: usize = 8;
/// At least so many frames of one pitch do.
const LEAST_BESIDE: usize = 3;

/// The contour of a take, with both notes where two sound at once. The `pitch` of such frames is that of the note that sounds
/// alone before or after them, or that moves while the other one stays.
///
/// One of the two is one of the `open` strings (low to high), where any are given, and the other one is played on the next
/// string, above or below, in first position: anything else is the room's memory of the note before, or a string that rings.
pub fn with_second_strings(
    mut contour: Contour,
    samples: &Samples,
    settings: TrackerSettings,
    open: &[Hertz],
) -> Contour {
    let mut two = TwoNotes::new(samples, TrackerSettings { rate: samples.rate, ..settings });
    let mut levels: Vec<f32> = contour.frames.iter().map(|frame| frame.level_db).collect();
    levels.sort_by(f32::total_cmp);
    let loud = levels.get(levels.len() * 9 / 10).copied().unwrap_or_default();
    let possible =
        |one: Hertz, other: Hertz| open.is_empty() || touches(one, other, open) || touches(other, one, open);
    let mut last: Option<(usize, Hertz)> = None;
    for (k, frame) in contour.frames.iter_mut().enumerate().filter(|(_, frame)| frame.level_db > loud - SOFT)
    {
        let lately = last.filter(|(before, _)| k - before <= STILL_THERE).map(|(_, note)| note);
        let found = two.in_frame(frame, lately);
        if let Some((one, other)) = found.filter(|&(one, other)| possible(one, other)) {
            frame.pitch = Some(one);
            frame.second = Some(other);
            last = Some((k, other));
        }
    }
    fill_gaps(&mut contour.frames);
    put_melody_first(&mut contour.frames);
    reach_the_ends(&mut contour.frames);
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
            && notes.iter().all(|&note| is_one_of(note, two))
        {
            let another =
                |pitch: Hertz| !is_one_of(pitch, notes) && !notes.iter().all(|&note| is_its_own(note, pitch));
            let gap = &mut frames[before + 1..k];
            if !gap.iter().any(|frame| frame.pitch.is_some_and(another)) {
                for frame in gap {
                    let own = frame.pitch.filter(|&pitch| is_one_of(pitch, notes)).unwrap_or(notes[0]);
                    frame.pitch = Some(own);
                    frame.second = beside(own, notes);
                }
            }
        }
        last = Some((k, two));
    }
}

/// At its ends a stretch goes on while one of its notes does, for a moment: neither is heard beside the other there before it
/// fills most of a window.
fn reach_the_ends(frames: &mut [Frame]) {
    for (range, notes) in stretches(frames).into_iter().filter(|(range, _)| range.len() >= LEAST_REACHING) {
        let before = (range.start.saturating_sub(FURTHEST_END)..range.start).rev();
        let after = range.end..(range.end + FURTHEST_END).min(frames.len());
        for side in [before.collect::<Vec<_>>(), after.collect()] {
            for k in side {
                let alone = frames[k].pitch.filter(|_| frames[k].second.is_none());
                let Some(own) = alone.filter(|&pitch| is_one_of(pitch, notes)) else { break };
                frames[k].second = beside(own, notes);
            }
        }
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
                let stays = notes.map(|note| is_one_of(note, *others));
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
            Some((range, notes)) if range.end == k && notes.iter().all(|&note| is_one_of(note, two)) => {
                range.end = k + 1;
            }
            _ => found.push((k..k + 1, two)),
        }
    }
    found
}

/// Whether a pitch is that of one of two notes.
fn is_one_of(pitch: Hertz, notes: [Hertz; 2]) -> bool {
    notes.into_iter().any(|note| is_near(note, pitch))
}

/// The other one of two notes.
fn beside(own: Hertz, notes: [Hertz; 2]) -> Option<Hertz> {
    notes.into_iter().find(|&note| !is_near(note, own))
}

fn is_near(one: Hertz, other: Hertz) -> bool {
    one.cents_above(other).0.abs() < 100.0 * OWN
}

/// Whether the bow can play a note and touch an open string as well: the strings lie side by side. What is at the pitch of an
/// open string may also be the fourth finger on the one below.
fn touches(string: Hertz, note: Hertz, open: &[Hertz]) -> bool {
    let below = |&other: &Hertz| note.cents_above(other).0 > -100.0 * OWN;
    let (Some(touched), Some(own)) =
        (open.iter().position(|&other| is_near(string, other)), open.iter().rposition(below))
    else {
        return false;
    };
    let apart = touched.abs_diff(own);
    apart == 1 || (apart == 2 && touched < own && is_near(note, open[own]))
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

    /// Both notes of a frame. Each candidate in turn is taken for one of them, and one that was heard lately: what it leaves
    /// shows the other, what that one leaves shows the first better, and so on.
    fn in_frame(&mut self, frame: &Frame, lately: Option<Hertz>) -> Option<(Hertz, Hertz)> {
        let from = frame.time.0 * self.rate;
        if let Some(pitch) = frame.pitch
            && self.share_left(from, pitch)? < f64::from(frame.level_db) + LEAST_LEFT_DB
        {
            return None;
        }
        let candidates = frame.candidates.iter().flatten().map(|one| one.pitch);
        let firsts = frame.pitch.into_iter().chain(candidates.filter(|&one| Some(one) != frame.pitch));
        firsts.chain(lately).find_map(|first| {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Instrument;
    use crate::pitch::contour;
    use crate::units::{A4_ISO16, MidiPitch, SampleRate};

    const RATE: SampleRate = SampleRate(44_100);

    /// A second and a half of tones of fifteen harmonics: a MIDI number at each moment, and an amplitude.
    fn sound(tones: &[(&dyn Fn(f64) -> f64, f64)]) -> Samples {
        let mut mono = vec![0.0_f32; 66_150];
        for (midi, amplitude) in tones {
            let mut turns = 0.0;
            for (k, slot) in mono.iter_mut().enumerate() {
                turns += MidiPitch(midi(k as f64 / RATE.hertz())).hertz(A4_ISO16).0 / RATE.hertz();
                let harmonic = |k: i32| {
                    let k = f64::from(k);
                    (std::f64::consts::TAU * k * turns + k * k).sin() / k
                };
                *slot += (0.1 * amplitude * (1..=15).map(harmonic).sum::<f64>()) as f32;
            }
        }
        Samples { mono, rate: RATE }
    }

    fn heard(samples: &Samples, instrument: Instrument) -> Vec<Frame> {
        let settings = TrackerSettings::for_instrument(RATE, Some(instrument));
        with_second_strings(contour(samples, settings), samples, settings, &[]).frames[15..135].to_vec()
    }

    fn midi(pitch: Hertz) -> f64 {
        pitch.midi(A4_ISO16).0
    }

    #[test]
    fn two_strings_that_sound_together_are_both_heard_within_ten_cents() {
        for (instrument, low) in
            [(Instrument::Violin, 55.0), (Instrument::Viola, 50.0), (Instrument::Cello, 43.0)]
        {
            for interval in [2.0, 3.0, 4.0, 5.0, 7.0, 9.0, 10.0] {
                for (lower, upper) in [(1.0, 1.0), (1.0, 0.6), (0.6, 1.0)] {
                    let high = low + interval;
                    let frames = heard(&sound(&[(&|_| low, lower), (&|_| high, upper)]), instrument);
                    let both = |frame: &&Frame| {
                        let (Some(one), Some(other)) = (frame.pitch, frame.second) else { return false };
                        let (a, b) = (midi(one).min(midi(other)), midi(one).max(midi(other)));
                        (a - low).abs() < 0.1 && (b - high).abs() < 0.1
                    };
                    let share = frames.iter().filter(both).count() as f64 / frames.len() as f64;
                    assert!(
                        share > 0.95,
                        "{instrument:?}, {interval} semitones, {lower} and {upper}: {share}"
                    );
                }
            }
        }
    }

    #[test]
    fn one_string_is_never_two() {
        let still = |_: f64| 62.0;
        let vibrato = |time: f64| 62.0 + 0.3 * (std::f64::consts::TAU * 5.5 * time).sin();
        let glide = |time: f64| 62.0 + time;
        for (what, pitch) in
            [("still", &still as &dyn Fn(f64) -> f64), ("vibrato", &vibrato), ("glide", &glide)]
        {
            for instrument in [Instrument::Violin, Instrument::Cello] {
                let mut samples = sound(&[(pitch, 1.0)]);
                // White noise from Knuth's linear congruential generator (MMIX).
                let mut state = 7_u64;
                let mut noise = || {
                    state =
                        state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    (state >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
                };
                for loudness in [0.0, 0.03] {
                    samples.mono.iter_mut().for_each(|slot| *slot += (loudness * noise()) as f32);
                    let frames = heard(&samples, instrument);
                    let two = frames.iter().filter(|frame| frame.second.is_some()).count();
                    assert_eq!(two, 0, "{what}, noise {loudness}");
                }
            }
        }
    }

    #[test]
    fn a_string_twelve_db_softer_rings_and_is_not_bowed() {
        let frames = heard(&sound(&[(&|_| 62.0, 1.0), (&|_| 69.0, 0.2)]), Instrument::Violin);
        assert!(frames.iter().all(|frame| frame.second.is_none()));
    }

    #[test]
    fn two_stopped_notes_are_not_two_strings() {
        let samples = sound(&[(&|_| 64.0, 1.0), (&|_| 66.0, 1.0)]);
        let settings = TrackerSettings::for_instrument(RATE, Some(Instrument::Violin));
        let found = |open: &[f64]| {
            let open: Vec<Hertz> = open.iter().map(|&midi| MidiPitch(midi).hertz(A4_ISO16)).collect();
            let frames = with_second_strings(contour(&samples, settings), &samples, settings, &open).frames;
            frames.iter().filter(|frame| frame.second.is_some()).count()
        };
        assert_eq!(found(&[55.0, 62.0, 69.0]), 0);
        assert!(found(&[55.0, 66.3]) > 100);
    }

    #[test]
    fn a_bow_touches_the_string_beside_the_one_that_is_stopped() {
        let hertz = |midi: f64| MidiPitch(midi).hertz(A4_ISO16);
        let violin = [55.0, 62.0, 69.0, 76.0].map(hertz);
        let touched =
            |note: f64| [55.0, 62.0, 69.0, 76.0].map(|open| touches(hertz(open), hertz(note), &violin));
        // E4 on the D string, beside G and A.
        assert_eq!(touched(64.0), [true, false, true, false]);
        // The open A, or the fourth finger on D.
        assert_eq!(touched(69.0), [true, true, false, true]);
        assert_eq!(touched(57.3), [false, true, false, false]);
        assert_eq!(touched(80.0), [false, false, true, false]);
        // Below every string.
        assert_eq!(touched(53.0), [false; 4]);
        assert!(!touches(hertz(63.0), hertz(66.0), &violin), "no open string");
    }

    /// What frames hold: pitch and second note, as MIDI numbers, 0 for none.
    fn frames(of: &[(usize, f64, f64)]) -> Vec<Frame> {
        let hertz = |midi: f64| (midi > 0.0).then(|| MidiPitch(midi).hertz(A4_ISO16));
        let pitches = of.iter().flat_map(|&(count, first, _)| std::iter::repeat_n(hertz(first), count));
        let mut frames = Contour::of_pitches(pitches).frames;
        let seconds = of.iter().flat_map(|&(count, _, second)| std::iter::repeat_n(hertz(second), count));
        for (frame, second) in frames.iter_mut().zip(seconds) {
            frame.second = second;
        }
        frames
    }

    fn told(frames: &[Frame]) -> Vec<(usize, f64, f64)> {
        let midi = |pitch: Option<Hertz>| pitch.map_or(0.0, |pitch| midi(pitch).round());
        let held: Vec<(f64, f64)> = frames.iter().map(|f| (midi(f.pitch), midi(f.second))).collect();
        held.chunk_by(|a, b| a == b).map(|run| (run.len(), run[0].0, run[0].1)).collect()
    }

    #[test]
    fn a_moment_in_which_one_of_two_notes_is_not_heard_is_filled_unless_another_sounds_there() {
        let filled = |between: (usize, f64, f64)| {
            let mut frames = frames(&[(20, 62.0, 69.0), between, (20, 69.0, 62.0)]);
            fill_gaps(&mut frames);
            told(&frames)
        };
        assert_eq!(filled((10, 69.0, 0.0)), [(20, 62.0, 69.0), (30, 69.0, 62.0)]);
        assert_eq!(filled((10, 0.0, 0.0)), [(30, 62.0, 69.0), (20, 69.0, 62.0)]);
        // Where a fifth's periods meet, an octave below its lower note.
        assert_eq!(filled((10, 50.0, 0.0)), [(30, 62.0, 69.0), (20, 69.0, 62.0)]);
        let stays = |between| {
            assert_eq!(filled(between), [(20, 62.0, 69.0), between, (20, 69.0, 62.0)]);
        };
        stays((10, 64.0, 0.0));
        stays((21, 62.0, 0.0));
    }

    #[test]
    fn the_note_that_goes_on_alone_or_that_moves_is_the_pitch() {
        let ordered = |of: &[(usize, f64, f64)]| {
            let mut frames = frames(of);
            put_melody_first(&mut frames);
            told(&frames)
        };
        // The bow touches the open string in the last third, or in the first.
        assert_eq!(ordered(&[(30, 64.0, 0.0), (20, 69.0, 64.0)]), [(30, 64.0, 0.0), (20, 64.0, 69.0)]);
        assert_eq!(ordered(&[(20, 69.0, 64.0), (30, 64.0, 0.0)]), [(20, 64.0, 69.0), (30, 64.0, 0.0)]);
        // It touches it throughout, and fingers move.
        let drone = [(20, 69.0, 64.0), (20, 69.0, 66.0), (3, 0.0, 0.0), (20, 69.0, 67.0)];
        assert_eq!(ordered(&drone), [(20, 64.0, 69.0), (20, 66.0, 69.0), (3, 0.0, 0.0), (20, 67.0, 69.0)]);
        // Nothing tells: the one that leads more often.
        assert_eq!(ordered(&[(20, 69.0, 64.0), (9, 64.0, 69.0)]), [(29, 69.0, 64.0)]);
    }

    #[test]
    fn a_long_stretch_of_two_notes_reaches_as_far_as_one_of_them_for_a_moment() {
        let reached = |length: usize| {
            let mut frames = frames(&[(20, 62.0, 0.0), (length, 69.0, 62.0), (5, 69.0, 0.0), (9, 71.0, 0.0)]);
            reach_the_ends(&mut frames);
            told(&frames)
        };
        assert_eq!(reached(15), [(12, 62.0, 0.0), (8, 62.0, 69.0), (20, 69.0, 62.0), (9, 71.0, 0.0)]);
        assert_eq!(reached(14), [(20, 62.0, 0.0), (14, 69.0, 62.0), (5, 69.0, 0.0), (9, 71.0, 0.0)]);
    }
}
