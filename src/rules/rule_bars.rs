//! How many bars.
//!
//! What: as many printed bars as the sheet has; a pickup before the first is not counted.
//! Why: the worksheet has that many, and the class plays the melodies one after the other.
//! Example: one bar is still to be written.
//! ```toml
//! bars = 4
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! A4 q G4 F#4 E4
//! D4 h A4
//! ```
//! > Your melody has 3 bars; the sheet asks for 4, so write 1 more.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::{pickup_and_bars, printed_bars};
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::Melody;

pub(super) const KIND: RuleKind = RuleKind {
    word: "bars",
    about: "the number of bars",
    typed: "bars = 8",
    read: |_, _| Some(Box::new(BarCount)),
};

#[derive(Debug)]
struct BarCount;

impl Rule for BarCount {
    fn sentence(&self, sheet: &InstrumentSheet) -> Option<String> {
        Some(format!("Write {}.", words::count(sheet.bars? as usize, "bar")))
    }

    fn shown_on_the_sheet(&self) -> bool {
        true
    }

    fn breaches(&self, melody: &Melody, sheet: &InstrumentSheet) -> Vec<Breach> {
        let Some(asked) = sheet.bars.map(|bars| bars as usize) else { return Vec::new() };
        let written = pickup_and_bars(&printed_bars(melody)).1.len();
        let what = format!("your melody has {}", words::count(written, "bar"));
        let to_do = match written {
            fewer if fewer < asked => format!("write {} more", asked - fewer),
            more => format!("take {} out", more.saturating_sub(asked)),
        };
        let breach = Breach::of_all(what, format!("the sheet asks for {asked}, so {to_do}"));
        if written == asked { Vec::new() } else { vec![breach] }
    }
}
