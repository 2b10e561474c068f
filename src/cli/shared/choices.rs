//! Words of which one is typed after an option.

use clap::ValueEnum;
use clap::builder::PossibleValue;
use fingertape::engrave::Paper;
use fingertape::notation::{Fifths, Instrument};

/// An instrument as typed, by its [`Instrument::name`].
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct InstrumentName(Instrument);

/// Every instrument, in the library's order.
const INSTRUMENTS: [InstrumentName; Instrument::ALL.len()] = {
    let mut all = [InstrumentName(Instrument::ALL[0]); Instrument::ALL.len()];
    let mut at = 0;
    while at < all.len() {
        all[at] = InstrumentName(Instrument::ALL[at]);
        at += 1;
    }
    all
};

impl ValueEnum for InstrumentName {
    fn value_variants<'a>() -> &'a [Self] {
        &INSTRUMENTS
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        let instrument = self.0;
        let mut help =
            format!("{:?} clef, strings {}", instrument.clef(), instrument.string_names().join(" "));
        if instrument.sounding_shift() == -12 {
            help += ", sounding an octave below what is written";
        }
        let others: &'static [&'static str] = match instrument {
            Instrument::Bass => &["contrabass", "double-bass"],
            _ => &[],
        };
        Some(PossibleValue::new(instrument.name()).help(help).aliases(others))
    }
}

impl From<InstrumentName> for Instrument {
    fn from(name: InstrumentName) -> Self {
        name.0
    }
}

/// How the open strings follow from A, as typed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum FifthsName {
    /// 700 cents, as on a piano (bass: fourths of 500)
    Equal,
    /// 3:2, 702 cents, as tuned by ear (bass: fourths 4:3, 498)
    Pure,
}

impl From<FifthsName> for Fifths {
    fn from(name: FifthsName) -> Self {
        match name {
            FifthsName::Equal => Self::Equal,
            FifthsName::Pure => Self::Pure,
        }
    }
}

/// Paper as typed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum PaperName {
    /// 8.5 by 11 inches
    Letter,
    /// 210 by 297 mm
    A4,
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Self {
        match name {
            PaperName::Letter => Self::Letter,
            PaperName::A4 => Self::A4,
        }
    }
}

/// What is printed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ReportFormat {
    /// Words for people
    Text,
    /// One JSON object
    Json,
}
