//! `fingertape jot` as people use it: made takes come back as the melody that was played, and every draft can be read.

#[cfg(all(target_os = "linux", feature = "microphone"))]
mod false_microphone;
mod program;

use fingertape::formats::{read_melody, read_melody_bytes};
use fingertape::notation::{EventKind, Melody};
use program::{program, said};
use std::path::{Path, PathBuf};

fn fixture(name: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    if name == "demo" { root.join("demo-data") } else { root.join("audio-fixtures").join(name) }
}

fn run(arguments: &[&str]) -> (i32, String, String) {
    said(program(arguments).output().expect("the program runs"))
}

/// The melody that a folder's take was played from.
fn melody(name: &str) -> Melody {
    read_melody(&fixture(name).join("melody.toml")).expect("a melody").melody
}

/// The words that tell the program what the sheet of a fixture says besides its notes.
fn facts(melody: &Melody) -> Vec<String> {
    vec![
        "--instrument".into(),
        melody.instrument.expect("an instrument").to_string(),
        "--bpm".into(),
        melody.bpm.expect("a tempo").to_string(),
        "--metre".into(),
        melody.metre.to_string(),
    ]
}

/// The draft of a fixture's take, read back.
fn draft(name: &str, more: &[&str]) -> (Melody, String) {
    let take = fixture(name).join("take.flac");
    let facts = facts(&melody(name));
    let mut arguments = vec!["jot", "--from", take.to_str().expect("a path")];
    arguments.extend(facts.iter().map(String::as_str));
    arguments.extend(more);
    let (code, text, errors) = run(&arguments);
    assert_eq!((code, errors.as_str()), (0, ""), "{text}");
    let read =
        read_melody_bytes("draft.toml", text.as_bytes()).unwrap_or_else(|error| panic!("{error}\n{text}"));
    assert_eq!(read.remarks, [], "{text}");
    (read.melody, text)
}

/// Notes as (start, length, sounding pitch, spelling).
fn notes(melody: &Melody) -> Vec<String> {
    melody
        .events
        .iter()
        .filter_map(|event| match event.kind {
            EventKind::Note { written, sounding } => {
                Some(format!("{} + {}: {written} ({sounding})", event.start, event.length))
            }
            EventKind::Rest => None,
        })
        .collect()
}

#[test]
fn clean_takes_come_back_as_the_melody_that_was_played() {
    for name in ["all-right", "tuned-low"] {
        let (draft, text) = draft(name, &[]);
        let written = melody(name);
        assert_eq!(notes(&draft), notes(&written), "{text}");
        assert_eq!(draft.length(), written.length(), "{text}");
        assert_eq!(draft.sheet.key(), written.sheet.key(), "{text}");
        assert!(text.contains("I guessed the key of"), "{text}");
    }
}

#[test]
fn what_was_played_is_drafted_and_not_what_somebody_wrote() {
    // F natural for F sharp, and an open A for B: the truth that was planted.
    let (draft, text) = draft("wrong-notes", &["--key", "D"]);
    assert!(!text.contains("guess"), "{text}");
    let played: Vec<i32> = draft.soundings().collect();
    let mut expected: Vec<i32> = melody("wrong-notes").soundings().collect();
    (expected[2], expected[8]) = (53, 57);
    assert_eq!(played, expected, "{text}");
    assert!(text.contains("Fn3"), "a natural in a key with F sharp says so: {text}");
}

#[test]
fn a_pickup_and_another_metre_move_the_bar_lines_and_not_the_notes() {
    let (plain, _) = draft("all-right", &["--key", "D"]);
    let (draft, text) = draft("all-right", &["--key", "D", "--pickup", "1"]);
    assert_eq!(notes(&draft), notes(&plain), "{text}");
    assert_eq!(draft.events[0].bar, 0);
    assert_eq!(draft.events[0].beat.to_integer(), 4);
    assert_eq!(draft.events[1].bar, 1);
}

