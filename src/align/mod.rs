//! What was heard against what was written: one consistent reading of the whole take, with skipped,
//! substituted and extra notes, merged bows, hesitations and restarts.

mod decode;
mod reading;
mod tempo;
mod written;

pub use decode::{Costs, decode};
pub use reading::{Reading, Step, StepKind};
pub use tempo::{LocalTempo, weighted_median};
pub use written::{WrittenNote, written_notes};
