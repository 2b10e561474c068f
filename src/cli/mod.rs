//! The command line: one file per command, the settings they share, exit codes, and the places where
//! the program touches files and the terminal. Argument types stay in here; the library never sees them.

mod arguments;
mod book_place;
pub mod check;
pub mod class;
pub mod contour;
pub mod convert;
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
#[cfg(feature = "microphone")]
pub mod inputs;
mod judge_take;
#[cfg(feature = "microphone")]
mod live_view;
mod melody_file;
pub mod move_to;
pub mod play;
#[cfg(feature = "microphone")]
mod play_aloud;
mod player_options;
mod print;
mod progress;
pub mod proofread;
mod ranges;
#[cfg(feature = "microphone")]
pub mod record;
#[cfg(feature = "microphone")]
mod recording;
mod report_page;
mod rule_sheet;
mod settle_instrument;
pub mod sheet;
mod sheet_files;
pub mod songbook;
pub mod string;
#[cfg(feature = "microphone")]
mod string_live;
pub mod takes;
mod worksheet;
mod write_file;

pub use arguments::{Arguments, Command};
