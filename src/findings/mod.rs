//! Findings: what the report says, as data, from one reading of the take. Verdicts rest on what was
//! measured (pitch, onsets), never on what the decoder called a note.

mod judge;
mod played;
mod report;
mod rests;
mod strings;
mod timing;

pub use judge::{Heard, findings_from_reading};
pub use played::{PlayedNote, SteadyPitch, played_notes};
pub use report::*;
