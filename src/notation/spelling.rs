//! Pitch spelling: the letter, the accidental and the octave that a child reads and writes.

use super::Key;
use std::fmt;
use std::str::FromStr;

/// The seven letters of written pitch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
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

impl Letter {
    /// All seven, from C up.
    pub const ALL: [Letter; 7] = [Self::C, Self::D, Self::E, Self::F, Self::G, Self::A, Self::B];

    /// Semitones above C of the natural note.
    pub fn semitones(self) -> i32 {
        [0, 2, 4, 5, 7, 9, 11][self as usize]
    }

    /// From a letter, capital or small.
    pub fn from_char(letter: char) -> Option<Self> {
        Self::ALL.into_iter().find(|known| format!("{known:?}").starts_with(letter.to_ascii_uppercase()))
    }
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
        (i32::from(self.octave) + 1) * 12 + self.letter.semitones() + i32::from(self.alter)
    }

    /// The usual spelling of a MIDI number (0 to 127) in a key: notes of the key as the key has them,
    /// others with a sharp in sharp keys and a flat in flat keys.
    pub fn from_midi(midi: i32, key: Key) -> Self {
        let in_key = key.name(midi).map(|(letter, alter)| {
            let above = midi - letter.semitones() - i32::from(alter);
            Self { letter, alter, octave: octave(above.div_euclid(12) - 1) }
        });
        in_key.unwrap_or_else(|| {
            let alters: [i8; 2] = if key.fifths < 0 { [0, -1] } else { [0, 1] };
            let spelled = alters.into_iter().find_map(|alter| {
                Letter::ALL.into_iter().find_map(|letter| {
                    let above = midi - letter.semitones() - i32::from(alter);
                    (above.rem_euclid(12) == 0).then(|| Self {
                        letter,
                        alter,
                        octave: octave(above.div_euclid(12) - 1),
                    })
                })
            });
            spelled.expect("every semitone is a natural, the sharp of one and the flat of one")
        })
    }

    /// Diatonic steps above C0: lines and spaces of the staff count these.
    pub fn staff_step(self) -> i32 {
        i32::from(self.octave) * 7 + self.letter as i32
    }
}

fn octave(number: i32) -> i8 {
    number.clamp(-128, 127) as i8
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

/// Why a pitch could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "“{0}” is not a pitch; write a capital letter, a sharp or flat if it has one, and the octave: D4, F#4, Bb3"
)]
pub struct SpellingError(pub String);

