//! The largest leap.
//!
//! What: two notes next to each other are at most so far apart, counted in steps of the staff as
//! musicians name them (second, third … octave). A rest between two notes gives the hand time, so they
//! are not next to each other.
//! Why: small steps can be sung, and the hand finds them.
//! Example: from D up to B where a fifth is the most.
//! ```toml
//! largest_leap = "fifth"
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! D4 q B4 A4 G4
//! D4 h A4
//! ```
//! > Bar 2, beat 2: from D up to B is a sixth; the sheet allows up to a fifth, so choose a note nearer to D.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::melody_parts::note;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::Melody;

pub(super) const KIND: RuleKind = RuleKind {
    word: "largest_leap",
    about: "the largest leap",
    typed: "largest_leap = \"fifth\"",
    read: |setting, reader| {
        let text = reader.text("largest_leap", setting)?;
        let steps = words::INTERVALS.iter().position(|name| *name == text).filter(|steps| *steps > 0);
        if steps.is_none() {
            let help = "Write second, third, fourth, fifth, sixth, seventh or octave.";
            reader.complain(&setting.span, format!("“{text}” is not an interval"), help);
        }
        Some(Box::new(LargestLeap(steps? as u32)))
    },
};

#[derive(Debug)]
struct LargestLeap(u32);

impl Rule for LargestLeap {
    fn sentence(&self, _: &InstrumentSheet) -> Option<String> {
        Some(format!("Go no further than {} from one note to the next.", words::interval(self.0)))
    }

    fn breaches(&self, melody: &Melody, _: &InstrumentSheet) -> Vec<Breach> {
        let pairs = melody.events.windows(2).filter_map(|pair| Some((note(&pair[0])?, note(&pair[1])?)));
        pairs
            .filter_map(|(from, to)| {
                let steps = to.written.staff_step() - from.written.staff_step();
                let way = if steps > 0 { "up" } else { "down" };
                let (first, second) = (words::note(from.written), words::note(to.written));
                let leap = words::interval(steps.unsigned_abs());
                let what = format!("from {first} {way} to {second} is {leap}");
                let most = words::interval(self.0);
                let to_do = format!("the sheet allows up to {most}, so choose a note nearer to {first}");
                (steps.unsigned_abs() > self.0).then(|| Breach::at(to.event, what, to_do))
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use crate::rules::examples::said;

    #[test]
    fn a_rest_gives_the_hand_time_and_a_leap_down_counts_like_one_up() {
        let rules = "largest_leap = 'third'";
        assert_eq!(said(rules, "D4 q F#4 rest D5"), [""; 0]);
        let down = said(rules, "D5 q D4 E4 F#4");
        assert_eq!(
            down,
            [
                "Bar 1, beat 2: from D down to D is an octave; the sheet allows up to a third, so choose a note nearer to D."
            ]
        );
    }
}
