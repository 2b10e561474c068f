//! `fingertape convert`: every format to every other, what is lost is said, nothing is replaced unasked.

mod melodies;
mod program;

use fingertape::formats::{WrittenFormat, read_melody, read_melody_bytes};
use fingertape::notation::{Melody, Sheet};
use program::{program, said};
use proptest::prelude::*;
use std::fs;
use std::path::Path;

fn run(arguments: &[&str], folder: &Path) -> (i32, String, String) {
    let arguments = [&["convert"], arguments].concat();
    said(program(&arguments).current_dir(folder).output().expect("the program runs"))
}

fn demo() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/melody.toml").display().to_string()
}

/// Everything that a melody says, but for the clef where the instrument decides it.
fn what_is_said(melody: &Melody) -> Melody {
    let own = melody.instrument.map(fingertape::notation::Instrument::clef);
    let clef = melody.sheet.clef.filter(|clef| Some(*clef) != own);
    Melody { sheet: Sheet { clef, says_sounding: false, ..melody.sheet.clone() }, ..melody.clone() }
}

#[test]
fn round_the_world_and_home_again_is_the_same_melody() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut from = demo();
    for to in ["a.abc", "b.musicxml", "c.mxl", "d.xml", "e.abc", "f.toml"] {
        let (code, text, errors) = run(&[&from, to], folder.path());
        assert_eq!((code, errors.as_str()), (0, ""), "{to}");
        assert_eq!(text, format!("{to}: 27 notes and 3 rests in 8 bars.\n"));
        from = to.to_owned();
    }
    let home = read_melody(&folder.path().join("f.toml")).expect("a melody").melody;
    let start = read_melody(Path::new(&demo())).expect("a melody").melody;
    assert_eq!(home, start);
}

#[test]
fn midi_is_written_with_a_word_about_what_it_cannot_hold_and_is_not_read() {
    let folder = tempfile::tempdir().expect("a folder");
    let (code, _, errors) = run(&[&demo(), "a.mid"], folder.path());
    assert_eq!(code, 0);
    assert!(errors.contains("MIDI holds how the notes sound, not how they are spelled."), "{errors}");
    assert!(errors.contains("MIDI does not hold the composer."), "{errors}");
    assert!(fs::read(folder.path().join("a.mid")).expect("a file").starts_with(b"MThd"));
    let (code, _, errors) = run(&["a.mid", "b.toml"], folder.path());
    assert_eq!(code, 2);
    assert!(!folder.path().join("b.toml").exists());
    let errors = errors.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(errors.contains("MIDI") && errors.contains("only written"), "{errors}");
}

#[test]
fn bar_lines_that_midi_cannot_hold_are_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let told = |name: &str, bars: &str| {
        fs::write(folder.path().join(name), format!("instrument = 'violin'\nbars = {bars}\n"))
            .expect("a file");
        let (code, _, errors) = run(&[name, "a.mid", "--force"], folder.path());
        assert_eq!(code, 0, "{errors}");
        errors.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let short = told("short.toml", "['D4 w', 'short: E4 h', 'F4 w']");
    assert!(short.contains("MIDI counts on from bar to bar: from bar 3 on"), "{short}");
    let pickup = told("pickup.toml", "['from 4: A4 q', 'E4 w', 'F4 w']");
    assert!(!pickup.contains("counts on"), "{pickup}");
}

#[test]
fn nothing_is_replaced_unless_it_is_asked_for_and_never_the_melody_itself() {
    let folder = tempfile::tempdir().expect("a folder");
    let there = folder.path().join("there.abc");
    fs::write(&there, "mine").expect("a file");
    let (code, text, errors) = run(&[&demo(), "there.abc"], folder.path());
    assert_eq!((code, text.as_str()), (2, ""));
    assert!(errors.contains("there is a file there.abc already") && errors.contains("--force"), "{errors}");
    assert_eq!(fs::read_to_string(&there).expect("a file"), "mine");
    assert_eq!(run(&[&demo(), "there.abc", "--force"], folder.path()).0, 0);
    assert!(fs::read_to_string(&there).expect("a file").starts_with("%abc-2.1"));
    let (code, _, errors) = run(&["there.abc", "there.abc", "--force"], folder.path());
    assert_eq!(code, 2);
    assert!(errors.contains("is the melody that is read"), "{errors}");
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_nowhere_is_not_written_through() {
    let folder = tempfile::tempdir().expect("a folder");
    std::os::unix::fs::symlink(folder.path().join("gone.abc"), folder.path().join("link.abc"))
        .expect("a link");
    assert_eq!(run(&[&demo(), "link.abc"], folder.path()).0, 2);
    assert!(!folder.path().join("gone.abc").exists());
}

#[test]
fn a_melody_that_cannot_be_read_writes_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("bad.toml"), "bars = ['D4 q']\n").expect("a file");
    let (code, _, errors) = run(&["bad.toml", "a.musicxml"], folder.path());
    assert_eq!(code, 2);
    assert!(errors.contains("this bar holds 1 beat"), "{errors}");
    let (code, _, errors) = run(&["bad.toml", "a.doc"], folder.path());
    assert_eq!(code, 2);
    assert!(errors.contains("does not say which format to write"), "{errors}");
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1);
}

#[test]
fn a_title_that_abc_reads_otherwise_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("a.toml"), "title = 'Salt & Pepper'\nbars = ['D4 w']\n").expect("a file");
    let (code, _, errors) = run(&["a.toml", "a.abc"], folder.path());
    assert_eq!(code, 0);
    assert!(errors.contains("look at the title again"), "{errors}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// From every format into every other: what comes back is all that was there, but for what was said to
    /// be lost.
    #[test]
    fn what_is_not_said_to_be_lost_is_kept(
        melody in melodies::melodies(true),
        composer in proptest::option::of("[a-z]{3,8}-[1-9]"),
        route in proptest::collection::vec(proptest::sample::select(vec![
            WrittenFormat::Toml, WrittenFormat::Abc, WrittenFormat::MusicXml, WrittenFormat::Mxl,
        ]), 1..5),
    ) {
        let mut start = melody;
        start.sheet.composer = composer;
        let mut now = start.clone();
        let mut lost = Vec::new();
        for format in route {
            lost.extend(format.cannot_hold(&now).into_iter().map(|remark| remark.code));
            let name = match format {
                WrittenFormat::Toml => "a.toml",
                WrittenFormat::Abc => "a.abc",
                _ => "a.musicxml",
            };
            now = read_melody_bytes(name, &format.write(&now)).expect("what we write can be read").melody;
        }
        if lost.iter().any(|code| code == "title") {
            now.title.clone_from(&start.title);
        }
        prop_assert_eq!(&now.events, &start.events);
        if lost.iter().any(|code| code == "tied") {
            // The same events in other symbols.
            now.sheet.bars.clone_from(&start.sheet.bars);
        }
        prop_assert_eq!(what_is_said(&now), what_is_said(&start));
    }
}
