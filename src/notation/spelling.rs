//! Pitch spelling: the letter, the accidental and the octave that a child reads and writes.

use std::fmt;

/// The seven letters of written pitch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum Letter {
    C,
    D,
    E,
    F,
    G,
    A,
    B,
}

/// A written pitch such as F♯4. Octaves are numbered so that C4 is middle C
/// (scientific pitch notation; ISO 16's A is A4).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Spelling {
    /// The letter.
    pub letter: Letter,
    /// Semitones that the accidental adds: sharp +1, flat −1, at most ±2.
    pub alter: i8,
    /// The octave number.
    pub octave: i8,
}

impl Spelling {
    /// The MIDI note number of this spelling read at its own octave (C4 = 60).
    pub fn midi(self) -> i32 {
        let step = match self.letter {
            Letter::C => 0,
            Letter::D => 2,
            Letter::E => 4,
            Letter::F => 5,
            Letter::G => 7,
            Letter::A => 9,
            Letter::B => 11,
        };
        (i32::from(self.octave) + 1) * 12 + step + i32::from(self.alter)
    }
}

/// Plain text, as in the report: `F#4`, `Bb3`, `D4`.
impl fmt::Display for Spelling {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mark = match self.alter {
            2 => "##",
            1 => "#",
            -1 => "b",
            -2 => "bb",
            _ => "",
        };
        write!(f, "{:?}{}{}", self.letter, mark, self.octave)
    }
}
