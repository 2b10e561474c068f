//! The verdict on one written note: from what was measured, never from what the decoder called it.

use super::played::PlayedNote;
use super::report::{NoteFinding, NoteVerdict};
use crate::align::{Support, WrittenNote};
use crate::notation::{EventKind, Instrument, Melody, as_f64};
use crate::pitch::{Candidate, Contour, Frame};
use crate::units::Hertz;

/// Farther from the written pitch than this (after the instrument's tuning) is another pitch, in cents.
const WRONG_BEYOND: f64 = 50.0;
/// Within this of the limit the ear does not accuse or praise, in cents.
const UNDECIDED: f64 = 5.0;
/// A note this near to the written pitch at the report's A is right, whatever the instrument's tuning seems to be, in
/// cents; up to [`WRONG_BEYOND`] it is at least not called wrong.
const NEAR_ANYWAY: f64 = 35.0;
/// A note is not called right where that is less probable than this.
const LEAST_PROBABLE: f64 = 0.6;
/// The same for calling a played note wrong, the worst thing to be mistaken in.
const LEAST_PROBABLE_WRONG: f64 = 0.7;
/// The same for calling a note missing: so probable must it be that it was not played as written.
const LEAST_PROBABLE_MISSING: f64 = 0.75;
/// Half the interquartile range beyond which a pitch is all over the place, in cents.
const RESTLESS: f64 = 60.0;
/// So short a note has too few periods to decide an octave against a ringing string, in seconds.
pub(super) const MOMENT: f64 = 0.2;
/// An octave is open where the lower one is at most so much weaker a candidate: where an octave too high was really
/// played (18 notes of the tune half) the lower one is weaker by 0.08 to 0.21, where it was not by 0.00 at the most.
const OCTAVE_MARGIN: f32 = 0.04;
/// The same for an octave too low: where one was really played (18 notes of the tune half) the written pitch is weaker
/// by 0.18 to 0.97, where the ear had lost the odd harmonics (15 notes of real phrases in a room, in a phone, without
/// their treble) by 0.13 at the most, but for one.
const OCTAVE_BELOW_MARGIN: f32 = 0.15;
/// The same where the octave below is an open string: both together are its sound with strong even harmonics.
const OCTAVE_OF_OPEN_MARGIN: f32 = 0.45;
/// A note whose written pitch sounds beside another one in more than this share of it is not called wrong.
const BESIDE_SHARE: f64 = 0.3;
/// Nor is one that comes to rest there: whose last frames, so many seconds before it ends, are so many cents from the
/// written pitch at most, for as many seconds and this share of the note.
const LET_GO: f64 = 0.02;
const ARRIVED: f64 = 35.0;
const RESTS_FOR: f64 = 0.08;
const RESTS_SHARE: f64 = 0.2;
/// Slope and offset of the log odds of a played note's verdict.
const CALIBRATION: (f64, f64) = (2.0, 0.4);
/// Intervals (semitones) at which a strong upper harmonic, or the common period of two sounds, is taken for the pitch:
/// twelfth, two octaves, two octaves and a third. Nobody slips by those in first position.
const HARMONIC_SLIPS: [f64; 6] = [19.02, 24.0, 27.86, -19.02, -24.0, -27.86];

/// One written note and what is known about it besides its sound.
pub(super) struct Asked<'a> {
    pub melody: &'a Melody,
    pub note: &'a WrittenNote,
    pub support: Support,
    pub instrument: Instrument,
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
        finding.confidence = not_as_written(support);
        if finding.confidence < LEAST_PROBABLE_MISSING {
            finding.verdict = NoteVerdict::Unsure;
        }
        return finding;
    };
    finding.onset_s = Some(p.onset.0);
    finding.offset_s = Some(p.offset.0);
    finding.cents_spread = p.steady.map(|s| s.spread);
    let target = f64::from(note.midi) + asked.tuning;
    let mut steady = p.steady.map(|s| s.midi);
    let mut heard = p.pitch();
    let slipped = heard.is_some_and(|m| HARMONIC_SLIPS.iter().any(|slip| (m - target - slip).abs() < 0.6));
    let octave_is_open = |away: f64, margin: f32| {
        heard.is_some_and(|m| (m - target - away).abs() < 0.6)
            && written_reads_nearly_as_well(contour, p, (target, away), margin, asked.a4)
    };
    let octave = octave_is_open(12.0, OCTAVE_MARGIN) || octave_is_open(-12.0, OCTAVE_BELOW_MARGIN);
    // The third finger plays the octave of the open string below, which the bow easily touches as well.
    let with_open_string = asked.instrument.open_strings().contains(&(note.midi - 12))
        && octave_is_open(-12.0, OCTAVE_OF_OPEN_MARGIN);
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
        || with_open_string
        || p.share_beside(target, contour, asked.a4) > BESIDE_SHARE
        || comes_to_rest_at(p, target, contour, asked.a4)
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