#[test]
fn a_take_judged_against_its_own_draft_is_right() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["all-right", "wrong-notes", "missing-note", "restart", "rests", "demo"] {
        let take = fixture(name).join("take.flac");
        let take = take.to_str().expect("a path");
        let file = folder.path().join(format!("{name}.toml"));
        let file = file.to_str().expect("a path");
        let facts = facts(&melody(name));
        let mut arguments = vec!["jot", "--from", take, "--output", file, "--title", "A \"tune\" of mine"];
        arguments.extend(facts.iter().map(String::as_str));
        let (code, text, errors) = run(&arguments);
        assert_eq!((code, errors.as_str()), (0, ""), "{text}");
        assert!(text.contains("notes in") && text.contains("Read it, play it, change it"), "{text}");
        let (code, report, errors) = run(&["check", take, "--melody", file, "--format", "json"]);
        assert_eq!((code, errors.as_str()), (0, ""), "{name}");
        let report: serde_json::Value = serde_json::from_str(&report).expect("JSON");
        assert_eq!(report["melody"]["title"], "A \"tune\" of mine");
        let notes = report["notes"].as_array().expect("notes");
        let right = notes.iter().filter(|note| note["verdict"] == "right").count();
        assert!(right + 1 >= notes.len() && right >= 7, "{name}: {right} of {}", notes.len());
    }
}

#[test]
fn what_cannot_be_heard_has_no_draft() {
    let take = fixture("silence").join("take.flac");
    let (code, text, _) =
        run(&["jot", "--from", take.to_str().expect("a path"), "--instrument", "violin", "--bpm", "80"]);
    assert_eq!(code, 1);
    assert!(text.contains("No draft: the recording is silent."), "{text}");
}

#[test]
fn wrong_arguments_end_with_2_and_say_what_is_right() {
    let take = fixture("all-right").join("take.flac");
    let take = take.to_str().expect("a path");
    for (more, expected) in [
        (vec!["--bpm", "80"], "--instrument"),
        (vec!["--instrument", "violin"], "--bpm"),
        (vec!["--instrument", "violin", "--bpm", "800"], "20 to 300"),
        (vec!["--instrument", "violin", "--bpm", "80", "--metre", "4/3"], "is not a metre"),
        (vec!["--instrument", "violin", "--bpm", "80", "--metre", "4/32"], "at most 16"),
        (vec!["--instrument", "violin", "--bpm", "80", "--key", "H"], "is not a key"),
        (vec!["--instrument", "violin", "--bpm", "80", "--pickup", "4"], "0 to 3 beats"),
        (vec!["--instrument", "violin", "--bpm", "80", "--metre", "2/4", "--pickup", "2"], "0 beats or 1"),
        (
            vec!["--instrument", "violin", "--bpm", "80", "--metre", "1/4", "--pickup", "1"],
            "a pickup of 1 beat is no pickup in 1/4",
        ),
        (vec!["--instrument", "violin", "--bpm", "80", "--output", take], "give the draft a name of its own"),
        (vec!["--instrument", "violin", "--bpm", "80", "--output", "x.abc"], "end the name in .toml"),
        (vec!["--instrument", "violin", "--bpm", "80", "--output", "draft"], "end the name in .toml"),
    ] {
        let mut arguments = vec!["jot", "--from", take];
        arguments.extend(&more);
        let (code, text, errors) = run(&arguments);
        assert_eq!((code, text.as_str()), (2, ""), "{more:?}");
        let words: Vec<&str> = errors.split_whitespace().filter(|word| *word != "│").collect();
        assert!(words.join(" ").contains(expected), "{more:?}: {errors}");
    }
}

#[test]
fn a_draft_that_was_changed_is_replaced_only_when_that_is_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("draft.toml");
    std::fs::write(&file, "my own changes").expect("a file");
    let take = fixture("all-right").join("take.flac");
    let jot = |more: &[&str]| {
        let path = |path: &Path| path.to_str().expect("a path").to_owned();
        let (from, output) = (path(&take), path(&file));
        let known = ["jot", "--from", &from, "--instrument", "violin", "--bpm", "100", "--output", &output];
        run(&[&known[..], more].concat())
    };
    let (code, text, errors) = jot(&[]);
    assert_eq!((code, text.as_str()), (2, ""));
    let errors = errors.split_whitespace().filter(|word| *word != "│").collect::<Vec<_>>().join(" ");
    assert!(errors.contains("there is a file") && errors.contains("add --force to replace it"), "{errors}");
    assert_eq!(std::fs::read_to_string(&file).expect("a file"), "my own changes");
    let (code, text, errors) = jot(&["--force"]);
    assert_eq!((code, errors.as_str()), (0, ""));
    assert!(text.contains("such as --key G. Add --force to replace this draft."), "{text}");
    assert!(std::fs::read_to_string(&file).expect("a file").contains("D4 q"));
}

