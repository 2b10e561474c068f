//! A file becomes a melody: which format it is, and the reader for it.

use super::bytes_from_file::bytes_from_file;
use super::draft::Draft;
use super::error::{Fault, FormatError, FormatErrorKind};
use super::melody_from_draft::{ReadMelody, melody_from_draft};
use super::text_from_bytes::{LARGEST_TEXT, text_from_bytes};
use super::{abc, melody_toml, musicxml};
use crate::notation::Instrument;
use std::path::Path;

/// Larger files are refused before they are read: 16 MiB.
pub const LARGEST_FILE: u64 = LARGEST_TEXT as u64;

/// What people write by hand, TOML and ABC, is refused beyond 2 MiB: ten times the longest melody that is read.
const LARGEST_BY_HAND: usize = 2 << 20;

/// Reads a melody file: `.toml`, `.abc`, `.musicxml`, `.xml` or `.mxl`.
///
/// # Errors
/// [`FormatError`] says what is wrong, where, and what to do: see [`FormatErrorKind`].
pub fn read_melody(path: &Path) -> Result<ReadMelody, FormatError> {
    read_melody_for(path, None)
}

/// Reads a melody file to be played on `instrument`: of several parts its own is chosen, and the
/// sounding pitches are those of [`Melody::for_instrument`](crate::notation::Melody::for_instrument).
///
/// # Errors
/// As [`read_melody`].
pub fn read_melody_for(path: &Path, instrument: Option<Instrument>) -> Result<ReadMelody, FormatError> {
    let (name, bytes) = melody_bytes(path)?;
    read_melody_bytes_for(&name, &bytes, instrument)
}

/// The name of a melody file without its folder, and its bytes, for [`read_melody_bytes_for`]: for who needs them beside
/// the melody too, because a pipe can be read only once.
///
/// # Errors
/// [`FormatErrorKind::Unreadable`]. Of a file that is too large one byte too many is read, so that the reader refuses it.
pub fn melody_bytes(path: &Path) -> Result<(String, Vec<u8>), FormatError> {
    bytes_from_file(path, LARGEST_FILE)
}

/// Reads a melody from the bytes of a file called `name`.
///
/// # Errors
/// As [`read_melody`].
pub fn read_melody_bytes(name: &str, bytes: &[u8]) -> Result<ReadMelody, FormatError> {
    read_melody_bytes_for(name, bytes, None)
}

/// Reads a melody from bytes, to be played on `instrument`: see [`read_melody_for`].
///
/// # Errors
/// As [`read_melody`].
pub fn read_melody_bytes_for(
    name: &str,
    bytes: &[u8],
    instrument: Option<Instrument>,
) -> Result<ReadMelody, FormatError> {
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(too_big().in_file(name, ""));
    }
    if let Some((message, help)) = no_melody_of_ours(bytes) {
        return Err(Fault::new(FormatErrorKind::UnknownFormat, message, help).in_file(name, ""));
    }
    let text =
        if bytes.starts_with(b"PK") { musicxml::score_from_mxl(bytes) } else { text_from_bytes(bytes) };
    let text = text.map_err(|fault| fault.in_file(name, ""))?;
    let draft = draft_from_text(name, &text, instrument).map_err(|fault| fault.in_file(name, &text))?;
    let mut read = melody_from_draft(draft).map_err(|fault| fault.in_file(name, &text))?;
    if let Some(instrument) = instrument {
        let (melody, remarks) = read.melody.for_instrument(instrument);
        read.melody = melody;
        read.remarks.retain(|remark| !matches!(&*remark.code, "below-lowest-string" | "instrument-guessed"));
        read.remarks.extend(remarks);
    }
    Ok(read)
}

/// What a file is that holds music, or shows some, and cannot be read here, and what to do with it.
fn no_melody_of_ours(bytes: &[u8]) -> Option<(String, &'static str)> {
    const TYPE_IT: &str = "Export MusicXML from the program that it was made with, or type the melody: 'fingertape help \
                           check' shows how.";
    if bytes.starts_with(b"MThd") {
        let message = "this is a MIDI file, and MIDI is only written here, not read";
        return Some((message.to_owned(), "Open it in a notation program and export MusicXML from there."));
    }
    let begins = |starts: &[&[u8]]| starts.iter().any(|start| bytes.starts_with(start));
    if begins(&[b"%PDF"]) {
        let message = "this is a PDF: a picture of pages, in which I cannot read notes";
        return Some((message.to_owned(), TYPE_IT));
    }
    if begins(&[b"\x89PNG", b"\xff\xd8\xff", b"GIF8"]) {
        return Some(("this is a picture, in which I cannot read notes".to_owned(), TYPE_IT));
    }
    None
}

fn too_big() -> Fault {
    let message = "the file is larger than a melody can be";
    Fault::new(FormatErrorKind::TooBig, message, "Is this the right file?")
}

