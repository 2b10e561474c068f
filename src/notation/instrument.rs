//! The four instruments of a school string orchestra.

use serde::{Deserialize, Serialize};

/// One of the four instruments.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs)]
pub enum Instrument {
    Violin,
    Viola,
    Cello,
    Bass,
}

impl Instrument {
    /// All four, high to low.
    pub const ALL: [Instrument; 4] = [Self::Violin, Self::Viola, Self::Cello, Self::Bass];

    /// Semitones from written to sounding pitch: the bass sounds an octave below what is written
    /// (common practice).
    pub fn sounding_shift(self) -> i32 {
        match self {
            Self::Bass => -12,
            _ => 0,
        }
    }

    /// Sounding MIDI numbers of the open strings, low to high (common practice).
    pub fn open_strings(self) -> [i32; 4] {
        match self {
            Self::Violin => [55, 62, 69, 76],
            Self::Viola => [48, 55, 62, 69],
            Self::Cello => [36, 43, 50, 57],
            Self::Bass => [28, 33, 38, 43],
        }
    }
}
