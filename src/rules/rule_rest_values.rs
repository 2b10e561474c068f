//! Only rest values of the list.
//!
//! What: every rest has one of the values that the sheet names.
//! Why: rests are counted like notes, and new signs come one at a time.
//! Example: a half rest where only quarter rests are on the list.
//! ```toml
//! rest_values = ["q"]
//! ```
//! ```text
//! D4 q E4 F#4 rest
//! A4 q G4 rest h
//! D4 h A4
//! ```
//! > Bar 2, beat 3: a half rest is not on your list; you may use quarter rests.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::symbols;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::{Length, Melody};

pub(super) const KIND: RuleKind = RuleKind {
    word: "rest_values",
    about: "the rest values",
    typed: "rest_values = [\"h\", \"q\"]",
    read: |setting, reader| Some(Box::new(RestValues(reader.lengths("rest_values", setting)?))),
};

#[derive(Debug)]
struct RestValues(Vec<Length>);

impl Rule for RestValues {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        Some(format!("Your rests are {}.", words::lengths(&self.0, true)))
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let other =
            symbols(melody).into_iter().filter(|symbol| symbol.rest && !self.0.contains(&symbol.length));
        other
            .map(|symbol| {
                let what = format!("{} is not on your list", words::a_length(symbol.length, true));
                let to_do = format!("you may use {}", words::lengths(&self.0, true));
                Breach::in_bar(symbol.bar, Some(symbol.beat), what, to_do)
            })
            .collect()
    }
}
