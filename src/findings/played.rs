//! Each step of a reading as a played note: onset, offset and pitch, measured.

use super::note_times::{NoteTimes, TimedBy, note_times};
use crate::align::{Reading, Step, StepKind, WrittenNote};
use crate::pitch::{Contour, Frame};
use crate::segment::{Boundary, Envelope, SAME_ONSET};
use crate::units::{Hertz, Seconds};

/// A note as it was played.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayedNote {
    /// Which written note it stands for, or that it is extra.
    pub kind: StepKind,
    /// The moment the level of the new note by itself comes within 12 dB of its body.
    pub onset: Seconds,
    /// The moment the bow stops driving it.
    pub offset: Seconds,
    /// When the stroke begins that it is played on: with its onset, or with a sound beside the melody that is slurred to it.
    pub bow_from: Seconds,
    /// When that stroke ends.
    pub bow_until: Seconds,
    /// Median pitch over all its voiced frames (MIDI number at the report's A), where there are any.
    pub midi: Option<f64>,
    /// Its pitch over the steady part, where one is long enough.
    pub steady: Option<SteadyPitch>,
    /// Half the interquartile range of its pitch over all voiced frames, in cents.
    pub spread: f64,
    /// Level of its body in dB below full scale.
    pub body_db: f32,
    /// Share of its frames that have a pitch, 0 to 1.
    pub voiced: f64,
    /// Log odds of its onset, melody unseen.
    pub onset_llr: f64,
}

impl PlayedNote {
    /// Its steady pitch, or where it has none the median of its voiced frames.
    pub(super) fn pitch(&self) -> Option<f64> {
        self.steady.map(|s| s.midi).or(self.midi)
    }

    /// The frames of a contour that it sounds in.
    pub(super) fn frames<'a>(&self, contour: &'a Contour) -> &'a [Frame] {
        contour.between(self.onset, self.offset)
    }

    /// Whether it stands for a written note.
    pub(super) fn is_written(&self) -> bool {
        matches!(self.kind, StepKind::Written { .. })
    }

    /// Whether the player went back to it.
    pub(super) fn returns(&self) -> bool {
        matches!(self.kind, StepKind::Written { restart: true, .. })
    }

    /// The share of its frames in which two notes sound, one of them at a pitch (MIDI number).
    pub(super) fn share_beside(&self, midi: f64, contour: &Contour, a4: Hertz) -> f64 {
        let near = |pitch: Hertz| (pitch.midi(a4).0 - midi).abs() < AS_WRITTEN;
        let beside = |f: &&Frame| f.second.is_some() && [f.pitch, f.second].into_iter().flatten().any(near);
        let frames = self.frames(contour);
        frames.iter().filter(beside).count() as f64 / frames.len().max(1) as f64
    }

    /// Whether it stands for a written note and sounds at that note's pitch, after the instrument's tuning (semitones).
    pub(super) fn is_as_written(&self, notes: &[WrittenNote], tuning: f64) -> bool {
        match self.kind {
            StepKind::Written { note, .. } => self
                .pitch()
                .is_some_and(|midi| (midi - tuning - f64::from(notes[note].midi)).abs() < AS_WRITTEN),
            StepKind::Extra { .. } => false,
        }
    }
}

/// The most that a candidate around a boundary says of an onset there: one onset shows in every candidate around it, and
/// which of them a reading takes is a matter of milliseconds.
fn onset_llr(boundaries: &[Boundary], boundary: usize) -> f64 {
    let Some(own) = boundaries.get(boundary) else { return 0.0 };
    let near = boundaries.iter().filter(|b| (b.time.0 - own.time.0).abs() < SAME_ONSET);
    near.map(|b| b.llr).fold(own.llr, f64::max)
}

#[cfg(test)]
impl PlayedNote {
    /// A D4 beyond doubt from one moment to another, in seconds, that was never steady.
    pub(super) fn sounding(kind: StepKind, onset: f64, offset: f64) -> Self {
        Self {
            kind,
            onset: Seconds(onset),
            offset: Seconds(offset),
            bow_from: Seconds(onset),
            bow_until: Seconds(offset),
            midi: Some(62.2),
            steady: None,
            spread: 3.0,
            body_db: -20.0,
            voiced: 1.0,
            onset_llr: 5.0,
        }
    }
}

/// Pitch over the steady part of a note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SteadyPitch {
    /// Median, as a MIDI number with decimals.
    pub midi: f64,
    /// Half the interquartile range, in cents.
    pub spread: f64,
    /// How long the steady part is, in seconds.
    pub seconds: f64,
}

