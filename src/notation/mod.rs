//! Written music: pitch spelling, exact lengths, metre, the four instruments, the melody.

mod instrument;
mod length;
mod melody;
mod metre;
mod spelling;

pub use instrument::Instrument;
pub use length::Length;
pub use melody::{Event, EventKind, Melody};
pub use metre::Metre;
pub use spelling::{Letter, Spelling};
