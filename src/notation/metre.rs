//! Metre: how many beats a bar has, and which note one beat is.

use super::Length;
use std::fmt;
use std::ops::RangeInclusive;
use std::str::FromStr;

/// A time signature. A *beat* everywhere in fingertape is the note named by the lower number:
/// a quarter note in 4/4, an eighth note in 6/8; beats per minute count those.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Metre {
    /// The upper number, 1 to 32.
    pub beats: u8,
    /// The lower number: 1, 2, 4, 8, 16 or 32.
    pub unit: u8,
}

/// The metre 4/4.
impl Default for Metre {
    fn default() -> Self {
        Self { beats: 4, unit: 4 }
    }
}

impl Metre {
    /// A metre of `beats` (1 to 32) over `unit` (1, 2, 4, 8, 16 or 32); `None` outside these.
    pub fn new(beats: u32, unit: u32) -> Option<Self> {
        let known = matches!(unit, 1 | 2 | 4 | 8 | 16 | 32) && (1..=32).contains(&beats);
        known.then_some(Self { beats: beats as u8, unit: unit as u8 })
    }

    /// The length of one beat.
    pub fn beat(self) -> Length {
        Length::new(1, i64::from(self.unit))
    }

    /// The length of one full bar.
    pub fn bar(self) -> Length {
        Length::new(i64::from(self.beats), i64::from(self.unit))
    }

    /// Whether the beats are felt in threes, as in 6/8, 9/8 and 12/8.
    pub fn is_compound(self) -> bool {
        self.unit >= 8 && self.beats > 3 && self.beats.is_multiple_of(3)
    }

    /// How many beats are felt as one: the three of a dotted beat in a compound metre.
    pub fn beats_felt_as_one(self) -> u8 {
        if self.is_compound() { 3 } else { 1 }
    }

    /// The beats a minute that somebody can play to: 20 to 300, and to 900 where three are felt as one.
    pub fn playable_bpm(self) -> RangeInclusive<f64> {
        20.0..=300.0 * f64::from(self.beats_felt_as_one())
    }
}

impl fmt::Display for Metre {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.beats, self.unit)
    }
}

/// Why a metre could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("“{0}” is not a metre; write it like 4/4, 3/4, 2/4 or 6/8")]
pub struct MetreError(pub String);

/// Two numbers with a stroke between, such as `3/4`.
impl FromStr for Metre {
    type Err = MetreError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let parse = || {
            let (beats, unit) = text.trim().split_once('/')?;
            Self::new(beats.trim().parse().ok()?, unit.trim().parse().ok()?)
        };
        parse().ok_or_else(|| MetreError(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_quarter_notes_fill_a_bar_of_four_four() {
        let metre: Metre = "4/4".parse().unwrap();
        assert_eq!(metre.beat() * 4, metre.bar());
        assert_eq!(metre.bar(), Length::new(1, 1));
    }

    #[test]
    fn six_eight_counts_eighths_and_is_compound_but_three_eight_is_not() {
        let metre = Metre::new(6, 8).unwrap();
        assert_eq!((metre.beat(), metre.bar()), (Length::new(1, 8), Length::new(3, 4)));
        assert!(metre.is_compound());
        assert_eq!((metre.beats_felt_as_one(), Metre::default().beats_felt_as_one()), (3, 1));
        assert!(!Metre::new(3, 8).unwrap().is_compound());
        assert!(!Metre::new(3, 4).unwrap().is_compound());
        assert!(!Metre::new(4, 8).unwrap().is_compound());
    }

    #[test]
    fn impossible_metres_are_refused() {
        for text in ["4/0", "0/4", "4/3", "33/4", "4", "a/b", "", "-1/4", "4/64"] {
            assert!(text.parse::<Metre>().is_err(), "{text}");
        }
    }
}
