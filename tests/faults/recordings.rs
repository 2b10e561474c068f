//! What breaks on the way costs what was not yet played, never the take.

use crate::false_microphone::FalseMicrophone;
use crate::support::{
    PROGRAM, after_count_in, book, case, first_take, record, said, sound_of, takes, verdicts,
};
use fingertape::takes::State;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use serde_json::Value;
use std::process::{Child, Stdio};

fn demo() -> (FalseMicrophone, std::path::PathBuf) {
    let melody = case("demo").join("melody.toml");
    (FalseMicrophone::hearing(&after_count_in(&sound_of("demo"), &melody)), melody)
}

fn start(microphone: &FalseMicrophone, melody: &std::path::Path, more: &[&str]) -> Child {
    let mut command = record(microphone, melody, more);
    command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program runs")
}

/// Waits until something is there; a test fails instead of hanging.
fn wait_for(what: &str, mut there: impl FnMut() -> bool) {
    let began = std::time::Instant::now();
    while !there() {
        assert!(began.elapsed().as_secs() < 60, "{what} never came");
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
}

/// Waits until so many seconds of the take are in its file.
fn wait_for_seconds(microphone: &FalseMicrophone, seconds: u64) {
    let wav = book(microphone).join("melody/take-001.wav");
    // 24 bits, 48 kHz, one channel.
    wait_for("the take", || std::fs::metadata(&wav).is_ok_and(|file| file.len() > seconds * 144_000));
}

fn signal(child: &Child, signal: Signal) {
    kill(Pid::from_raw(child.id() as i32), signal).expect("a signal");
}

/// The report of the first take, which must be about this much of the demo; its verdicts up to there are those of the
/// whole.
fn judged_part(microphone: &FalseMicrophone, at_least: f64) -> Value {
    let take = first_take(microphone);
    let report: Value =
        serde_json::from_slice(&std::fs::read(take.report_json()).expect("a report")).expect("JSON");
    let seconds = report["take"]["duration_s"].as_f64().expect("a length");
    assert!((at_least..16.0).contains(&seconds), "{seconds}");
    let (outcome, notes, _) = verdicts(&report);
    assert_eq!(outcome, "judged", "{report}");
    // The first bar of the demo is right, and all of it is in the take.
    assert_eq!(notes[..4], ["right", "right", "right", "right"], "{report}");
    report
}

fn has_remark(report: &Value, code: &str) -> bool {
    report["take"]["remarks"].as_array().is_some_and(|list| list.iter().any(|one| one["code"] == code))
}

#[test]
fn a_killed_recording_is_recovered_and_judged() {
    let (microphone, melody) = demo();
    let mut child = start(&microphone, &melody, &["--string-length", "301"]);
    wait_for_seconds(&microphone, 8);
    let (code, text, _) = takes(&microphone, &["--recover"]);
    assert_eq!(code, 0);
    assert!(text.contains("is being recorded right now"), "{text}");
    signal(&child, Signal::SIGKILL);
    child.wait().expect("it ends");
    assert_eq!(first_take(&microphone).state(), State::CutOff);
    let (_, text, _) = takes(&microphone, &["melody"]);
    assert!(text.contains("cut off, not judged") && text.contains("takes --recover"), "{text}");

    let (code, text, errors) = takes(&microphone, &["--recover"]);
    assert_eq!((code, errors.as_str()), (0, ""), "{text}");
    assert!(text.contains("melody/1: recovered"), "{text}");
    let report = judged_part(&microphone, 7.9);
    assert!(has_remark(&report, "recovered"), "{report}");
    let page = std::fs::read_to_string(first_take(&microphone).report_page()).expect("a page");
    assert!(page.contains("301 mm"), "the string length is the player's");
    let (_, text, _) = takes(&microphone, &["--recover"]);
    assert!(text.contains("No take was cut off"), "{text}");
}

#[test]
fn a_full_disk_is_said_at_once_and_what_is_there_is_judged() {
    let (microphone, melody) = demo();
    // A file may have 1200 KiB, which are 8.5 s of the take: the disk is full for the take alone.
    let inner = record(&microphone, &melody, &[]);
    let mut command = microphone.command("bash");
    command
        .args(["-c", "trap '' XFSZ; ulimit -f 1200; exec \"$0\" \"$@\""])
        .arg(PROGRAM)
        .args(inner.get_args());
    let began = std::time::Instant::now();
    let (code, text, errors) = said(&command.output().expect("it ends"));
    assert_eq!(code, 0, "{text}{errors}");
    assert!(text.contains("Stopped: cannot write the take to"), "{text}");
    assert!(text.contains("What was heard before that is kept."), "{text}");
    assert!(text.contains("What went well"), "{text}");
    // The demo is 22.8 s long after 2.4 s of count-in: nobody played on for nothing.
    assert!(began.elapsed().as_secs() < 20, "{:?}", began.elapsed());
    let report = judged_part(&microphone, 8.0);
    assert!(has_remark(&report, "disk-full"), "{report}");
    assert_eq!(
        hound::WavReader::open(first_take(&microphone).wav()).expect("a WAV file").spec().sample_rate,
        48_000
    );
}

#[test]
fn a_full_disk_costs_jot_the_end_of_the_recording_and_not_the_draft() {
    let microphone = FalseMicrophone::hearing(&sound_of("all-right"));
    let kept = microphone.folder().join("kept.wav");
    let mut command = microphone.command("bash");
    command
        .args(["-c", "trap '' XFSZ; ulimit -f 600; exec \"$0\" \"$@\""])
        .arg(PROGRAM)
        .args(["jot", "--instrument", "violin", "--bpm", "100", "--stop-after", "2", "--keep"])
        .arg(&kept);
    let (code, text, errors) = said(&command.output().expect("it ends"));
    assert_eq!(code, 0, "{text}{errors}");
    assert!(text.contains("D4 q  E4  F#4  G4"), "{text}");
    assert!(errors.contains("The draft is made all the same."), "{errors}");
    // 600 KiB are 4.26 s, and all of them can be read.
    let seconds = hound::WavReader::open(&kept).expect("a WAV file").duration() as f64 / 48_000.0;
    assert!((4.0..4.3).contains(&seconds), "{seconds}");
}

#[test]
fn a_microphone_that_is_pulled_out_leaves_a_judged_take() {
    let (microphone, melody) = demo();
    let child = start(&microphone, &melody, &[]);
    wait_for_seconds(&microphone, 8);
    microphone.pull_out();
    let (code, text, errors) = said(&child.wait_with_output().expect("it ends by itself"));
    assert_eq!(code, 0, "{text}{errors}");
    assert!(text.contains("Stopped: the microphone"), "{text}");
    let report = judged_part(&microphone, 7.9);
    assert!(has_remark(&report, "microphone-stopped"), "{report}");
}

#[test]
fn ctrl_c_ends_the_take_and_keeps_it() {
    let (microphone, melody) = demo();
    let child = start(&microphone, &melody, &["--format", "json"]);
    wait_for_seconds(&microphone, 8);
    signal(&child, Signal::SIGINT);
    let (code, text, errors) = said(&child.wait_with_output().expect("it ends"));
    assert_eq!(code, 0, "{errors}");
    assert!(errors.contains("Stopped. The take is kept."), "{errors}");
    assert_eq!(serde_json::from_str::<Value>(&text).expect("JSON"), judged_part(&microphone, 7.9));
}

#[test]
fn a_take_that_is_being_recorded_is_not_deleted() {
    let (microphone, melody) = demo();
    let refused = || {
        for more in [&["--delete", "melody/1", "--yes"][..], &["--erase-everything", "--yes"]] {
            let (code, text, errors) = takes(&microphone, more);
            assert_eq!((code, text.as_str()), (2, ""), "{errors}");
            assert!(errors.contains("is being recorded right now"), "{errors}");
        }
        let (code, text, _) = takes(&microphone, &["--recover"]);
        assert_eq!(code, 0);
        assert!(text.contains("is being recorded right now, and left alone"), "{text}");
    };
    let child = start(&microphone, &melody, &[]);
    // In the count-in, when there is no sound yet, and in the take.
    wait_for("the melody's copy", || book(&microphone).join("melody/take-001.melody.toml").exists());
    refused();
    wait_for_seconds(&microphone, 8);
    refused();
    signal(&child, Signal::SIGINT);
    let (code, _, errors) = said(&child.wait_with_output().expect("it ends"));
    assert_eq!(code, 0, "{errors}");
    judged_part(&microphone, 7.9);
    let (code, text, _) = takes(&microphone, &["--delete", "melody/1", "--yes"]);
    assert_eq!((code, text.as_str()), (0, "Take 1 of melody is deleted (6 files).\n"));
}

#[test]
fn what_is_stopped_before_the_first_beat_is_no_take() {
    let (microphone, melody) = demo();
    let child = start(&microphone, &melody, &["--bpm", "20"]);
    wait_for("the take's folder", || book(&microphone).join("melody/take-001.about.json").exists());
    signal(&child, Signal::SIGINT);
    let (code, text, errors) = said(&child.wait_with_output().expect("it ends"));
    assert_eq!((code, errors.as_str()), (1, ""));
    assert!(text.contains("Nothing was recorded, and nothing is kept."), "{text}");
    let (_, text, _) = takes(&microphone, &[]);
    assert!(text.contains("There are no takes yet"), "{text}");
}

#[test]
fn nothing_is_recorded_where_it_could_not_be_kept() {
    let (microphone, melody) = demo();
    let mut command = microphone.command(PROGRAM);
    command.args(["record", "--book", "/dev/null/book"]).arg(&melody);
    let (code, text, errors) = said(&command.output().expect("it ends"));
    assert_eq!((code, text.as_str()), (2, ""), "{errors}");
    assert!(errors.contains("/dev/null/book cannot be made"), "{errors}");
}

#[test]
fn a_microphone_that_cannot_be_opened_is_called_that() {
    let (microphone, melody) = demo();
    for (input, words) in
        [("alsa:brokenmic", "exists but cannot be opened"), ("nobody", "there is no microphone called")]
    {
        let (code, _, errors) =
            said(&record(&microphone, &melody, &["--input", input]).output().expect("it ends"));
        assert_eq!(code, 2, "{errors}");
        let errors = errors.split_whitespace().collect::<Vec<_>>().join(" ").replace(" │", "");
        assert!(errors.contains(words) && errors.contains("fingertape inputs"), "{errors}");
    }
    assert!(!book(&microphone).exists());
}
