//! The pitch that each open string should have, from A: by equal temperament or in pure intervals.
//!
//! Players tune their strings in pure fifths from A (on the bass in pure fourths), so that two of them sounded together
//! do not beat: a ratio of 3:2 is 1200·log₂(3/2) = 701.955 cents, 1.955 more than the 700 of equal temperament, and each
//! string away from A adds as much (ratio arithmetic; 12-tone equal temperament of ISO 16's A). The cello's and the
//! viola's C lies 5.865 cents lower than on a piano.

use super::Instrument;
use crate::units::{Cents, Hertz, MidiPitch};
use serde::{Deserialize, Serialize};

/// How the other strings follow from A.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Fifths {
    /// 700 cents: as a piano or most electronic references have them.
    #[default]
    Equal,
    /// 3:2, 701.955 cents: as strings are tuned by ear.
    Pure,
}

/// By how much a pure fifth is wider than an equal one, in cents: 1200·log₂(3/2) − 700.
const WIDER: f64 = 1.955_000_865_387_433;

impl Fifths {
    /// How far above equal temperament an open string belongs, in cents: 0 for A, and more or less by 1.955 cents a
    /// fifth. `string` is 0 (lowest) to 3. On the bass a string a fourth below A is, but for an octave, a fifth above it.
    pub fn above_equal(self, instrument: Instrument, string: usize) -> Cents {
        // A fifth is seven semitones, and seven sevens are one semitone more than four octaves: so many fifths lead
        // from A to each of the twelve notes, counted the shorter way.
        let fifths = (7 * (instrument.open_strings()[string] - 69)).rem_euclid(12);
        let fifths_from_a = f64::from(if fifths > 6 { fifths - 12 } else { fifths });
        match self {
            Self::Equal => Cents(0.0),
            Self::Pure => Cents(WIDER * fifths_from_a),
        }
    }

    /// The frequency an open string belongs at, where A4 is `a4`. `string` is 0 (lowest) to 3.
    pub fn open_string(self, instrument: Instrument, string: usize, a4: Hertz) -> Hertz {
        let equal = MidiPitch(f64::from(instrument.open_strings()[string])).hertz(a4);
        equal.shifted(self.above_equal(instrument, string))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// By hand, ratios of small numbers from A.
    #[test]
    fn pure_strings_have_the_frequencies_of_their_ratios() {
        let a4 = Hertz(440.0);
        for (instrument, string, hertz) in [
            (Instrument::Violin, 0, 440.0 * 4.0 / 9.0), // G3 = 195.556
            (Instrument::Violin, 1, 440.0 * 2.0 / 3.0), // D4 = 293.333
            (Instrument::Violin, 2, 440.0),
            (Instrument::Violin, 3, 660.0),
            (Instrument::Viola, 0, 440.0 * 8.0 / 27.0), // C3 = 130.370
            (Instrument::Cello, 0, 440.0 * 4.0 / 27.0), // C2 = 65.185
            (Instrument::Cello, 3, 220.0),
            // Fourths, 4:3: A1 = 55, E1 = 55 · 3/4, D2 = 55 · 4/3, G2 = D2 · 4/3.
            (Instrument::Bass, 0, 41.25),
            (Instrument::Bass, 1, 55.0),
            (Instrument::Bass, 2, 55.0 * 4.0 / 3.0),
            (Instrument::Bass, 3, 55.0 * 16.0 / 9.0),
        ] {
            let found = Fifths::Pure.open_string(instrument, string, a4).0;
            assert_abs_diff_eq!(found, hertz, epsilon = 1e-9);
        }
    }

    /// The table of equal temperament at A4 = 440 Hz, rounded to a thousandth (D4 293.665, G3 195.998, E5 659.255).
    #[test]
    fn equal_strings_have_the_frequencies_of_the_table() {
        for (string, hertz) in [(0, 195.998), (1, 293.665), (2, 440.0), (3, 659.255)] {
            let found = Fifths::Equal.open_string(Instrument::Violin, string, Hertz(440.0)).0;
            assert_abs_diff_eq!(found, hertz, epsilon = 5e-4);
        }
    }
}
