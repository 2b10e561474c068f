//! Verdicts from a reading: note by note, rest by rest.

use super::drowned::may_have_drowned;
use super::extras::{extra_notes, usual_level};
use super::note_times::TimedBy;
use super::note_verdict::{Asked, judge_note};
use super::one_stroke::{Take, joined};
use super::played::{PlayedNote, played_notes};
use super::report::*;
use super::rests::{Around, rest_findings};
use super::shifted::doubt_shifts;
use super::string_off::{
    FEWEST_OPEN, OPEN_COUNTS_FOR, OnString, notes_on_strings, strings_apart, strings_off,
};
use super::strings::{Deviation, string_tuning};
use super::strings_tried::beside_the_melody;
use super::this_melody::of_one_pitch;
use super::timing::{Beat, OwnBeat};
use super::two_in_one::may_be_two;
use super::vain_returns::left_out;
use crate::align::{Reading, StepKind, Support, WrittenNote, weighted_median};
use crate::notation::{Instrument, Melody};
use crate::pitch::Contour;
use crate::segment::{Boundary, Envelope};
use crate::units::Hertz;

/// What was heard, as the judge needs it.
#[derive(Debug, Clone, Copy)]
pub struct Heard<'a> {
    /// The contour of the take.
    pub contour: &'a Contour,
    /// Its level.
    pub envelope: &'a Envelope,
    /// Where notes may begin.
    pub boundaries: &'a [Boundary],
    /// How notes are timed.
    pub timed_by: TimedBy,
    /// The chosen reading.
    pub reading: &'a Reading,
    /// How well each way of hearing each written note fits.
    pub support: &'a [Support],
    /// The instrument's tuning offset in semitones.
    pub tuning: f64,
}

/// Everything that a reading says about the playing.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Each written note.
    pub notes: Vec<NoteFinding>,
    /// Each written rest.
    pub rests: Vec<RestFinding>,
    /// What was played beside the melody.
    pub extra: Vec<ExtraFinding>,
    /// Each return.
    pub restarts: Vec<RestartFinding>,
    /// The player's own beat.
    pub own_beat: OwnBeat,
    /// The strings.
    pub tuning: TuningFinding,
    /// How many notes are unsure that speak for this melody all the same: they are another pitch only because their string
    /// is out of tune, or right in one of two ways to read them.
    pub speak_for_it: usize,
}

