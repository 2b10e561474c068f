//! What the sessions share: takes as sound for the false microphone, and the program's answers.

use crate::false_microphone::{FalseMicrophone, RATE};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The program.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_fingertape");

/// A folder of `audio-fixtures/`, or `demo-data/` for `demo`.
pub fn case(name: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    if name == "demo" { root.join("demo-data") } else { root.join("audio-fixtures").join(name) }
}

/// Every case that has a truth.
pub fn cases() -> Vec<String> {
    let listed = std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures"));
    let mut names: Vec<String> = listed
        .expect("audio-fixtures is there")
        .map(|entry| entry.expect("it can be read").path())
        .filter(|path| path.join("expected.json").is_file())
        .map(|path| path.file_name().unwrap_or_default().to_string_lossy().into_owned())
        .collect();
    names.push("demo".to_owned());
    names.sort();
    names
}

/// A case's take at the microphone's rate.
pub fn sound_of(name: &str) -> Vec<f32> {
    let take = fingertape::decode::read_take(&case(name).join("take.flac")).expect("a take");
    at_rate(&take.samples.mono, take.samples.rate.0)
}

/// Samples at the microphone's rate: a windowed sinc through the old samples (Smith, "Digital Audio Resampling",
/// 1984), good to about −80 dB.
fn at_rate(samples: &[f32], rate: u32) -> Vec<f32> {
    if rate == RATE {
        return samples.to_vec();
    }
    assert!(rate < RATE, "the fixtures have a lower rate than the microphone");
    const REACH: i64 = 24;
    let step = f64::from(rate) / f64::from(RATE);
    let count = (samples.len() as f64 / step) as usize;
    // Few positions between two old samples are ever needed: one filter for each.
    let phases = (u64::from(RATE) / gcd(u64::from(rate), u64::from(RATE))) as usize;
    let filters: Vec<Vec<f64>> = (0..phases)
        .map(|n| {
            let fraction = (n as f64 * step).fract();
            (1 - REACH..=REACH)
                .map(|tap| {
                    let x = tap as f64 - fraction;
                    let window = (std::f64::consts::FRAC_PI_2 * x / REACH as f64).cos().max(0.0).powi(2);
                    let sinc = if x == 0.0 {
                        1.0
                    } else {
                        (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x)
                    };
                    window * sinc
                })
                .collect()
        })
        .collect();
    (0..count)
        .map(|n| {
            let whole = (n as f64 * step).floor() as i64;
            let taps = filters[n % phases].iter().enumerate();
            let sum: f64 = taps
                .map(|(at, weight)| {
                    let index = whole + at as i64 + 1 - REACH;
                    let sample = usize::try_from(index).ok().and_then(|index| samples.get(index));
                    weight * f64::from(sample.copied().unwrap_or(0.0))
                })
                .sum();
            sum as f32
        })
        .collect()
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// What is heard when nothing is checked and one bar is counted before `sound`: the count-in's time is silence, so
/// that the first sample of `sound` falls half a beat before the first beat, where the take begins.
pub fn after_count_in(sound: &[f32], melody: &Path) -> Vec<f32> {
    let melody = fingertape::formats::read_melody(melody).expect("a melody").melody;
    let beats = f64::from(melody.metre.beats) - 0.5;
    let silence = beats * 60.0 / melody.bpm.expect("a tempo") * f64::from(RATE);
    let mut heard = vec![0.0; silence as usize];
    heard.extend_from_slice(sound);
    heard
}

/// `fingertape record` of a case's melody with more arguments; the book is in the microphone's folder.
pub fn record(microphone: &FalseMicrophone, melody: &Path, more: &[&str]) -> Command {
    let mut command = microphone.command(PROGRAM);
    command
        .args(["record", "--silent-count", "--level-check", "0", "--book"])
        .arg(book(microphone))
        .arg(melody)
        .args(more);
    command
}

/// Where the take book of a session is.
pub fn book(microphone: &FalseMicrophone) -> PathBuf {
    microphone.folder().join("book")
}

/// `fingertape takes` with arguments, on the book of a session.
pub fn takes(microphone: &FalseMicrophone, arguments: &[&str]) -> (i32, String, String) {
    let output =
        Command::new(PROGRAM).arg("takes").arg("--book").arg(book(microphone)).args(arguments).output();
    said(&output.expect("the program runs"))
}

/// Exit code, standard output, standard error.
pub fn said(output: &Output) -> (i32, String, String) {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("the program writes UTF-8");
    (output.status.code().unwrap_or(-1), text(&output.stdout), text(&output.stderr))
}

/// `fingertape check --format json` of a file.
pub fn check(take: &Path, melody: &Path, more: &[&str]) -> (i32, Value) {
    let output = Command::new(PROGRAM)
        .args(["check", "--format", "json", "--melody"])
        .arg(melody)
        .arg(take)
        .args(more)
        .output()
        .expect("the program runs");
    let (code, text, errors) = said(&output);
    (code, serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error}: {text}{errors}")))
}

/// The verdicts of a report: its outcome, those of the notes, those of the rests.
pub fn verdicts(report: &Value) -> (String, Vec<String>, Vec<String>) {
    let list = |what: &str| {
        let findings = report[what].as_array().cloned().unwrap_or_default();
        findings.iter().map(|finding| finding["verdict"].as_str().unwrap_or("").to_owned()).collect()
    };
    (report["outcome"].as_str().unwrap_or("").to_owned(), list("notes"), list("rests"))
}

/// The first take of a session's only melody.
pub fn first_take(microphone: &FalseMicrophone) -> fingertape::takes::Take {
    let melodies = fingertape::takes::Book::at(&book(microphone)).melodies().expect("a book");
    assert_eq!(melodies.len(), 1, "one melody was recorded");
    melodies[0].take(1).expect("its first take")
}
