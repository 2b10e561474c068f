//! What one instrument gets to read of a rule sheet: all that a blank worksheet needs.

use super::given_notes::{GivenNote, given_notes};
use super::notes_by_string::{Choice, choices};
use super::reader::{Complaint, Reader};
use super::sheet_from_file::RuleSheet;
use super::words;
use crate::notation::{Clef, Instrument, Key, Metre};
use crate::remark::Remark;

/// A rule sheet as one instrument reads it.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentSheet {
    /// The title, if the file has one.
    pub title: Option<String>,
    /// The tier, if the file has tiers.
    pub tier: Option<String>,
    /// Who plays.
    pub instrument: Instrument,
    /// The clef that they read.
    pub clef: Clef,
    /// The metre.
    pub metre: Metre,
    /// How many bars.
    pub bars: Option<u32>,
    /// The key signature.
    pub key: Key,
    /// Beats a minute.
    pub bpm: Option<f64>,
    /// The notes to choose from, low to high, with string and finger; empty if all are free.
    pub choices: Vec<Choice>,
    /// The notes that stand there already, in order.
    pub given: Vec<GivenNote>,
    /// What the sheet asks for, one whole sentence each, in the order of the rules.
    pub sentences: Vec<String>,
    /// Those sentences of them that a blank sheet has to print, because nothing else on it says so.
    pub to_print: Vec<String>,
    /// What is different on this instrument.
    pub remarks: Vec<Remark>,
}

impl RuleSheet {
    /// The sheet for one instrument, and what the file would have to say for it: a string that the
    /// instrument lacks, a note that its first position does not reach.
    pub fn for_instrument(&self, instrument: Instrument) -> (InstrumentSheet, Vec<Complaint>) {
        let mut reader = Reader::default();
        let mut remarks = Vec::new();
        let choices = choices(&self.notes, instrument, self.key, &mut reader, &mut remarks);
        let given = given_notes(&self.given, instrument, self.key, &choices, &mut reader);
        let mut sheet = InstrumentSheet {
            title: self.title.clone(),
            tier: self.tier.clone(),
            instrument,
            clef: instrument.clef(),
            metre: self.metre,
            bars: self.bars,
            key: self.key,
            bpm: self.bpm,
            choices,
            given,
            sentences: Vec::new(),
            to_print: Vec::new(),
            remarks,
        };
        for (_, _, rule) in &self.rules {
            let Some(sentence) = rule.sentence(&sheet) else { continue };
            if !rule.shown_on_the_sheet() {
                sheet.to_print.push(sentence.clone());
            }
            sheet.sentences.push(sentence);
        }
        (sheet, reader.complaints)
    }
}

/// `D`, `D or E`, `D, E or G`.
fn one_of(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        [others @ .., last] => format!("{} or {last}", others.join(", ")),
    }
}

impl InstrumentSheet {
    /// The choices in words: `D, E, F sharp or G`, or string by string where there are several.
    pub fn choices_in_words(&self) -> String {
        let mut strings: Vec<usize> = self.choices.iter().map(|choice| choice.fingering.string).collect();
        strings.sort_unstable();
        strings.dedup();
        let on = |string: usize| {
            let names = self.choices.iter().filter(|choice| choice.fingering.string == string);
            one_of(&names.map(|choice| words::note(choice.written)).collect::<Vec<_>>())
        };
        match strings[..] {
            [only] => on(only),
            _ => {
                let each = |string: &usize| {
                    format!("on the {} {}", words::string(self.instrument, *string), on(*string))
                };
                strings.iter().map(each).collect::<Vec<_>>().join("; ")
            }
        }
    }
}
