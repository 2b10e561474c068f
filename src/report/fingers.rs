//! Where a note lies in first position, and what a wrong finger may have done: only for wording.
//!
//! Common practice: violin and viola put a finger on every letter name (1 on the whole tone, 2 low or
//! high, 3 on the fourth, 4 on the fifth); the cello a finger on every semitone from the whole tone on
//! (1 2 3 4); the bass 1 on the whole tone, 2 and 4 a semitone apart. A string is named only where the
//! note has one place in first position; where an open string is also a fourth finger, both are said.

use super::words;
use crate::notation::Instrument;

/// A place on the fingerboard in first position.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// The string, 0 the lowest.
    pub string: usize,
    /// Semitones above the open string.
    pub semitones: i32,
    /// The finger, 0 for the open string.
    pub finger: u8,
}

/// Every place that a sounding MIDI number has in first position, lowest finger first.
pub fn places(instrument: Instrument, sounding: i32) -> Vec<Place> {
    let on_string = |(string, open): (usize, i32)| {
        let semitones = sounding - open;
        finger(instrument, semitones).map(|finger| Place { string, semitones, finger })
    };
    let mut found: Vec<Place> =
        instrument.open_strings().into_iter().enumerate().filter_map(on_string).collect();
    found.sort_by_key(|place| place.finger);
    found
}

fn finger(instrument: Instrument, semitones: i32) -> Option<u8> {
    let fingers: &[u8] = match instrument {
        Instrument::Violin | Instrument::Viola => &[0, 1, 1, 2, 2, 3, 3, 4],
        Instrument::Cello => &[0, 1, 1, 2, 3, 4],
        Instrument::Bass => &[0, 1, 1, 2, 4],
    };
    usize::try_from(semitones).ok().and_then(|semitones| fingers.get(semitones)).copied()
}

/// The letter of a string, 0 the lowest.
pub fn string_letter(instrument: Instrument, string: usize) -> String {
    words::common_name(instrument.open_strings()[string])
}

/// `the open D string`, `first finger on the D string`.
pub fn words_for(instrument: Instrument, place: Place) -> String {
    let letter = string_letter(instrument, place.string);
    match place.finger {
        0 => format!("the open {letter} string"),
        finger => format!("{} finger on the {letter} string", words::ordinal(finger)),
    }
}

/// What the hand can do about a wrong note, or `None` where nothing sure can be said.
///
/// `written` and `played` are sounding MIDI numbers.
pub fn advice(instrument: Instrument, name: &str, written: i32, played: i32) -> Option<String> {
    let wanted = places(instrument, written);
    let heard = places(instrument, played);
    let first = *wanted.first()?;
    let pair = wanted
        .iter()
        .flat_map(|wanted| heard.iter().map(move |heard| (*wanted, *heard)))
        .find(|(wanted, heard)| wanted.string == heard.string && wanted.finger > 0 && heard.finger > 0);
    if let Some((wanted, heard)) = pair
        && wanted.finger == heard.finger
    {
        return Some(same_finger(instrument, wanted, heard));
    }
    let need = wanted.iter().map(|place| words_for(instrument, *place)).collect::<Vec<_>>().join(" or ");
    let like = heard
        .iter()
        .find(|heard| heard.string == first.string)
        .or(heard.first())
        .map(|heard| format!("; it sounded like {}", words_for(instrument, *heard)))
        .unwrap_or_default();
    Some(format!("{name} is {need}{like}."))
}

fn same_finger(instrument: Instrument, wanted: Place, heard: Place) -> String {
    let finger = words::sentence(words::ordinal(wanted.finger));
    let up = wanted.semitones > heard.semitones;
    let violin_like = matches!(instrument, Instrument::Violin | Instrument::Viola);
    match (wanted.finger, up) {
        (1, true) => format!("{finger} finger higher, away from the nut."),
        (1, false) => format!("{finger} finger lower, close to the nut."),
        (2, true) if violin_like => format!("{finger} finger higher, touching the third."),
        (2, false) if violin_like => format!("{finger} finger lower, touching the first."),
        (3, true) if violin_like => format!("{finger} finger higher, touching the fourth."),
        (_, true) => format!("{finger} finger higher."),
        (_, false) => format!("{finger} finger lower."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fingers_on_the_d_string(instrument: Instrument, octave: i32) -> Vec<Option<u8>> {
        let string = instrument.open_strings().iter().position(|open| open % 12 == 2).unwrap();
        // D E F F# G A
        [2, 4, 5, 6, 7, 9]
            .iter()
            .map(|step| {
                let found = places(instrument, 12 * (octave + 1) + step);
                found.iter().find(|place| place.string == string).map(|place| place.finger)
            })
            .collect()
    }

    #[test]
    fn the_d_string_in_first_position_is_fingered_as_the_method_books_have_it() {
        // Common practice.
        let some = |fingers: [i8; 6]| fingers.map(|finger| u8::try_from(finger).ok()).to_vec();
        assert_eq!(fingers_on_the_d_string(Instrument::Violin, 4), some([0, 1, 2, 2, 3, 4]));
        assert_eq!(fingers_on_the_d_string(Instrument::Viola, 4), some([0, 1, 2, 2, 3, 4]));
        assert_eq!(fingers_on_the_d_string(Instrument::Cello, 3), some([0, 1, 2, 3, 4, -1]));
        assert_eq!(fingers_on_the_d_string(Instrument::Bass, 2), some([0, 1, 2, 4, -1, -1]));
    }

    #[test]
    fn f_sharp_played_as_f_wants_the_second_finger_higher() {
        assert_eq!(
            advice(Instrument::Violin, "F sharp", 66, 65).unwrap(),
            "Second finger higher, touching the third."
        );
        assert_eq!(
            advice(Instrument::Violin, "F natural", 65, 66).unwrap(),
            "Second finger lower, touching the first."
        );
    }

    #[test]
    fn an_open_string_that_is_also_a_fourth_finger_is_said_both_ways() {
        assert_eq!(
            advice(Instrument::Violin, "A", 69, 67).unwrap(),
            "A is the open A string or fourth finger on the D string; it sounded like third finger on the D string."
        );
    }

    #[test]
    fn above_first_position_nothing_is_said_about_fingers() {
        assert_eq!(advice(Instrument::Violin, "E", 88, 86), None);
        assert_eq!(
            advice(Instrument::Cello, "F sharp", 54, 53).unwrap(),
            "F sharp is third finger on the D string; it sounded like second finger on the D string."
        );
    }
}