/// Whether a note slides, for most of its length perhaps, and then rests at a pitch.
fn comes_to_rest_at(played: &PlayedNote, target: f64, contour: &Contour, a4: Hertz) -> bool {
    let hop = contour.hop.0;
    let frames = played.frames(contour);
    let there =
        |frame: &&Frame| frame.pitch.is_some_and(|pitch| (pitch.midi(a4).0 - target).abs() * 100.0 < ARRIVED);
    let rests = frames.iter().rev().skip((LET_GO / hop).round() as usize).take_while(there).count() as f64;
    rests * hop >= RESTS_FOR.max(RESTS_SHARE * frames.len() as f64 * hop) - 1e-9
}

/// What a played note's probability is worth: of those given 0.65, 0.89 are right (measured on takes with known
/// truth, tune half). On log odds the relation is close to a line.
fn calibrated(probability: f64) -> f64 {
    let log_odds = CALIBRATION.0 * (probability / (1.0 - probability)).ln() + CALIBRATION.1;
    (1.0 / (1.0 + (-log_odds).exp())).min(0.995)
}

/// Whether the written pitch, an octave below or above the one that was heard, explains most frames as well, or weaker by no
/// more than a margin: a weak fundamental (low strings in a small recorder's ear) leaves the octave open, as lost odd
/// harmonics do, and the path through the frames only chose one.
fn written_reads_nearly_as_well(
    contour: &Contour,
    played: &PlayedNote,
    (target, away): (f64, f64),
    margin: f32,
    a4: Hertz,
) -> bool {
    let frames = played.frames(contour);
    let strength = |frame: &Frame, midi: f64| {
        let near = |c: &&Candidate| (c.pitch.midi(a4).0 - midi).abs() < 0.6;
        frame.candidates.iter().flatten().filter(near).map(|c| c.strength).fold(0.0, f32::max)
    };
    let open = frames.iter().filter(|f| {
        let written = strength(f, target);
        written > 0.0 && written > strength(f, target + away) - margin
    });
    open.count() * 2 > frames.len()
}