/// A sound no further than this from the written pitch is that note, in semitones.
const AS_WRITTEN: f64 = 0.5;
/// Share of the note at each end that is not steady.
const EDGE: f64 = 0.15;
/// At least this much of the beginning is not steady, in seconds.
const ATTACK: f64 = 0.06;
/// The least steady part that a value is given for, in seconds.
const LEAST_STEADY: f64 = 0.08;
/// At most this much of either end is left out, in seconds.
const LONGEST_ATTACK: f64 = 0.15;
/// One cycle of vibrato, in seconds (students: 5 to 6 cycles a second).
const VIBRATO_CYCLE: f64 = 0.18;
/// Faster glides than this are not steady, in cents per second.
const FASTEST_GLIDE: f64 = 60.0;
/// A glide is measured over this many frames on either side.
const GLIDE_REACH: usize = 4;
/// Of a sound that fades within so many seconds what comes after counts as well.
const BRIEF: f64 = 0.15;
/// Less clear frames are not steady.
const LEAST_CLARITY: f32 = 0.80;

/// Measures each step of a reading, which counts these boundaries, on an instrument tuned so many semitones above `a4`.
pub fn played_notes(
    reading: &Reading,
    contour: &Contour,
    envelope: &Envelope,
    boundaries: &[Boundary],
    by: TimedBy,
    (a4, tuning): (Hertz, f64),
) -> Vec<PlayedNote> {
    let times = note_times(reading, contour, envelope, boundaries, by);
    let played = |(step, times): (&Step, NoteTimes)| {
        let NoteTimes { onset, offset, body_db } = times;
        // A brief sound is as long as the reading heard it: a plucked string has fallen by 12 dB while it sings on.
        let until = offset.max((step.to as f64 * contour.hop.0).min(onset + BRIEF));
        let frames =
            &contour.frames[frame(contour, onset)..frame(contour, until).max(frame(contour, onset) + 1)];
        let near = step.semitone.map(|semitone| f64::from(semitone) + tuning);
        let mut pitches: Vec<f64> = frames.iter().filter_map(|f| pitch_of(f, near, a4)).collect();
        let voiced = pitches.len() as f64 / frames.len() as f64;
        pitches.sort_by(f64::total_cmp);
        PlayedNote {
            kind: step.kind,
            onset: Seconds(onset),
            offset: Seconds(offset),
            bow_from: Seconds(onset),
            bow_until: Seconds(offset),
            midi: middle(&pitches),
            spread: match (quantile(&pitches, 0.25), quantile(&pitches, 0.75)) {
                (Some(a), Some(b)) => (b - a) * 50.0,
                _ => f64::INFINITY,
            },
            steady: steady(contour, (onset, until), a4, near, middle(&pitches)),
            body_db,
            voiced,
            onset_llr: onset_llr(boundaries, step.boundary),
        }
    };
    reading.steps.iter().zip(times).map(played).collect()
}

/// The pitch of a frame (MIDI number): where two strings sound, of the one that belongs to a note at `near`, if only the
/// second does.
fn pitch_of(frame: &Frame, near: Option<f64>, a4: Hertz) -> Option<f64> {
    let own = frame.pitch?.midi(a4).0;
    let second = frame.second.map(|pitch| pitch.midi(a4).0);
    let belongs = |midi: f64| near.is_some_and(|near| (midi - near).abs() < AS_WRITTEN);
    Some(second.filter(|&midi| belongs(midi) && !belongs(own)).unwrap_or(own))
}

fn frame(contour: &Contour, time: f64) -> usize {
    ((time / contour.hop.0).round().max(0.0) as usize).min(contour.frames.len().saturating_sub(1))
}

fn middle(sorted: &[f64]) -> Option<f64> {
    quantile(sorted, 0.5)
}

/// The quantile of sorted values, neighbours interpolated.
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let at = last as f64 * share;
    let (a, b) = (sorted[at.floor() as usize], sorted[at.ceil() as usize]);
    Some(a + (b - a) * (at - at.floor()))
}

