//! Metre: how many beats a bar has, and which note one beat is.

use super::Length;

/// A time signature. A *beat* everywhere in fingertape is the note named by the lower number:
/// a quarter note in 4/4, an eighth note in 6/8; beats per minute count those.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Metre {
    /// The upper number, 1 to 32.
    pub beats: u8,
    /// The lower number: 1, 2, 4, 8, 16 or 32.
    pub unit: u8,
}

impl Metre {
    /// The length of one beat.
    pub fn beat(self) -> Length {
        Length::new(1, i64::from(self.unit))
    }

    /// The length of one full bar.
    pub fn bar(self) -> Length {
        Length::new(i64::from(self.beats), i64::from(self.unit))
    }
}
