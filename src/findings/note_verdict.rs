//! The verdict on one written note: from what was measured, never from what the decoder called it.

use super::played::PlayedNote;
use super::report::{NoteFinding, NoteVerdict};
use crate::align::{Support, WrittenNote};
use crate::notation::{EventKind, Melody, as_f64};
use crate::pitch::{Candidate, Contour, Frame};
use crate::units::Hertz;

/// Farther from the written pitch than this (after the instrument's tuning) is another pitch, in cents.
const WRONG_BEYOND: f64 = 50.0;
/// Within this of the limit the ear does not accuse or praise, in cents.
const UNDECIDED: f64 = 5.0;
/// A note this near to the written pitch at the report's A is right, whatever the instrument's tuning seems to be, in
/// cents; up to [`WRONG_BEYOND`] it is at least not called wrong.
const NEAR_ANYWAY: f64 = 35.0;
/// Verdicts less probable than this are not given.
const LEAST_PROBABLE: f64 = 0.6;
/// The same for calling a played note wrong, the worst thing to be mistaken in.
const LEAST_PROBABLE_WRONG: f64 = 0.7;
/// The same for a second note of one pitch that seems to be missing: a shallow bow change is hard to hear.
const LEAST_PROBABLE_MERGED: f64 = 0.77;
/// Half the interquartile range beyond which a pitch is all over the place, in cents.
const RESTLESS: f64 = 60.0;
/// So short a note has too few periods to decide an octave against a ringing string, in seconds.
const MOMENT: f64 = 0.2;
/// An octave is open where the lower one is at most so much weaker a candidate: where an octave too high was really
/// played (18 notes of the tune half) the lower one is weaker by 0.08 to 0.21, where it was not by 0.00 at the most.
const OCTAVE_MARGIN: f32 = 0.04;
/// Slope and offset of the log odds of a played note's verdict.
const CALIBRATION: (f64, f64) = (2.0, 0.4);
/// Intervals (semitones) at which a strong upper harmonic, or the common period of two sounds, is taken for the pitch:
/// twelfth, two octaves, two octaves and a third. Nobody slips by those in first position.
const HARMONIC_SLIPS: [f64; 6] = [19.02, 24.0, 27.86, -19.02, -24.0, -27.86];

/// One written note and what is known about it besides its sound.
pub(super) struct Asked<'a> {
    pub melody: &'a Melody,
    pub note: &'a WrittenNote,
    /// Whether the note before has the same written pitch.
    pub again: bool,
    pub support: Support,
    /// The instrument's tuning offset in semitones.
    pub tuning: f64,
    pub a4: Hertz,
}

/// Judges one written note, played or not.
pub(super) fn judge_note(asked: &Asked<'_>, played: Option<&PlayedNote>, contour: &Contour) -> NoteFinding {
    let (note, support) = (asked.note, asked.support);
    let event = &asked.melody.events[note.event];
    let written = match event.kind {
        EventKind::Note { written, .. } => written.to_string(),
        EventKind::Rest => String::new(),
    };
    let mut finding = NoteFinding {
        index: note.event,
        bar: event.bar,
        beat: as_f64(event.beat),
        written,
        written_midi: note.midi,
        verdict: NoteVerdict::Missing,
        played_midi: None,
        cents: None,
        cents_spread: None,
        onset_s: None,
        offset_s: None,
        onset_error_beats: None,
        duration_ratio: None,
        confidence: 0.9,
    };
    let Some(p) = played else {
        finding.confidence = probability(support.missing, &[support.right, support.wrong]);
        let least = if asked.again { LEAST_PROBABLE_MERGED } else { LEAST_PROBABLE };
        if finding.confidence < least {
            finding.verdict = NoteVerdict::Unsure;
        }
        return finding;
    };
    finding.onset_s = Some(p.onset.0);
    finding.offset_s = Some(p.offset.0);
    finding.cents_spread = p.steady.map(|s| s.spread);
    let target = f64::from(note.midi) + asked.tuning;
    let mut steady = p.steady.map(|s| s.midi);
    let mut heard = steady.or(p.midi);
    let slipped = heard.is_some_and(|m| HARMONIC_SLIPS.iter().any(|slip| (m - target - slip).abs() < 0.6));
    let octave = heard.is_some_and(|m| (m - target - 12.0).abs() < 0.6)
        && is_as_well_an_octave_lower(contour, p, target, asked.a4);
    if slipped || octave {
        // The ear has taken a harmonic for the note. If it also heard the written pitch, that was it.
        heard = second_best(contour, p, target, asked.a4);
        steady = heard;
    }
    finding.played_midi = heard;
    finding.cents = steady.map(|m| (m - f64::from(note.midi)) * 100.0);
    let Some(midi) = heard else {
        finding.verdict = NoteVerdict::Unsure;
        finding.confidence = 0.5;
        return finding;
    };
    let off = (midi - target).abs() * 100.0;
    let anyway = (midi - f64::from(note.midi)).abs() * 100.0;
    let from_limit = (off - WRONG_BEYOND).abs();
    finding.verdict = if off < WRONG_BEYOND - UNDECIDED || anyway < NEAR_ANYWAY {
        NoteVerdict::Right
    } else if off < WRONG_BEYOND + UNDECIDED
        || anyway < WRONG_BEYOND
        || is_too_brief_to_accuse(p, midi - target)
    {
        NoteVerdict::Unsure
    } else {
        NoteVerdict::Wrong
    };
    let clear = 1.0 - 0.5 * (-from_limit / 8.0).exp();
    let present = probability(support.right.max(support.wrong), &[support.missing]);
    finding.confidence = (present * clear).clamp(0.02, 0.995);
    if finding.verdict == NoteVerdict::Right && anyway < NEAR_ANYWAY {
        finding.confidence = finding.confidence.max(present * 0.9);
    }
    let least = if finding.verdict == NoteVerdict::Wrong { LEAST_PROBABLE_WRONG } else { LEAST_PROBABLE };
    if finding.confidence < least {
        finding.verdict = NoteVerdict::Unsure;
    } else {
        finding.confidence = calibrated(finding.confidence);
    }
    finding
}

