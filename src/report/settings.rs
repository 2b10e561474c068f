//! What a text report may be told about its reader.

use crate::notation::Instrument;
use crate::units::Millimetres;

/// Settings of a text report. The default is plain text for an instrument of the usual size.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TextSettings {
    /// The player's string length from nut to bridge, where they know it; else that of the usual
    /// size for a player of 9 to 11 years.
    pub string_length: Option<Millimetres>,
    /// Headings in bold (ANSI escape codes), for a terminal that wants them.
    pub bold: bool,
}

impl TextSettings {
    /// The string length to reckon with.
    pub(crate) fn string_length_of(&self, instrument: Instrument) -> Millimetres {
        self.string_length
            .unwrap_or_else(|| Millimetres(instrument.string_length_mm(instrument.usual_size())))
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
