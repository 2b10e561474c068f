//! What the tests of the rules share: a rule file and a few bars for the violin become sentences.

use super::{InstrumentSheet, RuleSheet, proofread};
use crate::formats::{read_melody_bytes, read_rule_bytes};
use crate::notation::{Instrument, Melody};

/// A melody for the violin in D, in 4/4 unless a bar says otherwise.
pub(super) fn melody(bars: &str) -> Melody {
    let text = format!("instrument = 'violin'\nkey = 'D'\nbars = \"\"\"\n{bars}\n\"\"\"\n");
    read_melody_bytes("m.toml", text.as_bytes()).unwrap_or_else(|error| panic!("{error}\n{text}")).melody
}

/// The sheet of a rule file for the violin; nothing may be wrong with it.
pub(super) fn sheet(rules: &str) -> (RuleSheet, InstrumentSheet) {
    let file = read_rule_bytes("r.toml", rules.as_bytes()).unwrap_or_else(|error| panic!("{error}\n{rules}"));
    let (rules, complaints) = RuleSheet::from_file(&file, None);
    assert_eq!(complaints, []);
    let (sheet, complaints) = rules.for_instrument(Instrument::Violin);
    assert_eq!(complaints, []);
    (rules, sheet)
}

/// What a child reads.
pub(super) fn said(rules: &str, bars: &str) -> Vec<String> {
    said_of(rules, &melody(bars))
}

/// What a child reads of a tune in ABC, in 4/4 and D, where a letter is a quarter note; ABC has endings.
pub(super) fn said_of_abc(rules: &str, tune: &str) -> Vec<String> {
    let text = format!("X:1\nT:t\nM:4/4\nL:1/4\nK:D\n{tune}\n");
    let read = read_melody_bytes("m.abc", text.as_bytes()).unwrap_or_else(|error| panic!("{error}\n{text}"));
    said_of(rules, &read.melody)
}

fn said_of(rules: &str, melody: &Melody) -> Vec<String> {
    let (rules, sheet) = sheet(rules);
    let found = proofread(melody, &rules, &sheet);
    found.breaches.iter().map(super::Breach::sentence).collect()
}
