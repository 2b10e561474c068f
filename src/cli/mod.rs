//! The command line: one file per command here, what several of them use in `shared`, whatever plays or
//! listens while it runs in `live`. Argument types stay in this room; the library never sees them.

mod arguments;
pub mod check;
pub mod class;
pub mod contour;
pub mod convert;
pub mod demo;
#[cfg(feature = "microphone")]
pub mod inputs;
pub mod jot;
#[cfg(feature = "microphone")]
mod live;
pub mod move_to;
pub mod play;
pub mod proofread;
#[cfg(feature = "microphone")]
pub mod record;
mod shared;
pub mod sheet;
pub mod songbook;
pub mod string;
pub mod takes;

pub use arguments::{Arguments, Command};
pub use shared::exit_codes;
