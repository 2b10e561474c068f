//! `fingertape move`: the tune stays, what could not be kept is said, and there and back is the same.

mod melodies;
mod program;

use fingertape::formats::{read_melody, read_melody_bytes};
use fingertape::notation::{EventKind, Instrument, Keeping, Melody};
use program::{program, said};
use proptest::prelude::*;
use std::fs;
use std::path::Path;

fn run(arguments: &[&str], folder: &Path) -> (i32, String, String) {
    let arguments = [&["move"], arguments].concat();
    said(program(&arguments).current_dir(folder).output().expect("the program runs"))
}

fn folder(melody: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("tune.toml"), melody).expect("a file");
    folder
}

const TUNE: &str = "title = 'Gate'\ninstrument = 'violin'\nkey = 'D'\nbpm = 80\nbars = ['D4 q F#4 (2) A4 E5', 'D5 h r q D4']\n";

fn read(text: &str) -> Melody {
    read_melody_bytes("m.toml", text.as_bytes()).unwrap_or_else(|error| panic!("{error}\n{text}")).melody
}

fn names(melody: &Melody) -> String {
    let note = |kind| match kind {
        EventKind::Note { written, .. } => written.to_string(),
        EventKind::Rest => "r".to_owned(),
    };
    melody.events.iter().map(|event| note(event.kind)).collect::<Vec<_>>().join(" ")
}

#[test]
fn a_violin_tune_becomes_one_for_the_others_by_octaves() {
    let folder = folder(TUNE);
    for (to, written, sounding, said) in [
        ("viola", "D4 F#4 A4 E5 D5 r D4", 62, ""),
        (
            "cello",
            "D2 F#2 A2 E3 D3 r D2",
            38,
            "To stay in first position the cello plays it one octave lower than it usually plays together",
        ),
        ("bass", "D3 F#3 A3 E4 D4 r D3", 38, "Bar 1, beat 4: E4 is above first position on the bass"),
    ] {
        let (code, text, errors) = run(&["tune.toml", "--to", to], folder.path());
        assert_eq!(code, 0, "{errors}");
        let moved = read(&text);
        assert_eq!(names(&moved), written, "{to}");
        assert_eq!(moved.soundings().next(), Some(sounding), "{to}");
        assert_eq!(moved.sheet.key().to_string(), "D");
        assert!(errors.contains(said) && errors.is_empty() == said.is_empty(), "{to}: {errors}");
    }
}

/// Worked out by hand: F sharp is the violin's second finger, the cello's third and the bass's fourth.
#[test]
fn printed_fingers_become_those_of_the_other_hand() {
    let tune = read("instrument = 'violin'\nkey = 'D'\nbars = ['D4 q (0) F#4 (2) E4 (1) A4 (4)']\n");
    let fingers = |melody: &Melody| -> Vec<Option<u8>> {
        melody.sheet.bars.iter().flat_map(|bar| &bar.items).map(|item| item.finger).collect()
    };
    let cello = tune.moved_to(Instrument::Violin, Instrument::Cello, Keeping::Names);
    assert_eq!(fingers(&cello.melody), [Some(0), Some(3), Some(1), Some(0)]);
    assert_eq!(cello.remarks.len(), 1, "{:?}", cello.remarks);
    assert_eq!(cello.remarks[0].text, "Bar 1, beat 4: the printed finger 4 becomes the open string.");
    let viola = tune.moved_to(Instrument::Violin, Instrument::Viola, Keeping::Fingers);
    assert_eq!(fingers(&viola.melody), fingers(&tune));
    assert_eq!((names(&viola.melody).as_str(), viola.remarks.len()), ("G3 B3 A3 D4", 0));
    assert_eq!(viola.melody.sheet.key().to_string(), "G");
}

#[test]
fn the_same_fingers_lie_on_the_corresponding_string_in_another_key() {
    let folder = folder(TUNE);
    let (code, text, errors) =
        run(&["tune.toml", "--to", "viola", "--same-fingers", "--output", "v.abc"], folder.path());
    assert_eq!(
        (code, text.as_str(), errors.as_str()),
        (0, "v.abc: for viola, in G, sounding 7 semitones lower.\n", "")
    );
    let moved = read_melody(&folder.path().join("v.abc")).expect("a melody").melody;
    assert_eq!(names(&moved), "G3 B3 D4 A4 G4 r G3");
    let (_, _, errors) = run(&["tune.toml", "--to", "bass", "--same-fingers"], folder.path());
    assert!(errors.contains("The bass is tuned in fourths and the violin in fifths"), "{errors}");
}

