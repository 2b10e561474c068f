//! What every rule file gives: the word that switches it on, how its setting is read, and how a melody
//! is held against it.

use super::breach::Breach;
use super::reader::Reader;
use super::sheet_for_instrument::InstrumentSheet;
use crate::formats::Setting;
use crate::notation::Melody;
use std::fmt::Debug;

/// A rule with its setting.
pub trait Rule: Debug {
    /// What the worksheet says about it, as a whole sentence; `None` if the sheet shows it otherwise.
    fn sentence(&self, sheet: &InstrumentSheet) -> Option<String>;

    /// Whether a blank sheet shows it anyway, by its bar lines, its signatures or its list of notes, so that
    /// the sentence need not be printed there.
    fn shown_on_the_sheet(&self) -> bool {
        false
    }

    /// Where the melody does something else. The word of the rule is filled in by the caller.
    fn breaches(&self, melody: &Melody, sheet: &InstrumentSheet) -> Vec<Breach>;
}

/// A kind of rule, before its setting is known.
#[derive(Debug, Clone, Copy)]
pub struct RuleKind {
    /// The word in the rule file, such as `largest_leap`.
    pub word: &'static str,
    /// The same as people say it, for what is kept: `the largest leap`.
    pub about: &'static str,
    /// What may stand after the word, as it is typed: `largest_leap = "fifth"`.
    pub typed: &'static str,
    /// Reads the setting; `None` where nothing is asked for, or after a complaint to the reader.
    pub read: fn(&Setting, &mut Reader) -> Option<Box<dyn Rule>>,
}

/// The list of rules: each name is a file of this room that has a `KIND`. Naming it here declares it and
/// switches it on.
macro_rules! rules {
    ($($name:ident)*) => {
        $(mod $name;)*

        /// Every rule that there is, in the order in which breaches of one place are told.
        pub const RULES: &[RuleKind] = &[$($name::KIND),*];

        /// The text of every rule's file, for the tests that read their headers.
        #[cfg(test)]
        const RULE_FILES: &[(&str, &str)] =
            &[$((stringify!($name), include_str!(concat!(stringify!($name), ".rs")))),*];
    };
}
