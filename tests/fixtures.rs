//! Every case in `audio-fixtures/` and the demo: the whole command on the files, held against the truth
//! that was planted. `cargo run --example make_takes` writes them.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

fn folders() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let listed = std::fs::read_dir(root.join("audio-fixtures")).expect("audio-fixtures is there");
    let mut folders: Vec<PathBuf> = listed
        .map(|entry| entry.expect("audio-fixtures can be read").path())
        .filter(|path| path.join("expected.json").is_file())
        .collect();
    folders.push(root.join("demo-data"));
    folders.sort();
    folders
}

/// What `check --format json` says and how it ends.
fn check(folder: &Path) -> (Value, i32) {
    let output = Command::new(env!("CARGO_BIN_EXE_fingertape"))
        .args(["check", "--format", "json", "--melody"])
        .arg(folder.join("melody.toml"))
        .arg(folder.join("take.flac"))
        .output()
        .expect("the program runs");
    let said = String::from_utf8_lossy(&output.stdout);
    let report = serde_json::from_str(&said).unwrap_or_else(|error| {
        panic!("{}: {error}\n{said}{}", folder.display(), String::from_utf8_lossy(&output.stderr))
    });
    (report, output.status.code().expect("the program ends by itself"))
}

/// What differs between the report and the truth, one line each.
fn differences(report: &Value, code: i32, truth: &Value) -> Vec<String> {
    let mut found = Vec::new();
    let mut same = |what: String, said: Value, truth: &Value| {
        if said != *truth {
            found.push(format!("{what}: said {said}, truth {truth}"));
        }
    };
    same("exit code".into(), code.into(), &truth["exit_code"]);
    same("outcome".into(), report["outcome"].clone(), &truth["outcome"]);
    if truth["outcome"] != "judged" {
        return found;
    }
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    same("notes".into(), list(&report["notes"]).len().into(), &list(&truth["notes"]).len().into());
    same("rests".into(), list(&report["rests"]).len().into(), &list(&truth["rests"]).len().into());
    for (note, truth) in list(&report["notes"]).iter().zip(&list(&truth["notes"])) {
        let at = format!("note {} ({})", truth["index"], note["written"]);
        same(format!("{at} index"), note["index"].clone(), &truth["index"]);
        same(format!("{at} verdict"), note["verdict"].clone(), &truth["verdict"]);
        // The pitch is named: nearest after the tuning of the instrument.
        let tuning = report["tuning"]["offset_cents"].as_f64().unwrap_or(0.0) / 100.0;
        let played = note["played_midi"].as_f64().map(|midi| (midi - tuning).round() as i64);
        same(format!("{at} played"), played.into(), &truth["played"]);
    }
    for (rest, truth) in list(&report["rests"]).iter().zip(&list(&truth["rests"])) {
        same(format!("rest {} verdict", truth["index"]), rest["verdict"].clone(), &truth["verdict"]);
    }
    let extra: Vec<Value> = list(&report["extra"])
        .iter()
        .map(|extra| {
            let midi = extra["played_midi"].as_f64().unwrap_or(0.0).round() as i64;
            serde_json::json!([midi, extra["after_index"]])
        })
        .collect();
    same("extra notes".into(), extra.into(), &truth["extra"]);
    let restarts: Vec<Value> = list(&report["restarts"])
        .iter()
        .map(|restart| serde_json::json!([restart["left_at_index"], restart["resumed_at_index"]]))
        .collect();
    same("restarts".into(), restarts.into(), &truth["restarts"]);
    found.extend(cents_off(report, truth));
    found
}

/// Planted cents that were not found.
fn cents_off(report: &Value, truth: &Value) -> Vec<String> {
    let within = truth["cents_within"].as_f64().expect("the truth has a tolerance");
    let mut found = Vec::new();
    let mut near = |what: String, said: Option<f64>, truth: f64| {
        if said.is_none_or(|said| (said - truth).abs() > within) {
            found.push(format!("{what}: said {said:?} cents, truth {truth}"));
        }
    };
    let notes = |value: &Value| value["notes"].as_array().cloned().unwrap_or_default();
    for (note, truth) in notes(report).iter().zip(&notes(truth)) {
        if let Some(cents) = truth["cents"].as_f64() {
            near(format!("note {}", truth["index"]), note["cents"].as_f64(), cents);
        }
    }
    for string in truth["strings"].as_array().into_iter().flatten() {
        let strings = report["tuning"]["strings"].as_array().cloned().unwrap_or_default();
        let said = strings.iter().find(|said| said["string"] == string[0]);
        let cents = string[1].as_f64().expect("the truth has cents");
        near(format!("string {}", string[0]), said.and_then(|said| said["cents"].as_f64()), cents);
    }
    found
}

#[test]
fn every_take_of_known_truth_is_judged_as_it_was_made() {
    let folders = folders();
    assert!(folders.len() >= 10, "the fixtures are missing: {folders:?}");
    let mut wrong = Vec::new();
    for folder in &folders {
        let text = std::fs::read_to_string(folder.join("expected.json")).expect("the truth can be read");
        let truth: Value = serde_json::from_str(&text).expect("the truth is JSON");
        let (report, code) = check(folder);
        for difference in differences(&report, code, &truth) {
            wrong.push(format!("{}: {difference}", folder.file_name().unwrap_or_default().to_string_lossy()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_same_take_and_melody_give_the_same_bytes() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let bytes = || {
        Command::new(env!("CARGO_BIN_EXE_fingertape"))
            .args(["check", "--format", "json", "--melody"])
            .args([folder.join("melody.toml"), folder.join("take.flac")])
            .output()
            .expect("the program runs")
            .stdout
    };
    assert_eq!(bytes(), bytes());
}

#[test]
fn the_comparison_notices_a_changed_verdict_a_lost_rest_and_a_wrong_pitch() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let text = std::fs::read_to_string(folder.join("expected.json")).expect("the truth can be read");
    let truth: Value = serde_json::from_str(&text).expect("the truth is JSON");
    let (report, code) = check(&folder);
    let change = |edit: fn(&mut Value)| {
        let mut report = report.clone();
        edit(&mut report);
        differences(&report, code, &truth).len()
    };
    let before = change(|_| {});
    assert!(change(|report| report["notes"][3]["verdict"] = "wrong".into()) > before);
    assert!(change(|report| report["notes"][3]["played_midi"] = 70.into()) > before);
    assert!(change(|report| report["notes"][0]["cents"] = (-10).into()) > before);
    assert!(change(|report| report["rests"] = Value::Array(vec![])) > before);
    assert!(change(|report| report["outcome"] = "silence".into()) > before);
}
