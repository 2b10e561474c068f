//! Note values that must appear.
//!
//! What: each of the note values that the sheet names appears at least once.
//! Why: who has just learned eighth notes should meet them in a melody of their own.
//! Example: no eighth note yet.
//! ```toml
//! must_use_values = ["q", "e"]
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! A4 q G4 F#4 E4
//! D4 h A4
//! ```
//! > Your melody has no eighth note yet; the sheet asks for at least one.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::symbols;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::{Length, Melody};

pub(super) const KIND: RuleKind = RuleKind {
    word: "must_use_values",
    about: "the note values that must appear",
    typed: "must_use_values = [\"e\"]",
    read: |setting, reader| Some(Box::new(MustUse(reader.lengths("must_use_values", setting)?))),
};

#[derive(Debug)]
struct MustUse(Vec<Length>);

impl Rule for MustUse {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        let each: Vec<String> = self.0.iter().map(|value| words::a_length(*value, false)).collect();
        Some(format!("Use {} at least once.", words::list(&each, "and")))
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let symbols = symbols(melody);
        let used = |value: &&Length| symbols.iter().any(|symbol| !symbol.rest && symbol.length == **value);
        let missing = self.0.iter().filter(|value| !used(value));
        missing
            .map(|value| {
                let what = format!("your melody has no {} yet", words::length(*value, false));
                Breach::of_all(what, "the sheet asks for at least one")
            })
            .collect()
    }
}
