//! The take book: every take of every melody as plain files, one folder a melody.
//!
//! A take's files become one with [`Book::begin`] and stay until somebody deletes them. Nothing is
//! written over, a number is given once, and nothing outside the book is ever read into it or deleted.

mod about;
mod book;
mod delete;
mod error;
mod export;
mod hold;
mod repair;
mod safe_name;
mod take;
mod whole_file;

pub use about::About;
pub use book::{Book, MelodyFolder};
pub use delete::Deleted;
pub use error::TakesError;
pub use export::Exported;
pub use hold::Hold;
pub use repair::{Repaired, repair_wav};
pub use safe_name::safe_name;
pub use take::{State, Take};
pub use whole_file::{write_whole, write_whole_private};
