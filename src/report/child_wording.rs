//! What the child reads for each kind of finding.

use super::sample_report::{off, report, unheard, wrong};
use super::{TextSettings, for_child};
use crate::findings::{
    ExtraFinding, NoteVerdict, Outcome, Report, RestVerdict, RestartFinding, StringTuning,
};
use crate::notation::Instrument;
use crate::remark::Remark;

const D_MAJOR: [&str; 8] = ["D4", "E4", "F#4", "G4", "A4", "A4", "-", "D4"];

fn violin() -> Report {
    report(Instrument::Violin, &D_MAJOR)
}

/// The text on one line, so that wrapping does not matter.
fn said(report: &Report) -> String {
    let text = for_child(report, &TextSettings::default());
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_take_with_nothing_wrong_has_nothing_to_fix() {
    let text = for_child(&violin(), &TextSettings::default());
    assert_eq!(
        text,
        "Gate (violin)\n\n\
         What went well\n  \
         Every note was the one on the sheet.\n  \
         You kept the rest in bar 2.\n  \
         Every finger that I could measure was close to its pitch.\n\n\
         And now\n  \
         I found nothing to fix. Play it to somebody!\n"
    );
}

#[test]
fn a_wrong_note_is_named_with_its_place_and_what_the_finger_can_do() {
    let mut report = violin();
    wrong(&mut report, 2, -1.0);
    let text = said(&report);
    assert!(
        text.contains(
            "Fix this first Bar 1, beat 3: you played F natural; the sheet has F sharp. Second finger higher, \
             touching the third."
        ),
        "{text}"
    );
    assert!(text.contains("Bar 2: every note was the one on the sheet."), "{text}");
}

#[test]
fn the_same_mistake_twice_is_said_once_and_comes_first() {
    let mut report = report(Instrument::Violin, &["D4", "E4", "G4", "F#4", "D4", "E4", "G4", "F#4"]);
    wrong(&mut report, 0, 2.0);
    wrong(&mut report, 3, -1.0);
    wrong(&mut report, 7, -1.0);
    let text = said(&report);
    assert!(text.contains("Fix this first Bar 1, beat 4: you played F natural"), "{text}");
    assert!(text.contains("The same in bar 2, beat 4."), "{text}");
}

#[test]
fn unsure_is_said_as_unsure_and_not_to_be_fixed() {
    let mut report = violin();
    unheard(&mut report, 1, NoteVerdict::Unsure);
    let text = said(&report);
    assert!(
        text.contains(
            "Bar 1, beat 2 (E): I could not tell whether it was right. It does not count against you."
        ),
        "{text}"
    );
    assert!(!text.contains("Fix this first"), "{text}");
}

#[test]
fn a_slack_string_is_not_the_fingers_fault() {
    let mut report = report(Instrument::Violin, &["G3", "A3", "B3", "C4", "G3", "A3", "B3", "G3"]);
    (0..8).for_each(|index| off(&mut report, index, -24.0));
    report.tuning.strings = vec![StringTuning { string: "G".into(), cents: -24.0, notes: 3 }];
    report.tuning.offset_cents = Some(-3.0);
    let text = said(&report);
    assert!(
        text.contains("The G string is too loose: it sounds 24 cents low, and so does everything on it."),
        "{text}"
    );
    assert!(text.contains("Small turns, faces away"), "{text}");
    assert!(text.contains("Fix this first The G string"), "{text}");
    assert!(text.contains("Every finger that I could measure was close"), "{text}");
}

#[test]
fn a_flat_finger_is_said_in_words_cents_and_millimetres() {
    let mut report = violin();
    off(&mut report, 1, -30.0);
    // 3/4 violin, 307 mm: 307 · 2^(−2/12) · (2^(30/1200) − 1) = 4.78 mm.
    let text = said(&report);
    assert!(
        text.contains(
            "Bar 1, beat 2: E was a little too low (30 cents). Move your first finger on the D string about 5 mm \
             toward the bridge."
        ),
        "{text}"
    );
    off(&mut report, 1, 40.0);
    assert!(said(&report).contains(
        "E was too high (40 cents). Move your first finger on the D string about 6 mm toward the nut."
    ));
}

#[test]
fn a_finger_that_wandered_is_not_told_where_to_go() {
    let mut report = violin();
    off(&mut report, 1, -30.0);
    report.notes[1].cents_spread = Some(22.0);
    let text = said(&report);
    assert!(text.contains("it moved while you held it") && !text.contains("mm"), "{text}");
}

#[test]
fn a_note_that_may_be_open_or_fourth_finger_is_told_both_ways() {
    let mut report = violin();
    off(&mut report, 4, -26.0);
    let text = said(&report);
    assert!(
        text.contains(
            "If it was the open A string, the string needs tuning; if not, move your fourth finger on the D string"
        ),
        "{text}"
    );
}

#[test]
fn the_whole_instrument_low_is_allowed_for() {
    let mut report = violin();
    (0..8).for_each(|index| off(&mut report, index, -30.0));
    report.tuning.offset_cents = Some(-30.0);
    let text = said(&report);
    assert!(text.contains("Everything sounds about 30 cents low. That is most likely the tuning"), "{text}");
    assert!(!text.contains("Fix this first"), "{text}");
    // An open string that is off by as much makes it sure.
    report.tuning.strings = vec![StringTuning { string: "A".into(), cents: -31.0, notes: 2 }];
    let text = said(&report);
    assert!(text.contains("The whole instrument is tuned low (30 cents). I allowed for that"), "{text}");
}

#[test]
fn one_open_string_says_nothing_about_the_whole_instrument() {
    let mut report = report(Instrument::Violin, &["A4"]);
    off(&mut report, 0, -20.0);
    report.tuning.offset_cents = Some(-20.0);
    report.tuning.strings = vec![StringTuning { string: "A".into(), cents: -20.0, notes: 1 }];
    let text = said(&report);
    assert!(text.contains("The A string is too loose: it sounds 20 cents low."), "{text}");
    assert!(!text.contains("whole instrument"), "{text}");
}

#[test]
fn one_slack_string_is_not_the_whole_instrument() {
    let mut report = violin();
    report.tuning.offset_cents = Some(-12.0);
    report.tuning.strings = vec![
        StringTuning { string: "D".into(), cents: -1.0, notes: 2 },
        StringTuning { string: "A".into(), cents: -24.0, notes: 2 },
    ];
    let text = said(&report);
    assert!(text.contains("The A string is too loose: it sounds 24 cents low."), "{text}");
    assert!(!text.contains("whole instrument") && !text.contains("D string is"), "{text}");
}

/// D4 E4 F#4 - G4, each so many cents off, with a D string that is 24 cents low, heard open so often.
fn on_a_slack_string(cents: [f64; 4], heard: usize) -> Report {
    let mut report = report(Instrument::Violin, &["D4", "E4", "F#4", "-", "G4", "B4", "C#5", "B4"]);
    cents.into_iter().zip([0, 1, 2, 4]).for_each(|(cents, at)| off(&mut report, at, cents));
    report.tuning.strings = vec![StringTuning { string: "D".into(), cents: -24.0, notes: heard }];
    report
}

#[test]
fn a_finger_is_off_only_where_it_is_off_for_its_string_and_for_the_ear() {
    for heard in [1, 3] {
        // As low as the string, as the ear wants it, and between.
        let text = said(&on_a_slack_string([-24.0, -30.0, 3.0, -12.0], heard));
        assert!(
            text.contains("Fix this first The D string is too loose") && !text.contains(" was a"),
            "{text}"
        );
        assert!(text.contains("made up for it by ear"), "{text}");
        // Too high and too low by either.
        let text = said(&on_a_slack_string([-24.0, 28.0, -54.0, -24.0], heard));
        assert!(text.contains("E was a little too high (28 cents)"), "{text}");
        assert!(text.contains("F sharp was a little too low (30 cents)"), "{text}");
        assert!(text.contains("Fix this first The D string is too loose"), "{text}");
    }
}

#[test]
fn a_single_open_note_says_nothing_against_fingers_that_are_as_the_whole_instrument_is() {
    let mut report = on_a_slack_string([0.0, -24.0, -24.0, -24.0], 1);
    report.tuning.offset_cents = Some(-24.0);
    report.tuning.strings[0].cents = 0.0;
    (4..8).for_each(|at| off(&mut report, at, -24.0));
    assert!(!said(&report).contains(" was a"), "{}", said(&report));
    report.tuning.strings[0].notes = 2;
    assert!(said(&report).contains("E was a little too low (24 cents)"), "{}", said(&report));
}

#[test]
fn a_note_that_sounds_right_is_not_called_high_because_most_notes_lie_on_a_low_string() {
    // Too few notes on A tell that it is D which is low.
    let mut report = report(Instrument::Violin, &["E4", "F#4", "G4", "E4", "F#4", "G4", "B4", "B4"]);
    (0..6).for_each(|at| off(&mut report, at, -24.0));
    report.tuning.offset_cents = Some(-24.0);
    let text = said(&report);
    assert!(!text.contains("B was") && !text.contains("whole instrument"), "{text}");
    assert!(!text.contains("Everything sounds"), "{text}");
}

#[test]
fn what_was_heard_of_no_open_note_may_be_the_hand() {
    let mut report = report(Instrument::Violin, &["E4", "F#4", "G4", "E4", "B4", "C#5", "B4", "C#5"]);
    (0..4).for_each(|at| off(&mut report, at, -20.0));
    report.tuning.strings = vec![StringTuning { string: "D".into(), cents: -20.0, notes: 4 }];
    let text = said(&report);
    let told = "Everything on the D string sounds about 20 cents low. That is most likely the string, not your fingers: \
                tune it first.";
    assert!(text.contains(told), "{text}");
}

#[test]
fn one_long_bow_is_told_apart_from_a_note_left_out() {
    let mut report = violin();
    unheard(&mut report, 5, NoteVerdict::Missing);
    let text = said(&report);
    assert!(text.contains("I heard one long A. Change the bow"), "{text}");
    unheard(&mut report, 3, NoteVerdict::Missing);
    assert!(said(&report).contains("Bar 1, beat 4: I did not hear the G. Play this bar slowly"));
}

#[test]
fn a_take_that_stops_early_is_one_thing() {
    let mut report = violin();
    for index in [4, 5, 7] {
        unheard(&mut report, index, NoteVerdict::Missing);
    }
    let text = said(&report);
    assert!(
        text.contains("Bar 2, beat 1: from here to the end I heard nothing more of the melody."),
        "{text}"
    );
    assert_eq!(text.matches("I did not hear").count(), 0, "{text}");
}

#[test]
fn rests_are_told_in_beats() {
    let mut report = violin();
    report.rests[0].verdict = RestVerdict::Rushed;
    report.rests[0].played_beats = Some(0.45);
    let text = said(&report);
    assert!(text.contains("Bar 2, beat 3: the rest is 1 beat long; you gave it about half a beat"), "{text}");
    report.rests[0].verdict = RestVerdict::Stretched;
    report.rests[0].played_beats = Some(2.5);
    assert!(said(&report).contains("you gave it about 2 and a half beats"));
    report.rests[0].verdict = RestVerdict::Filled;
    assert!(said(&report).contains("the string kept sounding"));
}

#[test]
fn extra_notes_and_restarts_have_their_places() {
    let mut report = violin();
    let extra =
        |onset_s| ExtraFinding { onset_s, offset_s: onset_s + 0.2, played_midi: 65.9, after_index: Some(1) };
    report.extra = vec![extra(2.0), extra(2.3)];
    report.restarts = vec![RestartFinding { time_s: 4.0, left_at_index: 3, resumed_at_index: 0 }];
    let text = said(&report);
    assert!(
        text.contains(
            "After bar 1, beat 2: I think I heard 2 extra notes that are not on the sheet: F sharp and F sharp. Listen at 2.0 seconds: can you hear it too?"
        ),
        "{text}"
    );
    assert!(text.contains("You stopped after bar 1, beat 4 and went back to bar 1, beat 1."), "{text}");
}

#[test]
fn who_plays_it_twice_has_not_stopped() {
    let mut report = violin();
    let whole = RestartFinding { time_s: 8.0, left_at_index: 7, resumed_at_index: 0 };
    report.restarts = vec![whole.clone()];
    let text = said(&report);
    let line = "You came to the end of the melody and played it again from the beginning. I judged what you played last.";
    assert!(text.contains(line) && !text.contains("You stopped"), "{text}");
    let stopped = RestartFinding { time_s: 12.0, left_at_index: 3, resumed_at_index: 0 };
    report.restarts = vec![whole.clone(), whole, stopped];
    let text = said(&report);
    assert!(text.contains("began again 2 times. I judged what you played last."), "{text}");
    assert!(text.contains("You stopped after bar 1, beat 4 and went back to bar 1, beat 1."), "{text}");
}

#[test]
fn a_refusal_says_why_and_what_to_do_and_grades_nothing() {
    for outcome in [Outcome::Silence, Outcome::TooQuiet, Outcome::TooNoisy, Outcome::NotThisMelody] {
        let mut report = violin();
        report.outcome = outcome;
        report.take.remarks = vec![Remark::new("hum", "There is a hum.")];
        let text = said(&report);
        assert!(text.contains("Not judged") && text.contains("There is a hum."), "{text}");
        assert!(!text.contains("Fix this first") && !text.contains("What went well"), "{text}");
    }
}

#[test]
fn an_octave_away_is_one_thing_to_know() {
    let mut report = violin();
    for index in [0, 1, 2, 3, 4, 5, 7] {
        wrong(&mut report, index, -12.0);
    }
    let text = said(&report);
    assert!(text.contains("Everything sounds an octave lower than your violin sheet."), "{text}");
    assert!(!text.contains("you played"), "{text}");
}

#[test]
fn an_octave_away_is_said_once_and_other_wrong_notes_are_told_from_it() {
    let mut report = violin();
    for index in [0, 1, 3, 4, 5, 7] {
        wrong(&mut report, index, -12.0);
    }
    wrong(&mut report, 2, -13.0);
    report.take.remarks = vec![Remark::new("octave-away", "The whole take is an octave lower.")];
    let text = said(&report);
    assert!(text.contains("Everything sounds an octave lower"), "{text}");
    assert!(!text.contains("The whole take"), "{text}");
    assert!(text.contains("Bar 1, beat 3: you played F natural; the sheet has F sharp."), "{text}");
    assert_eq!(text.matches("you played").count(), 1, "{text}");
}

#[test]
fn a_recording_that_is_over_is_not_held_against_the_player() {
    let mut report = violin();
    (4..8).for_each(|index| unheard(&mut report, index, NoteVerdict::Missing));
    report.rests[0].verdict = RestVerdict::Unsure;
    let text = said(&report);
    assert!(text.contains("Bar 2, beat 1: from here to the end I heard nothing more"), "{text}");
    assert!(!text.contains("(the rest)"), "{text}");
    // The last note that was heard ends at 2.95 s.
    report.take.duration_s = 3.2;
    let text = said(&report);
    assert!(text.contains("Bar 2, beat 1: the recording is over before this note."), "{text}");
    assert!(!text.contains("from here to the end"), "{text}");
}

#[test]
fn a_recording_that_began_late_is_not_held_against_the_player() {
    let mut report = violin();
    (0..2).for_each(|index| unheard(&mut report, index, NoteVerdict::Missing));
    let text = said(&report);
    assert!(text.contains("Bar 1, beat 1 to beat 2: I did not hear these 2 notes."), "{text}");
    report.notes[2].onset_s = Some(0.01);
    let text = said(&report);
    let advice = "Bar 1, beat 1: the recording begins only after this note. Start recording first, wait a moment, then play.";
    assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains(advice), "{text}");
    assert!(!text.contains("I did not hear"), "{text}");
}

