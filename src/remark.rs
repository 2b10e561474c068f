//! Remarks: what a reader should know, as a stable code for programs and a sentence for people; and what the system said of
//! a file, in words of our own.

use serde::{Deserialize, Serialize};
use std::io::{Error, ErrorKind};

/// What the system said of a file or a folder, in words of our own where there are some.
pub fn said_of_a_file(error: &Error) -> String {
    let words = match error.kind() {
        ErrorKind::NotFound => "it is not there",
        ErrorKind::PermissionDenied => "this user may not do that",
        ErrorKind::AlreadyExists | ErrorKind::NotADirectory => "a file of that name is in the way",
        ErrorKind::IsADirectory => "it is a folder",
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => "the disk is full",
        ErrorKind::ReadOnlyFilesystem => "the disk can only be read",
        ErrorKind::InvalidData => "it is not text in UTF-8",
        ErrorKind::InvalidFilename => "its name is too long, or has signs that the disk cannot keep",
        _ => return error.to_string(),
    };
    words.to_owned()
}

/// A remark: a stable code and a sentence.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remark {
    /// A stable word for programs, such as `clipping`.
    pub code: String,
    /// A sentence for people.
    pub text: String,
}

impl Remark {
    /// A remark from a code and a sentence.
    pub fn new(code: &str, text: impl Into<String>) -> Self {
        Self { code: code.to_owned(), text: text.into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_system_says_of_a_file_is_said_in_plain_words() {
        let said = |kind| said_of_a_file(&Error::from(kind));
        assert_eq!(said(ErrorKind::PermissionDenied), "this user may not do that");
        assert!(said(ErrorKind::InvalidFilename).starts_with("its name is too long"));
    }
}
