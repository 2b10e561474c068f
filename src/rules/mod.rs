//! What a teacher asks of a melody: a rule file becomes a rule sheet, the sheet becomes what one
//! instrument gets to read, and a melody becomes the list of places where it does something else than
//! the sheet asks. A melody's own choices are never called wrong. One rule is one file; the list below
//! is the one other line that it needs. Nothing here can fail: what a file says and nobody understands
//! comes back as a [`Complaint`] with its place, which [`RuleFile::complaint`](crate::formats::RuleFile)
//! turns into an error.

mod breach;
mod breaches_from_melody;
#[cfg(test)]
mod examples;
mod given_notes;
mod melody_parts;
mod notes_by_string;
mod reader;
#[macro_use]
mod rule;
#[cfg(test)]
mod rule_headers;
mod sheet_for_instrument;
mod sheet_from_file;
mod target;
mod words;

pub use breach::Breach;
pub use breaches_from_melody::{Proofreading, proofread};
pub use given_notes::{GivenNote, GivenPitch};
pub use notes_by_string::Choice;
pub use reader::{Complaint, Reader};
pub use rule::{Rule, RuleKind};
pub use sheet_for_instrument::InstrumentSheet;
pub use sheet_from_file::{RuleSheet, choose_tier};

rules! {
    rule_metre
    rule_bars
    rule_fill_every_bar
    rule_key
    rule_given
    rule_notes
    rule_note_values
    rule_rest_values
    rule_must_use_values
    rule_use_every_note
    rule_fewest_different_notes
    rule_fewest_rests
    rule_most_rests
    rule_first_note
    rule_last_note
    rule_last_note_at_least
    rule_largest_leap
    rule_most_repeats
}
