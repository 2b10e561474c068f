//! The fewest rests.
//!
//! What: the melody has at least as many rests as the sheet says; their length does not matter.
//! Why: music needs places to breathe and to lift the bow.
//! Example: one rest where two are asked for.
//! ```toml
//! fewest_rests = 2
//! ```
//! ```text
//! D4 q E4 F#4 rest
//! A4 q G4 F#4 E4
//! D4 h A4
//! ```
//! > Your melody has 1 rest; the sheet asks for at least 2, so choose where the music breathes.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::rests;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::Melody;

pub(super) const KIND: RuleKind = RuleKind {
    word: "fewest_rests",
    about: "enough rests",
    typed: "fewest_rests = 1",
    read: |setting, reader| Some(Box::new(FewestRests(reader.whole("fewest_rests", setting, 1..=200)?))),
};

#[derive(Debug)]
struct FewestRests(u32);

impl Rule for FewestRests {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        Some(format!("Use at least {}.", words::count(self.0 as usize, "rest")))
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let count = rests(melody).count();
        if count >= self.0 as usize {
            return Vec::new();
        }
        let what = match count {
            0 => "your melody has no rest".to_owned(),
            count => format!("your melody has {}", words::count(count, "rest")),
        };
        let to_do = format!("the sheet asks for at least {}, so choose where the music breathes", self.0);
        vec![Breach::of_all(what, to_do)]
    }
}

#[cfg(test)]
mod tests {
    use crate::rules::examples::said;

    #[test]
    fn a_rest_in_a_repeat_is_one() {
        assert_eq!(said("fewest_rests = 2", "|: D4 q rest D4 h :|").len(), 1);
        assert_eq!(said("fewest_rests = 2", "|: D4 q rest D4 rest :|"), [""; 0]);
    }
}