/// The steady part: away from both ends, clear, not gliding. Vibrato and wobble are averaged over one cycle
/// before anything is judged, since the mean is the pitch that listeners hear (Brown and Vaughn, "Pitch center of
/// stringed instrument vibrato tones", JASA 1996); a glide is what is left of movement after that.
fn steady(
    contour: &Contour,
    (onset, offset): (f64, f64),
    a4: Hertz,
    near: Option<f64>,
    around: Option<f64>,
) -> Option<SteadyPitch> {
    let around = around?;
    let length = offset - onset;
    let from = onset + (EDGE * length).clamp(ATTACK.min(0.3 * length), LONGEST_ATTACK);
    let to = offset - (EDGE * length).clamp(0.02, LONGEST_ATTACK);
    let hop = contour.hop.0;
    if to <= from {
        return None;
    }
    let kept: Vec<f64> = contour.frames[frame(contour, from)..=frame(contour, to)]
        .iter()
        .filter(|f| f.clarity >= LEAST_CLARITY || f.second.is_some())
        .filter_map(|f| pitch_of(f, near, a4))
        .filter(|midi| (midi - around).abs() < 1.0)
        .collect();
    if (kept.len() as f64) * hop < LEAST_STEADY - 1e-9 {
        return None;
    }
    let cycle = (VIBRATO_CYCLE / hop) as usize;
    let mut level: Vec<f64> =
        kept.windows(cycle.min(kept.len())).map(|w| w.iter().sum::<f64>() / w.len() as f64).collect();
    if level.len() > 2 * GLIDE_REACH {
        let still: Vec<f64> = (0..level.len())
            .filter(|&k| {
                let (a, b) = (k.saturating_sub(GLIDE_REACH), (k + GLIDE_REACH).min(level.len() - 1));
                (level[b] - level[a]).abs() * 100.0 / ((b - a) as f64 * hop) < FASTEST_GLIDE
            })
            .map(|k| level[k])
            .collect();
        if still.len() * 3 > level.len() {
            level = still;
        }
    } else {
        // Shorter than a cycle and a bit: no averages to compare, so the frames themselves.
        level = kept.clone();
    }
    level.sort_by(f64::total_cmp);
    let mut sorted = kept.clone();
    sorted.sort_by(f64::total_cmp);
    Some(SteadyPitch {
        midi: middle(&level)?,
        spread: (quantile(&sorted, 0.75)? - quantile(&sorted, 0.25)?) * 50.0,
        seconds: kept.len() as f64 * hop,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::Features;
    use approx::assert_abs_diff_eq;

    const A4: Hertz = Hertz(440.0);
    const HOP: f64 = 0.01;

    /// Frames of 10 ms at these pitches (MIDI numbers), all clear.
    fn frames(pitches: impl Iterator<Item = f64>) -> Contour {
        Contour::of_pitches(pitches.map(|midi| Some(Hertz(440.0 * ((midi - 69.0) / 12.0).exp2()))))
    }

    fn steady_of(contour: &Contour, onset: f64, offset: f64, around: f64) -> Option<SteadyPitch> {
        steady(contour, (onset, offset), A4, None, Some(around))
    }

    #[test]
    fn the_steady_part_leaves_out_15_percent_of_either_end_at_least_60_ms_and_at_most_150() {
        let held = frames(std::iter::repeat_n(62.1, 500));
        // Onset, offset, and how many frames are left.
        for (onset, offset, left) in [(0.5, 1.5, 71), (0.5, 3.5, 271), (0.5, 0.9, 29), (0.5, 0.7, 12)] {
            let found = steady_of(&held, onset, offset, 62.0).unwrap();
            assert!((found.midi - 62.1).abs() < 1e-9 && found.spread < 1e-9, "{found:?}");
            assert!((found.seconds - f64::from(left) * HOP).abs() < 0.5 * HOP + 1e-9, "{left}: {found:?}");
        }
    }

    #[test]
    fn a_note_with_less_than_80_ms_of_steady_pitch_gets_none() {
        let held = frames(std::iter::repeat_n(62.0, 500));
        assert!(steady_of(&held, 0.5, 0.66, 62.0).is_some_and(|s| s.seconds >= LEAST_STEADY));
        assert_eq!(steady_of(&held, 0.5, 0.58, 62.0), None);
        assert_eq!(steady(&held, (0.5, 1.5), A4, None, None), None);
        // Another note's frames are not this note's.
        assert_eq!(steady_of(&held, 0.5, 1.5, 63.0), None);
        let mut rough = held.clone();
        for frame in &mut rough.frames {
            frame.clarity = 0.79;
        }
        assert_eq!(steady_of(&rough, 0.5, 1.5, 62.0), None);
    }

    #[test]
    fn vibrato_counts_as_its_middle_wherever_it_is_cut() {
        // 5.5 cycles a second, 20 cents to either side.
        let vibrato =
            frames((0..500).map(|k| 62.0 + 0.2 * (std::f64::consts::TAU * 5.5 * k as f64 * HOP).sin()));
        for cut in 0..18 {
            let onset = 0.5 + f64::from(cut) * HOP;
            let found = steady_of(&vibrato, onset, onset + 0.9, 62.0).unwrap();
            assert!((found.midi - 62.0).abs() < 0.015, "{cut}: {found:?}");
            assert!(found.spread > 10.0, "{found:?}");
        }
    }

    #[test]
    fn a_slide_into_a_note_is_left_out_and_a_note_that_slides_all_along_is_its_middle() {
        // Up by 60 cents within 0.4 s, then held for 0.8.
        let slid = frames((0..500).map(|k| 62.0 + 0.6 * ((k as f64 * HOP - 0.5) / 0.4).clamp(0.0, 1.0)));
        let found = steady_of(&slid, 0.5, 1.7, 62.5).unwrap();
        assert!((found.midi - 62.6).abs() < 0.01, "{found:?}");
        let sliding = frames((0..500).map(|k| 62.0 + 0.8 * (k as f64 * HOP - 0.5)));
        let found = steady_of(&sliding, 0.5, 1.5, 62.4).unwrap();
        assert!((found.midi - 62.4).abs() < 0.02, "{found:?}");
    }

    #[test]
    fn a_quantile_between_two_values_lies_on_the_line_between_them() {
        // A quarter of the way through four values is at 0.75, a half at 1.5, three quarters at 2.25.
        let quantiles = [0.25, 0.5, 0.75].map(|share| quantile(&[1.0, 2.0, 4.0, 8.0], share));
        assert_eq!(quantiles, [Some(1.75), Some(3.0), Some(5.0)]);
        assert_eq!((quantile(&[], 0.5), quantile(&[3.0], 0.25)), (None, Some(3.0)));
    }

    #[test]
    fn at_the_beginning_of_a_brief_note_30_percent_are_enough_to_leave_out() {
        let held = frames(std::iter::repeat_n(62.0, 200));
        let steady_ms = |offset: f64| {
            steady_of(&held, 0.5, offset, 62.0).map(|found| (found.seconds * 1000.0).round() as u32)
        };
        // From 0.536 to 0.6 s there are frames 54 to 60, from 0.539 to 0.61 s frames 54 to 61, from 0.548 to 0.636 s
        // frames 55 to 64.
        assert_eq!([0.62, 0.63, 0.66].map(steady_ms), [None, Some(80), Some(100)]);
    }

    #[test]
    fn from_260_ms_of_steady_pitch_on_it_is_the_middle_of_averages_over_180_ms() {
        // Twelve frames at 62.0, then 62.4: the steady part is frames 56 to 80, or to 81.
        let step = frames((0..200).map(|k| if k < 56 + 12 { 62.0 } else { 62.4 }));
        let found = |offset: f64| steady_of(&step, 0.5, offset, 62.2).unwrap();
        // 13 of the 25 frames are at 62.4. Averages there would have 6 to 13 of their 18 frames at 62.4.
        assert_abs_diff_eq!(found(0.85).midi, 62.4, epsilon = 1e-9);
        // Of the 26 frames' nine averages the middle one has ten.
        assert_abs_diff_eq!(found(0.86).midi, 62.0 + 0.4 * 10.0 / 18.0, epsilon = 1e-9);
    }

    #[test]
    fn where_more_than_a_third_of_a_note_is_still_its_glide_is_left_out() {
        // Up by 0.3 cents a frame, and by 2.1 from one frame on. The steady part is frames 65 to 135, so 54 averages,
        // of which number k is over the frames from k to k + 17. Where j of the steps under two averages in a row are
        // fast, these are 0.3 + 0.1 j cents apart; eight of such distances, 4.8 cents together, are a glide. With the
        // first fast step at n, number n − 15 still has 0, 0, 1, 2 … 6 in them (2.4 + 2.1 = 4.5), and number n − 14
        // has 0, 1, 2 … 7 (2.4 + 2.8 = 5.2).
        let found = |fast_from: f64| {
            let cents = |k: f64| 0.3 * k + 1.8 * (k - fast_from).max(0.0);
            let gliding = frames((0..200).map(|k| 62.0 + cents(f64::from(k) - 65.0) / 100.0));
            (steady_of(&gliding, 0.5, 1.5, 62.4).unwrap().midi - 62.0) * 100.0
        };
        // Still are numbers 0 to 18, more than a third. The middle one is number 9, over frames 9 to 26, all slow:
        // 0.3 · 17.5.
        assert_abs_diff_eq!(found(33.0), 5.25, epsilon = 1e-6);
        // Still are numbers 0 to 17, just a third, so all 54 count, and the middle is between numbers 26 and 27: 0.3 · 34.5
        // and 0.3 · 35.5, and 1.8 / 18 · (1 + 2 + … 11) and 1.8 / 18 · (1 + 2 + … 12): 10.35 + 6.6 and 10.65 + 7.8.
        assert_abs_diff_eq!(found(32.0), 17.7, epsilon = 1e-6);
    }

    /// An envelope of 5 ms, at −20 dB from one moment to another and at −80 elsewhere.
    fn loud_between(from: f64, to: f64) -> Envelope {
        Envelope::of_levels(2.005, -100.0, |time| {
            if time > from - 0.0025 && time < to + 0.0025 { -20.0 } else { -80.0 }
        })
    }

    /// What is measured of one note that was read to last from frame to frame.
    fn one_note(contour: &Contour, envelope: &Envelope, from: usize, to: usize) -> PlayedNote {
        let kind = StepKind::Written { note: 0, restart: false };
        let reading =
            Reading { steps: vec![Step { kind, boundary: 0, from, to, semitone: Some(62) }], score: 0.0 };
        let boundary = Boundary { time: Seconds(0.5), llr: 3.0, leads: true, features: Features::default() };
        played_notes(&reading, contour, envelope, &[boundary], TimedBy::Level, (A4, 0.0)).remove(0)
    }

    #[test]
    fn the_pitch_of_a_sound_that_fades_at_once_is_measured_as_long_as_the_reading_hears_it() {
        // At −20 dB for 60 ms and then 40 dB lower, with one pitch first and another from 40 ms on.
        let level = |time: f64| if (0.5..0.56).contains(&time) { -20.0 } else { -60.0 };
        let contour = frames((0..400).map(|k| if k < 54 { 64.0 } else { 62.0 }));
        let envelope = Envelope::of_levels(4.0, -100.0, level);
        let heard = one_note(&contour, &envelope, 50, 70);
        assert!((heard.offset.0 - 0.56).abs() < 0.011, "{heard:?}");
        assert!(heard.midi.is_some_and(|midi| (midi - 62.0).abs() < 1e-6), "{heard:?}");
        let only_then = one_note(&contour, &envelope, 50, 56);
        assert!(only_then.midi.is_some_and(|midi| midi > 63.9), "{only_then:?}");
    }

    #[test]
    fn a_note_has_the_middle_and_half_the_interquartile_range_of_its_voiced_frames() {
        // From 0.5 to 1 s, frames 50 to 99, every other one has a pitch: 25 of them, from 62.00 to 62.24.
        let mut contour = frames((0..200).map(|k| 62.0 + 0.005 * (f64::from(k) - 50.0)));
        contour.frames.iter_mut().skip(1).step_by(2).for_each(|frame| frame.pitch = None);
        let found = one_note(&contour, &loud_between(0.5, 1.0), 50, 100);
        assert_abs_diff_eq!(found.onset.0, 0.499, epsilon = 1e-6);
        assert_abs_diff_eq!(found.offset.0, 1.0, epsilon = 1e-9);
        assert_abs_diff_eq!(found.midi.unwrap(), 62.12, epsilon = 1e-9);
        // Half of 62.18 − 62.06.
        assert_abs_diff_eq!(found.spread, 6.0, epsilon = 1e-9);
        assert_eq!((found.voiced, found.body_db, found.onset_llr), (0.5, -20.0, 3.0));
    }

    #[test]
    fn a_note_in_the_last_frame_of_a_take_has_its_pitch() {
        let contour = frames((0..100).map(|k| if k == 99 { 64.0 } else { 62.0 }));
        let found = one_note(&contour, &loud_between(0.995, 2.0), 99, 100);
        assert_abs_diff_eq!(found.midi.unwrap(), 64.0, epsilon = 1e-9);
        assert_eq!(found.voiced, 1.0);
    }

    #[test]
    fn an_onset_has_the_evidence_of_every_candidate_around_it_and_of_none_further_away() {
        let at = |(time, llr): (f64, f64)| Boundary {
            time: Seconds(time),
            llr,
            leads: true,
            features: Features::default(),
        };
        let boundaries = [(0.9, 5.0), (1.0, -2.0), (1.07, 4.0), (1.2, 6.0)].map(at);
        let said: Vec<f64> = (0..5).map(|k| onset_llr(&boundaries, k)).collect();
        assert_eq!(said, [5.0, 4.0, 4.0, 6.0, 0.0]);
    }
}
