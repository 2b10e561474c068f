//! Errors for people: what happened and where, and what to do about it.

use fingertape::decode::DecodeError;
use miette::Diagnostic;
use thiserror::Error;

/// An error that ends a command.
#[derive(Debug, Error, Diagnostic)]
#[error("{what}")]
pub struct Failure {
    what: String,
    #[help]
    what_to_do: String,
}

impl Failure {
    /// From what happened (with the place) and what to do.
    pub fn new(what: impl Into<String>, what_to_do: impl Into<String>) -> Self {
        Self { what: what.into(), what_to_do: what_to_do.into() }
    }
}

/// A take that did not become samples; the message says what happened and ends with what to do.
pub fn unusable_take(error: DecodeError) -> miette::Report {
    miette::Report::msg(error)
}
