//! The glyphs of SMuFL that we draw with, and what their font says about them.

use super::bravura_outlines::OUTLINES;
use crate::notation::{Clef, Value};

/// A glyph as the font has it. Lengths in staff spaces, y downward.
#[derive(Debug)]
pub struct Outline {
    /// Its SMuFL name.
    pub name: &'static str,
    /// Left, top, right, bottom.
    pub bounds: [f64; 4],
    /// How far the pen goes on.
    pub advance: f64,
    /// Where an upward stem (or the flag on it) is attached: `stemUpSE` of heads, `stemUpNW` of flags.
    pub stem_up: (f64, f64),
    /// The same for a downward stem: `stemDownNW` of heads, `stemDownSW` of flags.
    pub stem_down: (f64, f64),
    /// The outline as SVG path data.
    pub path: &'static str,
}

/// A glyph of the music font.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum Glyph {
    /// The G clef, C clef (alto and tenor) or F clef.
    Clef(ClefSign),
    /// A digit of a time signature, 0 to 9.
    TimeDigit(u8),
    /// The head of a note of that value.
    Head(Value),
    /// A dot after a note or rest.
    Dot,
    /// The flag of an eighth note or a shorter one, on an upward stem or a downward one.
    Flag(Value, Upward),
    Flat,
    Natural,
    Sharp,
    DoubleSharp,
    DoubleFlat,
    /// A rest of that value.
    Rest(Value),
    /// A digit of a tuplet's number.
    TupletDigit(u8),
    /// A small note for a tempo mark.
    TempoNote(Value),
}

/// The three clef signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum ClefSign {
    G,
    C,
    F,
}

/// Whether a stem points up.
pub type Upward = bool;

impl Glyph {
    /// The sign of a clef.
    pub fn of_clef(clef: Clef) -> Self {
        Self::Clef(match clef {
            Clef::Treble => ClefSign::G,
            Clef::Alto | Clef::Tenor => ClefSign::C,
            Clef::Bass => ClefSign::F,
        })
    }

    /// The accidental that alters by `alter` semitones, −2 to 2.
    pub fn of_alter(alter: i8) -> Self {
        match alter {
            ..=-2 => Self::DoubleFlat,
            -1 => Self::Flat,
            0 => Self::Natural,
            1 => Self::Sharp,
            2.. => Self::DoubleSharp,
        }
    }

    /// What the font says about it.
    pub fn outline(self) -> &'static Outline {
        let place = match self {
            Self::Clef(sign) => sign as usize,
            Self::TimeDigit(digit) => 3 + usize::from(digit.min(9)),
            Self::Head(value) => 13 + (value as usize).min(3),
            Self::Dot => 17,
            Self::Flag(value, up) => {
                let size = (value as usize).clamp(4, 7) - 4;
                18 + 2 * size + usize::from(!up)
            }
            Self::Flat => 26,
            Self::Natural => 27,
            Self::Sharp => 28,
            Self::DoubleSharp => 29,
            Self::DoubleFlat => 30,
            Self::Rest(value) => 31 + (value as usize).min(7),
            Self::TupletDigit(digit) => 39 + usize::from(digit.min(9)),
            Self::TempoNote(value) => 48 + (value as usize).clamp(1, 6),
        };
        &OUTLINES[place]
    }

    /// Its width from the origin to its right edge.
    pub fn width(self) -> f64 {
        self.outline().bounds[2]
    }
}

/// Thicknesses and distances in staff spaces, from `engravingDefaults` of Bravura 1.392's metadata (SMuFL 1.4,
/// “engravingDefaults”).
pub(super) mod defaults {
    pub const STAFF_LINE: f64 = 0.13;
    pub const STEM: f64 = 0.12;
    pub const BEAM: f64 = 0.5;
    pub const BEAM_GAP: f64 = 0.25;
    pub const LEDGER_LINE: f64 = 0.16;
    pub const LEDGER_EXTENSION: f64 = 0.4;
    pub const THIN_BAR_LINE: f64 = 0.16;
    pub const THICK_BAR_LINE: f64 = 0.5;
    pub const BAR_LINE_GAP: f64 = 0.4;
    pub const TIE_END: f64 = 0.1;
    pub const TIE_MIDDLE: f64 = 0.22;
    pub const TUPLET_BRACKET: f64 = 0.16;
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Names are those of the SMuFL 1.4 glyph tables.
    #[test]
    fn every_glyph_is_the_outline_of_its_smufl_name() {
        for (glyph, name) in [
            (Glyph::of_clef(Clef::Treble), "gClef"),
            (Glyph::of_clef(Clef::Alto), "cClef"),
            (Glyph::of_clef(Clef::Tenor), "cClef"),
            (Glyph::of_clef(Clef::Bass), "fClef"),
            (Glyph::TimeDigit(0), "timeSig0"),
            (Glyph::TimeDigit(9), "timeSig9"),
            (Glyph::Head(Value::Breve), "noteheadDoubleWhole"),
            (Glyph::Head(Value::Whole), "noteheadWhole"),
            (Glyph::Head(Value::Half), "noteheadHalf"),
            (Glyph::Head(Value::Quarter), "noteheadBlack"),
            (Glyph::Head(Value::Sixteenth), "noteheadBlack"),
            (Glyph::Dot, "augmentationDot"),
            (Glyph::Flag(Value::Eighth, true), "flag8thUp"),
            (Glyph::Flag(Value::Eighth, false), "flag8thDown"),
            (Glyph::Flag(Value::SixtyFourth, false), "flag64thDown"),
            (Glyph::of_alter(-1), "accidentalFlat"),
            (Glyph::of_alter(0), "accidentalNatural"),
            (Glyph::of_alter(1), "accidentalSharp"),
            (Glyph::of_alter(2), "accidentalDoubleSharp"),
            (Glyph::of_alter(-2), "accidentalDoubleFlat"),
            (Glyph::Rest(Value::Breve), "restDoubleWhole"),
            (Glyph::Rest(Value::Quarter), "restQuarter"),
            (Glyph::Rest(Value::SixtyFourth), "rest64th"),
            (Glyph::TupletDigit(3), "tuplet3"),
            (Glyph::TempoNote(Value::Whole), "metNoteWhole"),
            (Glyph::TempoNote(Value::Quarter), "metNoteQuarterUp"),
            (Glyph::TempoNote(Value::ThirtySecond), "metNote32ndUp"),
        ] {
            assert_eq!(glyph.outline().name, name, "{glyph:?}");
        }
    }

    /// bravura_metadata.json 1.392: noteheadBlack stemUpSE (1.18, 0.168), stemDownNW (0, −0.168), y upward there.
    #[test]
    fn stems_are_attached_where_the_metadata_says() {
        let head = Glyph::Head(Value::Quarter).outline();
        assert_eq!(head.stem_up, (1.18, -0.168));
        assert_eq!(head.stem_down, (0.0, 0.168));
        assert_eq!(head.bounds, [0.0, -0.5, 1.18, 0.5]);
    }
}
