//! What can go wrong with a microphone, and whether listening goes on all the same.

use std::io;
use std::path::PathBuf;
use thiserror::Error;

/// What went wrong with a microphone. [`CaptureError::listening_continues`] says what state is left.
#[derive(Debug, Error)]
pub enum CaptureError {
    /// The computer offers no input at all.
    #[error(
        "this computer has no microphone that can be used. Plug one in, or record with a phone and give the file."
    )]
    NoInput,
    /// The input that was asked for is not there.
    #[error("there is no microphone called \"{wanted}\"; there is: {known}.")]
    NoSuchInput {
        /// What was asked for.
        wanted: String,
        /// The names of all inputs.
        known: String,
    },
    /// The system names an input, and it cannot be opened.
    #[error(
        "the microphone \"{name}\" exists but cannot be opened: {why}. Close other programs that use it, allow \
             access to it in the system's settings, or choose another."
    )]
    CannotOpen {
        /// The input's name.
        name: String,
        /// What the system said.
        why: String,
    },
    /// The input offers no format that can be used.
    #[error("the microphone \"{name}\" offers no usable format ({offered}).")]
    NoUsableFormat {
        /// The input's name.
        name: String,
        /// What it offers.
        offered: String,
    },
    /// The input went away while listening.
    #[error("the microphone stopped: {why}. What was heard so far is kept.")]
    Stopped {
        /// What the system said.
        why: String,
    },
    /// The input has delivered nothing for a while.
    #[error("the microphone has delivered nothing for {seconds:.0} s.")]
    Stalled {
        /// For how long.
        seconds: f64,
    },
    /// The system or this program was too slow, and some time was not heard.
    #[error("{milliseconds:.0} ms of sound were lost and are silence now; close other programs.")]
    LostTime {
        /// How much, as far as known; 0 where the system does not say.
        milliseconds: f64,
    },
    /// Something changed that does no harm, such as another device taking over.
    #[error("the microphone reports: {what}.")]
    Notice {
        /// What the system said.
        what: String,
    },
    /// The take cannot be written to disk.
    #[error("cannot write the take to {}: {}.", path.display(), crate::remark::said_of_a_file(source))]
    Disk {
        /// Where it was to be written.
        path: PathBuf,
        /// What the operating system said.
        source: io::Error,
    },
}

impl CaptureError {
    /// Whether the microphone goes on delivering after this.
    pub fn listening_continues(&self) -> bool {
        match self {
            Self::LostTime { .. } | Self::Notice { .. } | Self::Stalled { .. } | Self::Disk { .. } => true,
            Self::NoInput
            | Self::NoSuchInput { .. }
            | Self::CannotOpen { .. }
            | Self::NoUsableFormat { .. }
            | Self::Stopped { .. } => false,
        }
    }
}
