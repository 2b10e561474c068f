//! Every bar full.
//!
//! What: the notes and rests of each bar last as long as its metre says; a pickup may share a bar with
//! the last one.
//! Why: a bar that is too short trips everybody who plays along.
//! Example: a beat is missing in the second bar.
//! ```toml
//! fill_every_bar = true
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! short: A4 q G4 F#4
//! D4 h A4
//! ```
//! > Bar 2: this bar has 3 beats; a bar of 4/4 has 4 beats, so add 1 beat (a rest counts too).
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::{pickup_and_bars, printed_bars};
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::{Length, Melody};

pub(super) const KIND: RuleKind = RuleKind {
    word: "fill_every_bar",
    about: "full bars",
    typed: "fill_every_bar = true",
    read: |setting, reader| {
        let yes = reader.yes("fill_every_bar", setting)?;
        yes.then(|| Box::new(FullBars) as Box<dyn Rule>)
    },
};

#[derive(Debug)]
struct FullBars;

impl Rule for FullBars {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        Some("Fill every bar with notes and rests.".to_owned())
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let printed = printed_bars(melody);
        let (pickup, bars) = pickup_and_bars(&printed);
        let last = bars.last().map(|bar| bar.number);
        let mut breaches = Vec::new();
        for bar in bars {
            let (full, filled) = (bar.metre.bar(), bar.to - bar.from);
            let shares = pickup.is_some_and(|pickup| pickup.from == filled) && Some(bar.number) == last;
            if filled == full || shares {
                continue;
            }
            let said = |length: Length| words::beats(length / bar.metre.beat());
            let to_do = match filled < full {
                true => format!("add {} (a rest counts too)", said(full - filled)),
                false => format!("take {} out", said(filled - full)),
            };
            let what = format!("this bar has {}", said(filled));
            let asked = format!("a bar of {} has {}, so {to_do}", bar.metre, said(full));
            breaches.push(Breach::in_bar(bar.number, None, what, asked));
        }
        breaches
    }
}

#[cfg(test)]
mod tests {
    use crate::rules::examples::said;

    #[test]
    fn a_pickup_shares_a_bar_with_the_last_one() {
        let rules = "fill_every_bar = true";
        assert_eq!(said(rules, "short from 4 bar 0: A4 q\nD4 w\nshort: D4 h."), [""; 0]);
        let too_short = said(rules, "short from 4 bar 0: A4 q\nD4 w\nshort: D4 h");
        assert_eq!(too_short.len(), 1, "{too_short:?}");
        assert!(too_short[0].starts_with("Bar 2: this bar has 2 beats"), "{too_short:?}");
    }

    #[test]
    fn a_pickup_that_is_numbered_1_is_one() {
        let tune = "from 4: A4 q\nD4 w\nshort from 1: D4 h.";
        assert_eq!(said("fill_every_bar = true\nbars = 2", tune), [""; 0]);
        let fewer = said("bars = 3", tune);
        assert_eq!(fewer, ["Your melody has 2 bars; the sheet asks for 3, so write 1 more."]);
    }
}
