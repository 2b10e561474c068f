//! Enough different notes.
//!
//! What: the melody has at least so many different pitches; octaves count as different.
//! Why: a melody of two notes is quickly told.
//! Example: two different notes where three are asked for.
//! ```toml
//! fewest_different_notes = 3
//! ```
//! ```text
//! D4 q D4 E4 D4
//! E4 q D4 D4 E4
//! D4 h E4
//! ```
//! > Your melody has 2 different notes; the sheet asks for at least 3, so bring in 1 more.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::notes;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::Melody;
use std::collections::BTreeSet;

pub(super) const KIND: RuleKind = RuleKind {
    word: "fewest_different_notes",
    about: "enough different notes",
    typed: "fewest_different_notes = 4",
    read: |setting, reader| {
        Some(Box::new(DifferentNotes(reader.whole("fewest_different_notes", setting, 1..=40)?)))
    },
};

#[derive(Debug)]
struct DifferentNotes(u32);

impl Rule for DifferentNotes {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        Some(format!("Use at least {}.", words::count(self.0 as usize, "different note")))
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let asked = self.0 as usize;
        let pitches: BTreeSet<i32> = notes(melody).map(|note| note.sounding).collect();
        if pitches.len() >= asked {
            return Vec::new();
        }
        let what = format!("your melody has {}", words::count(pitches.len(), "different note"));
        let more = asked - pitches.len();
        vec![Breach::of_all(what, format!("the sheet asks for at least {asked}, so bring in {more} more"))]
    }
}
