//! Which notes get an accidental: the bar rule, with what a beginner would otherwise trip over.
//!
//! An accidental holds to the end of its bar, for its own line or space only; a tie carries it over a bar line, and a
//! further note of that pitch in the new bar gets its own (Gould, *Behind Bars*, 2011, chapter “Accidentals”). A
//! reminder stands, as that chapter recommends, where the same letter was altered just before: in the same bar in
//! another octave, or in the bar before on the same line or space.

use crate::notation::{Key, Spelling};
use std::collections::BTreeMap;

/// What holds while the bars are read from left to right.
#[derive(Debug, Default)]
pub(super) struct Accidentals {
    key: Key,
    /// By staff step: what was sounded on it last in this bar.
    bar: BTreeMap<i32, i8>,
    /// By staff step: what was sounded on it last in the bar before, where that was not the key's.
    before: BTreeMap<i32, i8>,
    /// By staff step: altered by a tie from the bar before, so that it does not hold in this bar.
    by_tie: BTreeMap<i32, i8>,
}

impl Accidentals {
    /// A new bar begins.
    pub fn bar_line(&mut self, key: Key) {
        let last = std::mem::take(&mut self.bar);
        self.before = if key.fifths == self.key.fifths { last } else { BTreeMap::new() };
        self.before.extend(std::mem::take(&mut self.by_tie));
        self.key = key;
    }

    /// A note is read: whether it needs an accidental. `tied` says that a tie leads to it.
    pub fn needed(&mut self, pitch: Spelling, tied: bool) -> bool {
        let step = pitch.staff_step();
        let of_key = self.key.alter(pitch.letter);
        let holds = self.bar.get(&step).copied().unwrap_or(of_key);
        if tied {
            if pitch.alter != holds {
                self.by_tie.insert(step, pitch.alter);
            }
            return false;
        }
        let first_here = !self.bar.contains_key(&step);
        let tied_otherwise = self.by_tie.remove(&step).is_some_and(|alter| alter != pitch.alter);
        let other_octave =
            self.bar.iter().any(|(&at, &alter)| (at - step) % 7 == 0 && at != step && alter != pitch.alter);
        let bar_before = self.before.get(&step).is_some_and(|&alter| alter != pitch.alter);
        self.bar.insert(step, pitch.alter);
        pitch.alter != holds || first_here && (tied_otherwise || other_octave || bar_before)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// For each note of each bar whether it has an accidental; `~` before a note: a tie leads to it.
    fn shown(fifths: i32, bars: &[&str]) -> Vec<String> {
        let mut accidentals = Accidentals::default();
        let key = Key::new(fifths).unwrap();
        let mut out = Vec::new();
        for bar in bars {
            accidentals.bar_line(key);
            for note in bar.split(' ') {
                let pitch: Spelling = note.trim_start_matches('~').parse().unwrap();
                if accidentals.needed(pitch, note.starts_with('~')) {
                    out.push(note.to_owned());
                }
            }
        }
        out
    }

    #[test]
    fn an_accidental_holds_to_the_end_of_its_bar_and_no_further() {
        assert_eq!(shown(0, &["F#4 F#4 G4", "A4", "F#4"]), ["F#4", "F#4"]);
        assert_eq!(shown(0, &["F#4 F4 F#4"]), ["F#4", "F4", "F#4"]);
        assert_eq!(shown(1, &["F#4 F4", "G4", "F#4"]), ["F4"]);
    }

    #[test]
    fn an_accidental_holds_in_its_own_octave_only() {
        assert_eq!(shown(0, &["F#4 F#5"]), ["F#4", "F#5"]);
    }

    #[test]
    fn a_tie_carries_an_accidental_over_the_bar_line_and_the_next_note_needs_its_own() {
        assert_eq!(shown(0, &["F#4", "~F#4 F#4"]), ["F#4", "F#4"]);
        assert_eq!(shown(0, &["F#4", "~F#4 F4"]), ["F#4", "F4"]);
        assert_eq!(shown(0, &["F#4", "~F#4", "F4"]), ["F#4", "F4"]);
    }

    #[test]
    fn a_reminder_stands_after_an_alteration_in_the_bar_before_or_in_another_octave() {
        assert_eq!(shown(0, &["F#4", "F4 F4"]), ["F#4", "F4"]);
        assert_eq!(shown(0, &["F#4 F5"]), ["F#4", "F5"]);
        assert_eq!(shown(2, &["C4", "C#4"]), ["C4", "C#4"]);
        assert_eq!(shown(0, &["F#4", "G4", "F4"]), ["F#4"]);
    }
}