/// Judges a reading of a take.
pub fn findings_from_reading(
    melody: &Melody,
    notes: &[WrittenNote],
    instrument: Instrument,
    a4: Hertz,
    heard: Heard<'_>,
) -> Judgement {
    let Heard { contour, envelope, boundaries, timed_by, reading, .. } = heard;
    let at = (a4, heard.tuning);
    let played = played_notes(reading, contour, envelope, boundaries, timed_by, at);
    let take = Take { instrument, contour: heard.contour, envelope: heard.envelope, a4 };
    let played = joined(played, notes, heard.tuning, take);
    let played = beside_the_melody(played, notes, instrument, heard.tuning);
    let played = left_out(played, notes, heard.tuning);
    let last = last_times(&played, notes.len());
    let (own, beat_of) = own_beat(&played, notes, &last);
    let mut findings: Vec<NoteFinding> = notes
        .iter()
        .enumerate()
        .map(|(n, note)| {
            let asked =
                Asked { melody, note, support: heard.support[n], instrument, tuning: heard.tuning, a4 };
            judge_note(&asked, last[n].map(|k| &played[k]), heard.contour)
        })
        .collect();
    let usual = usual_level(&played);
    for n in 0..notes.len() {
        let mut beside = [n.checked_sub(1), Some(n + 1)].into_iter().flatten();
        let may_hold_two = |other: usize| {
            let local = || own.local(notes[other].start, &[]);
            notes.get(other).is_some_and(|note| note.midi == notes[n].midi)
                && last[other].zip(local()).is_some_and(|(k, beat)| {
                    may_be_two(&played[k], notes[other].length * beat, heard.envelope)
                })
        };
        let drowned = || {
            let before = last[..n].iter().rev().flatten().next();
            let after = last[n + 1..].iter().flatten().next();
            let (Some(&b), Some(&a), Some(beat)) = (before, after, own.local(notes[n].start, &[])) else {
                return false;
            };
            // Between two attempts anything may sound.
            let one_attempt = a > b && !played[b + 1..=a].iter().any(PlayedNote::returns);
            let between = (played[b].offset, played[a].onset);
            one_attempt && may_have_drowned(notes[n].length * beat, between, usual, contour, envelope)
        };
        if findings[n].verdict == NoteVerdict::Missing && (beside.any(may_hold_two) || drowned()) {
            findings[n].doubt();
        }
    }
    let unbroken = own.cut_at_breaks(melody.metre.beats_felt_as_one());
    for (n, finding) in findings.iter_mut().enumerate() {
        if let (Some(k), Some(b)) = (last[n], beat_of[n]) {
            finding.onset_error_beats = unbroken.onset_error(b);
            finding.duration_ratio = own
                .local(notes[n].start, &[])
                .map(|beat| (played[k].offset.0 - played[k].onset.0) / (notes[n].length * beat));
        }
    }
    let off = strings_off(&mut findings, instrument);
    let mut extra = extra_notes(&played, notes);
    let in_doubt = doubt_shifts(&mut findings, &mut extra, &played, notes, &own, heard.tuning);
    let around = Around { notes, played: &played, last: &last, extra: &extra, own: &own };
    let rests = rest_findings(melody, &around);
    let restarts = restarts(&played, notes);
    let tuning = tuning(&findings, instrument, off.strings);
    Judgement {
        notes: findings,
        rests,
        extra,
        restarts,
        own_beat: own,
        tuning,
        speak_for_it: off.notes + in_doubt,
    }
}

/// For each written note the last step that played it.
fn last_times(played: &[PlayedNote], notes: usize) -> Vec<Option<usize>> {
    let mut last = vec![None; notes];
    for (k, p) in played.iter().enumerate() {
        if let StepKind::Written { note, .. } = p.kind {
            last[note] = Some(k);
        }
    }
    last
}

/// The beat of the attempts that count, and each note's place in it.
fn own_beat(
    played: &[PlayedNote],
    notes: &[WrittenNote],
    last: &[Option<usize>],
) -> (OwnBeat, Vec<Option<usize>>) {
    let mut beats = Vec::new();
    let mut place = vec![None; notes.len()];
    let mut attempt = 0;
    for (k, p) in played.iter().enumerate() {
        if let StepKind::Written { note, restart } = p.kind {
            attempt += usize::from(restart);
            if last[note] == Some(k) {
                place[note] = Some(beats.len());
            }
            let WrittenNote { start: at, length, .. } = notes[note];
            beats.push(Beat { note, at, until: at + length, onset: p.onset.0, attempt });
        }
    }
    (OwnBeat::new(beats), place)
}

fn restarts(played: &[PlayedNote], notes: &[WrittenNote]) -> Vec<RestartFinding> {
    let mut left = 0;
    let mut found = Vec::new();
    for p in played {
        if let StepKind::Written { note, restart } = p.kind {
            if restart {
                found.push(RestartFinding {
                    time_s: p.onset.0,
                    left_at_index: notes[left].event,
                    resumed_at_index: notes[note].event,
                });
            }
            left = note;
        }
    }
    found
}

/// An open string further than this from everything else is off by itself, in cents, where it is further from the report's
/// A than that; else it is the fingers. (400 made takes with known tuning: one in ten is off by 7.3 and 7.9 cents in
/// two sets of 200; by 13.3 and 9.2 where it is always the open string.)
const STRING_BY_ITSELF: f64 = 15.0;
/// Fewer other notes than this do not show that a string is off by itself.
const FEWEST_OTHERS: usize = 3;

