//! Melodies: ABC, MusicXML and our TOML.

use super::archive::archive_of;
use fingertape::formats::{
    FormatError, FormatErrorKind, ReadMelody, WrittenFormat, read_melody_bytes, read_melody_bytes_for,
};
use fingertape::notation::{Event, EventKind, Instrument, Melody};

/// Kinds of trouble of a whole file; all others have a line and a column.
const WITHOUT_A_PLACE: [FormatErrorKind; 5] = [
    FormatErrorKind::Unreadable,
    FormatErrorKind::UnknownFormat,
    FormatErrorKind::Encoding,
    FormatErrorKind::NoNotes,
    FormatErrorKind::TooBig,
];

/// An ABC tune.
pub fn abc(bytes: &[u8]) {
    melody("fuzzed.abc", bytes);
}

/// A score: plain, packed, or a packed one whose files stand one after the other.
pub fn musicxml(bytes: &[u8]) {
    match archive_of(bytes) {
        Some(archive) if bytes.starts_with(b"--- ") => melody("fuzzed.mxl", &archive),
        _ => melody("fuzzed.musicxml", bytes),
    }
}

/// A melody in our TOML.
pub fn melody_toml(bytes: &[u8]) {
    melody("fuzzed.toml", bytes);
}

fn melody(name: &str, bytes: &[u8]) {
    match read_melody_bytes(name, bytes) {
        Ok(read) => {
            holds(&read);
            for instrument in Instrument::ALL {
                match read_melody_bytes_for(name, bytes, Some(instrument)) {
                    Ok(read) => holds(&read),
                    Err(error) => answered(error, name, bytes),
                }
            }
        }
        Err(error) => answered(error, name, bytes),
    }
}

/// An error names the file, says what is wrong and what to do, and shows the place; and nothing of the
/// file reaches the terminal that could steer it.
pub fn answered(error: FormatError, name: &str, bytes: &[u8]) {
    let (text, kind) = (error.to_string(), error.kind());
    assert!(text.starts_with(name), "{text}");
    assert!(!error.message().trim().is_empty() && !error.advice().trim().is_empty(), "{text}");
    assert!(text.len() < 3_000, "{} bytes: {text}", text.len());
    let whole_file = WITHOUT_A_PLACE.contains(&kind) || bytes.starts_with(b"PK");
    assert!(whole_file || error.line_column().is_some(), "{kind:?} without a place: {text}");
    // Drawn into the text, as the program prints it.
    let drawn = format!("{:?}", miette::Report::new(error));
    let steers = |letter: char| letter.is_control() && letter != '\n';
    assert!(!text.chars().any(steers), "{text:?}");
    assert!(!drawn.chars().any(steers), "{drawn:?}");
}

/// What was read is a melody, and each format gives it back.
fn holds(read: &ReadMelody) {
    let melody = &read.melody;
    assert!(melody.soundings().next().is_some() && melody.events.len() < 1_000_000);
    assert!(melody.soundings().all(|sounding| (0..=127).contains(&sounding)));
    assert!(melody.bpm.is_none_or(|bpm| bpm.is_finite() && bpm > 0.0));
    assert!(read.remarks.iter().all(|remark| !remark.code.is_empty() && !remark.text.is_empty()));
    let mut end = melody.events[0].start;
    for event in &melody.events {
        assert_eq!(event.start, end, "events follow each other");
        assert!(event.length > 0.into());
        end += event.length;
    }
    for format in WrittenFormat::ALL {
        let bytes = format.write(melody);
        assert!(bytes.len() < 64 << 20, "{format:?}: {} bytes", bytes.len());
        let name = match format {
            WrittenFormat::Toml => "again.toml",
            WrittenFormat::Abc => "again.abc",
            WrittenFormat::MusicXml => "again.musicxml",
            WrittenFormat::Mxl => "again.mxl",
            WrittenFormat::Midi => continue,
        };
        let written = || String::from_utf8_lossy(&bytes);
        let again = read_melody_bytes(name, &bytes);
        let again = again.unwrap_or_else(|error| panic!("{error}\n{}", written())).melody;
        // Who plays decides what is written; MusicXML always has somebody who plays.
        let guessed = melody.instrument != again.instrument;
        let heard = |melody: &Melody| -> Vec<_> {
            melody.events.iter().map(|event| (event.bar, event.beat, event.length, sounding(event))).collect()
        };
        assert_eq!(heard(&again), heard(melody), "{name}\n{}", written());
        assert!(guessed || again.events == melody.events, "{name}\n{}\n{:?}", written(), again.events);
        assert_eq!(again.bpm, melody.bpm, "{name}\n{}", written());
        assert_eq!(again.metre, melody.metre, "{name}\n{}", written());
        if melody.instrument.is_some() {
            assert_eq!(again.instrument, melody.instrument, "{name}\n{}", written());
        }
    }
}

fn sounding(event: &Event) -> Option<i32> {
    match event.kind {
        EventKind::Note { sounding, .. } => Some(sounding),
        EventKind::Rest => None,
    }
}
