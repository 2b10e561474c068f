//! The report as words for a child: what went well, one thing to fix first, then the rest.
//!
//! No marks and no totals. What the program is not sure of is said as that and never held against the
//! player; a slack string is told apart from a finger.

use super::intonation::{self, GOOD_STRING_CENTS, RETUNE_CENTS};
use super::things_to_fix::{Thing, place_of, things_to_fix};
use super::{TextSettings, refused, words};
use crate::findings::{NoteFinding, NoteVerdict, Report, RestVerdict};

/// How many things are listed after the first; the others are in the teacher's report.
const LISTED: usize = 6;

/// The report for the player. Plain sentences, wrapped by whoever prints them; ends with a line feed.
pub fn for_child(report: &Report, settings: &TextSettings) -> String {
    let mut text = settings.heading(&title(report));
    let mut section = |heading: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            text.push('\n');
            text.push_str(&settings.heading(heading));
            for line in lines {
                text.push_str(&wrapped(&line));
            }
        }
    };
    let recording = report.take.remarks.iter().map(|remark| words::harmless(&remark.text)).collect();
    if let Some((why, what_to_do)) = refused::why_and_what_to_do(report.outcome) {
        section("Not judged", vec![why.to_owned(), what_to_do.to_owned()]);
        section("Good to know", recording);
        return text;
    }
    let things = things_to_fix(report, settings);
    let first = heaviest(&things);
    section("What went well", went_well(report, settings));
    section("Fix this first", first.map(|at| things[at].text.clone()).into_iter().collect());
    section("Before you play again", tuning(report));
    section("After that", others(&things, first));
    section("What I could not tell", unsure(report));
    section("Also", also(report));
    section("Good to know", recording);
    text
}

fn title(report: &Report) -> String {
    let name = words::harmless(&report.melody.title);
    format!("{name} ({})", report.melody.instrument)
}

/// The heaviest thing, the earlier of two alike.
fn heaviest(things: &[Thing]) -> Option<usize> {
    (0..things.len()).rev().max_by(|&a, &b| things[a].weight.total_cmp(&things[b].weight))
}

fn others(things: &[Thing], first: Option<usize>) -> Vec<String> {
    let mut rest: Vec<String> =
        (0..things.len()).filter(|at| Some(*at) != first).map(|at| things[at].text.clone()).collect();
    if rest.len() > LISTED {
        let more = rest.len() - (LISTED - 1);
        rest.truncate(LISTED - 1);
        rest.push(format!("And {more} more things. One at a time is enough."));
    }
    rest
}

fn went_well(report: &Report, settings: &TextSettings) -> Vec<String> {
    let mut lines = Vec::new();
    let good = good_bars(report);
    let all = report.notes.iter().all(|note| note.verdict == NoteVerdict::Right);
    if all && !report.notes.is_empty() {
        lines.push("Every note was the one on the sheet.".to_owned());
    } else if !good.is_empty() {
        let bars = words::sentence(&words::bars(&good));
        lines.push(format!("{bars}: every note was the one on the sheet."));
    } else if let Some(run) = longest_run(report) {
        lines.push(run);
    }
    let kept: Vec<_> = report.rests.iter().filter(|rest| rest.verdict == RestVerdict::Kept).collect();
    if !kept.is_empty() {
        let mut bars: Vec<u32> = kept.iter().map(|rest| rest.bar).collect();
        bars.sort_unstable();
        bars.dedup();
        let rests = if kept.len() == 1 { "the rest" } else { "the rests" };
        lines.push(format!("You kept {rests} in {}.", words::bars(&bars)));
    }
    let measured: Vec<f64> = report
        .notes
        .iter()
        .filter_map(|note| intonation::of(report, note, settings))
        .filter(|found| !found.open_only())
        .map(|found| found.finger_cents.abs())
        .collect();
    let close = measured.iter().filter(|cents| **cents <= intonation::IN_TUNE_CENTS).count();
    if measured.len() >= 4 && close == measured.len() {
        lines.push("Every finger that I could measure was close to its pitch.".to_owned());
    } else if measured.len() >= 4 && close * 4 >= measured.len() * 3 {
        lines.push("Most of your fingers were close to the pitch.".to_owned());
    }
    if report.notes.len() >= 8 && report.tempo.drift_percent.is_some_and(|drift| drift.abs() <= 5.0) {
        lines.push("Your beat stayed steady to the end.".to_owned());
    }
    if lines.is_empty() {
        lines.push("You played, recorded it and listened back: that is how it gets better.".to_owned());
    }
    lines
}

/// Bars in which every note was right, in order.
fn good_bars(report: &Report) -> Vec<u32> {
    let mut bars: Vec<(u32, bool)> = Vec::new();
    for note in &report.notes {
        let right = note.verdict == NoteVerdict::Right;
        match bars.iter_mut().find(|(bar, _)| *bar == note.bar) {
            Some((_, good)) => *good &= right,
            None => bars.push((note.bar, right)),
        }
    }
    bars.sort_unstable();
    bars.into_iter().filter_map(|(bar, good)| good.then_some(bar)).collect()
}

