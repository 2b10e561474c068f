//! One note or rest of ABC as it is typed: accidental, letter, octave, length.

use crate::notation::{Length, Letter, checked_length};

/// A note as it is typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct TypedNote {
    /// The accidental in semitones, if one is typed.
    pub accidental: Option<i8>,
    pub letter: Letter,
    /// The octave, 4 for capital letters.
    pub octave: i32,
    /// Bytes up to the length.
    pub bytes: usize,
}

/// What stands at the start of a text.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Typed {
    Note(TypedNote),
    /// A quarter tone.
    Microtone,
    No,
}

pub(super) fn typed_note(text: &str) -> Typed {
    let marks = text.len() - text.trim_start_matches(['^', '_', '=']).len();
    let accidental = match &text[..marks] {
        "" => None,
        "=" => Some(0),
        "^" => Some(1),
        "^^" => Some(2),
        "_" => Some(-1),
        "__" => Some(-2),
        _ => return Typed::No,
    };
    let rest = &text[marks..];
    let Some(first) = rest.chars().next() else { return Typed::No };
    if marks > 0 && (first == '/' || first.is_ascii_digit()) {
        return Typed::Microtone;
    }
    let letter = match first {
        'A'..='G' | 'a'..='g' => Letter::from_char(first),
        _ => None,
    };
    let Some(letter) = letter else { return Typed::No };
    let mut octave = if first.is_ascii_lowercase() { 5 } else { 4 };
    let mut bytes = marks + 1;
    for mark in rest[1..].bytes() {
        match mark {
            b'\'' => octave += 1,
            b',' => octave -= 1,
            _ => break,
        }
        bytes += 1;
    }
    Typed::Note(TypedNote { accidental, letter, octave, bytes })
}

/// The length at the start of a text as a multiple of the unit, and its bytes: `2`, `3/2`, `/`, `//`,
/// `/4`. `None` if it is not one that can be kept.
pub(super) fn multiple(text: &str) -> (Option<Length>, usize) {
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let top = digits(text);
    let numerator: Option<i64> = if top == 0 { Some(1) } else { text[..top].parse().ok() };
    let strokes = text[top..].bytes().take_while(|&byte| byte == b'/').count();
    let bottom = if strokes > 0 { digits(&text[top + strokes..]) } else { 0 };
    let bytes = top + strokes + bottom;
    let denominator: Option<i64> = match (strokes, bottom) {
        (0, _) => Some(1),
        (1, 1..) => text[top + 1..bytes].parse().ok(),
        (_, 1..) => None,
        (strokes, _) => (strokes <= 10).then(|| 1 << strokes),
    };
    let length = numerator.zip(denominator).and_then(|(n, d)| checked_length(n, d));
    (length, bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn capital_c_is_middle_c_and_marks_move_by_octaves() {
        let octave = |text: &str| match typed_note(text) {
            Typed::Note(note) => note.octave,
            _ => panic!("{text}"),
        };
        assert_eq!((octave("C"), octave("c"), octave("C,"), octave("c'"), octave("C,,'")), (4, 5, 3, 6, 3));
        assert_eq!(typed_note("^/c"), Typed::Microtone);
        assert_eq!(typed_note("z"), Typed::No);
    }

    #[test]
    fn lengths_multiply_the_unit() {
        let half = Length::new(1, 2);
        assert_eq!(multiple("2A"), (Some(Length::from_integer(2)), 1));
        assert_eq!(multiple("3/2A"), (Some(Length::new(3, 2)), 3));
        assert_eq!(multiple("/A"), (Some(half), 1));
        assert_eq!(multiple("//A"), (Some(Length::new(1, 4)), 2));
        assert_eq!(multiple("/2A"), (Some(half), 2));
        assert_eq!(multiple("A"), (Some(Length::from_integer(1)), 0));
        assert_eq!(multiple("0A").0, None);
        assert_eq!(multiple("99999999999999999999").0, None);
    }
}
