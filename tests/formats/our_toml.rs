//! Our own TOML: what a child types, and what it hears back about slips.

use super::{read, refused, remarks_on, words};
use fingertape::formats::FormatErrorKind;
use fingertape::notation::{Instrument, Length};

#[test]
fn a_typed_melody_is_what_it_says() {
    let text = "title = \"Kites\"\ninstrument = \"cello\"\nmetre = \"3/4\"\nbpm = 66\nkey = \"D\"\n\
                bars = [\n  \"D3 q  E3  F#3\",\n  \"G3 h (4)  rest q\",\n  \"A3 h. ~\",\n  \"A3 h.\",\n]\n";
    let read = read("kites.toml", text);
    assert_eq!(words(&read), ["D3=50 1/4", "E3=52 1/4", "F#3=54 1/4", "G3=55 1/2", "rest 1/4", "A3=57 3/2"]);
    assert_eq!((read.melody.instrument, read.melody.bpm), (Some(Instrument::Cello), Some(66.0)));
    assert_eq!(read.melody.sheet.bars[1].items[0].finger, Some(4));
    assert!(read.remarks.is_empty(), "{:?}", read.remarks);
}

#[test]
fn a_bass_sheet_sounds_an_octave_lower_without_a_word() {
    let read = read("b.toml", "instrument = 'double bass'\nbars = ['E2 h A2']");
    assert_eq!(words(&read), ["E2=28 1/2", "A2=33 1/2"]);
    assert!(read.remarks.is_empty());
}

#[test]
fn triplets_are_exact() {
    let read = read("t.toml", "metre = '2/4'\nbars = ['D4 q/3 E4 F#4 D4 q']");
    assert_eq!(words(&read), ["D4=62 1/12", "E4=64 1/12", "F#4=66 1/12", "D4=62 1/4"]);
    assert_eq!(read.melody.events[2].beat, Length::new(5, 3));
}

#[test]
fn a_bar_that_is_not_full_points_to_its_line_and_says_what_is_missing() {
    let error = refused("m.toml", "bars = \"\"\"\nD4 q E4 F#4 G4\nD4 q E4 h\n\"\"\"\n");
    assert_eq!(error.kind(), FormatErrorKind::BarLength);
    assert_eq!(error.line_column(), Some((3, 1)));
    assert_eq!(error.bar(), Some(2));
    assert!(error.message().contains("3 beats, and 4/4 wants 4 beats"), "{error}");
    assert!(error.advice().contains("1 beat (a rest"), "{}", error.advice());
    // Too long: the note that crosses the bar line is pointed at.
    let error = refused("m.toml", "bars = ['D4 h E4 h F#4 q']");
    assert_eq!((error.line_column(), error.beat()), (Some((1, 20)), Some(Length::from_integer(5))));
}

#[test]
fn slips_get_an_answer_that_helps() {
    let advice = |bar: &str| {
        refused("m.toml", &format!("instrument = 'violin'\nbars = [\"{bar}\"]")).advice().to_owned()
    };
    assert!(advice("d4 w").contains("D4"));
    assert!(advice("F# w").contains("F#4 or F#5"), "{}", advice("F# w"));
    assert!(advice("H4 w").contains("D4 q"));
    assert!(advice("D4 x").contains("w h q e s") && advice("D4 x").contains("B flat"));
    assert!(advice("D4 h e~A3").contains("A tie ~ stands at the end"), "{}", advice("D4 h e~A3"));
    for no_note in ["d4~E4 w", "dz4 w", "Hx w", "a4z w"] {
        assert!(!advice(no_note).contains("Did you mean"), "{no_note}: {}", advice(no_note));
    }
    let error = refused("m.toml", "meter = '3/4'\nbars = []");
    assert!(error.advice().contains("metre"));
    assert_eq!(error.line_column(), Some((1, 1)));
    assert_eq!(refused("m.toml", "bpm = 0\nbars = ['D4 w']").line_column(), Some((1, 7)));
    for (line, said) in [
        ("bpm = 900", "bpm wants a number from 20 to 300"),
        ("bpm = 19.5", "bpm wants a number from 20 to 300"),
        ("a4 = 600", "a4 wants a number from 390 to 470"),
    ] {
        let error = refused("m.toml", &format!("title = 'x'\n{line}\nbars = ['D4 w']"));
        assert!(error.to_string().contains(said), "{error}");
        assert_eq!(error.line_column().map(|place| place.0), Some(2));
    }
    // Of the eighths of 6/8 three are felt as one.
    let jig = read("m.toml", "metre = '6/8'\nbpm = 360\nbars = ['D4 h.']");
    assert_eq!(jig.melody.bpm, Some(360.0));
    assert_eq!(refused("m.toml", "metre = '4/5'\nbars = ['D4 w']").kind(), FormatErrorKind::Metre);
    assert_eq!(refused("m.toml", "title = 'x'").kind(), FormatErrorKind::Syntax);
    assert_eq!(refused("m.toml", "bars = ['rest w']").kind(), FormatErrorKind::NoNotes);
    assert_eq!(refused("m.toml", "bars = ['D4 1/19']").kind(), FormatErrorKind::Length);
}

