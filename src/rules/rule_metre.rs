//! The metre of the sheet.
//!
//! What: every bar is in the metre that the sheet names.
//! Why: the worksheet has its bar lines already, and everybody counts the same.
//! Example: the second bar is in another metre.
//! ```toml
//! metre = "4/4"
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! 3/4: A4 q G4 F#4
//! 4/4: E4 h D4
//! ```
//! > Bar 2: this bar is in 3/4; the sheet is in 4/4, so give it 4 beats.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::printed_bars;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::Melody;

pub(super) const KIND: RuleKind = RuleKind {
    word: "metre",
    about: "the metre",
    typed: "metre = \"4/4\"",
    read: |_, _| Some(Box::new(SameMetre)),
};

#[derive(Debug)]
struct SameMetre;

impl Rule for SameMetre {
    fn sentence(&self, sheet: &InstrumentSheet) -> Option<String> {
        Some(format!("Write in {}.", sheet.metre))
    }

    fn shown_on_the_sheet(&self) -> bool {
        true
    }

    fn breaches(&self, melody: &Melody, sheet: &InstrumentSheet) -> Vec<Breach> {
        let bars = printed_bars(melody);
        let beats = words::count(usize::from(sheet.metre.beats), "beat");
        let to_do = format!("the sheet is in {}, so give it {beats}", sheet.metre);
        if let Some(first) = bars.first().filter(|first| bars.iter().all(|bar| bar.metre == first.metre)) {
            // All alike is one thing to say.
            let what = format!("your melody is in {}", first.metre);
            let all =
                Breach::of_all(what, format!("the sheet is in {}, so give each bar {beats}", sheet.metre));
            return if first.metre == sheet.metre { Vec::new() } else { vec![all] };
        }
        let other = bars.iter().filter(|bar| bar.metre != sheet.metre);
        other
            .map(|bar| {
                Breach::in_bar(bar.number, None, format!("this bar is in {}", bar.metre), to_do.clone())
            })
            .collect()
    }
}
