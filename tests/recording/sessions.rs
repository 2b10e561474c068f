//! A take through the microphone is judged as the file that it was played from.

use crate::false_microphone::FalseMicrophone;
use crate::support::{after_count_in, case, check, first_take, record, said, sound_of, verdicts};
use serde_json::Value;
use std::thread;

const CASES: [&str; 6] = ["demo", "wrong-notes", "all-right", "rests", "octave-away", "not-this-melody"];

#[test]
fn a_take_through_the_microphone_has_the_verdicts_of_its_file() {
    let threads: Vec<_> = CASES
        .into_iter()
        .map(|name| thread::spawn(move || same_verdicts(name)))
        .collect();
    let wrong: Vec<String> = threads.into_iter().filter_map(|one| one.join().expect("no panic")).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What differs between a session and `check` of the file, if anything does.
fn same_verdicts(name: &str) -> Option<String> {
    let melody = case(name).join("melody.toml");
    let microphone = FalseMicrophone::hearing(&after_count_in(&sound_of(name), &melody));
    let output = record(&microphone, &melody, &["--format", "json"]).output().expect("the program runs");
    let (code, text, errors) = said(&output);
    let recorded: Value = serde_json::from_str(&text).unwrap_or_else(|error| panic!("{name}: {error}: {errors}"));
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
