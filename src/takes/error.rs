//! What can go wrong with the take book.

use std::io;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What went wrong. Nothing that was in the book before is harmed by any of these.
#[derive(Debug, Error)]
pub enum TakesError {
    /// A file or folder cannot be read, written or deleted.
    #[error("{} cannot be {}: {}", path.display(), what, crate::remark::said_of_a_file(source))]
    File {
        /// Where.
        path: PathBuf,
        /// What was tried, such as `written`.
        what: &'static str,
        /// What the operating system said.
        source: io::Error,
    },
    /// A file of the book does not hold what it should.
    #[error("{} is not what it should be: {why}", path.display())]
    Damaged {
        /// Which file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// A link stands where the book has a folder or a file; links are not followed out of the book.
    #[error("{} is a link, and links are not followed out of the take book", path.display())]
    Link {
        /// Which link.
        path: PathBuf,
    },
    /// The take is being recorded right now.
    #[error("{} is being recorded right now", path.display())]
    Growing {
        /// Which recording.
        path: PathBuf,
    },
    /// There is no such take or melody.
    #[error("there is no {what} in the take book {}", book.display())]
    NotThere {
        /// What was looked for.
        what: String,
        /// The book's folder.
        book: PathBuf,
    },
    /// The place for an export is taken.
    #[error("{} is there already and is not empty", path.display())]
    Taken {
        /// Where.
        path: PathBuf,
    },
}

impl TakesError {
    /// For `map_err`: a failed operation on a path.
    pub(super) fn file(path: &Path, what: &'static str) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::File { path, what, source }
    }
}
