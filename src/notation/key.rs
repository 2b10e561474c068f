//! Key signatures: how many sharps or flats stand at the start of the staff.

use super::Letter;
use std::fmt;
use std::str::FromStr;

/// A key signature as a place on the circle of fifths. It says how the sheet is drawn; the pitches of
/// a melody are always spelled out in full.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct Key {
    /// Sharps if positive, flats if negative: −7 to 7.
    pub fifths: i8,
    /// Whether the file calls it minor.
    pub minor: bool,
}

/// The order in which sharps are added; flats are added in the opposite order (common practice).
const SHARPS: [Letter; 7] = [Letter::F, Letter::C, Letter::G, Letter::D, Letter::A, Letter::E, Letter::B];

const MAJOR: [&str; 15] = ["Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#"];
const MINOR: [&str; 15] = ["Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#"];

impl Key {
    /// The major key with that many sharps (positive) or flats (negative); `None` beyond seven.
    pub fn new(fifths: i32) -> Option<Self> {
        (-7..=7).contains(&fifths).then_some(Self { fifths: fifths as i8, minor: false })
    }

    /// What the signature does to a letter: +1, 0 or −1 semitone.
    pub fn alter(self, letter: Letter) -> i8 {
        let place = SHARPS.iter().position(|&known| known == letter).unwrap_or(0) as i8;
        if place < self.fifths {
            1
        } else if 6 - place < -self.fifths {
            -1
        } else {
            0
        }
    }

    /// The letter and accidental that the signature has for a MIDI number; `None` where the note is not in the key.
    pub fn name(self, midi: i32) -> Option<(Letter, i8)> {
        let names = Letter::ALL.into_iter().map(|letter| (letter, self.alter(letter)));
        names
            .into_iter()
            .find(|(letter, alter)| (midi - letter.semitones() - i32::from(*alter)).rem_euclid(12) == 0)
    }

    /// The letter and accidental of a degree, 1 (the tonic) to 7; of a minor key those of the natural minor
    /// scale, as its signature has them. Other numbers count on through the octave.
    pub fn degree(self, degree: u8) -> (Letter, i8) {
        let name = self.to_string();
        let tonic = name.chars().next().and_then(Letter::from_char).unwrap_or(Letter::C);
        let letter = Letter::ALL[(tonic as usize + usize::from(degree) + 6) % 7];
        (letter, self.alter(letter))
    }
}

/// The tonic, with `m` if minor: `D`, `Bb`, `F#m`.
impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let place = (self.fifths.clamp(-7, 7) + 7) as usize;
        if self.minor { write!(f, "{}m", MINOR[place]) } else { f.write_str(MAJOR[place]) }
    }
}

/// Why a key could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("“{0}” is not a key; write it like D, G, F, Bb, Am or “D major”")]
pub struct KeyError(pub String);

/// `D`, `Bb`, `F#m`, `A minor`, `D major`.
impl FromStr for Key {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let bare = text.trim().replace('♯', "#").replace('♭', "b");
        let (tonic, minor) = if let Some(tonic) = bare.strip_suffix("minor").or(bare.strip_suffix("min")) {
            (tonic, true)
        } else if let Some(tonic) = bare.strip_suffix("major").or(bare.strip_suffix("maj")) {
            (tonic, false)
        } else if let Some(tonic) = bare.strip_suffix('m') {
            (tonic, true)
        } else {
            (bare.as_str(), false)
        };
        let table = if minor { MINOR } else { MAJOR };
        let place = table.iter().position(|&known| known == tonic.trim());
        place.map(|place| Self { fifths: place as i8 - 7, minor }).ok_or_else(|| KeyError(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn d_major_has_f_sharp_and_c_sharp_and_b_flat_major_b_flat_and_e_flat() {
        let altered = |text: &str| {
            let key: Key = text.parse().unwrap();
            Letter::ALL
                .into_iter()
                .filter(|&l| key.alter(l) != 0)
                .map(|l| (l, key.alter(l)))
                .collect::<Vec<_>>()
        };
        assert_eq!(altered("D"), [(Letter::C, 1), (Letter::F, 1)]);
        assert_eq!(altered("Bb"), [(Letter::E, -1), (Letter::B, -1)]);
        assert_eq!(altered("B minor"), altered("D major"));
        assert_eq!(altered("C"), []);
        assert_eq!(altered("Cb").len(), 7);
        assert_eq!(altered("C#").len(), 7);
    }

    #[test]
    fn degrees_are_those_of_the_scale() {
        let scale = |key: &str| {
            let key: Key = key.parse().unwrap();
            [1, 2, 3, 4, 5, 6, 7].map(|degree| key.degree(degree))
        };
        use Letter::{A, B, C, D, E, F, G};
        assert_eq!(scale("D"), [(D, 0), (E, 0), (F, 1), (G, 0), (A, 0), (B, 0), (C, 1)]);
        assert_eq!(scale("Bb"), [(B, -1), (C, 0), (D, 0), (E, -1), (F, 0), (G, 0), (A, 0)]);
        assert_eq!(scale("F#m"), [(F, 1), (G, 1), (A, 0), (B, 0), (C, 1), (D, 0), (E, 0)]);
    }

    #[test]
    fn every_key_reads_back_its_own_name() {
        for fifths in -7..=7 {
            for minor in [false, true] {
                let key = Key { fifths, minor };
                assert_eq!(key.to_string().parse::<Key>(), Ok(key));
            }
        }
        assert!("H".parse::<Key>().is_err());
        assert!("D dorian".parse::<Key>().is_err());
    }
}
