//! Why a file did not become samples: what happened, and what to do about it.

use crate::remark::said_of_a_file;
use crate::units::Seconds;
use std::io;
use thiserror::Error;

/// Why a file did not become samples. Every variant names the file and ends with what to do.
/// Nothing is kept of a file that failed; the same call may be made again.
#[derive(Debug, Error)]
pub enum DecodeError {
    /// The operating system did not hand the file over.
    #[error("cannot read {name}: {}. Check the name and that you may open the file.", said_of(.source))]
    Unreadable {
        /// The file's name.
        name: String,
        /// What the operating system said.
        source: io::Error,
    },
    /// There are no bytes, or a header with no sound behind it.
    #[error("{name} is empty: {what}. Record the take again, or copy the file again.")]
    ZeroLength {
        /// The file's name.
        name: String,
        /// Whether the file or only its sound is empty.
        what: &'static str,
    },
    /// The file is of another type.
    #[error(
        "{name} is not a recording: it seems to be {seems}. \
         Give a sound file, such as WAV, MP3, M4A, FLAC, OGG or WebM."
    )]
    NotARecording {
        /// The file's name.
        name: String,
        /// What the file seems to be, with its article.
        seems: String,
    },
    /// A container, such as a video, without any sound in it.
    #[error(
        "{name} has no sound track: the {container} file holds {holds}. \
         Record again with the microphone on, or export the video with its sound."
    )]
    NoSoundTrack {
        /// The file's name.
        name: String,
        /// The container, such as `MP4`.
        container: String,
        /// What it holds instead.
        holds: String,
    },
    /// A sound format that nothing here can decode.
    #[error(
        "{name} is sound in a format that cannot be read here: {codec}{in_container}. \
         Convert it to WAV, or set the recorder to WAV, M4A (AAC) or MP3."
    )]
    UnsupportedCodec {
        /// The file's name.
        name: String,
        /// The codec's name, such as `AMR narrow-band`.
        codec: String,
        /// ` inside …`, or nothing where codec and container are one.
        in_container: String,
    },
    /// A sampling rate or a channel count that no recording of an instrument has.
    #[error(
        "{name} claims {claim}, which cannot be a recording of an instrument ({allowed}). \
         The file is damaged or was exported wrongly; export it again at 44100 or 48000 Hz."
    )]
    Implausible {
        /// The file's name.
        name: String,
        /// What it claims.
        claim: String,
        /// What is allowed.
        allowed: &'static str,
    },
    /// The file is of a known type, and nothing can be heard in it any more.
    #[error("{name} is damaged beyond use: {what}{}. Copy the file again, or record the take again.",
            place(.byte, .time))]
    Damaged {
        /// The file's name.
        name: String,
        /// What is wrong.
        what: String,
        /// Roughly where in the file, in bytes from its start.
        byte: Option<u64>,
        /// Where in the sound.
        time: Option<Seconds>,
    },
    /// Reading took longer than the limits allow.
    #[error(
        "{name} took too long to read and was given up. Copy it to this computer's own disk, or export it as WAV."
    )]
    TooSlow {
        /// The file's name.
        name: String,
    },
}

/// InvalidData is what decoders call damage, and no matter of text.
fn said_of(error: &io::Error) -> String {
    if error.kind() == io::ErrorKind::InvalidData { error.to_string() } else { said_of_a_file(error) }
}

/// ` (near byte 1234, at 0.50 s)`, as far as known.
fn place(byte: &Option<u64>, time: &Option<Seconds>) -> String {
    match (byte, time) {
        (None, None) => String::new(),
        (Some(byte), None) => format!(" (near byte {byte})"),
        (None, Some(time)) => format!(" (at {:.2} s)", time.0),
        (Some(byte), Some(time)) => format!(" (near byte {byte}, at {:.2} s)", time.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_damaged_file_is_reported_with_its_place() {
        let error = DecodeError::Damaged {
            name: "take.wav".into(),
            what: "the header makes no sense".into(),
            byte: Some(40),
            time: Some(Seconds(1.5)),
        };
        assert_eq!(
            error.to_string(),
            "take.wav is damaged beyond use: the header makes no sense (near byte 40, at 1.50 s). \
             Copy the file again, or record the take again."
        );
    }
}