/// The tuning of the strings that were heard open or are off by themselves, and of the whole instrument: the weighted
/// median over all right notes but those on a string that is off by itself. `far_off` are strings of which that is known.
fn tuning(findings: &[NoteFinding], instrument: Instrument, far_off: Vec<StringTuning>) -> TuningFinding {
    // A melody of one open string is that string, however far off it is.
    let one_string = of_one_pitch(findings)
        && findings.iter().any(|f| instrument.open_strings().contains(&f.written_midi));
    let mut deviations: Vec<Deviation> = findings
        .iter()
        .filter(|f| f.verdict == NoteVerdict::Right || one_string)
        .filter_map(|f| f.cents.map(|cents| Deviation { midi: f.written_midi, cents }))
        .collect();
    let written: Vec<i32> = findings.iter().map(|f| f.written_midi).collect();
    let heard_open = string_tuning(instrument, &written, &deviations);
    let names = instrument.string_names();
    let on_strings = notes_on_strings(findings, instrument);
    let mut apart = far_off;
    for string in strings_apart(&on_strings, instrument) {
        if apart.iter().all(|other| other.string != string.string) {
            apart.push(string);
        }
    }
    let is_apart =
        |string: Option<usize>| string.is_some_and(|k| apart.iter().any(|other| other.string == names[k]));
    if !apart.is_empty() {
        let mut others: Vec<&OnString> = on_strings.iter().filter(|note| !is_apart(note.string)).collect();
        let nearest = apart.iter().min_by(|a, b| a.cents.abs().total_cmp(&b.cents.abs()));
        if let (true, Some(nearest)) = (others.is_empty(), nearest) {
            // Where strings differ and no others tell which of them is off, that is the one further from the report's A.
            let on_it = |note: &&OnString| note.string.is_some_and(|k| names[k] == nearest.string);
            others = on_strings.iter().filter(on_it).collect();
        }
        if !others.is_empty() {
            deviations = others.iter().map(|note| Deviation { midi: note.midi, cents: note.cents }).collect();
        }
    }
    let open = |midi: i32| {
        let string = instrument.open_strings().iter().position(|&open| open == midi)?;
        heard_open.iter().find(|tuning| tuning.string == names[string])
    };
    let by_itself = |midi: i32| {
        open(midi).is_some_and(|tuning| {
            let mut others: Vec<(f64, f64)> =
                deviations.iter().filter(|d| d.midi != midi).map(|d| (d.cents, 1.0)).collect();
            others.len() >= FEWEST_OTHERS
                && weighted_median(&mut others).is_some_and(|rest| {
                    // One note is no string: in a position above the first it may have been a finger.
                    (tuning.cents - rest).abs() > STRING_BY_ITSELF
                        && (tuning.notes < FEWEST_OPEN || tuning.cents.abs() > rest.abs())
                })
        })
    };
    let surely_open = |midi: i32| open(midi).is_some_and(|tuning| tuning.notes >= FEWEST_OPEN);
    let weight = |d: &Deviation| if surely_open(d.midi) { OPEN_COUNTS_FOR } else { 1.0 };
    let mut all: Vec<(f64, f64)> =
        deviations.iter().filter(|d| !by_itself(d.midi)).map(|d| (d.cents, weight(d))).collect();
    if all.is_empty() {
        all = deviations.iter().map(|d| (d.cents, weight(d))).collect();
    }
    let offset_cents = weighted_median(&mut all);
    let mut strings = heard_open;
    strings.retain(|string| apart.iter().all(|other| other.string != string.string));
    strings.extend(apart);
    strings.sort_by_key(|string| names.iter().position(|&name| name == string.string));
    TuningFinding { offset_cents, strings }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::align::Step;
    use crate::notation::{Event, EventKind, Length};
    use crate::units::{A4_ISO16, Seconds};

    /// Right notes of a viola: sounding MIDI numbers and how far off they are, in cents.
    fn tuned(notes: &[(i32, f64)]) -> TuningFinding {
        let finding = |&(written_midi, cents): &(i32, f64)| NoteFinding {
            cents: Some(cents),
            cents_spread: Some(1.0),
            ..NoteFinding::of(written_midi, NoteVerdict::Right, Some(f64::from(written_midi) + cents / 100.0))
        };
        tuning(&notes.iter().map(finding).collect::<Vec<_>>(), Instrument::Viola, Vec::new())
    }

    #[test]
    fn one_slack_string_does_not_move_the_whole_instrument() {
        // The open C (MIDI 48) is 22 cents flat, everything else is not.
        let found = tuned(&[(48, -22.0), (48, -22.0), (48, -22.0), (57, 1.0), (59, -1.0), (60, 2.0)]);
        assert_eq!(found.offset_cents, Some(1.0));
        assert_eq!((found.strings.len(), found.strings[0].cents), (1, -22.0));
        // 12 cents flat beside 6 sharp are 18 apart.
        assert_eq!(
            tuned(&[(48, -12.0), (48, -12.0), (57, 6.0), (59, 6.0), (60, 6.0)]).offset_cents,
            Some(6.0)
        );
    }

    #[test]
    fn fingers_that_are_all_off_do_not_put_an_open_string_in_tune_out_of_tune() {
        // The open C is right and heard three times; five fingers are 20 cents sharp.
        let fingers = [(50, 20.0), (52, 19.0), (53, 22.0), (57, 20.0), (59, 21.0)];
        let found = tuned(&[&[(48, 1.0), (48, 1.0), (48, 1.0)], &fingers[..]].concat());
        assert_eq!(found.offset_cents, Some(1.0));
    }

    #[test]
    fn a_string_is_not_the_whole_instrument_though_most_notes_lie_on_it() {
        // The open D (62) and what is on it are 24 cents flat; B and C on the A string are not.
        let on_d = [(62, -24.0), (64, -25.0), (65, -22.0), (67, -24.0), (62, -24.0), (64, -26.0)];
        let found = tuned(&[&on_d[..], &[(71, 1.0), (72, 0.0), (71, 2.0)]].concat());
        assert_eq!(found.offset_cents, Some(1.0));
        assert_eq!(found.strings.len(), 1);
        assert_eq!((found.strings[0].string.as_str(), found.strings[0].cents), ("D", -24.0));
    }

    #[test]
    fn a_single_string_is_all_there_is_to_go_by() {
        assert_eq!(tuned(&[(48, -22.0), (48, -22.0)]).offset_cents, Some(-22.0));
        assert_eq!(tuned(&[]).offset_cents, None);
    }

    #[test]
    fn open_strings_weigh_more_than_fingers() {
        // The open C is 8 cents flat; three fingers that are all too low do not make it 18.
        let found = tuned(&[(48, -8.0), (48, -8.0), (50, -18.0), (52, -18.0), (53, -19.0)]);
        assert_eq!(found.offset_cents, Some(-8.0));
    }

    #[test]
    fn a_fourth_finger_after_wrong_notes_on_its_string_is_no_string_out_of_tune() {
        // G3 A3 B3 C4 were other notes; D4 is 35 cents high.
        let mut findings: Vec<NoteFinding> = [55, 57, 59, 60]
            .map(|midi| NoteFinding::of(midi, NoteVerdict::Wrong, Some(f64::from(midi) + 1.0)))
            .into();
        let d4 = NoteFinding::of(62, NoteVerdict::Right, Some(62.35));
        findings.push(NoteFinding { cents: Some(35.0), cents_spread: Some(1.0), ..d4 });
        assert_eq!(tuning(&findings, Instrument::Violin, Vec::new()).strings, []);
    }

    /// A D4 from one moment to another, in seconds.
    fn played(note: usize, restart: bool, onset: f64, offset: f64) -> PlayedNote {
        PlayedNote::sounding(StepKind::Written { note, restart }, onset, offset)
    }

    fn written(event: usize, midi: i32, start: f64, length: f64) -> WrittenNote {
        WrittenNote { event, midi, start, length, opens_bar: false, bar: 1 }
    }

    #[test]
    fn after_a_return_a_note_counts_as_it_was_played_last_and_is_on_time_against_the_new_attempt() {
        let notes: Vec<WrittenNote> = (0..4).map(|n| written(n, 62, n as f64, 1.0)).collect();
        // Half a second a beat; after the second note a pause, and back to the first.
        let attempts = [
            (0, false, 0.0),
            (1, false, 0.5),
            (0, true, 3.0),
            (1, false, 3.5),
            (2, false, 4.0),
            (3, false, 4.5),
        ];
        let played = attempts.map(|(note, restart, onset)| played(note, restart, onset, onset + 0.4));
        let last = last_times(&played, notes.len());
        assert_eq!(last, [Some(2), Some(3), Some(4), Some(5)]);
        let (own, place) = own_beat(&played, &notes, &last);
        assert_eq!(place, last);
        for k in place.into_iter().flatten() {
            assert!(own.onset_error(k).unwrap().abs() < 1e-9, "{k}");
        }
    }

    #[test]
    fn a_note_ends_where_its_written_length_does_so_that_a_rest_after_it_says_less_of_the_beat() {
        // Pairs of quarter notes with a rest of a beat after each pair, of which nothing was given: three intervals of
        // a second for one beat count 1 each, two of a second for two beats 0.6 each.
        let notes: Vec<WrittenNote> = (0..6).map(|n| written(n, 62, (n + n / 2) as f64, 1.0)).collect();
        let played: Vec<PlayedNote> = (0..6).map(|n| played(n, false, n as f64, n as f64 + 0.9)).collect();
        let (own, _) = own_beat(&played, &notes, &last_times(&played, notes.len()));
        assert_eq!(own.whole(), Some(1.0));
    }

    #[test]
    fn a_note_lasts_as_a_share_of_its_length_at_the_beat() {
        // D4 for two beats, D4 for one, then E4 that was not played.
        let notes = [written(0, 62, 0.0, 2.0), written(1, 62, 2.0, 1.0), written(2, 64, 3.0, 1.0)];
        let quarters = |n: f64| Length::from_integer(n as i64) / 4;
        let event = |n: &WrittenNote| Event {
            bar: 1,
            beat: quarters(4.0),
            start: quarters(n.start),
            length: quarters(n.length),
            kind: EventKind::Note { written: "D4".parse().unwrap(), sounding: n.midi },
        };
        let melody = Melody::of(notes.iter().map(event).collect());
        // Four seconds: at −20 dB from 0.5 s to 2.5, but for 40 ms around 1.5, where the second note begins.
        let envelope = Envelope::of_levels(4.0, -150.0, |time| match time {
            _ if (time - 1.5).abs() < 0.02 => -50.0,
            _ if (0.5..2.5).contains(&time) => -20.0,
            _ => -80.0,
        });
        let contour = Contour::of_pitches((0..400).map(|k| (50..250).contains(&k).then_some(Hertz(293.66))));
        let boundary =
            |time| Boundary { time: Seconds(time), llr: 3.0, leads: true, features: Default::default() };
        let step = |note, from, to| Step {
            kind: StepKind::Written { note, restart: false },
            boundary: note,
            from,
            to,
            semitone: Some(62),
        };
        let reading = Reading { steps: vec![step(0, 50, 149), step(1, 150, 250)], score: 0.0 };
        let support = Support { right: 0.0, wrong: f64::NEG_INFINITY, missing: 9.0 };
        let heard = Heard {
            contour: &contour,
            envelope: &envelope,
            boundaries: &[boundary(0.5), boundary(1.5)],
            timed_by: TimedBy::Level,
            reading: &reading,
            support: &[support; 3],
            tuning: 0.0,
        };
        let found = findings_from_reading(&melody, &notes, Instrument::Violin, A4_ISO16, heard).notes;
        assert_eq!(found[2].verdict, NoteVerdict::Missing);
        // Onsets at 0.5 and 1.52 s, two beats apart, offsets at 1.48 and 2.5: 0.98 s each, 0.51 s a beat.
        for (note, beats) in found.iter().zip([2.0, 1.0]) {
            let ratio = note.duration_ratio.unwrap();
            assert!((ratio - 0.98 / (0.51 * beats)).abs() < 0.05, "{ratio}");
        }
    }
}
