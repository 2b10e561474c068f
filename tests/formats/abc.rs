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
fn a_sign_that_means_nothing_is_left_out_with_a_remark() {
    let read = read("t.abc", &tune("A B ?c d | A4 |]"));
    assert_eq!(read.melody.soundings().count(), 5);
    assert!(remarks_on(&read, "unknown-sign", "Bar 1, beat 3"), "{:?}", read.remarks);
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
    let of = |body: &str| read("t.abc", &tune(body));
    assert!(remarks_on(&of("A4 | \"D.C. al Fine\" B4 |]"), "jump-words", "Bar 2, beat 1"));
    // Between exclamation marks too, where words with blanks are no decoration: they are not notes either.
    let words_in_marks = of("D E F G !D.C. al fine!|]");
    assert!(remarks_on(&words_in_marks, "jump-words", "“D.C. al fine” is only words"));
    assert_eq!(words_in_marks.melody.soundings().count(), 4);
    // A lone mark ended a line once.
    assert_eq!(of("D E ! F G |]").melody.soundings().count(), 4);
}

/// ABC 2.1, 4.14, lists dacapo, D.C., D.S. and the four with alfine and alcoda.
#[test]
fn jumps_to_the_fine_and_to_the_coda_are_played() {
    let of = |body: &str| {
        let read = read("t.abc", &tune(body));
        let bars: Vec<u32> = read.melody.sheet.bars.iter().map(|bar| bar.number).collect();
        bars
    };
    for jump in ["D.C.", "D.C.alfine", "dacapo"] {
        assert_eq!(of(&format!("D4 !fine!| E4 !{jump}! |]")), [1, 2, 1], "{jump}");
    }
    for jump in ["D.S.", "D.S.alfine"] {
        assert_eq!(of(&format!("D4 | !segno! E4 !fine!| F4 !{jump}! |]")), [1, 2, 3, 2], "{jump}");
    }
    let to_coda = |jump: &str| of(&format!("D4 | !segno! E4 !dacoda! | F4 !{jump}! |] !coda! G4 |]"));
    assert_eq!(to_coda("D.S.alcoda"), [1, 2, 3, 2, 4]);
    assert_eq!(to_coda("D.C.alcoda"), [1, 2, 3, 1, 2, 4]);
}

/// ABC 2.1, 2.2.2.
#[test]
fn a_file_header_holds_for_the_tune_and_the_tune_has_the_last_word() {
    let file =
        "%abc-2.1\nM:3/4\nL:1/4\nC:Everybody\nT:not a field of a file header\n\nFree text.\n\nX:1\nT:One\n";
    let plain = read("t.abc", &format!("{file}K:C\nCDE|]\n"));
    assert_eq!(words(&plain), ["C4=60 1/4", "D4=62 1/4", "E4=64 1/4"]);
    assert_eq!(plain.melody.metre.to_string(), "3/4");
    assert_eq!(plain.melody.title.as_deref(), Some("One"));
    assert_eq!(plain.melody.sheet.composer.as_deref(), Some("Everybody"));
    assert!(plain.remarks.is_empty(), "{:?}", plain.remarks);
    let own = read("t.abc", &format!("{file}C:Nobody\nM:4/4\nL:1/8\nK:C\nC8|]\n"));
    assert_eq!(words(&own), ["C4=60 1"]);
    assert_eq!(own.melody.metre.to_string(), "4/4");
    assert_eq!(own.melody.sheet.composer.as_deref(), Some("Nobody"));
    let macros = "m: ~n2 = n{n+1}n\n\nX:1\nT:One\nK:C\nC8|]\n";
    assert_eq!(refused("t.abc", macros).kind(), FormatErrorKind::Unsupported);
    let accidentals = format!("I:propagate-accidentals not\n\n{}", tune("^G G G2 |]"));
    assert_eq!(read("t.abc", &accidentals).melody.soundings().collect::<Vec<_>>(), [68, 67, 67]);
}

