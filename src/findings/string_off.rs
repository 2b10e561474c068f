//! A string that is out of tune by itself: everything on it is off by the same, and no finger is to blame.
//!
//! Far off, its notes may be taken for others, and are not called wrong then. Less far off, they are right all the same;
//! then the string is known by them, so that it is not taken for the whole instrument and each note is judged by its own
//! string.

use super::report::{NoteFinding, NoteVerdict, StringTuning};
use super::strings::surely_open;
use crate::align::weighted_median;
use crate::notation::Instrument;

/// A string is off by itself where its notes are at least so far from the others, in cents;
const LEAST_OFF: f64 = 40.0;
/// at most so far, since all fingers on it may be a semitone off together,
const MOST_OFF: f64 = 90.0;
/// unless it was heard open: then so far.
const MOST_OFF_OPEN: f64 = 130.0;
/// So many notes of it are needed,
const ENOUGH: usize = 4;
/// of which this share
const SHARE: f64 = 0.8;
/// are no further than this from their median, in cents.
const TOGETHER: f64 = 25.0;
/// Notes on the other strings: so many are needed,
const ENOUGH_OTHERS: usize = 3;
/// and their median is no further from the report's A than this, in cents.
const OTHERS_OFF: f64 = 50.0;
/// What is further from the written pitch than this is another note, in cents.
const ANOTHER_NOTE: f64 = 150.0;

/// What strings out of tune do to a take.
#[derive(Debug, Default)]
pub(super) struct StringsOff {
    /// Those strings, and how far off the report's A they are.
    pub strings: Vec<StringTuning>,
    /// How many notes are not right as far as one can hear, and as far off as their string.
    pub notes: usize,
}

/// In first position a note is played on the highest string that is not above it (common practice); the fourth finger on
/// the string below gives the same pitch as that one open.
fn string_in_first_position(instrument: Instrument, midi: i32) -> Option<usize> {
    instrument.open_strings().iter().rposition(|&string| string <= midi)
}

/// Takes back that notes are wrong which only their string makes so, and gives those strings.
pub(super) fn strings_off(findings: &mut [NoteFinding], instrument: Instrument) -> StringsOff {
    let open = instrument.open_strings();
    let string_of = |midi: i32| string_in_first_position(instrument, midi);
    let off = |note: &NoteFinding| {
        let cents = 100.0 * (note.played_midi? - f64::from(note.written_midi));
        (cents.abs() < ANOTHER_NOTE).then_some(cents)
    };
    let median = |of: &dyn Fn(&NoteFinding) -> bool| {
        let mut all: Vec<(f64, f64)> =
            findings.iter().filter(|note| of(note)).filter_map(&off).map(|cents| (cents, 1.0)).collect();
        weighted_median(&mut all).map(|cents| (cents, all.len()))
    };
    let mut strings: Vec<(usize, f64)> = Vec::new();
    let mut told = Vec::new();
    for (string, &sounds) in open.iter().enumerate() {
        let on_it = |note: &NoteFinding| string_of(note.written_midi) == Some(string);
        let (Some((cents, count)), Some((others, enough))) = (median(&on_it), median(&|note| !on_it(note)))
        else {
            continue;
        };
        let own = || findings.iter().filter(|note| on_it(note));
        let played = own().filter(|note| note.played_midi.is_some()).count();
        let near = |note: &&NoteFinding| off(note).is_some_and(|own| (own - cents).abs() < TOGETHER);
        let together = own().filter(near).count();
        let is_open = |note: &NoteFinding| note.written_midi == sounds;
        let most = if own().filter(near).any(is_open) { MOST_OFF_OPEN } else { MOST_OFF };
        if count >= ENOUGH
            && enough >= ENOUGH_OTHERS
            && together as f64 >= SHARE * played as f64
            && (LEAST_OFF..most).contains(&(cents - others).abs())
            && others.abs() < OTHERS_OFF
            && !own().filter(|note| is_open(note)).any(|note| !near(&note))
        {
            strings.push((string, cents));
            told.push(StringTuning {
                string: instrument.string_names()[string].to_owned(),
                cents,
                notes: together,
            });
        }
    }
    let mut notes = 0;
    for note in findings.iter_mut().filter(|note| note.verdict != NoteVerdict::Right) {
        // What is written at an open string may be played by the fourth finger on the one below.
        let at =
            |string: usize| [note.written_midi, note.written_midi - 1].map(string_of).contains(&Some(string));
        let as_far = |cents: f64| off(note).is_some_and(|own| (own - cents).abs() < TOGETHER);
        if strings.iter().any(|&(string, cents)| at(string) && as_far(cents)) {
            notes += 1;
            if note.verdict == NoteVerdict::Wrong {
                note.doubt();
            }
        }
    }
    StringsOff { strings: told, notes }
}

