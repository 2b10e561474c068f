//! How each string is tuned, from notes that must be open.

use super::report::StringTuning;
use crate::notation::Instrument;

/// A right note with its measured deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// Sounding MIDI number as written.
    pub midi: i32,
    /// Played minus written, in cents, at the report's A.
    pub cents: f64,
}

/// Whether what is written at the pitch of an open string (0 the lowest) is surely played on that; `written` are the notes
/// of the whole melody, also those that were not played. On violin and viola the fourth finger gives the pitch of the next
/// open string, so there it is sure only where no written note lies below it on the string before: then a beginner in
/// first position plays it open (common practice).
pub fn surely_open(instrument: Instrument, written: &[i32], string: usize) -> bool {
    let open = instrument.open_strings();
    let fourth_finger = matches!(instrument, Instrument::Violin | Instrument::Viola) && string > 0;
    !fourth_finger || !written.iter().any(|&other| other > open[string - 1] && other < open[string])
}

/// Tuning of the strings that were heard open; `written` are the notes of the whole melody.
pub fn string_tuning(instrument: Instrument, written: &[i32], notes: &[Deviation]) -> Vec<StringTuning> {
    let open = instrument.open_strings();
    let mut tunings = Vec::new();
    for (k, &midi) in open.iter().enumerate() {
        if !surely_open(instrument, written, k) {
            continue;
        }
        let mut cents: Vec<f64> = notes.iter().filter(|n| n.midi == midi).map(|n| n.cents).collect();
        if cents.is_empty() {
            continue;
        }
        cents.sort_by(f64::total_cmp);
        let middle = 0.5 * (cents[(cents.len() - 1) / 2] + cents[cents.len() / 2]);
        tunings.push(StringTuning {
            string: instrument.string_names()[k].to_owned(),
            cents: middle,
            notes: cents.len(),
        });
    }
    tunings
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The strings that are told and from how far off, from notes as MIDI number and cents.
    fn told(instrument: Instrument, notes: &[(i32, f64)]) -> Vec<(String, f64, usize)> {
        let written: Vec<i32> = notes.iter().map(|note| note.0).collect();
        let notes: Vec<Deviation> = notes.iter().map(|&(midi, cents)| Deviation { midi, cents }).collect();
        string_tuning(instrument, &written, &notes)
            .into_iter()
            .map(|t| (t.string, t.cents, t.notes))
            .collect()
    }

    #[test]
    fn a_string_is_as_far_off_as_the_middle_of_its_open_notes() {
        // Six on the D string (50): the middle two are 3 and 5. Five on the A string (57): the middle one is −2.
        let d = [9.0, 3.0, -30.0, 5.0, 40.0, 1.0].map(|cents| (50, cents));
        let a = [-2.0, 7.0, -1.0, -9.0, -4.0].map(|cents| (57, cents));
        let found = told(Instrument::Cello, &[&d[..], &a[..], &[(52, 20.0)]].concat());
        assert_eq!(found, [("D".to_owned(), 4.0, 6), ("A".to_owned(), -2.0, 5)]);
        // Of four −10, 0, 4 and 20 it is half-way between 0 and 4.
        let four = [20.0, 0.0, 4.0, -10.0].map(|cents| (55, cents));
        assert_eq!(told(Instrument::Violin, &four), [("G".to_owned(), 2.0, 4)]);
    }

    #[test]
    fn where_the_fourth_finger_may_have_played_it_a_note_says_nothing_of_the_next_string() {
        // D4 (62) is open or the fourth finger on G (55): the latter only where a note between them is written.
        let is_told = |instrument, other: i32| {
            told(instrument, &[(other, 0.0), (62, 3.0)]).contains(&("D".to_owned(), 3.0, 1))
        };
        let violin = [55, 56, 60, 61, 64].map(|other| is_told(Instrument::Violin, other));
        assert_eq!(violin, [true, false, false, false, true]);
        assert!(!is_told(Instrument::Viola, 60));
        // On a cello no finger reaches the pitch of the next string in first position: 48 lies between G and D.
        assert_eq!(told(Instrument::Cello, &[(48, 0.0), (50, 3.0)]), [("D".to_owned(), 3.0, 1)]);
        // Below the lowest string there is none.
        assert_eq!(told(Instrument::Violin, &[(55, 1.0), (57, 0.0)]), [("G".to_owned(), 1.0, 1)]);
    }

    #[test]
    fn a_note_that_is_written_and_was_not_played_right_may_come_before_a_fourth_finger_too() {
        let d4 = [Deviation { midi: 62, cents: 35.0 }];
        assert_eq!(string_tuning(Instrument::Violin, &[55, 57, 59, 60, 62], &d4), []);
        assert_eq!(string_tuning(Instrument::Violin, &[62, 64, 66], &d4).len(), 1);
    }
}
