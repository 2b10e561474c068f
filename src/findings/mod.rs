//! Findings: what the report says, as data, from one reading of the take, and what a finger can do
//! about it. Verdicts rest on what was measured (pitch, onsets), never on what the decoder called a note.

mod drowned;
mod extras;
mod finger_shift;
mod judge;
mod note_times;
mod note_verdict;
mod one_stroke;
mod played;
mod report;
mod rests;
mod shifted;
mod string_off;
mod strings;
mod strings_tried;
mod this_melody;
mod timing;
mod two_in_one;
mod vain_returns;

pub use finger_shift::{finger_place, finger_shift};
pub use judge::{Heard, Judgement, findings_from_reading};
pub use note_times::TimedBy;
pub use played::{PlayedNote, SteadyPitch, played_notes};
pub use report::*;
pub use strings::surely_open;
pub use timing::{Beat, OwnBeat};
