//! The first note.
//!
//! What: the first note is one of those that the sheet names, in any octave: degrees of the key, or names.
//! Why: a melody that begins on a note of home tells the ear where it is.
//! Example: the melody begins on E.
//! ```toml
//! key = "D"
//! first_note = 1
//! ```
//! ```text
//! E4 q E4 F#4 G4
//! A4 q G4 F#4 E4
//! D4 h A4
//! ```
//! > Bar 1, beat 1: your first note is E; the sheet begins on D.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::notes;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::target::Target;
use super::words;
use crate::notation::Melody;

pub(super) const KIND: RuleKind = RuleKind {
    word: "first_note",
    about: "the first note",
    typed: "first_note = 1  (or \"D\", or [1, 5])",
    read: |setting, reader| Some(Box::new(FirstNote(Target::read_names("first_note", setting, reader)?))),
};

#[derive(Debug)]
struct FirstNote(Vec<Target>);

impl Rule for FirstNote {
    fn sentence(&self, sheet: &InstrumentSheet) -> Option<String> {
        Some(format!("Begin on {}.", Target::any_said(&self.0, sheet.key)))
    }

    fn breaches(&self, melody: &Melody, sheet: &InstrumentSheet) -> Vec<Breach> {
        let Some(note) = notes(melody).next() else { return Vec::new() };
        let written = (note.written.letter, note.written.alter);
        if self.0.iter().any(|target| target.spelled(sheet.key) == Some(written)) {
            return Vec::new();
        }
        let what = format!("your first note is {}", words::note(note.written));
        vec![Breach::at(
            note.event,
            what,
            format!("the sheet begins on {}", Target::any_said(&self.0, sheet.key)),
        )]
    }
}
