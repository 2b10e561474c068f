//! The same notes as a list: what was heard of each note, rest and extra note, in the words of the staff's labels.

use super::staff::{NoteWords, place_of_extra};
use crate::findings::{ExtraFinding, NoteFinding, NoteVerdict, Report, RestFinding, RestVerdict};
use crate::notation::Melody;
use crate::report::{TextSettings, intonation, no_new_bow, words};

/// A line of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct ListLine<'a> {
    /// The bar that it stands under.
    pub bar: u32,
    /// Where in the bar, and what was heard.
    pub said: String,
    /// The note that it is about, where it is about one.
    pub note: Option<&'a NoteWords>,
}

/// Notes, rests, extra notes and returns, in the order of the sheet. `notes` are the words of each written note.
pub fn list_lines<'a>(report: &Report, melody: &Melody, notes: &'a [NoteWords]) -> Vec<ListLine<'a>> {
    // An extra note and a return come after their event, so many of them as there are.
    let mut lines: Vec<(usize, u8, ListLine<'a>)> = Vec::new();
    let written = report.notes.iter().map(|note| (note.index, note.bar));
    let mut bars: Vec<(usize, u32)> =
        written.chain(report.rests.iter().map(|rest| (rest.index, rest.bar))).collect();
    bars.sort_unstable();
    let bar_of = |event: Option<usize>| {
        let bar = event.and_then(|event| bars.iter().rev().find(|one| one.0 <= event));
        bar.or(bars.first()).map_or(1, |one| one.1)
    };
    for note in notes {
        let line = ListLine { bar: note.bar, said: note.said.clone(), note: Some(note) };
        lines.push((note.event + 1, 0, line));
    }
    for rest in &report.rests {
        let said = format!("beat {}, {}", words::position(rest.beat), rest_said(rest));
        lines.push((rest.index + 1, 0, ListLine { bar: rest.bar, said, note: None }));
    }
    for extra in &report.extra {
        let (after, _) = place_of_extra(report, melody, extra);
        let line = ListLine { bar: bar_of(after), said: extra_said(report, extra), note: None };
        lines.push((after.map_or(0, |after| after + 1), 1, line));
    }
    for restart in &report.restarts {
        let after = restart.left_at_index;
        let again = bar_of(Some(restart.resumed_at_index));
        let said = format!("you stopped here and began again at {}", words::bar(again));
        lines.push((after + 1, 2, ListLine { bar: bar_of(Some(after)), said, note: None }));
    }
    lines.sort_by_key(|line| (line.0, line.1));
    lines.into_iter().map(|line| line.2).collect()
}

/// What was heard of the note at this place among the notes.
pub(super) fn note_said(report: &Report, at: usize) -> String {
    let note = &report.notes[at];
    match (note.verdict, note.cents) {
        (NoteVerdict::Missing, _) if no_new_bow(report, at) => "no new bow".to_owned(),
        (NoteVerdict::Missing, _) => "not heard".to_owned(),
        (NoteVerdict::Unsure, _) => "I could not tell what was played".to_owned(),
        (NoteVerdict::Wrong, _) => match played_name(report, note) {
            Some(name) => format!("you played {name}"),
            None => "you played another note".to_owned(),
        },
        (NoteVerdict::Right, None) => "played".to_owned(),
        (NoteVerdict::Right, Some(cents)) => {
            let found = intonation::of(report, note, &TextSettings::default());
            let finger = found.filter(|found| !found.open_only()).map_or(cents, |found| found.finger_cents);
            let tuning = (cents - finger).abs() > intonation::GOOD_STRING_CENTS;
            match (tuning, finger.abs() < 0.5) {
                (false, true) => "played right on the pitch, 0 cents off".to_owned(),
                (false, false) => format!("played {}", off(finger)),
                (true, true) => format!("played right for its string, which makes it sound {}", off(cents)),
                (true, false) => {
                    format!("played {} for its string, which makes it sound {}", off(finger), off(cents))
                }
            }
        }
    }
}

/// `22 cents low`.
fn off(cents: f64) -> String {
    let count = words::count(cents.abs().round() as usize, "cent", "cents");
    format!("{count} {}", words::low_or_high(cents))
}

pub(super) fn played_name(report: &Report, note: &NoteFinding) -> Option<String> {
    let played = note.played_midi? - report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    let off = (played - f64::from(note.written_midi)).clamp(-120.0, 120.0).round() as i32;
    (off != 0).then(|| words::played_and_written(&words::names(report), &note.written, off).0)
}

/// `rest of 1 beat, kept`.
pub(super) fn rest_said(rest: &RestFinding) -> String {
    let what = rest_word(rest).unwrap_or(match rest.verdict {
        RestVerdict::Unsure => "I could not tell whether it was kept",
        _ if rest.only_assumed() => "not measured",
        _ => "kept",
    });
    format!("rest of {}, {what}", words::beats(rest.written_beats))
}

