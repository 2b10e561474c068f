//! Vibrating string lengths, nut to bridge, by the size of the instrument. Common practice: makers
//! differ by several millimetres, and these values are from memory, not from one table, so a player
//! who wants exact distances measures their own.

use super::Instrument;
use std::fmt;
use std::str::FromStr;

/// The nominal size of an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum Size {
    Full,
    SevenEighths,
    ThreeQuarters,
    Half,
    Quarter,
    Eighth,
    Tenth,
    Sixteenth,
}

impl Size {
    /// All sizes, large to small.
    pub const ALL: [Size; 8] = [
        Self::Full,
        Self::SevenEighths,
        Self::ThreeQuarters,
        Self::Half,
        Self::Quarter,
        Self::Eighth,
        Self::Tenth,
        Self::Sixteenth,
    ];
}

/// `4/4`, `7/8`, `3/4`, `1/2`, `1/4`, `1/8`, `1/10`, `1/16`.
impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Full => "4/4",
            Self::SevenEighths => "7/8",
            Self::ThreeQuarters => "3/4",
            Self::Half => "1/2",
            Self::Quarter => "1/4",
            Self::Eighth => "1/8",
            Self::Tenth => "1/10",
            Self::Sixteenth => "1/16",
        })
    }
}

/// Why a size could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("“{0}” is not an instrument size; write 4/4, 7/8, 3/4, 1/2, 1/4, 1/8, 1/10 or 1/16")]
pub struct SizeError(pub String);

/// As it is displayed; `full` is 4/4.
impl FromStr for Size {
    type Err = SizeError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let name = text.trim();
        let known = Self::ALL.into_iter().find(|size| size.to_string() == name);
        known
            .or((name.eq_ignore_ascii_case("full")).then_some(Self::Full))
            .ok_or_else(|| SizeError(text.to_owned()))
    }
}

impl Instrument {
    /// The usual size for a player of 9 to 11 years (common practice).
    pub fn usual_size(self) -> Size {
        match self {
            Self::Violin | Self::Viola => Size::ThreeQuarters,
            Self::Cello | Self::Bass => Size::Half,
        }
    }

    /// The string length in millimetres, nut to bridge, of an instrument of that size (common
    /// practice, from memory; a viola's size names the violin whose body it shares, 4/4 being a
    /// 16-inch viola). Sizes below the smallest made answer with the smallest.
    pub fn string_length_mm(self, size: Size) -> f64 {
        let by_size: [f64; 8] = match self {
            Self::Violin => [328.0, 317.0, 307.0, 286.0, 258.0, 232.0, 216.0, 196.0],
            Self::Viola => [370.0, 355.0, 328.0, 307.0, 286.0, 286.0, 286.0, 286.0],
            Self::Cello => [690.0, 655.0, 620.0, 575.0, 515.0, 455.0, 420.0, 390.0],
            Self::Bass => [1100.0, 1080.0, 1050.0, 970.0, 900.0, 820.0, 760.0, 700.0],
        };
        by_size[size as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn smaller_instruments_have_no_longer_strings() {
        for instrument in Instrument::ALL {
            let lengths = Size::ALL.map(|size| instrument.string_length_mm(size));
            assert!(lengths.windows(2).all(|pair| pair[0] >= pair[1]), "{instrument}");
        }
        for size in Size::ALL {
            let lengths = Instrument::ALL.map(|instrument| instrument.string_length_mm(size));
            assert!(lengths.windows(2).all(|pair| pair[0] < pair[1]), "{size}");
        }
    }

    #[test]
    fn sizes_read_back_their_own_names() {
        for size in Size::ALL {
            assert_eq!(size.to_string().parse(), Ok(size));
        }
        assert!("2/3".parse::<Size>().is_err());
    }
}
