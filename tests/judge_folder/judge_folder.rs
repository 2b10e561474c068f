//! Judges every take of a folder made by the take maker, two at a time, and writes the reports and the
//! boundary cues beside each other.
//!
//! `cargo run --profile quick --example judge_folder -- TAKES OUT [PRICES]...` where PRICES are other prices than the usual
//! ones, such as '{"extra": 3.0}': their reports go to OUT-1, OUT-2, ...
//!
//! With `TIMED_BY_LEVEL=1` in the environment notes are timed by the level alone, and the cues of each offset and what sounds around each
//! candidate are written as well, for training.

use fingertape::align::Costs;
use fingertape::findings::{Report, TimedBy};
use fingertape::formats::read_melody;
use fingertape::notation::Instrument;
use fingertape::pipeline::{JudgeSettings, Listening, judge_at, listen};
use fingertape::samples::Samples;
use fingertape::segment::{Continuity, Features, NoteSpan, Surroundings, WaveShape, offset_cues};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let (takes, out) = (PathBuf::from(&arguments[1]), PathBuf::from(&arguments[2]));
    let prices: Vec<Costs> = std::iter::once("{}")
        .chain(arguments[3..].iter().map(String::as_str))
        .map(|text| serde_json::from_str(text).expect("prices as JSON"))
        .collect();
    let outs: Vec<PathBuf> = (0..prices.len())
        .map(|k| if k == 0 { out.clone() } else { PathBuf::from(format!("{}-{k}", out.display())) })
        .collect();
    for out in &outs {
        std::fs::create_dir_all(out).expect("the output folder");
    }
    let mut truths: Vec<PathBuf> = std::fs::read_dir(&takes)
        .expect("the folder of takes")
        .map(|entry| entry.expect("an entry").path())
        .filter(|p| p.to_string_lossy().ends_with(".truth.json"))
        .collect();
    truths.sort();
    let queue = Mutex::new(truths);
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while let Some(truth) = { queue.lock().expect("the queue").pop() } {
                    one(&takes, &outs, &prices, &truth);
                }
            });
        }
    });
}

fn one(takes: &Path, outs: &[PathBuf], prices: &[Costs], truth: &Path) {
    let text = std::fs::read_to_string(truth).expect("the truth");
    let truth: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let name = |key: &str| truth[key].as_str().expect("a name").to_owned();
    let instrument: Instrument = serde_json::from_value(truth["instrument"].clone()).expect("an instrument");
    let melody = read_melody(&takes.join(name("score"))).expect("a melody").melody;
    let (melody, _) = melody.for_instrument(instrument);
    let take = fingertape::decode::read_take(&takes.join(name("audio"))).expect("a take");
    let heard = listen(&take.samples, Some(instrument));
    let mut settings = JudgeSettings::for_melody(&melody, instrument);
    settings.remarks = take.remarks;
    let by_level = std::env::var_os("TIMED_BY_LEVEL").is_some();
    let timed_by = if by_level { TimedBy::Level } else { TimedBy::Sound };
    for (out, prices) in outs.iter().zip(prices) {
        let report = judge_at(&take.samples, &heard, &melody, &settings, prices, timed_by);
        let json = serde_json::to_string_pretty(&report).expect("JSON");
        std::fs::write(out.join(format!("{}.json", name("take"))), json).expect("a report");
        if by_level {
            let csv = cues_of_offsets(&heard, &report);
            std::fs::write(out.join(format!("{}.offsets.csv", name("take"))), csv).expect("the offsets");
        }
    }
    if by_level {
        let strips = strips_of_candidates(&take.samples, &heard);
        std::fs::write(outs[0].join(format!("{}.strips", name("take"))), strips).expect("the strips");
    }
    let mut csv = format!("time_s,llr,{}\n", Features::NAMES.join(","));
    for b in &heard.candidates {
        let values: Vec<String> = b.features.values.iter().map(|v| format!("{v:.4}")).collect();
        csv += &format!("{:.3},{:.3},{}\n", b.time.0, b.llr, values.join(","));
    }
    std::fs::write(outs[0].join(format!("{}.cues.csv", name("take"))), csv).expect("the cues");
}

/// What sounds around each candidate, as the onset network reads it: strips of 16-bit little-endian numbers, in units of 1/4096.
fn strips_of_candidates(samples: &Samples, heard: &Listening) -> Vec<u8> {
    let continuity = Continuity::new(samples, &heard.contour);
    let shape = WaveShape::new(samples, &heard.contour);
    let surroundings = Surroundings::new(&heard.contour, &heard.envelope, continuity, &shape);
    let strips = heard.candidates.iter().map(|b| surroundings.around(b.time));
    strips.flatten().flatten().flat_map(|value| ((value * 4096.0).round() as i16).to_le_bytes()).collect()
}

/// A line for each note that was found: its index, its offset and the cues around that. What follows is the next sound
/// of the report; the program itself counts sounds that are too brief or faint to be reported as well.
fn cues_of_offsets(heard: &Listening, report: &Report) -> String {
    let mut onsets: Vec<f64> = report.notes.iter().filter_map(|n| n.onset_s).collect();
    onsets.extend(report.extra.iter().map(|e| e.onset_s));
    onsets.sort_by(f64::total_cmp);
    let mut csv = String::new();
    for note in &report.notes {
        let (Some(onset), Some(offset)) = (note.onset_s, note.offset_s) else { continue };
        let span = NoteSpan { onset, offset, next_onset: onsets.iter().copied().find(|&next| next > onset) };
        let cues =
            offset_cues(&heard.envelope, &heard.contour, &span).map(|cue| format!(",{cue:.4}")).concat();
        csv += &format!("{},{offset:.4}{cues}\n", note.index);
    }
    csv
}