/// The longest run of right notes, of two or more.
fn longest_run(report: &Report) -> Option<String> {
    let run = report
        .notes
        .chunk_by(|a, b| a.verdict == b.verdict)
        .filter(|run| run[0].verdict == NoteVerdict::Right)
        .rev()
        .max_by_key(|run| run.len())?;
    let (first, last) = (&run[0], &run[run.len() - 1]);
    if run.len() == 1 {
        return Some(format!("{}: the note was the one on the sheet.", words::place(first.bar, first.beat)));
    }
    Some(format!(
        "{} to {}: every note was the one on the sheet.",
        words::place(first.bar, first.beat),
        words::place(last.bar, last.beat).replacen('B', "b", 1)
    ))
}

/// What to tune. A string that is off says nothing about the player's fingers.
fn tuning(report: &Report) -> Vec<String> {
    let mut lines = Vec::new();
    let whole = report.tuning.offset_cents.filter(|offset| offset.abs() > RETUNE_CENTS);
    let alike = |offset: f64| report.tuning.strings.iter().all(|string| (string.cents - offset).abs() <= 8.0);
    let one_string = !report.tuning.strings.is_empty() && !more_than_one_string(report);
    if let Some(offset) = whole.filter(|offset| alike(*offset) && !one_string) {
        lines.push(format!(
            "The whole instrument is {} ({:.0} cents). I allowed for that: it is not your fingers.",
            flat_or_sharp(offset),
            offset.abs()
        ));
    } else {
        for string in report.tuning.strings.iter().filter(|string| string.cents.abs() > RETUNE_CENTS) {
            let slack = if string.cents < 0.0 { "too slack" } else { "too tight" };
            lines.push(format!(
                "The {} string is {slack}: open, it sounds {:.0} cents {}. That is the string, not your fingers.",
                words::harmless(&string.string),
                string.cents.abs(),
                if string.cents < 0.0 { "flat" } else { "sharp" },
            ));
        }
    }
    if !lines.is_empty() {
        lines.push(
            "Ask your teacher or another grown-up to tune it with you: small turns, and your face away from the \
             strings. (100 cents are one semitone.)"
                .to_owned(),
        );
    }
    lines
}

/// Whether more than one string was surely heard: one string says nothing about the others.
fn more_than_one_string(report: &Report) -> bool {
    let instrument = report.melody.instrument;
    let right = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Right);
    let strings = |note: &NoteFinding| -> Vec<usize> {
        instrument.fingerings(note.written_midi).iter().map(|place| place.string).collect()
    };
    let mut shared: Option<Vec<usize>> = None;
    for note in right {
        let here = strings(note);
        shared = Some(match shared {
            None => here,
            Some(so_far) => so_far.into_iter().filter(|string| here.contains(string)).collect(),
        });
    }
    shared.is_none_or(|shared| shared.is_empty())
}

fn flat_or_sharp(cents: f64) -> &'static str {
    if cents < 0.0 { "tuned flat" } else { "tuned sharp" }
}

fn unsure(report: &Report) -> Vec<String> {
    let notes: Vec<String> = report
        .notes
        .iter()
        .filter(|note| note.verdict == NoteVerdict::Unsure)
        .map(|note| format!("{} ({})", words::place(note.bar, note.beat), words::pitch(&note.written)))
        .collect();
    let rests: Vec<String> = report
        .rests
        .iter()
        .filter(|rest| rest.verdict == RestVerdict::Unsure)
        .map(|rest| format!("{} (the rest)", words::place(rest.bar, rest.beat)))
        .collect();
    let places: Vec<String> = notes.into_iter().chain(rests).collect();
    match places.as_slice() {
        [] => Vec::new(),
        [one] => vec![format!("{one}: I could not hear it well enough. It does not count against you.")],
        some if some.len() <= LISTED => vec![format!(
            "{}: I could not hear these well enough. They do not count against you.",
            some.join("; ")
        )],
        [first, .., last] => vec![format!(
            "From {first} to {last} there are {} notes and rests that I could not hear well enough. They do not \
             count against you.",
            places.len()
        )],
    }
}

