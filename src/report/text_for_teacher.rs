//! The report as tables for a teacher: note by note, with units, confidence and the thresholds used.

use super::intonation::{
    self, CLEARLY_OFF_CENTS, GOOD_STRING_CENTS, IN_TUNE_CENTS, RETUNE_CENTS, STEADY_SPREAD_CENTS,
};
use super::string_text::interval;
use super::things_to_fix::place_of;
use super::{TextSettings, fingers, refused, words};
use crate::findings::{NoteFinding, NoteVerdict, Report, RestVerdict};
use crate::notation::{Fifths, Instrument};
use comfy_table::{CellAlignment, Table, presets::ASCII_MARKDOWN};

/// The report for the teacher: plain text tables (they are Markdown as well), ends with a line feed.
pub fn for_teacher(report: &Report, settings: &TextSettings) -> String {
    let mut text = settings.heading(&format!(
        "{} ({})",
        words::harmless(&report.melody.title),
        report.melody.instrument
    ));
    text.push_str(&summary(report));
    if let Some((why, what_to_do)) = refused::why_and_what_to_do(report) {
        text.push_str(&format!("\nNot judged, not graded. {why}\n{what_to_do}\n"));
    }
    let mut section = |heading: &str, body: String| {
        if !body.is_empty() {
            text.push_str(&format!("\n{}{body}", settings.heading(heading)));
        }
    };
    for table in teacher_tables(report, settings) {
        section(table.heading, as_text(&table));
    }
    section("Remarks", remarks(report));
    section("How to read this", how_to_read(report, settings));
    text
}

/// A table of the teacher's report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TeacherTable {
    /// Its heading.
    pub heading: &'static str,
    /// The columns' headings, with units.
    pub headers: &'static [&'static str],
    /// So many columns from the left are words; the others are numbers.
    pub words: usize,
    /// The rows, as many cells in each as there are headings; at least one.
    pub rows: Vec<Vec<String>>,
}

/// The teacher's tables; those without a row are left out.
pub fn teacher_tables(report: &Report, settings: &TextSettings) -> Vec<TeacherTable> {
    let tables = [
        notes(report, settings),
        timing(report),
        rests(report),
        extra(report),
        restarts(report),
        strings(report),
    ];
    tables.into_iter().filter(|table| !table.rows.is_empty()).collect()
}

/// The facts of take, tempo and tuning: lines, each ended with a line feed.
pub fn teacher_summary(report: &Report) -> String {
    summary(report)
}

/// The thresholds in use and what the columns mean: lines, each ended with a line feed; empty for a refused take.
pub fn how_to_read(report: &Report, settings: &TextSettings) -> String {
    match report.outcome {
        crate::findings::Outcome::Judged => thresholds(report, settings),
        _ => String::new(),
    }
}

fn summary(report: &Report) -> String {
    let a4 = report.melody.a4_hz;
    let interval = interval(report.melody.instrument);
    let intervals = match report.melody.fifths {
        Fifths::Equal => format!("{interval}s of equal temperament"),
        Fifths::Pure => format!("pure {interval}s"),
    };
    let mut text = format!(
        "A4 = {a4} Hz, open strings in {}; take of {:.1} s at {} samples/s\n",
        intervals, report.take.duration_s, report.take.sample_rate_hz
    );
    let tempo = &report.tempo;
    let tempo = [
        tempo.set_bpm.map(|bpm| format!("set {bpm:.1} beats/min")),
        tempo.played_bpm.map(|bpm| format!("played {bpm:.1} beats/min")),
        tempo.drift_percent.map(|percent| format!("drift {percent:+.1} % from the first note to the last")),
    ];
    let tempo: Vec<String> = tempo.into_iter().flatten().collect();
    if !tempo.is_empty() {
        text.push_str(&format!("tempo: {}\n", tempo.join(", ")));
    }
    if let Some(cents) = report.tuning.offset_cents {
        let own = a4 * (cents / 1200.0).exp2();
        text.push_str(&format!("whole instrument: {cents:+.1} cents, as if tuned to A4 = {own:.1} Hz\n"));
    }
    text
}