#[test]
fn the_same_finger_off_again_is_one_thing() {
    let mut report = report(Instrument::Violin, &["D4", "E4", "F#4", "E4", "A4", "E4", "D4", "E4"]);
    off(&mut report, 1, -22.0);
    off(&mut report, 3, -30.0);
    off(&mut report, 5, 25.0);
    off(&mut report, 7, -24.0);
    let text = said(&report);
    assert!(text.contains("Fix this first Bar 1, beat 4: E was a little too low (30 cents)."), "{text}");
    assert!(text.contains("The same way off in bar 1, beat 2 and bar 2, beat 4."), "{text}");
    assert!(text.contains("Bar 2, beat 2: E was a little too high (25 cents)."), "{text}");
}

#[test]
fn what_is_not_sure_is_said_as_that_and_does_not_come_first() {
    let mut report = violin();
    wrong(&mut report, 2, -1.0);
    report.notes[2].confidence = 0.6;
    off(&mut report, 1, -30.0);
    let text = said(&report);
    assert!(text.contains("Fix this first Bar 1, beat 2: E was"), "{text}");
    assert!(text.contains("you played F natural; the sheet has F sharp. Second finger higher, touching the third. (I am not sure"), "{text}");
}

#[test]
fn a_note_in_a_rest_is_told_with_the_rest() {
    let mut report = violin();
    report.rests[0].verdict = RestVerdict::Filled;
    report.extra =
        vec![ExtraFinding { onset_s: 5.0, offset_s: 5.2, played_midi: 66.0, after_index: Some(5) }];
    let text = said(&report);
    assert!(text.contains("a rest of 1 beat here, and I think I heard a note in it."), "{text}");
    assert!(!text.contains("kept sounding") && !text.contains("extra note"), "{text}");
}

