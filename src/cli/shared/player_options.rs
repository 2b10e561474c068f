//! What may be said about the player's instrument, wherever a take is judged.

use super::choices::{FifthsName, InstrumentName};
use super::ranges;
use clap::Args;
use fingertape::notation::{Fifths, Instrument, Size};
use fingertape::units::{Hertz, Millimetres};

/// The options of `check` and `record` that tell of the instrument.
#[derive(Args)]
pub struct PlayerOptions {
    /// The instrument, where the melody does not name it (or names another)
    #[arg(long, value_enum, ignore_case = true)]
    instrument: Option<InstrumentName>,
    /// The pitch that A4 was tuned to, in hertz, 390 to 470 [default: as the melody says, else 440]
    #[arg(long, value_name = "HERTZ", allow_negative_numbers = true, value_parser = ranges::a4)]
    a4: Option<f64>,
    /// How the open strings follow from A: by equal temperament, or in pure fifths (bass: fourths), as strings are
    /// tuned by ear
    #[arg(long, value_enum, default_value_t = FifthsName::Equal)]
    fifths: FifthsName,
    /// The size of the instrument, 4/4 to 1/16, for the distances in millimetres
    /// [default: 3/4 for violin and viola, 1/2 for cello and bass]
    #[arg(long, value_name = "SIZE")]
    size: Option<Size>,
    /// The string length as the player measured it, nut to bridge, in millimetres, 150 to 1200
    /// (instead of --size)
    #[arg(long, value_name = "MM", allow_negative_numbers = true, value_parser = ranges::string_length,
          conflicts_with = "size")]
    string_length: Option<f64>,
}

impl PlayerOptions {
    /// The instrument, where asked for.
    pub fn instrument(&self) -> Option<Instrument> {
        self.instrument.map(Instrument::from)
    }

    /// The pitch of A4, where asked for.
    pub fn a4(&self) -> Option<Hertz> {
        self.a4.map(Hertz)
    }

    /// How the open strings follow from A.
    pub fn fifths(&self) -> Fifths {
        self.fifths.into()
    }

    /// The string length of the instrument that plays, where its size or length was given.
    pub fn string_length(&self, instrument: Instrument) -> Option<Millimetres> {
        let by_size = self.size.map(|size| instrument.string_length_mm(size));
        self.string_length.or(by_size).map(Millimetres)
    }
}