fn as_text(TeacherTable { headers, words, rows, .. }: &TeacherTable) -> String {
    let mut table = Table::new();
    table.load_style(ASCII_MARKDOWN).set_header(headers.to_vec()).add_rows(rows);
    // The first columns are words, the others numbers.
    for column in table.column_iter_mut().skip(*words) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    format!("{}\n", table.to_string().lines().map(str::trim_end).collect::<Vec<_>>().join("\n"))
}

fn number(value: Option<f64>, decimals: usize) -> String {
    value.map_or("-".into(), |value| format!("{value:.decimals$}"))
}

fn signed(value: Option<f64>, decimals: usize) -> String {
    // Adding zero turns −0 into 0.
    let scale = 10_f64.powi(decimals as i32);
    value.map_or("-".into(), |value| format!("{:+.decimals$}", (value * scale).round() / scale + 0.0))
}

fn beat(beat: f64) -> String {
    let text = format!("{beat:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn notes(report: &Report, settings: &TextSettings) -> TeacherTable {
    let headers = &[
        "bar",
        "beat",
        "written",
        "place",
        "verdict",
        "confidence (0-1)",
        "sounding (MIDI)",
        "off (cents)",
        "finger (cents)",
        "spread (cents)",
        "move (mm)",
    ];
    let rows = report.notes.iter().map(|note| note_row(report, note, settings)).collect();
    TeacherTable { heading: "Notes: which and how well in tune", headers, words: 5, rows }
}

fn note_row(report: &Report, note: &NoteFinding, settings: &TextSettings) -> Vec<String> {
    let instrument = report.melody.instrument;
    let found = intonation::of(report, note, settings);
    let stopped = found.as_ref().filter(|found| !found.open_only());
    let moves: Vec<String> = stopped
        .filter(|found| found.steady)
        .map(|found| found.moves.iter().map(|(_, way)| signed(Some(way.0), 1)).collect())
        .unwrap_or_default();
    let places: Vec<String> = fingers::places(instrument, &note.written, note.written_midi)
        .iter()
        .map(|place| format!("{} on {}", place.finger, fingers::string_letter(instrument, place.string)))
        .collect();
    vec![
        bar(note.bar),
        beat(note.beat),
        note.written.clone(),
        either(&places),
        verdict(note.verdict).to_owned(),
        format!("{:.2}", note.confidence),
        number(note.played_midi, 2),
        signed(note.cents, 1),
        signed(stopped.map(|found| found.finger_cents), 1),
        number(note.cents_spread, 1),
        either(&moves),
    ]
}

/// The number of a bar in a table; that of the pickup is no number.
fn bar(bar: u32) -> String {
    if bar == 0 { "pickup".to_owned() } else { bar.to_string() }
}

fn either(ways: &[String]) -> String {
    if ways.is_empty() { "-".to_owned() } else { ways.join(" or ") }
}

fn timing(report: &Report) -> TeacherTable {
    let headers =
        &["bar", "beat", "written", "onset (s)", "offset (s)", "late (beats)", "length (of written)"];
    let rows = report.notes.iter().map(|note| {
        vec![
            bar(note.bar),
            beat(note.beat),
            note.written.clone(),
            number(note.onset_s, 3),
            number(note.offset_s, 3),
            signed(note.onset_error_beats, 2),
            number(note.duration_ratio, 2),
        ]
    });
    TeacherTable { heading: "Notes: when", headers, words: 3, rows: rows.collect() }
}

fn verdict(verdict: NoteVerdict) -> &'static str {
    match verdict {
        NoteVerdict::Right => "right",
        NoteVerdict::Wrong => "WRONG",
        NoteVerdict::Missing => "MISSING",
        NoteVerdict::Unsure => "unsure",
    }
}

fn rests(report: &Report) -> TeacherTable {
    let rows = report.rests.iter().map(|rest| {
        let verdict = match rest.verdict {
            _ if rest.only_assumed() => "not measured",
            RestVerdict::Kept => "kept",
            RestVerdict::Rushed => "RUSHED",
            RestVerdict::Stretched => "STRETCHED",
            RestVerdict::Filled => "FILLED",
            RestVerdict::Unsure => "unsure",
        };
        vec![
            bar(rest.bar),
            beat(rest.beat),
            verdict.to_owned(),
            number(Some(rest.written_beats), 2),
            number(rest.played_beats, 2),
            format!("{:.2}", rest.confidence),
        ]
    });
    let headers = &["bar", "beat", "verdict", "written (beats)", "played (beats)", "confidence (0-1)"];
    TeacherTable { heading: "Rests", headers, words: 3, rows: rows.collect() }
}

