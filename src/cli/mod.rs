//! The command line: one file per command, the settings they share, exit codes, and the places where
//! the program touches files and the terminal. Argument types stay in here; the library never sees them.

mod arguments;
pub mod check;
pub mod contour;
pub mod demo;
pub mod exit_codes;
mod failure;
pub mod jot;
#[cfg(feature = "microphone")]
mod jot_live;
#[cfg(feature = "microphone")]
mod live_line;
#[cfg(feature = "microphone")]
mod live_samples;
mod print;
mod ranges;
mod settle_instrument;
pub mod string;
#[cfg(feature = "microphone")]
mod string_live;
mod write_file;

pub use arguments::{Arguments, Command};
