//! Remarks: what a reader should know, as a stable code for programs and a sentence for people.

use serde::{Deserialize, Serialize};

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