#[test]
fn a_key_never_changes_a_typed_letter() {
    let read = read("m.toml", "key = 'G'\nbars = ['F4 h F#4 q Fn4']");
    assert_eq!(read.melody.soundings().collect::<Vec<_>>(), [65, 66, 65]);
    assert_eq!(read.remarks.len(), 1);
    assert!(remarks_on(&read, "natural-against-key", "Bar 1, beat 1"));
}

#[test]
fn a_pickup_and_the_last_bar_share_a_bar() {
    let read = read("m.toml", "pickup = 'A4 q'\nbars = ['D5 w', 'D5 h.']");
    let bars: Vec<u32> = read.melody.events.iter().map(|event| event.bar).collect();
    assert_eq!(bars, [0, 1, 2]);
    assert_eq!(read.melody.events[0].beat, Length::from_integer(4));
    let error = refused("m.toml", "pickup = 'A4 q'\nbars = ['D5 w', 'D5 h']");
    assert!(error.advice().contains("1 beat to share"), "{}", error.advice());
}

#[test]
fn an_error_shows_the_line_and_what_to_do() {
    let error = refused("kites.toml", "bars = \"\"\"\nD4 q E4 F#4 G4\nD4 q E4 h f4\n\"\"\"\n");
    assert_eq!(error.to_string(), "kites.toml:3:11: bar 2, beat 4: “f4” is not a note");
    let shown = format!("{:?}", miette::Report::new(error));
    for part in ["D4 q E4 h f4", "kites.toml:3:11", "Did you mean F4?"] {
        assert!(shown.contains(part), "{shown}");
    }
}

#[test]
fn what_was_to_be_a_length_is_told_at_the_beat_of_its_note() {
    let error = |bar: &str| refused("m.toml", &format!("bars = ['D4 w', '{bar}']\n")).to_string();
    assert!(error("A4 x B4 q").contains("bar 2, beat 1: I do not know “x”"), "{}", error("A4 x B4 q"));
    assert!(error("A4 q B4 x").contains("bar 2, beat 2: "), "{}", error("A4 q B4 x"));
    // After a length a new note is due.
    assert!(error("A4 q x").contains("bar 2, beat 2: "), "{}", error("A4 q x"));
    assert!(error("A4 q B4 A9x").contains("bar 2, beat 3: "), "{}", error("A4 q B4 A9x"));
}

#[test]
fn no_mistake_in_a_file_is_told_of_a_string() {
    for text in [
        "title = Swing Gate\nbars = ['D4 w']",
        "title = \"Swing\nbars = ['D4 w']",
        "title = 'Swing\nbars = 1",
    ] {
        let error = refused("m.toml", text);
        assert!(!error.to_string().contains("string"), "{error}");
    }
    let error = refused("m.toml", "title = Swing Gate\nbars = ['D4 w']");
    assert!(
        error.to_string().ends_with("words must stand between quotes, as in title = \"Rain\""),
        "{error}"
    );
}

#[test]
fn what_a_bar_lacks_is_said_in_whole_beats_and_parts_of_one() {
    let help = |bar: &str| refused("m.toml", &format!("bars = ['{bar}', 'D4 w']\n")).advice().to_owned();
    assert!(help("D4 h E4 q F4 q/3").starts_with("Add 2/3 of a beat (a rest counts too)"));
    assert!(help("D4 h E4 q F4 e").starts_with("Add half a beat "));
    assert!(help("D4 h E4 q").starts_with("Add 1 beat "));
    assert!(help("D4 h E4 e").starts_with("Add 1.5 beats "));
}
