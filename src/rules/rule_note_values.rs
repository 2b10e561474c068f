//! Only note values of the list.
//!
//! What: every printed note has one of the values that the sheet names; tied notes are looked at one by
//! one. Rests have a rule of their own.
//! Why: everybody can count what everybody wrote.
//! Example: an eighth note where quarter and half notes are on the list.
//! ```toml
//! note_values = ["q", "h"]
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! A4 q G4 e F#4 E4 h
//! D4 h A4
//! ```
//! > Bar 2, beat 2: an eighth note is not on your list; you may use half notes and quarter notes.
//! > Bar 2, beat 2 and a half: an eighth note is not on your list; you may use half notes and quarter notes.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::symbols;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::{Length, Melody};

pub(super) const KIND: RuleKind = RuleKind {
    word: "note_values",
    about: "the note values",
    typed: "note_values = [\"h\", \"q\", \"e\"]",
    read: |setting, reader| Some(Box::new(NoteValues(reader.lengths("note_values", setting)?))),
};

#[derive(Debug)]
struct NoteValues(Vec<Length>);

impl Rule for NoteValues {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        Some(format!("Use {}.", words::lengths(&self.0, false)))
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let other =
            symbols(melody).into_iter().filter(|symbol| !symbol.rest && !self.0.contains(&symbol.length));
        other
            .map(|symbol| {
                let what = format!("{} is not on your list", words::a_length(symbol.length, false));
                let to_do = format!("you may use {}", words::lengths(&self.0, false));
                Breach::in_bar(symbol.bar, Some(symbol.beat), what, to_do)
            })
            .collect()
    }
}