pub(super) fn rest_word(rest: &RestFinding) -> Option<&'static str> {
    match rest.verdict {
        RestVerdict::Rushed => Some("too short"),
        RestVerdict::Stretched => Some("too long"),
        RestVerdict::Filled => Some("not quiet"),
        RestVerdict::Kept | RestVerdict::Unsure => None,
    }
}

/// `an extra note, A, that is not on the sheet`.
pub(super) fn extra_said(report: &Report, extra: &ExtraFinding) -> String {
    let played = extra.played_midi - report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    match (0.0..128.0).contains(&played) {
        true => {
            let name = words::heard_name(&words::names(report), played.round() as i32);
            format!("an extra note, {name}, that is not on the sheet")
        }
        false => "an extra note that is not on the sheet".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::content::PageContent;
    use super::super::staff::{heard_from_report, note_words};
    use super::*;
    use crate::findings::{RestartFinding, StringTuning};
    use crate::formats::read_melody_bytes;
    use crate::notation::Instrument;
    use crate::report::sample_report::{off as played_off, report, unheard, wrong};

    #[test]
    fn notes_rests_extras_and_returns_stand_in_the_order_of_the_sheet() {
        let mut report = report(Instrument::Violin, &["D4", "E4", "F#4", "-", "G4", "G4", "A4", "D4"]);
        played_off(&mut report, 0, -22.4);
        wrong(&mut report, 2, -1.0);
        unheard(&mut report, 5, NoteVerdict::Missing);
        report.rests[0].verdict = RestVerdict::Rushed;
        report.extra =
            vec![ExtraFinding { after_index: Some(3), onset_s: 2.8, offset_s: 2.9, played_midi: 68.6 }];
        report.restarts = vec![RestartFinding { left_at_index: 6, resumed_at_index: 4, time_s: 5.0 }];
        let text = "instrument = 'violin'\nmetre = '4/4'\nbars = ['D4 q E4 F#4 rest', 'G4 G4 A4 D4']";
        let melody = read_melody_bytes("m.toml", text.as_bytes()).expect("a melody").melody;
        let content = PageContent {
            report: &report,
            melody: &melody,
            f0: None,
            samples: None,
            number: None,
            earlier: &[],
            playing_test: None,
        };
        let notes = note_words(&content, None);
        let lines: Vec<(u32, String)> =
            list_lines(&report, &melody, &notes).into_iter().map(|line| (line.bar, line.said)).collect();
        let said = [
            (1, "beat 1, D, played 22 cents low"),
            (1, "beat 2, E, played right on the pitch, 0 cents off"),
            (1, "beat 3, F sharp, you played F natural"),
            (1, "beat 4, rest of 1 beat, too short"),
            (1, "an extra note, A, that is not on the sheet"),
            (2, "beat 1, G, played right on the pitch, 0 cents off"),
            (2, "beat 2, G, no new bow"),
            (2, "beat 3, A, played right on the pitch, 0 cents off"),
            (2, "you stopped here and began again at bar 2"),
            (2, "beat 4, D, played right on the pitch, 0 cents off"),
        ];
        assert_eq!(lines, said.map(|(bar, said)| (bar, said.to_owned())));
        for note in &notes {
            assert_eq!(note.label, format!("{}, {}", words::sentence(&words::bar(note.bar)), note.said));
        }
    }

    #[test]
    fn what_the_tuning_does_to_a_note_is_told_apart_from_its_finger() {
        let mut report = report(Instrument::Violin, &["G3", "A3", "B3", "C4"]);
        for (at, cents) in [-24.0, -24.0, -54.0, 0.0].into_iter().enumerate() {
            played_off(&mut report, at, cents);
        }
        report.tuning.strings = vec![StringTuning { string: "G".into(), cents: -24.0, notes: 2 }];
        let said: Vec<String> = (0..4).map(|at| note_said(&report, at)).collect();
        assert_eq!(
            said,
            [
                "played 24 cents low",
                "played right for its string, which makes it sound 24 cents low",
                "played 30 cents low for its string, which makes it sound 54 cents low",
                "played right on the pitch, 0 cents off",
            ]
        );
        // The staff has the same numbers.
        let text = "instrument = 'violin'\nmetre = '4/4'\nbars = ['G3 q A3 B3 C4']";
        let melody = read_melody_bytes("m.toml", text.as_bytes()).expect("a melody").melody;
        let heard = heard_from_report(&report, &melody, &TextSettings::default());
        let cents: Vec<Option<f64>> = heard.notes.iter().map(|note| note.cents).collect();
        assert_eq!(cents, [-24.0, 0.0, -30.0, 0.0].map(Some));
        let labels: Vec<Option<&str>> = heard.notes.iter().map(|note| note.label.as_deref()).collect();
        assert_eq!(labels, [None, None, Some("low"), None]);
    }
}
