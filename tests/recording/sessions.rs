//! A take through the microphone is judged as the file that it was played from.

use crate::false_microphone::{FalseMicrophone, RATE};
use crate::support::{
    PROGRAM, after_count_in, book, case, cases, check, first_take, record, said, sound_of, verdicts,
};
use serde_json::Value;
use std::thread;

#[test]
fn every_take_through_the_microphone_has_the_verdicts_of_its_file() {
    let cases = cases();
    assert!(cases.len() >= 12, "the fixtures are missing: {cases:?}");
    // A session takes as long as its music; all of them play at once.
    let threads: Vec<_> = cases.into_iter().map(|name| thread::spawn(move || same_verdicts(&name))).collect();
    let wrong: Vec<String> = threads.into_iter().filter_map(|one| one.join().expect("no panic")).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What differs between a session and `check` of the file, if anything does.
fn same_verdicts(name: &str) -> Option<String> {
    let melody = case(name).join("melody.toml");
    let microphone = FalseMicrophone::hearing(&after_count_in(&sound_of(name), &melody));
    let output = record(&microphone, &melody, &["--format", "json"]).output().expect("the program runs");
    let (code, text, errors) = said(&output);
    let recorded: Value =
        serde_json::from_str(&text).unwrap_or_else(|error| panic!("{name}: {error}: {errors}"));
    let (file_code, file) = check(&case(name).join("take.flac"), &melody, &[]);
    // The report that was printed is the one in the book, and the one that `check` gives of the book's files.
    let take = first_take(&microphone);
    let kept = std::fs::read_to_string(take.report_json()).expect("a report");
    assert_eq!(kept, text, "{name}");
    let (_, again) = check(&take.wav(), &take.melody().expect("a melody"), &[]);
    let different = |one: &Value, other: &Value| {
        ["outcome", "notes", "rests", "extra", "restarts", "tempo", "tuning"]
            .into_iter()
            .filter(|part| one[part] != other[part])
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    let parts = different(&recorded, &again);
    (code != file_code || verdicts(&recorded) != verdicts(&file) || !parts.is_empty()).then(|| {
        format!(
            "{name}: {code} {:?}\nbut the file {file_code} {:?}\ndifferent from check of the WAV: {parts:?}\n{errors}",
            verdicts(&recorded),
            verdicts(&file)
        )
    })
}

#[test]
fn the_session_in_the_readme_works_as_it_stands_there() {
    let readme =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).expect("the README");
    let (_, section) = readme.split_once("## At home: record a take").expect("the section");
    let blocks: Vec<&str> =
        section.split("```sh\n").skip(1).map(|rest| rest.split("```").next().expect("an end")).collect();
    // While `inputs` listens there is a tone, and while the level is checked; then the count, then the take.
    let tone = |seconds: usize| (0..seconds * RATE as usize).map(|n| 0.1 * (n as f32 * 0.06).sin());
    let melody = case("all-right").join("melody.toml");
    let commands: Vec<&str> = blocks[0].lines().collect();
    assert_eq!(commands, ["fingertape inputs --levels", "fingertape record my-melody.toml --silent-count"]);
    let run = |microphone: &FalseMicrophone, block: &str| {
        let program = std::path::Path::new(PROGRAM).parent().expect("a folder").display().to_string();
        let mut command = microphone.command("bash");
        command.args(["-c", block]).current_dir(microphone.folder()).env("FINGERTAPE_BOOK", book(microphone));
        command.env("PATH", format!("{program}:{}", std::env::var("PATH").unwrap_or_default()));
        said(&command.output().expect("bash runs"))
    };
    let listened = FalseMicrophone::hearing(&tone(10).collect::<Vec<_>>());
    let (code, text, errors) = run(&listened, commands[0]);
    assert_eq!((code, errors.as_str()), (0, ""), "{text}");
    let heard: Vec<f32> = tone(2).chain(after_count_in(&sound_of("all-right"), &melody)).collect();
    let microphone = FalseMicrophone::hearing(&heard);
    std::fs::copy(&melody, microphone.folder().join("my-melody.toml")).expect("a copy");
    let (code, text, errors) = run(&microphone, commands[1]);
    assert_eq!((code, errors.as_str()), (0, ""), "{text}");
    assert!(
        text.contains("The level is good") && text.contains("Every note was the one on the sheet."),
        "{text}"
    );
    assert!(text.lines().all(|line| line.chars().count() < 80 || line.contains('/')), "{text}");
    let (code, text, errors) = run(&microphone, blocks[1]);
    assert_eq!((code, errors.as_str()), (0, ""), "{text}");
    assert!(
        text.contains("12 of 12 notes right") && text.contains("Take 1 of my-melody is deleted"),
        "{text}"
    );
}
