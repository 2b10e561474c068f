//! Errors for people: what happened and where, and what to do about it.

use super::rule_sheet::is_rule_file;
use fingertape::decode::{self, DecodeError};
use fingertape::formats::{FormatError, FormatErrorKind};
pub use fingertape::remark::said_of_a_file as said;
use fingertape::report::words::harmless;
use miette::{Diagnostic, LabeledSpan, Severity, SourceCode};
use std::fmt::{self, Display};
use std::path::Path;
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
        Self { what: printable(&what.into()), what_to_do: printable(&what_to_do.into()) }
    }
}

/// Lines without what steers a terminal: names of files may hold anything.
fn printable(text: &str) -> String {
    text.split('\n').map(harmless).collect::<Vec<_>>().join("\n")
}

/// A take that did not become samples; the message says what happened and ends with what to do.
pub fn unusable_take(error: DecodeError) -> miette::Report {
    miette::Report::msg(printable(&error.to_string()))
}

/// This program was built without its microphone.
#[cfg(not(feature = "microphone"))]
pub fn no_microphone_built_in() -> miette::Report {
    Failure::new(
        "this fingertape was built without a microphone",
        "record with a phone or another program, and give the recording with --from FILE",
    )
    .into()
}

/// A microphone that does not record, or a recording that cannot go on; the message says what happened, and this what to do.
#[cfg(feature = "microphone")]
pub fn no_microphone(error: fingertape::capture::CaptureError) -> miette::Report {
    use fingertape::capture::CaptureError;
    let what_to_do = match error {
        CaptureError::Disk { .. } => {
            "check that the disk is not full, or keep the takes elsewhere: --book FOLDER"
        }
        CaptureError::NoInput => {
            "a recording made elsewhere can be checked: fingertape check TAKE --melody MELODY"
        }
        CaptureError::NoSuchInput { .. } => {
            "'fingertape inputs' lists the microphones; give the name in quotes"
        }
        _ => "'fingertape inputs --levels' shows which microphones can be opened",
    };
    Failure::new(error.to_string(), what_to_do).into()
}

/// A microphone that cannot be used; the message says what happened and what to do.
#[cfg(feature = "microphone")]
pub fn unusable_microphone(error: fingertape::capture::CaptureError) -> miette::Report {
    Failure::new(error.to_string(), "or give a recording with --from FILE").into()
}

/// A place on the disk where the sound cannot be kept.
#[cfg(feature = "microphone")]
pub fn unusable_place(error: fingertape::capture::CaptureError) -> miette::Report {
    Failure::new(error.to_string(), "check the disk, or choose another place").into()
}

/// There is something under that name; `what` is what it was given as.
pub fn is_there(path: &Path, what: &str) -> miette::Result<()> {
    match path.try_exists() {
        Ok(false) => Err(Failure::new(
            format!("there is no file {} ({what})", path.display()),
            "check the spelling, the ending of the name, and the folder that you are in",
        )
        .into()),
        // What else may be wrong with it, its reader says.
        _ => Ok(()),
    }
}

/// A melody file that did not become a melody. A recording or a rule file in its place is called that; `wanted` says
/// what belongs there.
pub fn unusable_melody(error: FormatError, path: &Path, wanted: &str) -> miette::Report {
    let no_text = matches!(error.kind(), FormatErrorKind::Encoding | FormatErrorKind::UnknownFormat);
    if no_text && decode::read_take(path).is_ok() {
        return Failure::new(format!("{} is a recording, not a written melody", path.display()), wanted)
            .into();
    }
    if is_rule_file(path) {
        return Failure::new(format!("{} is a rule file, not a melody", path.display()), wanted).into();
    }
    miette::Report::new(ForPeople(error))
}

/// A rule file that cannot be used.
pub fn unusable_rules(error: FormatError) -> miette::Report {
    miette::Report::new(ForPeople(error))
}

/// A table that cannot be used; `what` is what it was to be.
pub fn unusable_table(error: FormatError, path: &Path, what: &str) -> miette::Report {
    if error.kind() == FormatErrorKind::NoRows {
        return Failure::new(format!("{what} {} is empty", path.display()), error.advice()).into();
    }
    miette::Report::new(ForPeople(error))
}

/// An error without the word that programs know it by.
#[derive(Debug)]
struct ForPeople(FormatError);

impl Display for ForPeople {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl std::error::Error for ForPeople {}

impl Diagnostic for ForPeople {
    fn severity(&self) -> Option<Severity> {
        self.0.severity()
    }

    fn help<'a>(&'a self) -> Option<Box<dyn Display + 'a>> {
        self.0.help()
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.0.source_code()
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        self.0.labels()
    }
}