/// Right notes on a string are off by themselves where they are so far from the right notes on the other strings, in
/// cents, and the string was heard open;
const LEAST_APART_OPEN: f64 = 11.0;
/// where it was not, all fingers on it may be off together: then so far.
const LEAST_APART: f64 = 15.0;
/// And so many times as far as the medians of both may be off by chance. (400 made takes with known strings: 4 are told,
/// one of them rightly; in 103 one string was taken 24 cents down on paper, and 72 of these are found. With twice and a
/// half as far it is 77, and one more that is not so.)
const SURELY_APART: f64 = 3.0;
/// No hand is steadier than this, in cents, however few notes say so.
const STEADIEST: f64 = 4.0;
/// An open string counts for so many stopped notes: no finger can be off on it. (72 made takes with known
/// tuning: median error 2.8 cents and 6.9 for one in ten, against 3.5 and 9.2 with every note alike),
pub(super) const OPEN_COUNTS_FOR: f64 = 5.0;
/// where at least so many are heard: one alone may have been a finger in a position above the first.
pub(super) const FEWEST_OPEN: usize = 2;

/// A right note with its string.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct OnString {
    /// The string in first position; `None` below the lowest.
    pub string: Option<usize>,
    /// Whether it was surely played open.
    pub open: bool,
    /// Sounding MIDI number as written.
    pub midi: i32,
    /// Played minus written, in cents, at the report's A.
    pub cents: f64,
}

/// The right notes with the strings that they lie on. A note that may be an open string or the fourth finger on the one
/// below is on that of the two whose other notes it is nearer to, all of its pitch together; on the open string where
/// none was heard of that and it is nearer to the written pitch.
pub(super) fn notes_on_strings(findings: &[NoteFinding], instrument: Instrument) -> Vec<OnString> {
    let open = instrument.open_strings();
    let written: Vec<i32> = findings.iter().map(|note| note.written_midi).collect();
    let right = findings.iter().filter(|note| note.verdict == NoteVerdict::Right);
    let mut notes: Vec<OnString> = right
        .filter_map(|note| {
            let (midi, cents) = (note.written_midi, note.cents?);
            let string = string_in_first_position(instrument, midi);
            let open = string.is_some_and(|k| open[k] == midi && surely_open(instrument, &written, k));
            Some(OnString { string, open, midi, cents })
        })
        .collect();
    let median = |of: &dyn Fn(&OnString) -> bool| {
        let mut cents: Vec<(f64, f64)> =
            notes.iter().filter(|note| of(note)).map(|note| (note.cents, 1.0)).collect();
        weighted_median(&mut cents)
    };
    let either = |note: &OnString, k: usize| note.midi == open[k] && !note.open;
    let below: Vec<usize> = (1..open.len())
        .filter(|&k| {
            let (own, stopped) =
                (median(&|note| either(note, k)), median(&|note| note.string == Some(k) && !either(note, k)));
            let under = median(&|note| note.string == Some(k - 1) && !either(note, k - 1));
            let nearer = |own: f64, under: f64| (own - under).abs() < (own - stopped.unwrap_or(0.0)).abs();
            own.zip(under).is_some_and(|(own, under)| nearer(own, under))
        })
        .collect();
    for note in &mut notes {
        if let Some(k) = note.string.filter(|k| below.contains(k) && note.midi == open[*k] && !note.open) {
            note.string = Some(k - 1);
        }
    }
    notes
}

/// The middle of notes, and how far it may be off by chance (one standard deviation), in cents.
fn middle(notes: &[&OnString]) -> Option<(f64, f64)> {
    let heard = |of: &OnString| notes.iter().filter(|note| note.open && note.midi == of.midi).count();
    let weight =
        |note: &OnString| if note.open && heard(note) >= FEWEST_OPEN { OPEN_COUNTS_FOR } else { 1.0 };
    let median = |value: &dyn Fn(&OnString) -> f64| {
        weighted_median(&mut notes.iter().map(|note| (value(note), weight(note))).collect::<Vec<_>>())
    };
    let cents = median(&|note| note.cents)?;
    let off = median(&|note| (note.cents - cents).abs())?;
    // The median of the distances is 0.67 standard deviations, and a median is 1.25 times as uncertain as a mean.
    let chance = 1.25 * (off / 0.6745).max(STEADIEST) / (notes.len() as f64).sqrt();
    Some((cents, chance))
}