fn also(report: &Report) -> Vec<String> {
    let mut lines = Vec::new();
    for restart in &report.restarts {
        let left = place_of(report, restart.left_at_index);
        let resumed = place_of(report, restart.resumed_at_index);
        if let (Some(left), Some(resumed)) = (left, resumed) {
            lines.push(format!(
                "You stopped after {} and began again at {}. I judged what you played after that.",
                left.replacen('B', "b", 1),
                resumed.replacen('B', "b", 1)
            ));
        }
    }
    let tempo = &report.tempo;
    if let (Some(set), Some(played)) = (tempo.set_bpm, tempo.played_bpm)
        && (played / set - 1.0).abs() > 0.08
    {
        let way = if played < set { "slower" } else { "faster" };
        lines.push(format!(
            "You played about {played:.0} beats a minute; {set:.0} was set. I followed your own beat: {way} is no mistake."
        ));
    }
    for string in &report.tuning.strings {
        if (GOOD_STRING_CENTS..=RETUNE_CENTS).contains(&string.cents.abs()) {
            lines.push(format!(
                "The {} string is beginning to drift ({:.0} cents); have it tuned soon.",
                words::harmless(&string.string),
                string.cents.abs()
            ));
        }
    }
    lines
}

/// A sentence as lines of at most 78 columns, indented by two.
fn wrapped(line: &str) -> String {
    let mut out = String::new();
    let mut column = 0;
    for word in line.split_whitespace() {
        let width = word.chars().count();
        if column > 0 && column + 1 + width > 78 {
            out.push('\n');
            column = 0;
        }
        if column == 0 {
            let indent = if out.is_empty() { "  " } else { "    " };
            out.push_str(indent);
            column = indent.len();
        } else {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += width;
    }
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::super::sample_report::{off, report, unheard, wrong};
    use super::*;
    use crate::findings::{ExtraFinding, Outcome, RestartFinding, StringTuning};
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
             Every finger that I could measure was close to its pitch.\n"
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
                "Bar 1, beat 2 (E): I could not hear it well enough. It does not count against you."
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
        assert!(text.contains("The G string is too slack: open, it sounds 24 cents flat."), "{text}");
        assert!(text.contains("small turns, and your face away"), "{text}");
        assert!(!text.contains("Fix this first"), "{text}");
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
            text.contains("If it was the open A string, it wants tuning; if not, move your fourth finger on the D string"),
            "{text}"
        );
    }

    #[test]
    fn the_whole_instrument_low_is_allowed_for() {
        let mut report = violin();
        (0..8).for_each(|index| off(&mut report, index, -30.0));
        report.tuning.offset_cents = Some(-30.0);
        let text = said(&report);
        assert!(text.contains("The whole instrument is tuned flat (30 cents). I allowed for that"), "{text}");
        assert!(!text.contains("Fix this first"), "{text}");
    }

    #[test]
    fn one_open_string_says_nothing_about_the_whole_instrument() {
        let mut report = report(Instrument::Violin, &["A4"]);
        off(&mut report, 0, -20.0);
        report.tuning.offset_cents = Some(-20.0);
        report.tuning.strings = vec![StringTuning { string: "A".into(), cents: -20.0, notes: 1 }];
        let text = said(&report);
        assert!(text.contains("The A string is too slack: open, it sounds 20 cents flat."), "{text}");
        assert!(!text.contains("whole instrument"), "{text}");
    }

    #[test]
    fn one_long_bow_is_told_apart_from_a_note_left_out() {
        let mut report = violin();
        unheard(&mut report, 5, NoteVerdict::Missing);
        let text = said(&report);
        assert!(text.contains("I heard one long A. Change the bow"), "{text}");
        unheard(&mut report, 3, NoteVerdict::Missing);
        assert!(said(&report).contains("Bar 1, beat 4: I did not hear the G that is on the sheet."));
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
        assert!(
            text.contains("Bar 2, beat 3: the rest is 1 beat long; you gave it about half a beat"),
            "{text}"
        );
        report.rests[0].verdict = RestVerdict::Stretched;
        report.rests[0].played_beats = Some(2.5);
        assert!(said(&report).contains("you gave it about 2 and a half beats"));
        report.rests[0].verdict = RestVerdict::Filled;
        assert!(said(&report).contains("the string kept sounding"));
    }

    #[test]
    fn extra_notes_and_restarts_have_their_places() {
        let mut report = violin();
        let extra = |onset_s| ExtraFinding {
            onset_s,
            offset_s: onset_s + 0.2,
            played_midi: 65.9,
            after_index: Some(1),
        };
        report.extra = vec![extra(2.0), extra(2.3)];
        report.restarts = vec![RestartFinding { time_s: 4.0, left_at_index: 3, resumed_at_index: 0 }];
        let text = said(&report);
        assert!(
            text.contains(
                "After bar 1, beat 2: I heard 2 extra notes that are not on the sheet: F sharp and F sharp (at 2.0 seconds)."
            ),
            "{text}"
        );
        assert!(text.contains("You stopped after bar 1, beat 4 and began again at bar 1, beat 1."), "{text}");
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
        assert!(text.contains("Everything sounds an octave lower than the sheet for violin."), "{text}");
        assert!(!text.contains("you played"), "{text}");
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
        assert!(text.contains("there are 10 notes and rests that I could not hear well enough"), "{text}");
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
}
