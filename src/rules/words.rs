//! Notes, lengths, intervals and places in words that a nine-year-old knows.

use crate::notation::{Instrument, Length, Letter, Spelling, Value, WrittenValue, beat_text};

/// `F sharp`, without the octave.
pub(super) fn note(pitch: Spelling) -> String {
    note_name(pitch.letter, pitch.alter)
}

/// `F sharp` from its letter and accidental.
pub(super) fn note_name(letter: Letter, alter: i8) -> String {
    let mark = match alter {
        2 => " double sharp",
        1 => " sharp",
        -1 => " flat",
        -2 => " double flat",
        _ => "",
    };
    format!("{letter:?}{mark}")
}

/// `quarter note`, `dotted half rest`; a fraction for what has no name of its own.
pub(super) fn length(length: Length, rest: bool) -> String {
    let kind = if rest { "rest" } else { "note" };
    let Some(written) = WrittenValue::of(length) else {
        return format!("{kind} of {length} of a whole note");
    };
    let name = match written.value {
        Value::Breve => "double whole",
        Value::Whole => "whole",
        Value::Half => "half",
        Value::Quarter => "quarter",
        Value::Eighth => "eighth",
        Value::Sixteenth => "sixteenth",
        Value::ThirtySecond => "thirty-second",
        Value::SixtyFourth => "sixty-fourth",
    };
    let dots = ["", "dotted ", "double dotted "][usize::from(written.dots.min(2))];
    let tuplet = match written.tuplet {
        None => "",
        Some((3, 2)) => "triplet ",
        Some(_) => "tuplet ",
    };
    format!("{tuplet}{dots}{name} {kind}")
}

/// `a quarter note`, `an eighth rest`.
pub(super) fn a_length(value: Length, rest: bool) -> String {
    a(&length(value, rest))
}

/// With its article.
pub(super) fn a(noun: &str) -> String {
    let vowel = noun.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {noun}", if vowel { "an" } else { "a" })
}

/// Many of a kind: `quarter notes, half notes and whole notes`.
pub(super) fn lengths(lengths: &[Length], rest: bool) -> String {
    let kind = if rest { "rest" } else { "note" };
    let many = |value: &Length| length(*value, rest).replacen(kind, &format!("{kind}s"), 1);
    let names: Vec<String> = lengths.iter().map(many).collect();
    list(&names, "and")
}

/// `D`, `D and E`, `D, E and G`; with `or` likewise.
pub(super) fn list(items: &[String], joined_by: &str) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} {joined_by} {last}", rest.join(", ")),
    }
}

/// `1 bar`, `3 bars`.
pub(super) fn count(number: usize, one: &str) -> String {
    format!("{number} {one}{}", if number == 1 { "" } else { "s" })
}

/// The names of intervals by steps of the staff: 0 is the same line or space.
pub(super) const INTERVALS: [&str; 8] =
    ["unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave"];

/// The interval between two notes a number of steps apart: `a fifth`.
pub(super) fn interval(steps: u32) -> String {
    match INTERVALS.get(steps as usize) {
        Some(name) => a(name),
        None => format!("{} steps, more than an octave", steps),
    }
}

/// A beat in a bar, from 1: `3`, `2 and a half`; other fractions as numbers.
pub(super) fn position(beat: Length) -> String {
    let whole = beat.floor();
    let part = match (*(beat - whole).numer(), *(beat - whole).denom()) {
        (1, 4) => "a quarter",
        (1, 2) => "a half",
        (3, 4) => "three quarters",
        _ => return beat_text(beat),
    };
    format!("{} and {part}", whole.to_integer())
}

/// A number of beats: `1 beat`, `2 and a half beats`.
pub(super) fn beats(number: Length) -> String {
    match number {
        half if half == Length::new(1, 2) => "half a beat".to_owned(),
        one if one == Length::from_integer(1) => "1 beat".to_owned(),
        more if more > Length::from_integer(1) => format!("{} beats", position(more)),
        less => format!("{}/{} of a beat", less.numer(), less.denom()),
    }
}

/// `1st`, `2nd`, `4th`.
pub(super) fn nth(number: usize) -> String {
    let ending = match (number % 10, number % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{number}{ending}")
}

/// The sentence with its first letter large.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// `D string`.
pub(super) fn string(instrument: Instrument, string: usize) -> String {
    format!("{} string", instrument.string_names()[string.min(3)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_and_places_have_their_usual_names() {
        assert_eq!(a_length(Length::new(1, 8), false), "an eighth note");
        assert_eq!(a_length(Length::new(3, 4), true), "a dotted half rest");
        assert_eq!(length(Length::new(1, 12), false), "triplet eighth note");
        assert_eq!(length(Length::new(5, 8), false), "note of 5/8 of a whole note");
        let many = [Length::new(1, 4), Length::new(5, 16)];
        assert_eq!(lengths(&many, false), "quarter notes and notes of 5/16 of a whole note");
        assert_eq!(lengths(&many, true), "quarter rests and rests of 5/16 of a whole note");
        assert_eq!(position(Length::new(5, 2)), "2 and a half");
        assert_eq!(position(Length::new(7, 3)), "2 and a third");
        assert_eq!(beats(Length::new(1, 3)), "1/3 of a beat");
        assert_eq!(beats(Length::new(3, 2)), "1 and a half beats");
        assert_eq!([1, 2, 3, 4, 11, 22].map(nth), ["1st", "2nd", "3rd", "4th", "11th", "22nd"]);
        let quarters = [4, 5, 6, 7, 9].map(|number| position(Length::new(number, 4)));
        assert_eq!(
            quarters,
            ["1", "1 and a quarter", "1 and a half", "1 and three quarters", "2 and a quarter"]
        );
        let halves = [1, 2, 3, 4].map(|number| beats(Length::new(number, 2)));
        assert_eq!(halves, ["half a beat", "1 beat", "1 and a half beats", "2 beats"]);
        let names = [-2, -1, 0, 1, 2].map(|alter| note_name(Letter::F, alter));
        assert_eq!(names, ["F double flat", "F flat", "F", "F sharp", "F double sharp"]);
        assert_eq!((interval(1), interval(7)), ("a second".into(), "an octave".into()));
    }
}