/// Strings on which all right notes are off together by what the others are not. Of two that differ, it is the one that
/// is further from the report's A.
pub(super) fn strings_apart(notes: &[OnString], instrument: Instrument) -> Vec<StringTuning> {
    let apart = |(string, name): (usize, &str)| {
        let (own, others): (Vec<&OnString>, Vec<&OnString>) =
            notes.iter().filter(|note| note.string.is_some()).partition(|note| note.string == Some(string));
        let ((cents, chance), (rest, chance_rest)) = (middle(&own)?, middle(&others)?);
        let near = |note: &OnString| (note.cents - cents).abs() < TOGETHER;
        let together = own.iter().filter(|note| near(note)).count();
        let open = own.iter().any(|note| note.open);
        let one_finger = !open && own.iter().all(|note| note.midi == own[0].midi);
        let least = if open { LEAST_APART_OPEN } else { LEAST_APART };
        let apart = (cents - rest).abs();
        let surely = apart >= least.max(SURELY_APART * chance.hypot(chance_rest));
        let is = own.len() >= ENOUGH
            && others.len() >= ENOUGH_OTHERS
            && together as f64 >= SHARE * own.len() as f64
            && own.iter().all(|note| !note.open || near(note))
            && !one_finger
            && surely
            && cents.abs() > rest.abs();
        is.then(|| StringTuning { string: name.to_owned(), cents, notes: together })
    };
    instrument.string_names().into_iter().enumerate().filter_map(apart).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use NoteVerdict::{Right, Unsure, Wrong};

    /// Notes of a violin, each written and how far off it was played in cents, judged by that alone.
    fn notes(of: &[(i32, f64)]) -> Vec<NoteFinding> {
        let note = |&(midi, cents): &(i32, f64)| {
            let verdict = if cents.abs() < 50.0 { Right } else { Wrong };
            NoteFinding::of(midi, verdict, Some(f64::from(midi) + cents / 100.0))
        };
        of.iter().map(note).collect()
    }

    /// The verdicts afterwards and the strings that are off.
    fn found(of: &[(i32, f64)]) -> (Vec<NoteVerdict>, Vec<(String, f64, usize)>) {
        let mut notes = notes(of);
        let off = strings_off(&mut notes, Instrument::Violin);
        let unsure = notes.iter().filter(|note| note.verdict == Unsure).count();
        assert_eq!(off.notes, unsure, "each of them speaks for the melody");
        let told = off.strings.into_iter().map(|s| (s.string, s.cents.round(), s.notes)).collect();
        (notes.iter().map(|note| note.verdict).collect(), told)
    }

    const ON_A: [(i32, f64); 3] = [(69, 2.0), (71, -3.0), (73, 4.0)];

    #[test]
    fn what_is_on_a_string_out_of_tune_is_not_called_wrong() {
        let of = [&ON_A[..], &[(62, 60.0), (64, 66.0), (66, 44.0), (64, 71.0)]].concat();
        let (verdicts, told) = found(&of);
        assert_eq!(verdicts, [Right, Right, Right, Unsure, Unsure, Right, Unsure]);
        assert_eq!(told, [("D".to_owned(), 63.0, 4)]);
        let fourth_finger = [&of[..], &[(69, 70.0), (69, -70.0), (71, 70.0)]].concat();
        assert_eq!(found(&fourth_finger).0[7..], [Unsure, Wrong, Wrong]);
    }

    #[test]
    fn fingers_that_are_off_by_themselves_stay_wrong() {
        let with = |on_d: &[(i32, f64)]| found(&[&ON_A[..], on_d].concat());
        // The open string is in tune.
        assert_eq!(with(&[(62, 0.0), (64, 66.0), (66, 60.0), (64, 71.0), (66, 65.0)]).1, []);
        // One finger.
        assert_eq!(with(&[(62, 0.0), (64, 66.0), (66, 2.0), (67, 1.0)]).1, []);
        // Too few.
        assert_eq!(with(&[(62, 60.0), (64, 66.0), (66, 60.0)]).1, []);
        // A semitone, unless the open string is as far off.
        assert_eq!(with(&[(64, 100.0), (66, 101.0), (67, 99.0), (64, 102.0)]).1, []);
        assert_eq!(with(&[(62, 100.0), (66, 101.0), (67, 99.0), (64, 102.0)]).1.len(), 1);
        // Each by something else.
        assert_eq!(with(&[(62, 60.0), (64, -66.0), (66, 60.0), (67, -60.0)]).1, []);
    }

    #[test]
    fn a_string_is_off_against_the_others() {
        let on_d = [(62, 60.0), (64, 66.0), (66, 60.0), (64, 71.0)];
        // All are as far off: the instrument is, or none is to go by.
        assert_eq!(found(&[&[(69, 60.0), (71, 61.0), (73, 62.0)], &on_d[..]].concat()).1, []);
        assert_eq!(found(&on_d).1, []);
        // The instrument is 30 cents flat, and the string 60 above that.
        let flat =
            [&ON_A[..], &on_d].concat().iter().map(|&(midi, off)| (midi, off - 30.0)).collect::<Vec<_>>();
        let (_, told) = found(&flat);
        assert_eq!(told, [("D".to_owned(), 33.0, 4)]);
    }

    /// The strings of a violin on which right notes are off by themselves.
    fn apart(of: &[(i32, f64)]) -> Vec<(String, f64, usize)> {
        let mut findings = notes(of);
        findings.iter_mut().zip(of).for_each(|(note, off)| note.cents = Some(off.1));
        let found = strings_apart(&notes_on_strings(&findings, Instrument::Violin), Instrument::Violin);
        found.into_iter().map(|s| (s.string, s.cents.round(), s.notes)).collect()
    }

    const ON_D_LOW: [(i32, f64); 5] = [(62, -24.0), (64, -21.0), (66, -27.0), (67, -23.0), (64, -26.0)];

    #[test]
    fn notes_that_are_right_tell_of_their_string_where_they_are_off_together_and_the_others_are_not() {
        let low = ("D".to_owned(), -24.0, 5);
        assert_eq!(apart(&[&ON_D_LOW[..], &ON_A].concat()), std::slice::from_ref(&low));
        // Of two strings it is the one further from the report's A, however few notes are on the other.
        let more = [(71, 2.0), (73, 1.0), (74, -1.0), (69, 0.0), (76, 1.0)];
        assert_eq!(apart(&[&ON_D_LOW[..], &ON_A, &more].concat()), [low]);
        // All are as low; too few others; one of the open notes is not.
        let all = [&ON_D_LOW[..], &ON_A.map(|(midi, cents)| (midi, cents - 24.0))].concat();
        assert_eq!(apart(&all), []);
        assert_eq!(apart(&[&ON_D_LOW[..], &ON_A[..2]].concat()), []);
        assert_eq!(apart(&[&ON_D_LOW[..], &ON_A, &[(62, 2.0)]].concat()), []);
    }

    #[test]
    fn fingers_that_are_off_this_way_and_that_are_no_string() {
        // By 11 cents where it was heard open, else by 15, and by more than chance.
        let by = |cents: f64, first: i32| {
            apart(
                &[&[(first, cents), (64, cents), (66, cents), (67, cents)], &ON_A[..], &[(71, 0.0)]].concat(),
            )
        };
        assert_eq!([by(-9.0, 62).len(), by(-12.0, 62).len()], [0, 1]);
        assert_eq!([by(-13.0, 64).len(), by(-16.0, 64).len()], [0, 1]);
        let scattered = [(64, -30.0), (66, -4.0), (67, -31.0), (64, 8.0), (66, -16.0)];
        assert_eq!(apart(&[&scattered[..], &ON_A].concat()), []);
        // One finger again and again is that finger.
        assert_eq!(apart(&[&[(64, -24.0); 5][..], &ON_A].concat()), []);
    }

    #[test]
    fn a_note_that_may_be_a_fourth_finger_is_on_the_string_that_it_is_tuned_with() {
        let on = |a4: f64, b4: Option<f64>| {
            let mut of = ON_D_LOW.to_vec();
            of.extend([(69, a4), (69, a4)]);
            of.extend(b4.map(|cents| (71, cents)));
            let mut findings = notes(&of);
            findings.iter_mut().zip(&of).for_each(|(note, off)| note.cents = Some(off.1));
            notes_on_strings(&findings, Instrument::Violin)[5].string
        };
        assert_eq!([on(-22.0, Some(0.0)), on(-2.0, Some(0.0)), on(-22.0, None)], [Some(1), Some(2), Some(1)]);
        assert_eq!(on(-22.0, Some(-22.0)), Some(2));
    }
}
