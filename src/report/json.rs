//! The report as JSON.

use crate::findings::Report;

/// The report as one JSON object, ending with a line feed. The same report gives the same bytes.
///
/// Numbers are rounded to what they can mean: times 0.1 ms, cents and percent 0.01, MIDI numbers
/// 0.0001 (0.01 cents), beats, ratios and confidences 0.001. A value that is not known is `null`.
pub fn json(report: &Report) -> String {
    let mut text = serde_json::to_string_pretty(&rounded(report))
        .expect("a report holds only numbers, words and lists, all of which JSON can say");
    text.push('\n');
    text
}

fn rounded(report: &Report) -> Report {
    let mut report = report.clone();
    optional(&mut report.melody.bpm, 3);
    to(&mut report.melody.a4_hz, 3);
    to(&mut report.take.duration_s, 4);
    for note in &mut report.notes {
        to(&mut note.beat, 4);
        optional(&mut note.played_midi, 4);
        optional(&mut note.cents, 2);
        optional(&mut note.cents_spread, 2);
        optional(&mut note.onset_s, 4);
        optional(&mut note.offset_s, 4);
        optional(&mut note.onset_error_beats, 3);
        optional(&mut note.duration_ratio, 3);
        to(&mut note.confidence, 3);
    }
    for rest in &mut report.rests {
        to(&mut rest.beat, 4);
        to(&mut rest.written_beats, 4);
        optional(&mut rest.played_beats, 3);
        to(&mut rest.confidence, 3);
    }
    for extra in &mut report.extra {
        to(&mut extra.onset_s, 4);
        to(&mut extra.offset_s, 4);
        to(&mut extra.played_midi, 4);
    }
    for restart in &mut report.restarts {
        to(&mut restart.time_s, 4);
    }
    optional(&mut report.tempo.set_bpm, 3);
    optional(&mut report.tempo.played_bpm, 2);
    optional(&mut report.tempo.drift_percent, 2);
    optional(&mut report.tuning.offset_cents, 2);
    for string in &mut report.tuning.strings {
        to(&mut string.cents, 2);
    }
    report
}

fn optional(value: &mut Option<f64>, decimals: i32) {
    if let Some(value) = value {
        to(value, decimals);
    }
}

fn to(value: &mut f64, decimals: i32) {
    let scale = 10_f64.powi(decimals);
    // Adding zero turns −0 into 0.
    *value = (*value * scale).round() / scale + 0.0;
}
