//! The most rests.
//!
//! What: the melody has at most as many rests as the sheet says; their length does not matter.
//! Why: a short melody that is mostly silence gives the bow little to do.
//! Example: three rests where two are allowed.
//! ```toml
//! most_rests = 2
//! ```
//! ```text
//! D4 q rest F#4 rest
//! A4 q G4 rest E4
//! D4 h A4
//! ```
//! > Bar 2, beat 3: this is the 3rd rest; the sheet allows 2, so put a note here or somewhere before.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::rests;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::Melody;

pub(super) const KIND: RuleKind = RuleKind {
    word: "most_rests",
    about: "not too many rests",
    typed: "most_rests = 4",
    read: |setting, reader| Some(Box::new(MostRests(reader.whole("most_rests", setting, 0..=200)?))),
};

#[derive(Debug)]
struct MostRests(u32);

impl Rule for MostRests {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        Some(match self.0 {
            0 => "Use no rests.".to_owned(),
            most => format!("Use at most {}.", words::count(most as usize, "rest")),
        })
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let most = self.0 as usize;
        let allowed = if most == 0 { "none".to_owned() } else { most.to_string() };
        let over = rests(melody).enumerate().skip(most);
        over.map(|(at, rest)| {
            let what = format!("this is the {} rest", words::nth(at + 1));
            Breach::at(
                rest,
                what,
                format!("the sheet allows {allowed}, so put a note here or somewhere before"),
            )
        })
        .collect()
    }
}

#[cfg(test)]
mod tests {
    use crate::rules::examples::{said, said_of_abc};

    #[test]
    fn a_rest_in_a_repeat_is_one() {
        assert_eq!(said("most_rests = 1", "|: D4 q rest D4 h :|"), [""; 0]);
        assert_eq!(said("most_rests = 1", "|: D4 q rest D4 rest :|").len(), 1);
        // Each ending has its own.
        assert_eq!(said_of_abc("most_rests = 2", "|: D E z D |1 D2 z2 :|2 D2 z2 |]").len(), 1);
    }

    #[test]
    fn none_at_all_can_be_asked_for() {
        let found = said("most_rests = 0", "D4 q rest D4 h");
        assert_eq!(
            found,
            [
                "Bar 1, beat 2: this is the 1st rest; the sheet allows none, so put a note here or somewhere before."
            ]
        );
    }
}
