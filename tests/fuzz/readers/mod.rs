//! What must hold of every reader, whatever bytes it is given: an answer, never a panic; an error that
//! says what is wrong and what to do; and what is read is kept when it is written and read again.
//!
//! The fuzz targets and `tests/mutated_files.rs` call the same functions, one for each reader.

mod archive;
mod class_files;
mod kept;
mod melodies;
mod sound;
mod teacher_files;

pub use class_files::class_tables;
pub use kept::kept_files;
pub use melodies::{abc, melody_toml, musicxml};
pub use sound::{audio, judged_samples};
pub use teacher_files::rules_and_rubric;
