//! A pitch finds its place among the open strings: the string asked for, another one, an octave, or a stopped note.

use crate::notation::{Fifths, Instrument};
use crate::units::{Cents, Hertz};

/// A string within this of its pitch is in tune, in cents (common practice for beginners: what is smaller is
/// hardly heard and the bow alone moves a string so far).
pub const IN_TUNE_CENTS: f64 = 5.0;
/// Whether a string so many cents off is in tune, told from whole cents: the verdict, the number that is printed and what
/// there is to turn must not contradict one another.
pub fn in_tune(cents: Cents) -> bool {
    cents.0.abs().round() <= IN_TUNE_CENTS
}

/// Up to here a fine tuner is the thing to turn, in cents: beyond, the pitch is nearer to another note, and a
/// fine tuner may not reach (common practice: its range is about a semitone, often half used up).
pub const FINE_TUNER_CENTS: f64 = 50.0;
/// Below its pitch by up to this much a tone may be the string asked for, hanging slack, in cents.
const SLACK: f64 = 250.0;
/// The harmonics that a finger resting on an open string brings out: their number, and cents above the string
/// (1200·log₂ n).
const HARMONICS: [(u8, f64); 3] = [(2, 1200.0), (3, 1901.955), (4, 2400.0)];

/// What the four open strings should sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenStrings {
    /// The instrument.
    pub instrument: Instrument,
    /// The pitch of A4.
    pub a4: Hertz,
    /// How the other strings follow from A.
    pub fifths: Fifths,
}

/// Where a pitch is. `string` is 0 (lowest) to 3 (highest); cents are from that string's own pitch, above positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// The string asked for, at most 50 cents off.
    Asked {
        /// From its pitch.
        cents: Cents,
    },
    /// Below the string asked for by 50 to 250 cents: that string, much too slack, or a stopped note of the one below.
    Slack {
        /// From the pitch of the string asked for.
        cents: Cents,
    },
    /// Above the string asked for by 50 to 250 cents: a stopped note, or that string, much too tight.
    Above {
        /// From the pitch of the string asked for.
        cents: Cents,
    },
    /// Another open string.
    Other {
        /// Which.
        string: usize,
        /// From that string's pitch.
        cents: Cents,
    },
    /// A harmonic of the string asked for, as a finger that rests on it brings out: 2 is the octave, 3 the twelfth.
    Harmonic {
        /// Its number.
        number: u8,
        /// From the harmonic's pitch.
        cents: Cents,
    },
    /// An octave below the string asked for.
    OctaveBelow {
        /// From the pitch an octave below.
        cents: Cents,
    },
    /// Another note.
    Note {
        /// The nearest sounding MIDI number at this A.
        midi: i32,
        /// From the pitch of the string asked for.
        cents: Cents,
    },
}

impl OpenStrings {
    /// The frequency that a string belongs at, `string` from 0 (lowest) to 3.
    pub fn should_be(&self, string: usize) -> Hertz {
        self.fifths.open_string(self.instrument, string, self.a4)
    }

    /// The string that goes by a letter, such as `D` or `d`.
    pub fn named(instrument: Instrument, name: &str) -> Option<usize> {
        instrument.string_names().iter().position(|known| known.eq_ignore_ascii_case(name.trim()))
    }

    /// The place of a pitch when a string was asked for.
    pub fn place(&self, pitch: Hertz, asked: usize) -> Place {
        let cents = pitch.cents_above(self.should_be(asked)).0;
        if cents.abs() <= FINE_TUNER_CENTS {
            return Place::Asked { cents: Cents(cents) };
        }
        if let Some((string, cents)) = self.nearest(pitch) {
            return Place::Other { string, cents };
        }
        let harmonic = HARMONICS.into_iter().find(|(_, at)| (cents - at).abs() <= FINE_TUNER_CENTS);
        if let Some((number, at)) = harmonic {
            return Place::Harmonic { number, cents: Cents(cents - at) };
        }
        match cents {
            _ if (cents + 1200.0).abs() <= FINE_TUNER_CENTS => {
                Place::OctaveBelow { cents: Cents(cents + 1200.0) }
            }
            _ if (-SLACK..0.0).contains(&cents) => Place::Slack { cents: Cents(cents) },
            _ if (0.0..SLACK).contains(&cents) => Place::Above { cents: Cents(cents) },
            _ => Place::Note { midi: pitch.midi(self.a4).0.round() as i32, cents: Cents(cents) },
        }
    }

    /// The open string within 50 cents of a pitch, and the cents from it.
    pub fn nearest(&self, pitch: Hertz) -> Option<(usize, Cents)> {
        (0..4)
            .map(|string| (string, pitch.cents_above(self.should_be(string))))
            .find(|(_, cents)| cents.0.abs() <= FINE_TUNER_CENTS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn violin() -> OpenStrings {
        OpenStrings { instrument: Instrument::Violin, a4: Hertz(440.0), fifths: Fifths::Equal }
    }

    /// D4 = 293.665 Hz at A4 = 440 Hz (equal temperament), 293.333 Hz as a pure fifth below A.
    #[test]
    fn the_reference_follows_the_choice_of_fifths() {
        assert_abs_diff_eq!(violin().should_be(1).0, 293.665, epsilon = 5e-4);
        let pure = OpenStrings { fifths: Fifths::Pure, ..violin() };
        assert_abs_diff_eq!(pure.should_be(1).0, 293.333, epsilon = 5e-4);
        // 1200·log₂(293.665 / 293.333) = 1.955 cents.
        match pure.place(Hertz(293.665), 1) {
            Place::Asked { cents } => assert_abs_diff_eq!(cents.0, 1.955, epsilon = 0.002),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn neighbours_octaves_and_stopped_notes_are_not_the_string_being_far_off() {
        let from_d = |cents: f64| violin().place(Hertz(293.665).shifted(Cents(cents)), 1);
        assert!(matches!(from_d(-49.0), Place::Asked { .. }));
        assert!(matches!(from_d(700.0), Place::Other { string: 2, .. }));
        assert!(matches!(from_d(-730.0), Place::Other { string: 0, .. }));
        assert!(matches!(from_d(1400.0), Place::Other { string: 3, .. }));
        assert!(matches!(from_d(1215.0), Place::Harmonic { number: 2, .. }));
        assert!(matches!(from_d(1902.0), Place::Harmonic { number: 3, .. }));
        assert!(matches!(from_d(-1200.0), Place::OctaveBelow { .. }));
        assert!(matches!(from_d(-100.0), Place::Slack { .. }));
        assert!(matches!(from_d(200.0), Place::Above { .. }));
        assert!(matches!(from_d(-400.0), Place::Note { midi: 58, .. }));
        assert!(matches!(from_d(500.0), Place::Note { midi: 67, .. }));
    }

    #[test]
    fn every_string_of_every_instrument_is_found_under_its_letter() {
        for instrument in Instrument::ALL {
            let strings = OpenStrings { instrument, ..violin() };
            for (string, name) in instrument.string_names().into_iter().enumerate() {
                assert_eq!(OpenStrings::named(instrument, &name.to_lowercase()), Some(string));
                assert_eq!(strings.nearest(strings.should_be(string)), Some((string, Cents(0.0))));
                for asked in 0..4 {
                    let place = strings.place(strings.should_be(string), asked);
                    let own = matches!(place, Place::Asked { .. });
                    assert!(own == (asked == string), "{instrument} {name} {asked}: {place:?}");
                }
            }
        }
        assert_eq!(OpenStrings::named(Instrument::Violin, "C"), None);
    }
}