#[test]
fn a_rest_that_could_not_be_measured_is_not_praised() {
    let mut report = violin();
    report.rests[0].played_beats = None;
    assert!(!said(&report).contains("You kept"));
}

#[test]
fn a_remark_says_nothing_twice_and_nothing_that_the_player_cannot_use() {
    let mut report = violin();
    report.take.remarks = vec![
        Remark::new("dc-offset", "An offset."),
        Remark::new("quiet", "It is quiet."),
        Remark::new("quiet", "It is quiet."),
    ];
    let text = said(&report);
    assert!(!text.contains("offset") && text.matches("It is quiet.").count() == 1, "{text}");
    report.outcome = Outcome::Silence;
    report.take.remarks = vec![Remark::new("silence", "Nothing sounds.")];
    assert!(!said(&report).contains("Nothing sounds."));
}

#[test]
fn a_pitch_between_two_notes_is_not_given_a_name() {
    let mut report = violin();
    wrong(&mut report, 1, -0.6);
    let text = said(&report);
    assert!(text.contains("you played a note between E flat and E; the sheet has E."), "{text}");
    wrong(&mut report, 1, -1.45);
    let text = said(&report);
    assert!(text.contains("you played a note between E flat and D; the sheet has E."), "{text}");
}

#[test]
fn a_verdict_that_is_not_sure_is_not_built_upon() {
    let mut report = violin();
    off(&mut report, 1, -30.0);
    report.notes[1].confidence = 0.7;
    assert!(!said(&report).contains("too low"));
}

