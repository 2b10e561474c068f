//! ABC 2.1: accidentals, rhythm, repeats, and what is passed over or refused.

use super::{read, refused, remarks_on, words};
use fingertape::formats::{FormatErrorKind, read_melody_bytes_for};
use fingertape::notation::{Instrument, Length};

fn tune(body: &str) -> String {
    format!("X:1\nT:Test\nM:4/4\nL:1/4\nK:D\n{body}\n")
}

#[test]
fn the_key_and_the_accidentals_of_the_bar_are_heard() {
    let read = read("t.abc", &tune("F =F F ^G | F G z2 |]"));
    assert_eq!(read.melody.soundings().collect::<Vec<_>>(), [66, 65, 65, 68, 66, 67]);
}

#[test]
fn an_accidental_reaches_other_octaves_as_the_standard_has_it_with_a_remark() {
    let text = tune("^G g G2 | g4 |]");
    let read_all = read("t.abc", &text);
    assert_eq!(read_all.melody.soundings().collect::<Vec<_>>(), [68, 80, 68, 79]);
    assert!(remarks_on(&read_all, "accidental-other-octave", "Bar 1, beat 2"));
    let octave = read("t.abc", &text.replace("T:Test", "I:propagate-accidentals octave"));
    assert_eq!(octave.melody.soundings().collect::<Vec<_>>(), [68, 79, 68, 79]);
}

#[test]
fn a_tied_note_keeps_its_accidental_over_the_bar_line() {
    let read = read("t.abc", &tune("D2 ^G2- | G2 G2 |]"));
    assert_eq!(words(&read), ["D4=62 1/2", "G#4=68 1", "G4=67 1/2"]);
}

#[test]
fn broken_rhythm_and_tuplets_are_exact() {
    let read = read("t.abc", &tune("A>B A<B | (3ABc (3:2:2A2B d |]"));
    let lengths: Vec<Length> = read.melody.events.iter().map(|event| event.length).collect();
    let parts = [(3, 8), (1, 8), (1, 8), (3, 8), (1, 6), (1, 6), (1, 6), (1, 3), (1, 6), (1, 4)];
    assert_eq!(lengths, parts.map(|(n, d)| Length::new(n, d)));
}

#[test]
fn bowings_slurs_words_and_fingers_are_passed_over() {
    let read = read("t.abc", &tune("u(v.A \"G7\"B) !1!c `d | \"^slow\"!f!A4 |]\nw: la la la la la"));
    assert_eq!(words(&read), ["A4=69 1/4", "B4=71 1/4", "C#5=73 1/4", "D5=74 1/4", "A4=69 1"]);
    assert_eq!(read.melody.sheet.bars[0].items[2].finger, Some(1));
    assert!(read.remarks.is_empty(), "{:?}", read.remarks);
}

#[test]
fn repeats_with_endings_and_pickups_are_played_out() {
    let read = read("t.abc", &tune("A | d4 |1 e3 :|2 f3 ||"));
    assert_eq!(read.melody.soundings().collect::<Vec<_>>(), [69, 74, 76, 69, 74, 78]);
    assert_eq!(read.melody.events.iter().map(|event| event.bar).collect::<Vec<_>>(), [0, 1, 2, 0, 1, 3]);
    assert_eq!(read.melody.events[0].beat, Length::from_integer(4));
}

#[test]
fn fields_inside_the_tune_and_bars_of_rest_count() {
    let read = read("t.abc", &tune("A4 | [M:3/4] [K:C] F3 | Z2 | [L:1/8] F6 |]"));
    assert_eq!(words(&read), ["A4=69 1", "F4=65 3/4", "rest 3/4", "rest 3/4", "F4=65 3/4"]);
}

#[test]
fn tempo_counts_beats_of_the_metre() {
    let jig = "X:1\nM:6/8\nL:1/8\nQ:3/8=40\nK:G\nGAB c3 |]\n";
    assert_eq!(read("t.abc", jig).melody.bpm, Some(120.0));
}

#[test]
fn clefs_and_names_tell_the_instrument() {
    let with = |field: &str| read("t.abc", &format!("X:1\nL:1/4\n{field}\nK:C\nD,4 |]\n"));
    assert_eq!(with("V:1 clef=alto").melody.instrument, Some(Instrument::Viola));
    assert_eq!(with("V:1 clef=bass").melody.instrument, Some(Instrument::Cello));
    let bass = with("V:1 name=\"Double Bass\" clef=bass transpose=-12");
    assert_eq!(words(&bass), ["D3=38 1"]);
    assert_eq!(with("I:x").melody.instrument, None);
}

#[test]
fn chords_voices_and_overlays_are_refused_with_bar_and_beat() {
    let chord = refused("t.abc", &tune("A4 | A [Ac] A2 |]"));
    assert_eq!(
        (chord.kind(), chord.bar(), chord.beat()),
        (FormatErrorKind::Chord, Some(2), Some(Length::from_integer(2)))
    );
    assert_eq!(chord.line_column(), Some((6, 8)));
    assert_eq!(refused("t.abc", &tune("A4 & D4 |]")).kind(), FormatErrorKind::SecondVoice);
    let voices = "X:1\nL:1/4\nV:1 name=\"Violin\"\nV:2 name=\"Cello\"\nK:C\n[V:1] d4 |]\n[V:2] D,4 |]\n";
    assert_eq!(refused("t.abc", voices).kind(), FormatErrorKind::SeveralParts);
    let cello = read_melody_bytes_for("t.abc", voices.as_bytes(), Some(Instrument::Cello)).unwrap();
    assert_eq!(words(&cello), ["D3=50 1"]);
    let two = "X:1\nT:One\nK:C\nC8|]\n\nX:2\nT:Two\nK:C\nD8|]\n";
    assert!(refused("t.abc", two).message().contains("One, Two"));
}

#[test]
fn grace_notes_and_ornaments_get_a_remark() {
    let read = read("t.abc", &tune("A4 | {c}B2 TA2 |]"));
    assert_eq!(read.melody.events.len(), 3);
    assert!(remarks_on(&read, "grace-note", "Bar 2, beat 1"));
    assert!(remarks_on(&read, "ornament", "Bar 2, beat 3"));
}

#[test]
fn a_colon_apart_from_its_bar_line_is_still_a_repeat_sign() {
    let read = read("t.abc", &tune("d4 || \\\n:A4 | B4:\"^Fine\"|"));
    assert_eq!(read.melody.soundings().collect::<Vec<_>>(), [74, 69, 71, 69, 71]);
    assert_eq!(refused("t.abc", &tune("A2 : B2 |]")).kind(), FormatErrorKind::Syntax);
}

#[test]
fn words_that_send_the_player_away_get_a_remark() {
    let read = read("t.abc", &tune("A4 | \"D.C. al Fine\" B4 |]"));
    assert!(remarks_on(&read, "jump-words", "Bar 2, beat 1"));
}

#[test]
fn an_accidental_before_a_grace_note_holds_in_the_bar() {
    let read = read("t.abc", &tune("{^gab}a2 g2 | g4 |]"));
    assert_eq!(read.melody.soundings().collect::<Vec<_>>(), [81, 80, 79]);
}

#[test]
fn a_full_bar_does_not_begin_late() {
    let read = read("t.abc", "X:1\nM:2/4\nL:1/8\nK:C\n[I:fingertape beat 2] D4 | E4 |]\n");
    let beats: Vec<Length> = read.melody.events.iter().map(|event| event.beat).collect();
    assert_eq!(beats, [1.into(), 1.into()]);
}
