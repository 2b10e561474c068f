//! What was heard against what was written: one consistent reading of the whole take, with skipped,
//! substituted and extra notes, merged bows, hesitations and restarts.

mod content;
mod costs;
mod decode;
mod lattice;
mod reading;
mod tempo;
mod timing_table;
mod written;

pub use costs::Costs;
pub use decode::{decode, decode_with_support};
pub use reading::{Reading, Step, StepKind, Support};
pub use tempo::{LocalTempo, weighted_median};
pub use written::{WrittenNote, written_notes};
