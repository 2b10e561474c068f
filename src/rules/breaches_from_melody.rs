//! A melody and a sheet become the places where the melody does something else.

use super::breach::Breach;
use super::sheet_for_instrument::InstrumentSheet;
use super::sheet_from_file::RuleSheet;
use crate::notation::Melody;

/// A melody held against a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proofreading {
    /// What to change: about the whole melody first, then in the order of the sheet.
    pub breaches: Vec<Breach>,
    /// The rules that are kept, as word and as people say it, in the order of the rules.
    pub kept: Vec<(&'static str, &'static str)>,
}

/// Holds a melody, as its instrument plays it, against the sheet of that instrument. A bar that a repeat
/// plays twice is spoken of once.
pub fn proofread(melody: &Melody, rules: &RuleSheet, sheet: &InstrumentSheet) -> Proofreading {
    let mut breaches: Vec<Breach> = Vec::new();
    let mut kept = Vec::new();
    for (word, about, rule) in &rules.rules {
        let found = rule.breaches(melody, sheet);
        if found.is_empty() {
            kept.push((*word, *about));
        }
        for breach in found {
            let breach = Breach { rule: word, ..breach };
            if !breaches.contains(&breach) {
                breaches.push(breach);
            }
        }
    }
    let replaced: Vec<_> =
        breaches.iter().filter(|one| one.replaces).map(|one| (one.bar, one.beat)).collect();
    breaches.retain(|one| one.replaces || !replaced.contains(&(one.bar, one.beat)));
    // Stable: what the rules say about one place stays in their order.
    breaches.sort_by_key(|breach| (breach.bar, breach.beat));
    Proofreading { breaches, kept }
}