/// A capital letter, an accidental (`#` `♯` `##` `x` `b` `♭` `bb` `n` `♮`, or none) and an octave
/// number from −1 to 9: `F#4`, `F♯4`, `Bb3`.
impl FromStr for Spelling {
    type Err = SpellingError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let parse = || {
            let first = text.chars().next().filter(char::is_ascii_uppercase)?;
            let letter = Letter::from_char(first)?;
            let rest = &text[1..];
            let digits = rest.find(|c: char| c.is_ascii_digit() || c == '-')?;
            let (mark, octave) = rest.split_at(digits);
            let alter = match mark {
                "" | "n" | "♮" => 0,
                "#" | "♯" => 1,
                "##" | "♯♯" | "x" | "𝄪" => 2,
                "b" | "♭" => -1,
                "bb" | "♭♭" | "𝄫" => -2,
                _ => return None,
            };
            let octave: i8 = octave.parse().ok().filter(|o| (-1..=9).contains(o))?;
            Some(Self { letter, alter, octave })
        };
        parse().ok_or_else(|| SpellingError(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{A4_ISO16, MidiPitch};
    use approx::assert_abs_diff_eq;

    fn midi(text: &str) -> i32 {
        text.parse::<Spelling>().unwrap().midi()
    }

    #[test]
    fn what_is_not_in_the_key_is_a_sharp_without_flats_and_a_flat_with_them() {
        let spelled = |midi: i32, key: &str| Spelling::from_midi(midi, key.parse().unwrap()).to_string();
        assert_eq!([spelled(61, "C"), spelled(61, "D"), spelled(61, "F")], ["C#4", "C#4", "Db4"]);
        assert_eq!([spelled(66, "Bb"), spelled(63, "G"), spelled(71, "F")], ["Gb4", "D#4", "B4"]);
    }

    #[test]
    fn sharps_and_flats_are_read_in_every_way_people_type_them() {
        assert_eq!("F#4".parse::<Spelling>(), "F♯4".parse());
        assert_eq!("Bb3".parse::<Spelling>(), "B♭3".parse());
        assert_eq!((midi("F#4"), midi("Bb3"), midi("Cb4"), midi("B#3")), (66, 58, 59, 60));
        assert_eq!((midi("Fx4"), midi("Ebb4"), midi("Fn4"), midi("C-1")), (67, 62, 65, 0));
    }

    #[test]
    fn pitches_that_are_none_are_refused() {
        for text in ["", "H4", "f4", "F", "F#", "4", "F#44", "F###4", "Fq4", "F4x", "é4", "♯4"] {
            assert!(text.parse::<Spelling>().is_err(), "{text}");
        }
    }

    /// ISO 16 fixes A4 = 440 Hz; the other values are the published equal-tempered table
    /// (440 · 2^(n/12), two decimals), and MIDI 1.0 numbers A4 69.
    #[test]
    fn the_open_strings_have_the_frequencies_of_the_equal_tempered_table() {
        let table = [
            ("E1", 28, 41.20),
            ("A1", 33, 55.00),
            ("C2", 36, 65.41),
            ("D2", 38, 73.42),
            ("G2", 43, 98.00),
            ("C3", 48, 130.81),
            ("D3", 50, 146.83),
            ("G3", 55, 196.00),
            ("A3", 57, 220.00),
            ("C4", 60, 261.63),
            ("D4", 62, 293.66),
            ("F#4", 66, 369.99),
            ("A4", 69, 440.00),
            ("E5", 76, 659.26),
        ];
        for (name, number, hertz) in table {
            assert_eq!(midi(name), number, "{name}");
            assert_abs_diff_eq!(MidiPitch(f64::from(number)).hertz(A4_ISO16).0, hertz, epsilon = 0.005);
        }
    }

    #[test]
    fn a_number_is_spelled_as_its_key_spells_it() {
        let d_major = Key::new(2).unwrap();
        let e_flat = Key::new(-3).unwrap();
        assert_eq!(Spelling::from_midi(66, d_major).to_string(), "F#4");
        assert_eq!(Spelling::from_midi(63, e_flat).to_string(), "Eb4");
        assert_eq!(Spelling::from_midi(66, e_flat).to_string(), "Gb4");
        assert_eq!(Spelling::from_midi(59, Key::new(-7).unwrap()).to_string(), "Cb4");
        for fifths in -7..=7 {
            for number in 0..128 {
                assert_eq!(Spelling::from_midi(number, Key::new(fifths).unwrap()).midi(), number);
            }
        }
    }

    /// Sizes in cents as Helmholtz and Ellis tabulate them (On the Sensations of Tone, appendix XX):
    /// just and Pythagorean intervals beside the equal-tempered ones between spelled notes.
    #[test]
    fn just_pythagorean_and_equal_intervals_have_their_published_sizes() {
        use crate::units::Hertz;
        let table = [
            ("octave", 2.0 / 1.0, 1200.000, "D4", "D5"),
            ("fifth", 3.0 / 2.0, 701.955, "D4", "A4"),
            ("fourth", 4.0 / 3.0, 498.045, "A4", "D5"),
            ("just major third", 5.0 / 4.0, 386.314, "D4", "F#4"),
            ("just minor third", 6.0 / 5.0, 315.641, "D4", "F4"),
            ("just major sixth", 5.0 / 3.0, 884.359, "G3", "E4"),
            ("major whole tone", 9.0 / 8.0, 203.910, "D4", "E4"),
            ("diatonic semitone", 16.0 / 15.0, 111.731, "F#4", "G4"),
            ("Pythagorean major third", 81.0 / 64.0, 407.820, "D4", "F#4"),
            ("Pythagorean semitone", 256.0 / 243.0, 90.225, "F#4", "G4"),
            ("comma of Didymus", 81.0 / 80.0, 21.506, "D4", "D4"),
            ("Pythagorean comma", 531_441.0 / 524_288.0, 23.460, "C4", "B#3"),
        ];
        for (name, ratio, cents, low, high) in table {
            let size = Hertz(440.0 * ratio).cents_above(Hertz(440.0)).0;
            assert_abs_diff_eq!(size, cents, epsilon = 0.0006);
            let equal = 100.0 * f64::from(midi(high) - midi(low));
            assert!((equal - cents).abs() < 24.0, "{name}: {equal} and {cents}");
        }
    }
}