/// The median of the frames' candidates within a semitone's half of a pitch, where most frames have one.
fn second_best(contour: &Contour, played: &PlayedNote, target: f64, a4: Hertz) -> Option<f64> {
    let frames = played.frames(contour);
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

/// How probable it is that a note was left out or played at another pitch: which of the two, the notes around it
/// leave open where a few milliseconds of one of them could be a slip for it. Over 540 takes of the tune half and
/// 200 real phrases, what this says is what comes true (0.98 of those above 0.95, 0.88 at 0.9, 0.82 at 0.78, 0.61 at 0.65).
fn not_as_written(support: Support) -> f64 {
    let most = support.wrong.max(support.missing);
    let of = |score: f64| if score == most { 1.0 } else { ((score - most) / TEMPERATURE).exp() };
    let either = most + (of(support.wrong) + of(support.missing)).ln() * TEMPERATURE;
    probability(either, &[support.right])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::align::StepKind;
    use crate::findings::played::SteadyPitch;
    use crate::notation::{Event, Length};
    use crate::units::{A4_ISO16, MidiPitch, Seconds};

    /// A whole note A4 (MIDI 69), alone.
    fn melody() -> Melody {
        let kind = EventKind::Note { written: "A4".parse().unwrap(), sounding: 69 };
        let (one, zero) = (Length::from_integer(1), Length::from_integer(0));
        Melody::of(vec![Event { bar: 1, beat: one, start: zero, length: one, kind }])
    }

    const NOTE: WrittenNote =
        WrittenNote { event: 0, midi: 69, start: 0.0, length: 4.0, opens_bar: true, bar: 1 };
    /// Surely played, whichever way.
    const SURE: Support = Support { right: 0.0, wrong: 0.0, missing: -100.0 };

    /// One second of a steady pitch.
    fn played(midi: f64) -> PlayedNote {
        PlayedNote {
            kind: StepKind::Written { note: 0, restart: false },
            onset: Seconds(0.5),
            offset: Seconds(1.5),
            bow_from: Seconds(0.5),
            bow_until: Seconds(1.5),
            midi: Some(midi),
            steady: Some(SteadyPitch { midi, spread: 2.0, seconds: 0.8 }),
            spread: 3.0,
            body_db: -20.0,
            voiced: 1.0,
            onset_llr: 5.0,
        }
    }

    /// Two seconds of frames that all have these candidates: MIDI number and strength.
    fn contour(candidates: &[(f64, f32)]) -> Contour {
        let mut frame = Frame {
            time: Seconds(0.0),
            pitch: None,
            clarity: 0.9,
            level_db: -20.0,
            candidates: [None; crate::pitch::MOST_CANDIDATES],
            harmonic_db: -20.0,
            noise_db: -50.0,
            second: None,
        };
        for (place, (midi, strength)) in frame.candidates.iter_mut().zip(candidates) {
            *place = Some(Candidate { pitch: MidiPitch(*midi).hertz(A4_ISO16), strength: *strength });
        }
        Contour { hop: Seconds(0.01), frames: vec![frame; 200] }
    }

    fn judged(played: Option<&PlayedNote>, support: Support, tuning: f64, contour: &Contour) -> NoteFinding {
        let melody = melody();
        let instrument = Instrument::Violin;
        let asked = Asked { melody: &melody, note: &NOTE, support, instrument, tuning, a4: A4_ISO16 };
        judge_note(&asked, played, contour)
    }

    fn verdict(off_cents: f64, tuning_cents: f64) -> NoteVerdict {
        let played = played(69.0 + off_cents / 100.0);
        judged(Some(&played), SURE, tuning_cents / 100.0, &contour(&[])).verdict
    }

    #[test]
    fn around_half_a_semitone_the_ear_neither_praises_nor_accuses() {
        use NoteVerdict::{Right, Unsure, Wrong};
        let found = [0.0, 30.0, -40.0, 46.0, -46.0, 54.0, -54.0, 62.0, -62.0, 100.0, -200.0];
        let found = found.map(|off| verdict(off, 0.0));
        assert_eq!(found, [Right, Right, Right, Unsure, Unsure, Unsure, Unsure, Wrong, Wrong, Wrong, Wrong]);
    }

    #[test]
    fn the_instruments_tuning_is_allowed_for_and_never_makes_a_note_near_the_sheet_wrong() {
        use NoteVerdict::{Right, Unsure, Wrong};
        // An instrument 40 cents flat: 35 cents below that is right, and so is what lies at the sheet's own pitch.
        assert_eq!(verdict(-75.0, -40.0), Right);
        assert_eq!(verdict(30.0, -40.0), Right);
        // 82 cents above the instrument's own A and 42 above the sheet's: not to be called wrong.
        assert_eq!(verdict(42.0, -40.0), Unsure);
        assert_eq!((verdict(49.0, -40.0), verdict(50.0, -40.0)), (Unsure, Wrong));
    }

    #[test]
    fn a_note_near_the_sheets_pitch_is_right_however_near_the_instruments_limit_it_lies() {
        let found = |off: f64, tuning: f64| {
            judged(Some(&played(69.0 + off / 100.0)), SURE, tuning / 100.0, &contour(&[]))
        };
        // 30 cents above the sheet, and just at the limit of an instrument 20 cents flat.
        let near = found(30.0, -20.0);
        assert_eq!(near.verdict, NoteVerdict::Right);
        assert!((near.confidence - calibrated(0.9)).abs() < 0.005, "{near:?}");
        // 44 cents above the sheet, and 6 from the limit: right, but less surely.
        let far = found(44.0, 0.0);
        assert_eq!(far.verdict, NoteVerdict::Right);
        assert!((far.confidence - calibrated(1.0 - 0.5 * (-0.75_f64).exp())).abs() < 0.005, "{far:?}");
    }

    #[test]
    fn cents_are_told_against_the_sheet_and_the_note_lies_where_it_was_heard() {
        let found = judged(Some(&played(69.12)), SURE, 0.3, &contour(&[]));
        assert!((found.cents.unwrap() - 12.0).abs() < 1e-9);
        assert_eq!((found.onset_s, found.offset_s), (Some(0.5), Some(1.5)));
        assert_eq!((found.played_midi, found.cents_spread), (Some(69.12), Some(2.0)));
        let restless = PlayedNote { steady: None, ..played(69.12) };
        let found = judged(Some(&restless), SURE, 0.0, &contour(&[]));
        assert_eq!((found.cents, found.cents_spread), (None, None), "no steady part, no cents");
        assert_eq!(found.verdict, NoteVerdict::Right);
    }

    #[test]
    fn the_octave_of_an_open_string_that_may_sound_along_is_not_called_wrong() {
        // G4 is the octave of a viola's open G, B flat 4 of none: so much weaker than the octave below.
        let found = |written: i32, weaker: f32| {
            let own = f64::from(written);
            let contour = contour(&[(own - 12.0, 0.9), (own, 0.9 - weaker)]);
            let kind = EventKind::Note { written: "A4".parse().unwrap(), sounding: written };
            let (one, zero) = (Length::from_integer(1), Length::from_integer(0));
            let melody = Melody::of(vec![Event { bar: 1, beat: one, start: zero, length: one, kind }]);
            let note = WrittenNote { midi: written, ..NOTE };
            let asked = Asked {
                melody: &melody,
                note: &note,
                support: SURE,
                instrument: Instrument::Viola,
                tuning: 0.0,
                a4: A4_ISO16,
            };
            judge_note(&asked, Some(&played(own - 12.0)), &contour).verdict
        };
        use NoteVerdict::{Right, Unsure, Wrong};
        assert_eq!([0.1, 0.3, 0.5].map(|weaker| found(67, weaker)), [Right, Unsure, Wrong]);
        assert_eq!([0.1, 0.3, 0.5].map(|weaker| found(70, weaker)), [Right, Wrong, Wrong]);
    }

    #[test]
    fn a_note_whose_written_pitch_sounds_along_with_another_string_is_not_called_wrong() {
        let found = |share: f64, beside: f64| {
            let mut contour = contour(&[]);
            let heard = played(62.0);
            for (k, frame) in contour.frames[50..150].iter_mut().enumerate() {
                frame.pitch = Some(MidiPitch(62.0).hertz(A4_ISO16));
                frame.second = ((k as f64) < 100.0 * share).then(|| MidiPitch(beside).hertz(A4_ISO16));
            }
            judged(Some(&heard), SURE, 0.0, &contour).verdict
        };
        use NoteVerdict::{Unsure, Wrong};
        assert_eq!((found(0.29, 69.0), found(0.32, 69.0), found(0.9, 68.0)), (Wrong, Unsure, Wrong));
    }

    #[test]
    fn what_has_no_steady_part_and_wanders_is_not_called_wrong() {
        let wandering = PlayedNote { steady: None, spread: 61.0, ..played(72.0) };
        assert_eq!(judged(Some(&wandering), SURE, 0.0, &contour(&[])).verdict, NoteVerdict::Unsure);
        let settled = PlayedNote { spread: 60.0, ..wandering };
        assert_eq!(judged(Some(&settled), SURE, 0.0, &contour(&[])).verdict, NoteVerdict::Wrong);
        let steady = PlayedNote { spread: 61.0, ..played(72.0) };
        assert_eq!(judged(Some(&steady), SURE, 0.0, &contour(&[])).verdict, NoteVerdict::Wrong);
    }

    #[test]
    fn a_moment_does_not_decide_an_octave() {
        let brief = |midi: f64, seconds: f64| PlayedNote {
            onset: Seconds(0.0),
            offset: Seconds(seconds),
            ..played(midi)
        };
        // The frames hold nothing but what was heard.
        let verdict =
            |note: PlayedNote| judged(Some(&note), SURE, 0.0, &contour(&[(note.midi.unwrap(), 0.8)])).verdict;
        assert_eq!(verdict(brief(81.0, 0.19)), NoteVerdict::Unsure);
        assert_eq!(verdict(brief(57.0, 0.19)), NoteVerdict::Unsure);
        assert_eq!(verdict(brief(81.0, 0.2)), NoteVerdict::Wrong);
        assert_eq!(verdict(brief(76.0, 0.19)), NoteVerdict::Wrong, "a fifth is no octave");
    }

    #[test]
    fn an_octave_too_low_is_open_where_the_written_pitch_explains_the_sound_nearly_as_well() {
        let verdict = |written: f32| {
            judged(Some(&played(57.0)), SURE, 0.0, &contour(&[(57.0, 0.95), (69.1, written)])).verdict
        };
        assert_eq!(
            [0.94, 0.81, 0.79].map(verdict),
            [NoteVerdict::Right, NoteVerdict::Right, NoteVerdict::Wrong]
        );
        // Frames of which nothing is known do not speak for the written pitch.
        assert_eq!(judged(Some(&played(57.0)), SURE, 0.0, &contour(&[])).verdict, NoteVerdict::Wrong);
    }

    #[test]
    fn an_octave_is_open_where_the_lower_one_explains_the_sound_as_well() {
        let verdict = |contour: &Contour| judged(Some(&played(81.0)), SURE, 0.0, contour).verdict;
        assert_eq!(verdict(&contour(&[(81.0, 0.80), (69.0, 0.79)])), NoteVerdict::Right);
        assert_eq!(verdict(&contour(&[(81.0, 0.80), (69.0, 0.80 - OCTAVE_MARGIN)])), NoteVerdict::Wrong);
        assert_eq!(verdict(&contour(&[(81.0, 0.80)])), NoteVerdict::Wrong);
    }

    #[test]
    fn a_harmonic_is_not_taken_for_a_wrong_note() {
        // A twelfth above. Where the written pitch was heard beneath it, that was it; else nobody knows.
        let verdict = |midi: f64, contour: &Contour| {
            let found = judged(Some(&played(midi)), SURE, 0.0, contour);
            (found.verdict, found.played_midi.map(|midi| (midi * 100.0).round() / 100.0))
        };
        let both = contour(&[(88.02, 0.9), (69.1, 0.4)]);
        assert_eq!(verdict(88.02, &both), (NoteVerdict::Right, Some(69.1)));
        assert_eq!(verdict(88.02, &contour(&[(88.02, 0.9)])), (NoteVerdict::Unsure, None));
        assert_eq!(verdict(86.0, &both).0, NoteVerdict::Wrong, "nobody slips by seventeen semitones");
    }

    #[test]
    fn a_verdict_is_given_only_where_it_is_probable() {
        let with = |played: Option<&PlayedNote>, against: f64| {
            // So many nats for what was decided, against the other readings.
            let support = match played {
                Some(_) => Support { right: against, wrong: against, missing: 0.0 },
                None => Support { right: 0.0, wrong: f64::NEG_INFINITY, missing: against },
            };
            judged(played, support, 0.0, &contour(&[]))
        };
        // Log odds a, divided by 2.5, are the probability 1 / (1 + exp(-a / 2.5)): 0.6 at 1.01, 0.7 at 2.12, 0.75 at 2.75.
        let (right, wrong) = (played(69.0), played(71.0));
        assert_eq!(with(Some(&right), 1.1).verdict, NoteVerdict::Right);
        assert_eq!(with(Some(&right), 0.9).verdict, NoteVerdict::Unsure);
        assert_eq!(with(Some(&wrong), 2.3).verdict, NoteVerdict::Wrong);
        assert_eq!(with(Some(&wrong), 1.9).verdict, NoteVerdict::Unsure);
        assert_eq!(with(None, 2.85).verdict, NoteVerdict::Missing);
        assert_eq!(with(None, 2.65).verdict, NoteVerdict::Unsure);
        // The more is for it, the surer it is said, and never for certain.
        let sure = with(Some(&right), 30.0).confidence;
        assert!(sure > with(Some(&right), 5.0).confidence && sure <= 0.995, "{sure}");
    }

    #[test]
    fn a_note_left_out_or_played_wrong_is_not_as_written_whichever_it_was() {
        let missing = |wrong: f64| {
            let support = Support { right: 0.0, wrong, missing: 2.5 };
            judged(None, support, 0.0, &contour(&[])).confidence
        };
        // At 2.5 nats an e-fold: e and nothing against 1, e and 1, e and e.
        let share = |not: f64| not / (not + 1.0);
        let e = std::f64::consts::E;
        assert!((missing(f64::NEG_INFINITY) - share(e)).abs() < 1e-9);
        assert!((missing(0.0) - share(e + 1.0)).abs() < 1e-9);
        assert!((missing(2.5) - share(e + e)).abs() < 1e-9);
        // Where nothing was read at all, nobody knows.
        let never = f64::NEG_INFINITY;
        let nothing = Support { right: never, wrong: never, missing: never };
        let unread = judged(None, nothing, 0.0, &contour(&[]));
        assert_eq!((unread.verdict, unread.confidence), (NoteVerdict::Unsure, 0.5));
        let played_wrong = Support { wrong: 2.5, missing: never, right: 0.0 };
        assert!((judged(None, played_wrong, 0.0, &contour(&[])).confidence - share(e)).abs() < 1e-9);
    }

    #[test]
    fn a_probability_is_worth_more_than_it_says_and_nothing_is_certain() {
        // Log odds 0, 0.619 and −0.619, twice and 0.4 more: the logistic of 0.4, 1.638 and −0.838.
        for (said, worth) in [(0.5, 0.5987), (0.65, 0.8373), (0.35, 0.3020), (0.999, 0.995)] {
            assert!((calibrated(said) - worth).abs() < 1e-4, "{said}: {}", calibrated(said));
        }
    }

    /// A contour whose frames have the first candidates up to a frame and the second ones from there on.
    fn changing(first: &[(f64, f32)], until: usize, second: &[(f64, f32)]) -> Contour {
        let mut changed = contour(first);
        changed.frames.truncate(until);
        changed.frames.extend(contour(second).frames.drain(until..));
        changed
    }

    #[test]
    fn most_of_a_notes_frames_decide_an_octave_and_a_slip() {
        // The note lasts from frame 50 to frame 150.
        let (open, closed) = ([(81.0, 0.80), (69.0, 0.79)], [(81.0, 0.80), (69.0, 0.70)]);
        let octave = |until| judged(Some(&played(81.0)), SURE, 0.0, &changing(&open, until, &closed)).verdict;
        assert_eq!((octave(100), octave(101)), (NoteVerdict::Wrong, NoteVerdict::Right));
        let (both, only) = ([(88.02, 0.9), (69.1, 0.4)], [(88.02, 0.9)]);
        let slip = |until| {
            judged(Some(&played(88.02)), SURE, 0.0, &changing(&both, until, &only)).played_midi.is_some()
        };
        assert_eq!((slip(100), slip(101)), (false, true));
        // A candidate counts as near within 60 cents of what is asked.
        let near = |cents: f64| {
            let lower = [(81.0, 0.80), (69.0 + cents / 100.0, 0.79)];
            judged(Some(&played(81.0)), SURE, 0.0, &contour(&lower)).verdict
        };
        assert_eq!((near(-55.0), near(-65.0)), (NoteVerdict::Unsure, NoteVerdict::Wrong));
    }

    #[test]
    fn beneath_a_slip_the_candidate_nearest_to_the_sheet_was_the_note() {
        let heard = |candidates: &[(f64, f32)]| {
            judged(Some(&played(88.02)), SURE, 0.0, &contour(candidates)).played_midi
        };
        for (candidates, nearest) in [
            ([(69.3, 0.5), (68.9, 0.4), (88.02, 0.9)], Some(68.9)),
            ([(68.6, 0.5), (69.2, 0.4), (88.02, 0.9)], Some(69.2)),
            ([(69.1, 0.5), (68.6, 0.4), (88.02, 0.9)], Some(69.1)),
            ([(69.55, 0.5), (70.0, 0.4), (88.02, 0.9)], Some(69.55)),
            ([(69.65, 0.5), (68.3, 0.4), (88.02, 0.9)], None),
        ] {
            let found = heard(&candidates).map(|midi| (midi * 100.0).round() / 100.0);
            assert_eq!(found, nearest, "{candidates:?}");
        }
    }

    #[test]
    fn beneath_a_slip_lies_the_middle_of_what_its_frames_have_there() {
        // Of the note's 100 frames 30 have 68.8 and the others 69.1.
        let changed = changing(&[(88.02, 0.9), (68.8, 0.4)], 80, &[(88.02, 0.9), (69.1, 0.4)]);
        let found = judged(Some(&played(88.02)), SURE, 0.0, &changed).played_midi;
        assert!((found.unwrap() - 69.1).abs() < 1e-9, "{found:?}");
    }

    #[test]
    fn a_note_that_slides_and_comes_to_rest_where_it_is_written_is_not_called_wrong() {
        // From E4 at 0.5 s up to A4, where it rests for so long before 1.5 s.
        let verdict = |rests: f64, at: f64| {
            let pitch = |k: u32| {
                let time = f64::from(k) * 0.01;
                Some(MidiPitch((at - (1.5 - rests - time).max(0.0) * 5.0).max(64.0)).hertz(A4_ISO16))
            };
            let contour = Contour::of_pitches((0..200).map(pitch));
            judged(Some(&played(66.0)), SURE, 0.0, &contour).verdict
        };
        assert_eq!(verdict(0.3, 69.0), NoteVerdict::Unsure);
        assert_eq!(verdict(0.3, 69.3), NoteVerdict::Unsure);
        assert_eq!(verdict(0.3, 69.5), NoteVerdict::Wrong, "it rests somewhere else");
        assert_eq!(verdict(0.1, 69.0), NoteVerdict::Wrong, "it hardly rests");
    }
}
