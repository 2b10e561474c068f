//! Reports of any kind, sane or not, become text without a panic.

use super::sample_report::report;
use super::{TextSettings, for_child, for_teacher, json};
use crate::findings::{
    ExtraFinding, NoteVerdict, Outcome, Report, RestVerdict, RestartFinding, StringTuning, TempoFinding,
};
use crate::notation::Instrument;
use proptest::prelude::*;

const VERDICTS: [NoteVerdict; 4] =
    [NoteVerdict::Right, NoteVerdict::Wrong, NoteVerdict::Missing, NoteVerdict::Unsure];
const REST_VERDICTS: [RestVerdict; 5] = [
    RestVerdict::Kept,
    RestVerdict::Rushed,
    RestVerdict::Stretched,
    RestVerdict::Filled,
    RestVerdict::Unsure,
];
const OUTCOMES: [Outcome; 5] =
    [Outcome::Judged, Outcome::Silence, Outcome::TooQuiet, Outcome::NotThisMelody, Outcome::TooNoisy];

/// Mostly sensible numbers, and some that should never come.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![8 => -200.0..200.0, 1 => any::<f64>()]
}

fn maybe() -> impl Strategy<Value = Option<f64>> {
    proptest::option::of(number())
}

fn any_report() -> impl Strategy<Value = Report> {
    let note = (0..4_usize, maybe(), maybe(), maybe(), number(), "[A-G](#|b)?[0-9]|.{0,4}");
    let rest = (0..5_usize, maybe(), number());
    (
        0..4_usize,
        proptest::collection::vec(note, 0..40),
        proptest::collection::vec(rest, 0..6),
        proptest::collection::vec((number(), proptest::option::of(0..60_usize)), 0..12),
        proptest::collection::vec((0..60_usize, 0..60_usize), 0..3),
        (maybe(), maybe(), maybe(), maybe(), ".{0,3}"),
        0..5_usize,
    )
        .prop_map(
            |(instrument, notes, rests, extra, restarts, (bpm, drift, offset, string, name), outcome)| {
                let pitches = vec!["D4"; notes.len()];
                let mut made = report(Instrument::ALL[instrument], &pitches);
                made.outcome = OUTCOMES[outcome];
                made.melody.title = name.clone();
                for (finding, (verdict, played, cents, spread, beat, written)) in
                    made.notes.iter_mut().zip(notes)
                {
                    finding.verdict = VERDICTS[verdict];
                    finding.played_midi = played;
                    finding.cents = cents;
                    finding.cents_spread = spread;
                    finding.beat = beat;
                    finding.written = written;
                }
                for (index, (verdict, played, beats)) in rests.into_iter().enumerate() {
                    made.rests.push(crate::findings::RestFinding {
                        index: 100 + index,
                        bar: index as u32,
                        beat: beats,
                        written_beats: beats,
                        played_beats: played,
                        verdict: REST_VERDICTS[verdict],
                        confidence: 0.9,
                    });
                }
                let extras = extra.into_iter().map(|(played_midi, after_index)| ExtraFinding {
                    onset_s: 1.0,
                    offset_s: 2.0,
                    played_midi,
                    after_index,
                });
                made.extra = extras.collect();
                let restarts = restarts.into_iter().map(|(left_at_index, resumed_at_index)| RestartFinding {
                    time_s: 3.0,
                    left_at_index,
                    resumed_at_index,
                });
                made.restarts = restarts.collect();
                made.tempo = TempoFinding { set_bpm: bpm, played_bpm: bpm, drift_percent: drift };
                made.tuning.offset_cents = offset;
                made.tuning.strings =
                    string.map(|cents| StringTuning { string: name, cents, notes: 1 }).into_iter().collect();
                made
            },
        )
}

proptest! {
    #[test]
    fn any_report_becomes_text_and_json(report in any_report()) {
        let settings = TextSettings::default();
        prop_assert!(for_child(&report, &settings).ends_with('\n'));
        prop_assert!(for_teacher(&report, &settings).ends_with('\n'));
        let parsed: Result<serde_json::Value, _> = serde_json::from_str(&json(&report));
        prop_assert!(parsed.is_ok());
    }

    #[test]
    fn nothing_unsure_is_ever_something_to_fix(mut report in any_report()) {
        report.outcome = Outcome::Judged;
        report.notes.iter_mut().for_each(|note| note.verdict = NoteVerdict::Unsure);
        report.rests.iter_mut().for_each(|rest| rest.verdict = RestVerdict::Unsure);
        report.extra.clear();
        report.tempo.drift_percent = None;
        // A string out of tune is no note.
        report.tuning.strings.clear();
        let text = for_child(&report, &TextSettings::default());
        prop_assert!(!text.contains("Fix this first"), "{text}");
    }
}
