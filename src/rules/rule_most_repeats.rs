//! The same note in a row.
//!
//! What: one pitch is written at most so many times in a row; a rest begins a new row, and going back to a repeat sign
//! makes none longer.
//! Why: a melody that stays where it is has nowhere to go.
//! Example: three times D where two are allowed.
//! ```toml
//! most_repeats = 2
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! A4 q D4 D4 D4
//! D4 h A4
//! ```
//! > Bar 2, beat 4: this is the 3rd D in a row; the sheet allows 2, so choose another note here.
//! > Bar 3, beat 1: this is the 4th D in a row; the sheet allows 2, so choose another note here.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::{note, place};
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::Melody;
use std::collections::BTreeMap;

pub(super) const KIND: RuleKind = RuleKind {
    word: "most_repeats",
    about: "the same note in a row",
    typed: "most_repeats = 2",
    read: |setting, reader| Some(Box::new(MostRepeats(reader.whole("most_repeats", setting, 1..=100)?))),
};

#[derive(Debug)]
struct MostRepeats(u32);

impl Rule for MostRepeats {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        Some(match self.0 {
            1 => "Do not write the same note twice in a row.".to_owned(),
            most => format!("Write the same note no more than {most} times in a row."),
        })
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let most = self.0 as usize;
        let mut row: Option<(i32, usize)> = None;
        let mut counted = BTreeMap::new();
        let mut breaches = Vec::new();
        for event in &melody.events {
            let Some(note) = note(event) else {
                row = None;
                continue;
            };
            let in_a_row = match row {
                Some((pitch, count)) if pitch == note.sounding => count + 1,
                _ => 1,
            };
            // Played again, it is where it was; what follows goes on from there.
            let again = counted.get(&place(event)).copied();
            let count = again.unwrap_or(in_a_row);
            counted.insert(place(event), count);
            row = Some((note.sounding, count));
            if count > most && again.is_none() {
                let name = words::note(note.written);
                let what = format!("this is the {} {name} in a row", words::nth(count));
                let allowed = format!("the sheet allows {most}, so choose another note here");
                breaches.push(Breach::at(event, what, allowed));
            }
        }
        breaches
    }
}

#[cfg(test)]
mod tests {
    use crate::rules::examples::{said, said_of_abc};

    #[test]
    fn what_is_played_again_is_no_longer_row() {
        assert_eq!(said("most_repeats = 1", "|: D4 q E4 F4 D4 :|"), [""; 0]);
        assert_eq!(said("most_repeats = 1", "|: D4 q D4 F4 G4 :|").len(), 1);
        // After the repeat the sheet goes on with the note that stands before it.
        assert_eq!(said("most_repeats = 1", "|: D4 q E4 F4 G4 :|\nG4 w").len(), 1);
        // The second ending follows what stands before the first, and not the first.
        assert_eq!(said_of_abc("most_repeats = 1", "|: D E F G |1 A4 :|2 A4 |]"), [""; 0]);
        assert_eq!(said_of_abc("most_repeats = 1", "|: D E F G |1 A4 :|2 G4 |]").len(), 1);
    }

    #[test]
    fn a_rest_begins_a_new_row() {
        assert_eq!(said("most_repeats = 1", "D4 q rest D4 E4"), [""; 0]);
        assert_eq!(said("most_repeats = 1", "D4 q D4 D5 E4").len(), 1);
    }
}
