//! Melody files as people and programs write them: what is read, what is refused and where it points.

mod abc;
mod hostile;
mod musicxml;
mod our_toml;
mod round_trip;

use fingertape::formats::{FormatError, ReadMelody, read_melody_bytes};
use fingertape::notation::EventKind;

/// A file that reads.
pub fn read(name: &str, text: &str) -> ReadMelody {
    read_melody_bytes(name, text.as_bytes()).unwrap_or_else(|error| panic!("{error}"))
}

/// A file that is refused.
pub fn refused(name: &str, text: &str) -> FormatError {
    match read_melody_bytes(name, text.as_bytes()) {
        Ok(read) => panic!("read as {:?}", read.melody.events),
        Err(error) => error,
    }
}

/// Events as short words: `F#4=66 1/4` and `rest 1/2`.
pub fn words(read: &ReadMelody) -> Vec<String> {
    let word = |event: &fingertape::notation::Event| match event.kind {
        EventKind::Note { written, sounding } => format!("{written}={sounding} {}", event.length),
        EventKind::Rest => format!("rest {}", event.length),
    };
    read.melody.events.iter().map(word).collect()
}

/// Whether a remark with that code names that place or says those words.
pub fn remarks_on(read: &ReadMelody, code: &str, words: &str) -> bool {
    read.remarks.iter().any(|remark| remark.code == code && remark.text.contains(words))
}