#[test]
fn nothing_is_replaced_unless_it_is_asked_for() {
    let folder = folder(TUNE);
    let there = folder.path().join("there.toml");
    fs::write(&there, "mine").expect("a file");
    let arguments = ["tune.toml", "--to", "viola", "--output", "there.toml"];
    let (code, _, errors) = run(&arguments, folder.path());
    assert_eq!(code, 2);
    assert!(errors.contains("there is a file there.toml already"), "{errors}");
    assert_eq!(fs::read_to_string(&there).expect("a file"), "mine");
    let (code, ..) = run(&[&arguments[..], &["--force"]].concat(), folder.path());
    assert_eq!(code, 0);
    assert_eq!(read_melody(&there).expect("a melody").melody.instrument, Some(Instrument::Viola));
    let (code, _, errors) =
        run(&["tune.toml", "--to", "viola", "--output", "tune.toml", "--force"], folder.path());
    assert_eq!(code, 2);
    assert!(errors.contains("is the melody that is read"), "{errors}");
    let (code, _, errors) = run(&["tune.toml", "--to", "viola", "--output", "tune.pdf"], folder.path());
    assert_eq!(code, 2);
    assert!(errors.contains("let it end in .toml"), "{errors}");
}

#[test]
fn a_melody_of_an_unknown_instrument_is_asked_about() {
    let folder = folder("bars = ['D3 w']");
    let (code, _, errors) = run(&["tune.toml", "--to", "viola"], folder.path());
    assert_eq!(code, 2);
    assert!(errors.contains("--instrument"), "{errors}");
    let (code, text, _) = run(&["tune.toml", "--instrument", "bass", "--to", "violin"], folder.path());
    assert_eq!((code, names(&read(&text)).as_str()), (0, "D4"));
}

#[test]
fn the_demo_goes_to_every_instrument() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/melody.toml");
    let folder = tempfile::tempdir().expect("a folder");
    for to in ["violin", "viola", "cello", "bass"] {
        let (code, text, _) = run(&[demo.to_str().expect("a path"), "--to", to], folder.path());
        assert_eq!(code, 0);
        assert_eq!(read(&text).instrument.expect("an instrument").to_string(), to);
    }
}

#[test]
fn a_note_that_comes_to_lie_on_another_string_is_told() {
    let text = "instrument = \"violin\"\nbars = \"\"\"\nD5 w\n\"\"\"\n";
    let melody = fingertape::formats::read_melody_bytes("d5.toml", text.as_bytes()).expect("a melody").melody;
    // The third finger of the A string; on the bass the G string begins there.
    let moved = melody.moved_to(Instrument::Violin, Instrument::Bass, Keeping::Fingers);
    assert!(moved.remarks.iter().any(|remark| remark.code == "another-string"), "{:?}", moved.remarks);
}

#[test]
fn another_hand_is_told_and_the_same_one_is_not() {
    let text = "instrument = \"violin\"\nbars = \"\"\"\nD4 q E4 F#4 G4\n\"\"\"\n";
    let melody =
        fingertape::formats::read_melody_bytes("tune.toml", text.as_bytes()).expect("a melody").melody;
    for (to, told) in [(Instrument::Viola, false), (Instrument::Cello, true), (Instrument::Bass, true)] {
        let moved = melody.moved_to(Instrument::Violin, to, Keeping::Fingers);
        let found = moved.remarks.iter().any(|remark| remark.code == "another-hand");
        assert_eq!(found, told, "{to}: {:?}", moved.remarks);
    }
    let cello = melody.moved_to(Instrument::Violin, Instrument::Cello, Keeping::Fingers).melody;
    let moved = cello.moved_to(Instrument::Cello, Instrument::Bass, Keeping::Fingers);
    assert!(moved.remarks.iter().any(|remark| remark.code == "another-hand"), "{:?}", moved.remarks);
}

