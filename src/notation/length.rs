//! Exact lengths and positions in written music, and the note values that write them.

use num_rational::Ratio;

/// A length or position as an exact fraction of a whole note: a quarter note is 1/4.
pub type Length = Ratio<i64>;

/// An exact length, or a number of beats, as the nearest floating-point number.
pub fn as_f64(length: Length) -> f64 {
    *length.numer() as f64 / *length.denom() as f64
}

/// Every length in a melody has a denominator that divides this number
/// (2¹⁴ · 3⁴ · 5² · 7 · 11 · 13 · 17), so that sums of many lengths can never overflow.
pub const FINEST_GRID: i64 = 16_384 * 81 * 25 * 7 * 11 * 13 * 17;

/// No single note, rest or bar lasts longer than this many whole notes.
pub const LONGEST: i64 = 1_000;

/// The length `numerator / denominator` of a whole note, if it is one that a melody may hold:
/// above 0, at most [`LONGEST`], and on the [`FINEST_GRID`].
pub fn checked_length(numerator: i64, denominator: i64) -> Option<Length> {
    if denominator <= 0 || numerator <= 0 {
        return None;
    }
    let length = Length::new(numerator, denominator);
    (FINEST_GRID % length.denom() == 0 && length <= Length::from_integer(LONGEST)).then_some(length)
}

/// The simple note values, long to short.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum Value {
    Breve,
    Whole,
    Half,
    Quarter,
    Eighth,
    Sixteenth,
    ThirtySecond,
    SixtyFourth,
}

impl Value {
    /// All, long to short.
    pub const ALL: [Value; 8] = [
        Self::Breve,
        Self::Whole,
        Self::Half,
        Self::Quarter,
        Self::Eighth,
        Self::Sixteenth,
        Self::ThirtySecond,
        Self::SixtyFourth,
    ];

    /// The length without dots.
    pub fn length(self) -> Length {
        match self {
            Self::Breve => Length::new(2, 1),
            Self::Whole => Length::new(1, 1),
            Self::Half => Length::new(1, 2),
            Self::Quarter => Length::new(1, 4),
            Self::Eighth => Length::new(1, 8),
            Self::Sixteenth => Length::new(1, 16),
            Self::ThirtySecond => Length::new(1, 32),
            Self::SixtyFourth => Length::new(1, 64),
        }
    }
}

/// A length as it is written: a note value, its dots, and the tuplet it stands in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct WrittenValue {
    /// The note value.
    pub value: Value,
    /// Dots, 0 to 2: each adds half of what came before.
    pub dots: u8,
    /// `Some((3, 2))`: three in the time of two.
    pub tuplet: Option<(u8, u8)>,
}

impl WrittenValue {
    /// How `length` is written as one symbol, without a tuplet if possible; `None` if it needs more
    /// than one symbol (tied) or cannot be written at all.
    pub fn of(length: Length) -> Option<Self> {
        let plain = |length: Length, tuplet| {
            (0..=2).find_map(|dots| {
                Value::ALL
                    .into_iter()
                    .map(|value| Self { value, dots, tuplet })
                    .find(|written| written.untupled() == length)
            })
        };
        if FINEST_GRID % length.denom() != 0 || length > Length::from_integer(LONGEST) {
            return None;
        }
        plain(length, None).or_else(|| {
            [(3, 2), (5, 4), (6, 4), (7, 4), (2, 3), (4, 3), (7, 8), (9, 8), (11, 8), (13, 8)]
                .into_iter()
                .find_map(|(actual, normal)| {
                    plain(length * Length::new(i64::from(actual), i64::from(normal)), Some((actual, normal)))
                })
        })
    }

    /// The length with dots, before the tuplet squeezes it.
    pub fn untupled(self) -> Length {
        let base = self.value.length();
        match self.dots {
            0 => base,
            1 => base * Length::new(3, 2),
            _ => base * Length::new(7, 4),
        }
    }

    /// The length it stands for.
    pub fn length(self) -> Length {
        let (actual, normal) = self.tuplet.unwrap_or((1, 1));
        self.untupled() * Length::new(i64::from(normal), i64::from(actual))
    }

    /// `length` as tied symbols, long to short, each of them plain (no tuplet); `None` if it has no
    /// such sum.
    pub fn tied_sum(length: Length) -> Option<Vec<Self>> {
        let mut rest = length;
        let mut out = Vec::new();
        while rest > Length::from_integer(0) {
            let next = Value::ALL
                .into_iter()
                .flat_map(|value| [1, 0].map(|dots| Self { value, dots, tuplet: None }))
                .find(|written| written.length() <= rest)?;
            rest -= next.length();
            out.push(next);
            if out.len() > 64 {
                return None;
            }
        }
        Some(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sum_has_at_most_sixty_four_symbols_and_no_length_is_too_long_to_ask_about() {
        // Dotted breves of three whole notes each.
        let symbols = |wholes: i64| WrittenValue::tied_sum(Length::from_integer(wholes)).map(|sum| sum.len());
        assert_eq!((symbols(3 * 64), symbols(3 * 65)), (Some(64), None));
        assert_eq!(WrittenValue::of(Length::from_integer(i64::MAX)), None);
        assert_eq!(WrittenValue::of(Length::from_integer(LONGEST)), None);
    }

    #[test]
    fn a_dot_adds_half() {
        let dotted = WrittenValue { value: Value::Half, dots: 1, tuplet: None };
        assert_eq!(dotted.length(), Length::new(3, 4));
        assert_eq!(WrittenValue::of(Length::new(3, 4)), Some(dotted));
        let double = WrittenValue::of(Length::new(7, 8)).unwrap();
        assert_eq!((double.value, double.dots), (Value::Half, 2));
    }

    #[test]
    fn a_third_of_a_quarter_is_a_triplet_eighth() {
        let triplet = WrittenValue::of(Length::new(1, 12)).unwrap();
        assert_eq!((triplet.value, triplet.dots, triplet.tuplet), (Value::Eighth, 0, Some((3, 2))));
        assert_eq!(triplet.length(), Length::new(1, 12));
    }

    #[test]
    fn five_eighths_needs_two_tied_symbols() {
        assert_eq!(WrittenValue::of(Length::new(5, 8)), None);
        let sum = WrittenValue::tied_sum(Length::new(5, 8)).unwrap();
        assert_eq!(
            sum.iter().map(|w| w.length()).collect::<Vec<_>>(),
            [Length::new(1, 2), Length::new(1, 8)]
        );
        assert_eq!(WrittenValue::tied_sum(Length::new(1, 12)), None);
    }

    #[test]
    fn lengths_off_the_grid_or_endless_are_refused() {
        assert_eq!(checked_length(1, 19), None);
        assert_eq!(checked_length(i64::MAX, 1), None);
        assert_eq!(checked_length(0, 4), None);
        assert_eq!(checked_length(1, -4), None);
        assert_eq!(checked_length(2, 8), Some(Length::new(1, 4)));
        // A million of the finest lengths still add up exactly.
        assert!(FINEST_GRID.checked_mul(LONGEST * 10_000).is_some());
    }
}