#[test]
fn lines_that_end_with_a_carriage_return_alone_are_lines() {
    let text = include_str!("broken/carriage_returns.abc");
    assert!(text.contains('\r') && !text.contains('\n'));
    assert_eq!(words(&read("t.abc", text)), ["C4=60 1/4", "D4=62 1/4", "E4=64 1/4", "F4=65 1/4"]);
    let wrong = refused("t.abc", &tune("A4 | A [Ac] A2 |]").replace('\n', "\r"));
    assert_eq!(wrong.line_column(), Some((6, 8)));
}

#[test]
fn a_tune_without_its_key_is_refused_for_that() {
    let no_key = refused("t.abc", include_str!("broken/no_key.abc"));
    assert_eq!((no_key.kind(), no_key.line_column()), (FormatErrorKind::Syntax, Some((5, 1))));
    assert!(no_key.message().contains("no K: field"), "{no_key}");
    assert!(no_key.advice().contains("K:D"), "{}", no_key.advice());
    let cut = refused("t.abc", "X:1\nL:1/4\n\nK:C\nCDEF|]\n");
    assert!(cut.advice().contains("before line 4"), "{}", cut.advice());
    assert_eq!(refused("t.abc", "X:1\nK:C\n").kind(), FormatErrorKind::NoNotes);
}

#[test]
fn what_stands_after_the_empty_line_that_ends_a_tune_is_told() {
    let read_all = read("t.abc", include_str!("broken/music_after_an_empty_line.abc"));
    assert_eq!(read_all.melody.soundings().count(), 4);
    assert!(
        remarks_on(&read_all, "after-the-tune", "Line 8: an empty line ends a tune"),
        "{:?}",
        read_all.remarks
    );
    assert!(read("t.abc", &format!("{}\n\n% end\n", tune("A4 |]"))).remarks.is_empty());
}

/// ABC 2.1, 8.2.
#[test]
fn a_per_cent_sign_is_typed_with_a_backslash() {
    let text = tune("A4 |]").replace("T:Test", "T:100\\% fun % a comment\nC:50\\% Bach");
    let read = read("t.abc", &text);
    assert_eq!(read.melody.title.as_deref(), Some("100% fun"));
    assert_eq!(read.melody.sheet.composer.as_deref(), Some("50% Bach"));
}

#[test]
fn a_change_at_the_end_of_a_bar_is_for_the_next_one() {
    let read = read("t.abc", &tune("A4 [M:3/4][K:F] | B3 | B2 [M:4/4] B | d4 |]"));
    assert_eq!(words(&read), ["A4=69 1", "Bb4=70 3/4", "Bb4=70 1/2", "Bb4=70 1/4", "D5=74 1"]);
    let bars = read.melody.sheet.bars.iter().map(|bar| format!("{} {}", bar.metre, bar.key));
    assert_eq!(bars.collect::<Vec<_>>(), ["4/4 D", "3/4 F", "3/4 F", "4/4 F"]);
    assert!(read.remarks.is_empty(), "{:?}", read.remarks);
}

#[test]
fn a_tempo_that_nobody_can_play_does_not_hide_the_next() {
    let read = read("t.abc", &tune("[Q:1/4=1] A4 | [Q:1/4=96] B4 |]"));
    assert_eq!(read.melody.bpm, Some(96.0));
    assert!(remarks_on(&read, "tempo-unplayable", "A tempo of 1 beat a minute"), "{:?}", read.remarks);
}

#[test]
fn one_of_a_kind_is_told_as_one() {
    let once = read("t.abc", &tune("|: A4 :|"));
    assert!(
        remarks_on(&once, "repeats-expanded", "1 bar on the sheet is 2 bars to play"),
        "{:?}",
        once.remarks
    );
    let short = read("t.abc", &tune("A4 | A | A4 | A4 |]"));
    assert!(remarks_on(&short, "odd-bar", "Bar 2 holds 1 beat where 4/4 has 4"), "{:?}", short.remarks);
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