/// Whether what was heard of a note does not suffice to call it wrong: it has no steady part and its pitch is all over
/// the place, or it is shorter than a moment and an octave away, which so few periods do not decide.
fn is_too_brief_to_accuse(played: &PlayedNote, semitones_off: f64) -> bool {
    let restless = played.steady.is_none() && played.spread > RESTLESS;
    let brief = played.offset.0 - played.onset.0 < MOMENT;
    restless || (brief && (semitones_off.abs() - 12.0).abs() < 0.6)
}

/// What a played note's probability is worth: of those given 0.65, 0.89 are right (measured on takes with known
/// truth, tune half). On log odds the relation is close to a line.
fn calibrated(probability: f64) -> f64 {
    let log_odds = CALIBRATION.0 * (probability / (1.0 - probability)).ln() + CALIBRATION.1;
    (1.0 / (1.0 + (-log_odds).exp())).min(0.995)
}

/// Whether the written pitch, an octave below the one that was heard, explains most frames as well: a weak fundamental
/// (low strings in a small recorder's ear) leaves the octave open, and the path through the frames only chose one.
fn is_as_well_an_octave_lower(contour: &Contour, played: &PlayedNote, target: f64, a4: Hertz) -> bool {
    let frames = frames_of(contour, played);
    let strength = |frame: &Frame, midi: f64| {
        let near = |c: &&Candidate| (c.pitch.midi(a4).0 - midi).abs() < 0.6;
        frame.candidates.iter().flatten().filter(near).map(|c| c.strength).fold(0.0, f32::max)
    };
    let open = frames.iter().filter(|f| strength(f, target) > strength(f, target + 12.0) - OCTAVE_MARGIN);
    open.count() * 2 > frames.len()
}

fn frames_of<'a>(contour: &'a Contour, played: &PlayedNote) -> &'a [Frame] {
    let frame = |time: f64| ((time / contour.hop.0).round() as usize).min(contour.frames.len());
    &contour.frames[frame(played.onset.0)..frame(played.offset.0).max(frame(played.onset.0))]
}

/// The median of the frames' candidates within a semitone's half of a pitch, where most frames have one.
fn second_best(contour: &Contour, played: &PlayedNote, target: f64, a4: Hertz) -> Option<f64> {
    let frames = frames_of(contour, played);
    let mut near: Vec<f64> = frames
        .iter()
        .filter_map(|f| {
            let candidates = f.candidates.iter().flatten().map(|c| c.pitch.midi(a4).0);
            candidates
                .filter(|m| (m - target).abs() < 0.6)
                .min_by(|a, b| (a - target).abs().total_cmp(&(b - target).abs()))
        })
        .collect();
    near.sort_by(f64::total_cmp);
    (near.len() * 2 > frames.len()).then(|| near[near.len() / 2])
}

/// Log odds are overconfident because neighbouring frames are not independent; this divides them.
const TEMPERATURE: f64 = 2.5;

/// Probability of one reading against others, from their log scores.
fn probability(this: f64, others: &[f64]) -> f64 {
    if this == f64::NEG_INFINITY {
        return 0.5;
    }
    let against: f64 = others.iter().map(|o| ((o - this) / TEMPERATURE).exp()).sum();
    (1.0 / (1.0 + against)).clamp(0.02, 0.995)
}