/// The formats of text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Format {
    MusicXml,
    Toml,
    Abc,
}

/// How the names of melody files end, and what is in them.
const ENDINGS: [(&str, Format); 5] = [
    ("toml", Format::Toml),
    ("abc", Format::Abc),
    ("musicxml", Format::MusicXml),
    ("xml", Format::MusicXml),
    ("mxl", Format::MusicXml),
];

/// The format of an ending without its dot, in capitals or not.
fn format_of_ending(ending: &str) -> Option<Format> {
    ENDINGS.iter().find(|(known, _)| ending.eq_ignore_ascii_case(known)).map(|(_, format)| *format)
}

/// Whether the name of a melody file may end so: `toml`, `ABC`; without the dot.
pub fn is_melody_ending(ending: &str) -> bool {
    format_of_ending(ending).is_some()
}

/// The endings of melody files, for people: `.toml, .abc, .musicxml, .xml or .mxl`.
pub fn melody_endings() -> String {
    let [before @ .., last] = ENDINGS.map(|(ending, _)| format!(".{ending}"));
    format!("{} or {last}", before.join(", "))
}

fn draft_from_text(name: &str, text: &str, instrument: Option<Instrument>) -> Result<Draft, Fault> {
    let format = format_of(name, text);
    if text.len() > LARGEST_BY_HAND && format != Some(Format::MusicXml) {
        return Err(too_big());
    }
    match format {
        Some(Format::MusicXml) => musicxml::draft_from_score(text, instrument),
        Some(Format::Abc) => abc::draft_from_abc(text, instrument),
        Some(Format::Toml) => melody_toml::draft_from_toml(text),
        None => {
            let message = "this is not a melody in a format that I know";
            let help = format!("Melodies are {} files.", melody_endings());
            Err(Fault::new(FormatErrorKind::UnknownFormat, message, help))
        }
    }
}

/// Content first, then the extension.
fn format_of(name: &str, text: &str) -> Option<Format> {
    if text.trim_start().starts_with('<') {
        return Some(Format::MusicXml);
    }
    name.rsplit_once('.').and_then(|(_, ending)| format_of_ending(ending)).or_else(|| {
        // A text about melodies may quote one; TOML has its words from the first line on.
        let assigns = |line: &str| line.trim_start().starts_with("bars") && line.contains('=');
        let mut says =
            text.lines().filter(|line| !line.trim().is_empty() && !line.trim_start().starts_with('#'));
        if says.next().is_some_and(|line| line.contains('=')) && text.lines().any(assigns) {
            return Some(Format::Toml);
        }
        abc::looks_like_abc(text).then_some(Format::Abc)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ending_says_the_format_in_capitals_too_and_no_other_does() {
        let told = melody_endings();
        assert!(told.starts_with(".toml, .abc, ") && told.ends_with(" or .mxl"), "{told}");
        assert!(ENDINGS.iter().all(|(ending, _)| told.contains(&format!(".{ending}"))), "{told}");
        assert!(is_melody_ending("toml") && is_melody_ending("MXL"));
        assert!(!is_melody_ending("txt") && !is_melody_ending("") && !is_melody_ending("mid"));
        assert_eq!(format_of("a.b.ABC", ""), Some(Format::Abc));
        assert_eq!(format_of("toml", ""), None);
    }

    #[test]
    fn without_an_ending_the_content_says_it() {
        assert_eq!(format_of("a", "bars = []"), Some(Format::Toml));
        assert_eq!(format_of("a.txt", "X:1\nK:C\n"), Some(Format::Abc));
        assert_eq!(format_of("a.abc", " <score-partwise>"), Some(Format::MusicXml));
        assert_eq!(format_of("a.txt", "# mine\n\ntitle = 'x'\nbars = []"), Some(Format::Toml));
        assert_eq!(format_of("README.md", "# A program\nIt reads this:\nbars = []"), None);
    }

    #[test]
    fn what_is_no_melody_is_called_what_it_is() {
        let said = |name: &str, bytes: &[u8]| {
            let error = read_melody_bytes(name, bytes).unwrap_err();
            (error.to_string(), error.advice().to_owned())
        };
        for (name, bytes, what, advice) in [
            ("a.pdf", &b"%PDF-1.7\n%\xff\xfe"[..], "this is a PDF", "type the melody"),
            ("a.toml", b"\x89PNG\r\n", "this is a picture", "type the melody"),
            (
                "a.zip",
                b"PK\x03\x04",
                "no score could be read in this compressed file",
                "Export the melody again",
            ),
            ("a.bin", b"abc\xff\xfe", "this is no text, and no melody that I can read", "save it as UTF-8"),
        ] {
            let (message, help) = said(name, bytes);
            assert!(message.contains(what) && help.contains(advice), "{name}: {message}: {help}");
        }
    }
}
