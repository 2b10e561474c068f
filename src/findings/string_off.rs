//! A string that is out of tune by itself: everything on it is off by the same, and no finger is to blame.

use super::report::{NoteFinding, NoteVerdict, StringTuning};
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

/// Takes back that notes are wrong which only their string makes so, and gives those strings.
pub(super) fn strings_off(findings: &mut [NoteFinding], instrument: Instrument) -> StringsOff {
    let open = instrument.open_strings();
    // In first position a note is played on the highest string that is not above it (common practice); the fourth finger on
    // the string below gives the same pitch as that one open.
    let string_of = |midi: i32| open.iter().rposition(|&string| string <= midi);
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
}
