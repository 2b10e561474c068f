//! Words of which one is typed after an option.

use clap::ValueEnum;
use fingertape::engrave::Paper;
use fingertape::notation::{Fifths, Instrument};

/// An instrument as typed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum InstrumentName {
    /// Treble clef, strings G D A E
    Violin,
    /// Alto clef, strings C G D A
    Viola,
    /// Bass clef, strings C G D A
    Cello,
    /// Bass clef, strings E A D G, sounding an octave below what is written
    #[value(alias = "contrabass", alias = "double-bass")]
    Bass,
}

impl From<InstrumentName> for Instrument {
    fn from(name: InstrumentName) -> Self {
        match name {
            InstrumentName::Violin => Self::Violin,
            InstrumentName::Viola => Self::Viola,
            InstrumentName::Cello => Self::Cello,
            InstrumentName::Bass => Self::Bass,
        }
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
