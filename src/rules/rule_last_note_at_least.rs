//! A long last note.
//!
//! What: the last note, with what is tied to it, lasts at least as long as the sheet says; a rest may
//! follow.
//! Why: a long note tells the listener that the melody has come home.
//! Example: the melody ends with a quarter note.
//! ```toml
//! last_note_at_least = "h"
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! A4 q G4 F#4 E4
//! D4 h. A4 q
//! ```
//! > Bar 3, beat 4: your last note is a quarter note; the sheet asks for a half note or longer.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::notes;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::{Length, Melody};

pub(super) const KIND: RuleKind = RuleKind {
    word: "last_note_at_least",
    about: "the long last note",
    typed: "last_note_at_least = \"h\"",
    read: |setting, reader| Some(Box::new(LongLastNote(reader.length("last_note_at_least", setting)?))),
};

#[derive(Debug)]
struct LongLastNote(Length);

impl Rule for LongLastNote {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        Some(format!("End with {} or longer.", words::a_length(self.0, false)))
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let last = notes(melody).last().filter(|note| note.event.length < self.0);
        let breach = last.map(|note| {
            let what = format!("your last note is {}", words::a_length(note.event.length, false));
            Breach::at(
                note.event,
                what,
                format!("the sheet asks for {} or longer", words::a_length(self.0, false)),
            )
        });
        breach.into_iter().collect()
    }
}
