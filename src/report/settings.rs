//! What a text report may be told about its reader.

use crate::notation::Instrument;
use crate::units::Millimetres;

/// Settings of a text report. The default is plain text for a full-size instrument.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TextSettings {
    /// The player's string length from nut to bridge, where they measured it; else that of a full-size
    /// instrument.
    pub string_length: Option<Millimetres>,
    /// Headings in bold (ANSI escape codes), for a terminal that wants them.
    pub bold: bool,
}

impl TextSettings {
    /// The string length to reckon with.
    pub(super) fn string_length_of(&self, instrument: Instrument) -> Millimetres {
        // Common practice for full-size instruments (for the bass the usual 3/4 size).
        self.string_length.unwrap_or(match instrument {
            Instrument::Violin => Millimetres(328.0),
            Instrument::Viola => Millimetres(370.0),
            Instrument::Cello => Millimetres(690.0),
            Instrument::Bass => Millimetres(1060.0),
        })
    }

    /// A heading on a line of its own.
    pub(super) fn heading(&self, text: &str) -> String {
        if self.bold {
            let bold = anstyle::Style::new().bold();
            format!("{bold}{text}{bold:#}\n")
        } else {
            format!("{text}\n")
        }
    }
}
