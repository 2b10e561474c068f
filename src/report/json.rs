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

#[cfg(test)]
mod tests {
    use super::super::sample_report::{report, unheard};
    use super::*;
    use crate::findings::NoteVerdict;
    use crate::notation::Instrument;
    use serde_json::Value;

    fn parsed(report: &Report) -> Value {
        serde_json::from_str(&json(report)).unwrap()
    }

    #[test]
    fn the_fields_have_the_names_that_other_programs_read() {
        let mut sample = report(Instrument::Bass, &["F#3", "-"]);
        sample.melody.bpm = None;
        let value = parsed(&sample);
        let names = |value: &Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>().join(" ");
        let mut all = names(&value).split(' ').map(str::to_owned).collect::<Vec<_>>();
        all.sort();
        assert_eq!(
            all.join(" "),
            "extra melody notes outcome report_version restarts rests take tempo tuning"
        );
        for field in [
            "index",
            "bar",
            "beat",
            "written",
            "written_midi",
            "verdict",
            "played_midi",
            "cents",
            "cents_spread",
            "onset_s",
            "offset_s",
            "onset_error_beats",
            "duration_ratio",
            "confidence",
        ] {
            assert!(value["notes"][0].get(field).is_some(), "{field}");
        }
        for field in ["index", "bar", "beat", "written_beats", "played_beats", "verdict", "confidence"] {
            assert!(value["rests"][0].get(field).is_some(), "{field}");
        }
        assert_eq!(value["outcome"], "judged");
        assert_eq!(value["melody"]["instrument"], "bass");
        assert_eq!(value["melody"]["bpm"], Value::Null);
        assert_eq!(value["notes"][0]["written"], "F#3");
        // The bass sounds an octave below what is written.
        assert_eq!(value["notes"][0]["written_midi"], 42);
    }

    #[test]
    fn what_is_not_known_is_null_and_not_a_number() {
        let mut sample = report(Instrument::Violin, &["D4"]);
        unheard(&mut sample, 0, NoteVerdict::Missing);
        let note = &parsed(&sample)["notes"][0];
        assert_eq!(note["verdict"], "missing");
        assert_eq!(note["cents"], Value::Null);
        assert_eq!(note["onset_s"], Value::Null);
    }

    #[test]
    fn numbers_are_rounded_to_what_they_can_mean() {
        let mut sample = report(Instrument::Violin, &["D4"]);
        sample.notes[0].cents = Some(-0.000_001);
        sample.notes[0].onset_s = Some(1.0 / 3.0);
        sample.notes[0].played_midi = Some(61.999_96);
        let text = json(&sample);
        assert!(text.contains("\"cents\": 0.0,"), "{text}");
        assert!(text.contains("\"onset_s\": 0.3333,"), "{text}");
        assert!(text.contains("\"played_midi\": 62.0,"), "{text}");
        assert!(text.ends_with("}\n"));
    }
}
