//! The key signature of the sheet.
//!
//! What: the key signature at the start is the sheet's.
//! Why: degrees and fingers on the worksheet are those of its key.
//! Example: the melody has the signature of D.
//! ```toml
//! key = "G"
//! ```
//! ```text
//! G4 q A4 B4 A4
//! G4 q B4 A4 h
//! A4 q B4 G4 h
//! ```
//! > Your melody has the key signature of D; the sheet has the one of G, so write that one at the start.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use crate::notation::Melody;

pub(super) const KIND: RuleKind = RuleKind {
    word: "key",
    about: "the key signature",
    typed: "key = \"D\"",
    read: |_, _| Some(Box::new(SameKey)),
};

#[derive(Debug)]
struct SameKey;

impl Rule for SameKey {
    fn sentence(&self, sheet: &InstrumentSheet) -> Option<String> {
        Some(format!("Write with the key signature of {}.", sheet.key))
    }

    fn shown_on_the_sheet(&self) -> bool {
        true
    }

    fn breaches(&self, melody: &Melody, sheet: &InstrumentSheet) -> Vec<Breach> {
        let key = melody.bars().first().map(|bar| bar.key).unwrap_or_default();
        if key.fifths == sheet.key.fifths {
            return Vec::new();
        }
        let what = format!("your melody has the key signature of {key}");
        let to_do = format!("the sheet has the one of {}, so write that one at the start", sheet.key);
        vec![Breach::of_all(what, to_do)]
    }
}