#[test]
fn a_crowd_of_unsure_notes_is_said_in_one_sentence() {
    let mut report = report(Instrument::Violin, &["D4"; 12]);
    (0..10).for_each(|index| unheard(&mut report, index, NoteVerdict::Unsure));
    let text = said(&report);
    assert!(text.contains("There are 10 notes in bars 1 to 3 of which I could not tell"), "{text}");
}

#[test]
fn many_things_are_not_all_listed() {
    let mut report = report(Instrument::Violin, &["D4"; 24]);
    for index in 0..12 {
        wrong(&mut report, index, index as f64 + 1.0);
    }
    let text = said(&report);
    assert!(text.contains("And 6 more things. One at a time is enough."), "{text}");
}

#[test]
fn no_line_is_wider_than_a_terminal_and_none_has_marks_or_totals() {
    let mut report = violin();
    wrong(&mut report, 2, -1.0);
    off(&mut report, 1, -30.0);
    report.rests[0].verdict = RestVerdict::Filled;
    let text = for_child(&report, &TextSettings::default());
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    for word in ["score", "points", "star", "percent right", " of 7", "grade"] {
        assert!(!text.contains(word), "{word}: {text}");
    }
    assert!(!text.contains('\u{1b}'));
}

#[test]
fn bold_is_only_a_weight_and_changes_no_word() {
    let report = violin();
    let bold = for_child(&report, &TextSettings { bold: true, ..TextSettings::default() });
    assert!(bold.contains("\u{1b}[1m"));
    let plain = bold.replace("\u{1b}[1m", "").replace("\u{1b}[0m", "");
    assert_eq!(plain, for_child(&report, &TextSettings::default()));
}