fn extra(report: &Report) -> TeacherTable {
    let names = words::names(report);
    let rows = report.extra.iter().map(|extra| {
        let offset = report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
        vec![
            words::heard_name(&names, (extra.played_midi - offset).round() as i32),
            extra.after_index.and_then(|index| place_of(report, index)).unwrap_or_else(|| "the start".into()),
            number(Some(extra.played_midi), 2),
            number(Some(extra.onset_s), 3),
            number(Some(extra.offset_s), 3),
        ]
    });
    let headers = &["played", "after", "sounding (MIDI)", "onset (s)", "offset (s)"];
    TeacherTable { heading: "Notes that are not on the sheet", headers, words: 2, rows: rows.collect() }
}

fn restarts(report: &Report) -> TeacherTable {
    let place = |index| place_of(report, index).unwrap_or_else(|| "-".into());
    let rows = report.restarts.iter().map(|restart| {
        vec![place(restart.left_at_index), place(restart.resumed_at_index), number(Some(restart.time_s), 2)]
    });
    let headers = &["stopped after", "began again at", "time (s)"];
    TeacherTable { heading: "Restarts", headers, words: 2, rows: rows.collect() }
}

fn strings(report: &Report) -> TeacherTable {
    let rows = report.tuning.strings.iter().map(|string| {
        let what = if string.cents.abs() > RETUNE_CENTS {
            "TUNE"
        } else if string.cents.abs() > GOOD_STRING_CENTS {
            "tune soon"
        } else {
            "good"
        };
        vec![
            words::harmless(&string.string),
            what.to_owned(),
            signed(Some(string.cents), 1),
            string.notes.to_string(),
        ]
    });
    let headers = &["string", "verdict", "off (cents)", "heard in (notes)"];
    TeacherTable { heading: "Strings", headers, words: 2, rows: rows.collect() }
}

fn remarks(report: &Report) -> String {
    report
        .take
        .remarks
        .iter()
        .map(|remark| format!("{}: {}\n", words::harmless(&remark.code), words::harmless(&remark.text)))
        .collect()
}

fn thresholds(report: &Report, settings: &TextSettings) -> String {
    let length = settings.string_length_of(report.melody.instrument).0;
    let sounding = match report.melody.instrument {
        Instrument::Bass => {
            "sounding: a bass sounds an octave below what is written; D3 on the sheet sounds as MIDI 38.\n"
        }
        _ => "",
    };
    format!(
        "right: within 50 cents of the written pitch after the instrument's own tuning; unsure: not held\n\
         \u{20} against the player.\n\
         off: median of the steady part against equal temperament at A4. finger: the same after the string's\n\
         \u{20} tuning (or the whole instrument's), and 0 between that and the written pitch: a finger that found\n\
         \u{20} the pitch by ear on a slack string is not off. spread: half the interquartile range.\n\
         fingers: in tune to {IN_TUNE_CENTS:.0} cents, a little off to {CLEARLY_OFF_CENTS:.0}, clearly off to 50;\n\
         \u{20} within 10 nothing needs to be corrected.\n\
         move: + toward the bridge, - toward the nut, on an ideal string of {length:.0} mm;\n\
         \u{20} not said where the spread is above {STEADY_SPREAD_CENTS:.0} cents.\n\
         {sounding}late: against the player's own beat, early is negative. length: 1 is as long as written.\n\
         place: finger and string in first position (0 on D = open D string).\n\
         strings: good to {GOOD_STRING_CENTS:.0} cents, tune soon to {RETUNE_CENTS:.0}.\n\
         rests: rushed below about two thirds of the written length, stretched above about 1.4 times, measured\n\
         \u{20} between onsets at the player's own tempo.\n\
         confidence: the probability that the verdict is right. Not measured on recordings of children.\n"
    )
}