#[test]
fn a_draft_that_cannot_be_saved_is_printed_all_the_same() {
    let take = fixture("all-right").join("take.flac");
    let take = take.to_str().expect("a path");
    let (code, text, errors) = run(&[
        "jot",
        "--from",
        take,
        "--instrument",
        "violin",
        "--bpm",
        "100",
        "--output",
        "no-such-folder/x.toml",
    ]);
    assert_eq!(code, 2);
    assert!(text.contains("D4 q  E4  F#4  G4"), "{text}");
    assert!(errors.contains("make the folder first"), "{errors}");
}

#[test]
fn the_examples_of_the_help_work() {
    let (code, help, _) = run(&["jot", "--help"]);
    assert_eq!(code, 0);
    assert!(help.contains("Exit codes:"), "{help}");
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["my-tune.m4a", "my-tune.wav"] {
        std::fs::copy(fixture("wrong-notes").join("take.flac"), folder.path().join(name)).expect("a copy");
    }
    let examples: Vec<&str> =
        help.lines().filter_map(|line| line.trim_start().strip_prefix("fingertape ")).collect();
    let from_files: Vec<&&str> = examples.iter().filter(|example| example.contains("--from")).collect();
    assert_eq!((examples.len(), from_files.len()), (3, 2), "{help}");
    for example in from_files {
        let arguments: Vec<&str> = example.split_whitespace().collect();
        let output = program(&arguments).current_dir(folder.path()).output().expect("the program runs");
        assert_eq!(output.status.code(), Some(0), "{example}");
    }
    assert!(folder.path().join("draft.toml").is_file());
}

#[cfg(all(target_os = "linux", feature = "microphone"))]
#[test]
fn a_microphone_gives_the_draft_that_the_file_gives_and_keeps_the_take() {
    use false_microphone::{FalseMicrophone, RATE};
    let folder = tempfile::tempdir().expect("a folder");
    let take =
        fingertape::decode::read_take(&fixture("all-right").join("take.flac")).expect("a take").samples;
    // The fixture has a lower rate than the microphone: straight lines between samples are good enough for an ear.
    let ratio = take.rate.hertz() / f64::from(RATE);
    let count = (take.mono.len() as f64 / ratio) as usize - 1;
    let samples: Vec<f32> = (0..count)
        .map(|k| {
            let at = k as f64 * ratio;
            let (low, part) = (at as usize, at.fract() as f32);
            take.mono[low] * (1.0 - part) + take.mono[(low + 1).min(take.mono.len() - 1)] * part
        })
        .collect();
    let kept = folder.path().join("kept.wav");
    let microphone = FalseMicrophone::hearing(&samples);
    let facts = facts(&melody("all-right"));
    let mut arguments = vec!["jot", "--stop-after", "2", "--keep", kept.to_str().expect("a path")];
    arguments.extend(facts.iter().map(String::as_str));
    let mut command = microphone.command(env!("CARGO_BIN_EXE_fingertape"));
    let (code, text, errors) = said(command.args(&arguments).output().expect("the program runs"));
    assert_eq!(code, 0, "{text}{errors}");
    assert!(errors.starts_with("Listening with ") && errors.lines().count() == 1, "{errors}");
    let live = read_melody_bytes("draft.toml", text.as_bytes()).expect("only the draft is printed").melody;
    assert_eq!(notes(&live), notes(&melody("all-right")), "{text}");
    let kept = fingertape::decode::read_take(&kept).expect("the take was kept").samples;
    assert!(kept.duration().0 > 11.0, "{}", kept.duration().0);
}

#[test]
fn the_draft_never_takes_the_place_of_the_recording_that_is_kept() {
    let folder = tempfile::tempdir().expect("a folder");
    let (one, other) = (folder.path().join("kt.toml"), folder.path().join("./kt.toml"));
    let (one, other) = (one.to_str().expect("a path"), other.to_str().expect("a path"));
    let arguments = ["jot", "--instrument", "violin", "--bpm", "80", "--keep", one, "--output", other];
    let (code, text, errors) = run(&arguments);
    assert_eq!((code, text.as_str()), (2, ""));
    assert!(errors.contains("is the recording") && !errors.contains("Listening"), "{errors}");
    assert_eq!(std::fs::read_dir(folder.path()).expect("a folder").count(), 0);
}