#[test]
fn sounds_at_the_edge_of_what_has_a_number_stay_within_it() {
    // On the bass the corresponding string of the violin is 27 to 33 semitones lower.
    for (note, from, to) in [
        ("C0", Instrument::Violin, Instrument::Bass),
        ("C-1", Instrument::Violin, Instrument::Bass),
        ("G9", Instrument::Bass, Instrument::Violin),
    ] {
        let text = format!("instrument = \"{from}\"\nbars = \"\"\"\n{note} w\n\"\"\"\n");
        let Ok(read) = fingertape::formats::read_melody_bytes("edge.toml", text.as_bytes()) else { continue };
        let before = read.melody.soundings().next().expect("a note");
        let moved = read.melody.moved_to(from, to, Keeping::Fingers);
        let after = moved.melody.soundings().next().expect("a note");
        assert_eq!(after - before, moved.semitones, "{note}");
        assert!((0..=127).contains(&after), "{note}: {after}");
        let strings = (0..4).map(|string| to.open_strings()[string] - from.open_strings()[string]);
        let same_name = |apart: i32| (moved.semitones - apart) % 12 == 0;
        assert!(strings.into_iter().any(same_name), "{note}: by whole octaves, not by {}", moved.semitones);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn the_tune_is_never_bent(
        melody in melodies::melodies(true),
        to in proptest::sample::select(Instrument::ALL.to_vec()),
        fingers in any::<bool>(),
    ) {
        let from = melody.instrument.expect("an instrument");
        let keeping = if fingers { Keeping::Fingers } else { Keeping::Names };
        let moved = melody.moved_to(from, to, keeping);
        for (before, after) in melodies::sounds(&melody).iter().zip(melodies::sounds(&moved.melody)) {
            prop_assert_eq!((before.0, before.1), (after.0, after.1));
            prop_assert_eq!(before.2.map(|sounding| sounding + moved.semitones), after.2);
        }
        prop_assert_eq!(moved.melody.shift(), to.sounding_shift());
        if !fingers {
            prop_assert_eq!(moved.semitones % 12, 0);
            prop_assert!(moved.melody.soundings().min() >= Some(to.open_strings()[0]));
        }
        // What is written is what is read again, letter for letter.
        prop_assert_eq!(&melodies::again(&moved.melody), &moved.melody);
        // A note outside first position is always said.
        let top = to.highest_in_first_position();
        let outside = moved.melody.soundings().any(|sounding| sounding > top || sounding < to.open_strings()[0]);
        let told = moved.remarks.iter().any(|remark| remark.code == "outside-first-position");
        prop_assert_eq!(outside, told);
    }

    #[test]
    fn there_and_back_is_the_same_melody_when_nothing_had_to_be_changed(
        melody in melodies::melodies(true),
        to in proptest::sample::select(Instrument::ALL.to_vec()),
        fingers in any::<bool>(),
    ) {
        let from = melody.instrument.expect("an instrument");
        let keeping = if fingers { Keeping::Fingers } else { Keeping::Names };
        let there = melody.moved_to(from, to, keeping);
        let other_than_the_hand = there.remarks.iter().any(|remark| remark.code != "another-hand");
        if !other_than_the_hand {
            let back = there.melody.moved_to(to, from, keeping);
            prop_assert_eq!(&back.melody, &melody);
            prop_assert_eq!(back.semitones, -there.semitones);
        }
    }

    #[test]
    fn violin_viola_and_cello_keep_every_finger_s_place(melody in melodies::melodies(false)) {
        let from = melody.instrument.expect("an instrument");
        prop_assume!(from != Instrument::Bass);
        for to in [Instrument::Violin, Instrument::Viola, Instrument::Cello] {
            let moved = melody.moved_to(from, to, Keeping::Fingers);
            let strings = |instrument: Instrument| instrument.open_strings();
            for (before, after) in melody.soundings().zip(moved.melody.soundings()) {
                for string in 0..4 {
                    prop_assert_eq!(before - strings(from)[string], after - strings(to)[string]);
                }
            }
        }
    }
}
