//! Units as types, so that a frequency is never taken for a number of cents.
//!
//! One base unit inside (hertz, cents, seconds); other units appear only where people read them.

use serde::{Deserialize, Serialize};
use std::ops::RangeInclusive;

/// A frequency in hertz, finite and above 0. An unvoiced frame has no frequency: `Option<Hertz>`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Hertz(pub f64);

/// An interval in cents: 1200 to the octave, 100 to the equal-tempered semitone; positive is higher.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Cents(pub f64);

/// A time or a length of time in seconds; times count from the first sample of the take.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seconds(pub f64);

/// A sounding pitch as a MIDI note number with decimals: A4 = 69, one a semitone (MIDI 1.0).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MidiPitch(pub f64);

/// Samples a second, above 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SampleRate(pub u32);

/// A distance in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Millimetres(pub f64);

/// ISO 16:1975, standard tuning frequency.
pub const A4_ISO16: Hertz = Hertz(440.0);

/// The hertz to which somebody may have tuned A4: a semitone and a half below and about a semitone above 440, with all
/// historical pitches in use (415, 392, 466).
pub const A4_HERTZ: RangeInclusive<f64> = 390.0..=470.0;

impl Hertz {
    /// How far this frequency is above `reference`: 1200 · log2 of the ratio.
    pub fn cents_above(self, reference: Hertz) -> Cents {
        Cents(1200.0 * (self.0 / reference.0).log2())
    }

    /// This frequency moved by an interval.
    pub fn shifted(self, by: Cents) -> Hertz {
        Hertz(self.0 * (by.0 / 1200.0).exp2())
    }

    /// The MIDI note number with decimals at the given A4.
    pub fn midi(self, a4: Hertz) -> MidiPitch {
        MidiPitch(69.0 + 12.0 * (self.0 / a4.0).log2())
    }
}

impl MidiPitch {
    /// The equal-tempered frequency at the given A4.
    pub fn hertz(self, a4: Hertz) -> Hertz {
        Hertz(a4.0 * ((self.0 - 69.0) / 12.0).exp2())
    }
}

impl SampleRate {
    /// The rate in hertz.
    pub fn hertz(self) -> f64 {
        f64::from(self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn an_octave_is_1200_cents_and_a_just_fifth_702() {
        assert_abs_diff_eq!(Hertz(880.0).cents_above(Hertz(440.0)).0, 1200.0, epsilon = 1e-9);
        // A just fifth 3:2 is 701.955 cents (Helmholtz/Ellis, On the Sensations of Tone, table of intervals).
        assert_abs_diff_eq!(Hertz(3.0).cents_above(Hertz(2.0)).0, 701.955, epsilon = 1e-3);
    }

    #[test]
    fn midi_69_is_a4_and_60_is_middle_c() {
        assert_abs_diff_eq!(MidiPitch(69.0).hertz(A4_ISO16).0, 440.0, epsilon = 1e-9);
        assert_abs_diff_eq!(MidiPitch(60.0).hertz(A4_ISO16).0, 261.6256, epsilon = 1e-4);
        assert_abs_diff_eq!(Hertz(415.0).midi(A4_ISO16).0, 67.987, epsilon = 1e-3);
    }
}
