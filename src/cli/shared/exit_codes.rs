//! How the program ends: 0 judged, 1 refused to judge or something found, 2 unusable input or usage.

use fingertape::findings::Outcome;
use std::io::Write;
use std::process::ExitCode;

/// How a command that ran to its end ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// The take was judged, or the command did what was asked.
    Done,
    /// The take was heard and not judged, or the melody does something else than its sheet asks; what was
    /// printed says why.
    Refused,
}

impl Ending {
    /// The ending that belongs to a report's outcome.
    pub fn of(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Judged => Self::Done,
            _ => Self::Refused,
        }
    }
}

/// The exit code after a command; an error is printed to standard error first.
pub fn after(ended: miette::Result<Ending>) -> ExitCode {
    match ended {
        Ok(Ending::Done) => ExitCode::from(0),
        Ok(Ending::Refused) => ExitCode::from(1),
        Err(error) => {
            // Nothing is left to tell anybody if standard error is closed too.
            let _ = writeln!(anstream::stderr(), "{error:?}");
            ExitCode::from(2)
        }
    }
}
