//! `fingertape class`: a class list, melodies and a folder of takes become marks, lists and one overview.

mod arguments;
mod command;
mod folder;
mod hear_takes;
mod kept_result;
mod marks_folder;
mod matching;
mod melodies;
mod memory;
mod results;
mod student_files;
mod summary;
mod write_marks;

pub use arguments::ClassArguments;
pub use command::run;
