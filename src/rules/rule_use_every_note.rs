//! Every note of the list is used.
//!
//! What: each note to choose from appears at least once.
//! Why: the melody practises all the fingers of the lesson.
//! Example: G is on the list and not in the melody.
//! ```toml
//! key = "D"
//! use_every_note = true
//! [[notes]]
//! string = "D"
//! notes = ["D", "E", "F#", "G"]
//! ```
//! ```text
//! D4 q E4 F#4 E4
//! F#4 q E4 D4 h
//! E4 h D4
//! ```
//! > Your melody does not use G yet; the sheet asks for every note of the list, so find a place for it.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::notes;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::Melody;

pub(super) const KIND: RuleKind = RuleKind {
    word: "use_every_note",
    about: "every note of the list",
    typed: "use_every_note = true",
    read: |setting, reader| {
        let yes = reader.yes("use_every_note", setting)?;
        yes.then(|| Box::new(EveryNote) as Box<dyn Rule>)
    },
};

#[derive(Debug)]
struct EveryNote;

impl Rule for EveryNote {
    fn sentence(&self, sheet: &InstrumentSheet) -> Option<String> {
        (!sheet.choices.is_empty()).then(|| "Use every note of the list at least once.".to_owned())
    }

    fn breaches(&self, melody: &Melody, sheet: &InstrumentSheet) -> Vec<Breach> {
        let used: Vec<i32> = notes(melody).map(|note| note.sounding).collect();
        let missing: Vec<String> = sheet
            .choices
            .iter()
            .filter(|choice| !used.contains(&choice.sounding))
            .map(|choice| {
                // The same name on two strings: say which.
                let twin = sheet.choices.iter().any(|other| {
                    other.sounding != choice.sounding && (other.sounding - choice.sounding) % 12 == 0
                });
                let name = words::note(choice.written);
                let string = words::string(sheet.instrument, choice.fingering.string);
                if twin { format!("{name} on the {string}") } else { name }
            })
            .collect();
        if missing.is_empty() {
            return Vec::new();
        }
        let what = format!("your melody does not use {} yet", words::list(&missing, "and"));
        let each = if missing.len() == 1 { "it" } else { "each of them" };
        let to_do = format!("the sheet asks for every note of the list, so find a place for {each}");
        vec![Breach::of_all(what, to_do)]
    }
}
