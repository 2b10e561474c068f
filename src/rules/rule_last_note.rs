//! The last note.
//!
//! What: the last note is one of those that the sheet names, in any octave: degrees of the key, or names.
//! Why: a melody that ends on a note of home sounds finished.
//! Example: the melody ends on A.
//! ```toml
//! key = "D"
//! last_note = 1
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! A4 q G4 F#4 E4
//! D4 h A4
//! ```
//! > Bar 3, beat 3: your last note is A; the sheet ends on D.
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
    word: "last_note",
    about: "the last note",
    typed: "last_note = 1  (or \"D\", or [1, 5])",
    read: |setting, reader| Some(Box::new(LastNote(Target::read_names("last_note", setting, reader)?))),
};

#[derive(Debug)]
struct LastNote(Vec<Target>);

impl Rule for LastNote {
    fn sentence(&self, sheet: &InstrumentSheet) -> Option<String> {
        Some(format!("End on {}.", Target::any_said(&self.0, sheet.key)))
    }

    fn breaches(&self, melody: &Melody, sheet: &InstrumentSheet) -> Vec<Breach> {
        let Some(note) = notes(melody).last() else { return Vec::new() };
        let written = (note.written.letter, note.written.alter);
        if self.0.iter().any(|target| target.spelled(sheet.key) == Some(written)) {
            return Vec::new();
        }
        let what = format!("your last note is {}", words::note(note.written));
        vec![Breach::at(
            note.event,
            what,
            format!("the sheet ends on {}", Target::any_said(&self.0, sheet.key)),
        )]
    }
}
