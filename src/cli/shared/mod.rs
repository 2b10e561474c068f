//! What several commands use: choices that are typed, files, errors, what is printed, and a take that is judged.

pub mod book_place;
pub mod choices;
pub mod exit_codes;
pub mod failure;
pub mod judge;
pub mod kept_take;
pub mod melody_file;
pub mod player_options;
pub mod print;
pub mod progress;
pub mod ranges;
pub mod read_file;
pub mod report_page;
pub mod rule_sheet;
pub mod same_place;
pub mod settle_instrument;
pub mod sheet_files;
pub mod sheet_options;
pub mod shown;
pub mod worksheet;
pub mod write_file;
