//! Files that are broken, hostile or not melodies: an answer, never a panic.

use super::refused;
use fingertape::formats::{
    FormatErrorKind, read_melody_bytes, write_abc, write_midi, write_musicxml, write_toml,
};
use proptest::prelude::*;
use std::path::PathBuf;

const NAMES: [&str; 6] = ["a.toml", "a.abc", "a.musicxml", "a.mxl", "a.xml", "a"];

const SEED_TOML: &str = "instrument = 'bass'\nkey = 'D'\nbpm = 80\npickup = 'A2 q'\nbars = \"\"\"\n\
    |: D3 q. E3 e F#3 q/3 G3 A3 rest q :|\n3/4 key G bar 9: G3 h. ~\nshort from 2: G3 5/16 (4)\n\"\"\"\n";
const SEED_ABC: &str = "X:1\nT:x\nM:6/8\nL:1/8\nQ:3/8=60\nV:1 clef=bass transpose=-12\nK:Em\n\
    |: u(v.A>B) (3ABc \"G\"d | [M:2/4][K:D] ^F-F {g}z2 :|1 Z2 |2 !trill!A4- :| A4 |]\n";

fn seed_xml() -> String {
    let read = read_melody_bytes("a.toml", SEED_TOML.as_bytes()).unwrap();
    write_musicxml(&read.melody)
}

/// A melody in each format.
fn seeds() -> Vec<String> {
    vec![SEED_TOML.to_owned(), SEED_ABC.to_owned(), seed_xml()]
}

/// Reads, and writes again what could be read.
fn survives(bytes: &[u8]) {
    for name in NAMES {
        match read_melody_bytes(name, bytes) {
            Ok(read) => {
                let _ = (write_toml(&read.melody), write_abc(&read.melody), write_midi(&read.melody));
                let _ = write_musicxml(&read.melody);
            }
            Err(error) => {
                assert!(!error.to_string().is_empty() && !error.advice().is_empty());
                let _ = format!("{:?}", miette::Report::new(error));
            }
        }
    }
}

#[test]
fn every_file_that_broke_a_reader_gets_an_answer() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/formats/broken");
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        survives(&std::fs::read(entry.unwrap().path()).unwrap());
        count += 1;
    }
    assert!(count >= 5, "only {count} files");
}

#[test]
fn hostile_numbers_are_refused_or_kept_exactly() {
    for (from, to) in [
        ("<duration>", "<duration>99999999999999"),
        ("<divisions>", "<divisions>9223372036854775807"),
        ("<octave>", "<octave>99"),
        ("<octave-change>-1<", "<octave-change>-999999999<"),
        ("<beats>", "<beats>4294967295+"),
        ("<beat-type>", "<beat-type>0"),
        ("number=\"", "number=\"99999999999"),
        ("<sound tempo=\"", "<sound tempo=\"-1e309"),
    ] {
        let text = seed_xml();
        assert!(text.contains(from), "{from}");
        survives(text.replace(from, to).as_bytes());
    }
    for length in ["9223372036854775807", "0", "1/0", "/0", "//////////////", "1/9223372036854775807"] {
        survives(format!("X:1\nK:C\nC{length}|]\n").as_bytes());
        survives(format!("bars = ['C4 {length}']\n").as_bytes());
    }
    survives(b"X:1\nK:C\nZ99999|]\n");
    survives(b"X:1\nK:C\n|:C8:::::::::::::::::::::::::::::::::|\n");
}

#[test]
fn deep_nesting_and_entity_bombs_are_refused_quickly() {
    let deep = "<a>".repeat(200_000);
    survives(deep.as_bytes());
    let mut bomb = String::from("<!DOCTYPE score-partwise [<!ENTITY a0 \"lol\">");
    for at in 1..20 {
        bomb += &format!("<!ENTITY a{at} \"{}\">", format!("&a{};", at - 1).repeat(10));
    }
    bomb += "]><score-partwise>&a19;</score-partwise>";
    assert_eq!(refused("bomb.xml", &bomb).kind(), FormatErrorKind::Syntax);
    survives(format!("bars = {}", "[".repeat(100_000)).as_bytes());
}

#[test]
fn a_zip_bomb_is_refused() {
    use std::io::Write;
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options =
        zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
    archive.start_file("score.xml", options).unwrap();
    let block = vec![b' '; 1 << 20];
    for _ in 0..80 {
        archive.write_all(&block).unwrap();
    }
    let bytes = archive.finish().unwrap().into_inner();
    assert!(bytes.len() < 1 << 20);
    let error = read_melody_bytes("bomb.mxl", &bytes).unwrap_err();
    assert_eq!(error.kind(), FormatErrorKind::TooBig);
}

#[test]
fn other_files_are_named_as_such() {
    assert_eq!(refused("m.txt", "Dear diary, today I practised.").kind(), FormatErrorKind::UnknownFormat);
    assert_eq!(
        read_melody_bytes("m.wav", b"RIFF\xFF\xFF\xFF\xFFWAVE").unwrap_err().kind(),
        FormatErrorKind::Encoding
    );
    assert!(read_melody_bytes("m.toml", b"").is_err());
    let missing = fingertape::formats::read_melody(std::path::Path::new("no/such/melody.abc")).unwrap_err();
    assert_eq!(missing.kind(), FormatErrorKind::Unreadable);
}

#[test]
fn a_line_of_a_million_notes_is_told_of_and_not_shown() {
    let text = format!("bars = 'C4 q {} H9 q'", "D4 ".repeat(200_000));
    let error = refused("long.toml", &text);
    let drawn = format!("{:?}", miette::Report::new(error));
    assert!(drawn.len() < 2_000, "{} bytes", drawn.len());
}

#[test]
fn nothing_of_a_file_steers_the_terminal() {
    for text in
        ["bars = 'C4 \u{1b}]0;x\u{7}q'", "bars = 'C4 q'\nti\u{9b}tle = \u{1b}[2J", "bars = 'H\u{202e}4 q'"]
    {
        let error = refused("m.toml", text);
        let sentence = error.to_string();
        let said = format!("{sentence}{:?}", miette::Report::new(error));
        let steers = |letter: char| letter.is_control() && letter != '\n' || letter == '\u{202e}';
        assert!(!said.chars().any(steers), "{said:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_reader_panics_on_any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        survives(&bytes);
    }

    #[test]
    fn no_reader_panics_on_mutated_files(
        mut text in prop::sample::select(seeds()),
        cuts in proptest::collection::vec((any::<prop::sample::Index>(), 0..12_usize, "[\\PC\n]{0,6}"), 1..6),
    ) {
        for (at, length, with) in cuts {
            let mut from = at.index(text.len() + 1);
            while !text.is_char_boundary(from) {
                from -= 1;
            }
            let mut to = (from + length).min(text.len());
            while !text.is_char_boundary(to) {
                to += 1;
            }
            text.replace_range(from..to, &with);
        }
        survives(text.as_bytes());
    }

    #[test]
    fn no_reader_panics_on_music_like_text(body in "[A-Ga-gzZxyXVKLM0-9/|:\\[\\](){}<>^_=.,'\"!+&~ \n-]{0,120}") {
        survives(format!("X:1\nM:3/4\nK:D\n{body}\n").as_bytes());
        survives(format!("bars = '''\n{body}\n'''\n").as_bytes());
    }
}