#[cfg(test)]
mod tests {
    use super::super::sample_report::{off, report, unheard, wrong};
    use super::*;
    use crate::findings::{ExtraFinding, Outcome, RestartFinding, StringTuning};
    use crate::notation::Instrument;

    fn said(edit: impl Fn(&mut Report)) -> String {
        let mut report = report(Instrument::Cello, &["D3", "E3", "F#3", "-", "A3", "A3", "B3", "D3"]);
        edit(&mut report);
        for_teacher(&report, &TextSettings::default())
    }

    /// The cells of the row that starts with these cells.
    fn row(text: &str, start: &[&str]) -> Vec<String> {
        let cells =
            |line: &str| line.trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect();
        let rows = text.lines().filter(|line| line.starts_with('|')).map(cells);
        rows.into_iter().find(|cells: &Vec<String>| cells.iter().zip(start).all(|(a, b)| a == b)).unwrap()
    }

    #[test]
    fn every_number_has_its_unit_in_the_header() {
        let text = said(|_| {});
        for line in text.lines().filter(|line| line.starts_with("| bar")) {
            for header in line.trim_matches('|').split('|').map(str::trim) {
                let plain = ["bar", "beat", "written", "place", "verdict"].contains(&header);
                assert!(plain || header.contains('('), "{header}");
            }
        }
    }

    #[test]
    fn a_note_that_was_not_heard_has_dashes_and_no_numbers() {
        let text = said(|report| unheard(report, 1, NoteVerdict::Missing));
        assert_eq!(
            row(&text, &["1", "2", "E3"]),
            ["1", "2", "E3", "1 on D", "MISSING", "0.98", "-", "-", "-", "-", "-"]
        );
    }

    #[test]
    fn a_flat_finger_has_its_way_in_millimetres() {
        let text = said(|report| off(report, 1, -20.0));
        // 1/2 cello, 575 mm: 575 · 2^(−2/12) · (2^(20/1200) − 1) = 5.95 mm.
        assert_eq!(
            row(&text, &["1", "2", "E3"]),
            ["1", "2", "E3", "1 on D", "right", "0.98", "51.80", "-20.0", "-20.0", "2.0", "+6.0"]
        );
    }

    #[test]
    fn an_open_string_has_no_finger_to_move() {
        let text = said(|report| {
            off(report, 0, -18.0);
            report.tuning.strings = vec![StringTuning { string: "D".into(), cents: -18.0, notes: 2 }];
        });
        assert_eq!(row(&text, &["1", "1", "D3"])[8..], ["-", "2.0", "-"]);
        assert_eq!(row(&text, &["D"]), ["D", "TUNE", "-18.0", "2"]);
    }

    #[test]
    fn verdicts_are_words_and_sections_appear_only_with_something_in_them() {
        let quiet = said(|_| {});
        for section in ["Notes that are not on the sheet", "Restarts", "\nStrings", "Remarks", "\u{1b}"] {
            assert!(!quiet.contains(section), "{section}");
        }
        let text = said(|report| {
            wrong(report, 2, -1.0);
            report.rests[0].verdict = RestVerdict::Rushed;
            report.rests[0].played_beats = Some(0.4);
            report.extra =
                vec![ExtraFinding { onset_s: 3.0, offset_s: 3.2, played_midi: 55.1, after_index: None }];
            report.restarts = vec![RestartFinding { time_s: 5.0, left_at_index: 4, resumed_at_index: 0 }];
        });
        assert_eq!(row(&text, &["1", "3", "F#3"])[4], "WRONG");
        assert_eq!(row(&text, &["1", "4", "RUSHED"]), ["1", "4", "RUSHED", "1.00", "0.40", "0.98"]);
        assert_eq!(row(&text, &["G"]), ["G", "the start", "55.10", "3.000", "3.200"]);
        assert_eq!(row(&text, &["Bar 2, beat 1"]), ["Bar 2, beat 1", "Bar 1, beat 1", "5.00"]);
    }

    #[test]
    fn a_refused_take_has_no_tables() {
        let text = said(|report| {
            report.outcome = Outcome::NotThisMelody;
            report.notes.clear();
            report.rests.clear();
        });
        assert!(text.contains("Not judged, not graded.") && !text.contains('|'), "{text}");
    }
}
