//! Judges every take of a folder made by the take maker, two at a time, and writes the reports and the
//! boundary cues beside each other.
//!
//! `cargo run --profile quick --example judge_folder -- TAKES OUT`

use fingertape::formats::read_melody;
use fingertape::notation::Instrument;
use fingertape::pipeline::{JudgeSettings, judge_listening, listen};
use fingertape::segment::Features;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let (takes, out) = (PathBuf::from(&arguments[1]), PathBuf::from(&arguments[2]));
    std::fs::create_dir_all(&out).expect("the output folder");
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
                    one(&takes, &out, &truth);
                }
            });
        }
    });
}

fn one(takes: &Path, out: &Path, truth: &Path) {
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
    let report = judge_listening(&take.samples, &heard, &melody, &settings);
    let json = serde_json::to_string_pretty(&report).expect("JSON");
    std::fs::write(out.join(format!("{}.json", name("take"))), json).expect("a report");
    let mut csv = format!("time_s,llr,{}\n", Features::NAMES.join(","));
    for b in &heard.boundaries {
        let values: Vec<String> = b.features.values.iter().map(|v| format!("{v:.4}")).collect();
        csv += &format!("{:.3},{:.3},{}\n", b.time.0, b.llr, values.join(","));
    }
    std::fs::write(out.join(format!("{}.cues.csv", name("take"))), csv).expect("the cues");
}
