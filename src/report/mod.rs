//! What people and programs read: the report as words for a child, as a table for a teacher and as
//! JSON; the contour as CSV; open strings; a melody beside its rule sheet. Everything here becomes text; nothing here judges.

#[cfg(test)]
mod any_report;
mod changes;
#[cfg(test)]
mod child_wording;
mod contour_csv;
pub(crate) mod fingers;
pub(crate) mod intonation;
mod json;
mod progress;
mod proofreading;
mod recorded_part;
mod refused;
#[cfg(test)]
pub(crate) mod sample_report;
mod settings;
mod string_json;
mod string_line;
mod string_text;
mod string_words;
mod text_for_child;
mod text_for_teacher;
mod things_to_fix;
pub(crate) mod tuning;
pub mod words;

pub(crate) use changes::counts_by_bar;
pub use changes::{same_melody, what_changed};
pub use contour_csv::contour_csv;
pub use intonation::{Intonation, of as intonation_of};
pub use json::json;
pub use progress::{progress, right_notes};
pub use proofreading::{ProofreadingReport, proofreading_json, proofreading_text};
pub use recorded_part::{recorded_part, rest_before_recording};
pub use refused::why_and_what_to_do;
pub use settings::TextSettings;
pub use string_json::string_json;
pub use string_line::{said_aloud, string_line};
pub use string_text::{all_strings_text, one_string_text};
pub use text_for_child::{
    AND_NOW, About, ChildSection, NOTHING_TO_FIX, child_sections, for_child, nothing_to_fix,
};
pub use text_for_teacher::{TeacherTable, for_teacher, how_to_read, teacher_summary, teacher_tables};
pub use things_to_fix::{PitchOff, end_of_playing, no_new_bow, pitch_off};
