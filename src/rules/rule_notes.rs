//! Only notes of the list.
//!
//! What: every note is one of those that the sheet names, by string and place in first position. A note
//! that sounds the same and is written otherwise is asked to be written as on the list.
//! Why: everybody can play everybody's melody, with the fingers that they have learned.
//! Example: a B flat on a list of D, E, F sharp, G and A.
//! ```toml
//! key = "D"
//! [[notes]]
//! string = "D"
//! notes = ["D", "E", "F#", "G", "A"]
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! A4 q G4 Bb4 A4
//! D4 h A4
//! ```
//! > Bar 2, beat 3: B flat is not on your list; you may use D, E, F sharp, G or A.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::{Note, notes};
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::Melody;

pub(super) const KIND: RuleKind = RuleKind {
    word: "notes",
    about: "the notes of the list",
    typed: "[[notes]]  string = \"D\"  notes = [\"D\", \"F#\"]  (or degrees = [1, 3], or fingers)",
    read: |_, _| Some(Box::new(OnlyTheList)),
};

#[derive(Debug)]
struct OnlyTheList;

impl Rule for OnlyTheList {
    fn sentence(&self, sheet: &InstrumentSheet) -> Option<String> {
        (!sheet.choices.is_empty()).then(|| format!("Choose from {}.", sheet.choices_in_words()))
    }

    fn shown_on_the_sheet(&self) -> bool {
        true
    }

    fn breaches(&self, melody: &Melody, sheet: &InstrumentSheet) -> Vec<Breach> {
        if sheet.choices.is_empty() {
            return Vec::new();
        }
        notes(melody).filter_map(|note| breach(&note, sheet)).collect()
    }
}

fn breach(note: &Note, sheet: &InstrumentSheet) -> Option<Breach> {
    let name = words::note(note.written);
    if let Some(same) = sheet.choices.iter().find(|choice| choice.sounding == note.sounding) {
        if same.written.letter == note.written.letter {
            return None;
        }
        let listed = words::note(same.written);
        let what = format!("{name} sounds like {listed}, which is on your list");
        return Some(Breach::at(note.event, what, format!("write it as {listed}")));
    }
    let may = format!("you may use {}", sheet.choices_in_words());
    let class = note.sounding.rem_euclid(12);
    let what = match sheet.choices.iter().find(|choice| choice.sounding.rem_euclid(12) == class) {
        Some(choice) if choice.sounding < note.sounding => {
            format!("this {name} is higher than the {} on your list", words::note(choice.written))
        }
        Some(choice) => format!("this {name} is lower than the {} on your list", words::note(choice.written)),
        None => format!("{name} is not on your list"),
    };
    Some(Breach::at(note.event, what, may))
}

#[cfg(test)]
mod tests {
    use crate::rules::examples::said;

    const RULES: &str = "key = 'D'\nnotes = [{ string = 'D', notes = ['D', 'E', 'F#'] }]";

    #[test]
    fn another_octave_and_another_spelling_are_told_apart_from_another_note() {
        assert_eq!(said(RULES, "D4 q E4 F#4 D4"), [""; 0]);
        assert_eq!(
            said(RULES, "D5 q Gb4 G4 D4"),
            [
                "Bar 1, beat 1: this D is higher than the D on your list; you may use D, E or F sharp.",
                "Bar 1, beat 2: G flat sounds like F sharp, which is on your list; write it as F sharp.",
                "Bar 1, beat 3: G is not on your list; you may use D, E or F sharp.",
            ]
        );
    }

    #[test]
    fn two_strings_are_named_in_the_list() {
        let rules = "notes = [{ string = 'D', degrees = [2, 3] }, { string = 'A', fingers = ['0', 1] }]";
        let found = said(&format!("key = 'D'\n{rules}"), "E4 q F#4 A4 C#5");
        assert_eq!(
            found,
            [
                "Bar 1, beat 4: C sharp is not on your list; you may use on the D string E or F sharp; on the A string A or B."
            ]
        );
    }
}
