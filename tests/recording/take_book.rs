//! The take book as people use it, the list of microphones, and the clicks.

use crate::false_microphone::{FalseMicrophone, RATE};
use crate::support::{PROGRAM, after_count_in, book, case, first_take, record, said, sound_of, takes};
use serde_json::Value;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::Stdio;

#[test]
fn every_sample_that_was_heard_is_in_the_take() {
    let melody = case("all-right").join("melody.toml");
    let sound = sound_of("all-right");
    let microphone = FalseMicrophone::hearing(&after_count_in(&sound, &melody));
    let (code, text, errors) = said(&record(&microphone, &melody, &[]).output().expect("it ends"));
    assert_eq!(code, 0, "{text}{errors}");
    assert!(text.contains("That was the end of the melody."), "{text}");
    let mut wav = hound::WavReader::open(first_take(&microphone).wav()).expect("a WAV file");
    let kept: Vec<i32> = wav.samples().map(|sample| sample.expect("a sample")).collect();
    assert!(kept.len() > sound.len() - RATE as usize, "{} of {}", kept.len(), sound.len());
    let heard = sound.iter().map(|sample| (sample * 8_388_608.0).round() as i32);
    // The sound begins on the sample on which the take does, but for the rounding of half a beat.
    let shift = kept.iter().position(|sample| *sample != 0).expect("sound");
    let start = sound.iter().position(|sample| (sample * 8_388_608.0).round() != 0.0).expect("sound");
    assert!(shift.abs_diff(start) <= 1, "{shift} {start}");
    let wrong = kept[shift..].iter().zip(heard.skip(start)).position(|(kept, heard)| *kept != heard);
    assert_eq!(wrong, None);
}

#[test]
fn the_book_lists_compares_exports_deletes_and_erases() {
    let melody = case("all-right").join("melody.toml");
    let microphone = FalseMicrophone::hearing(&after_count_in(&sound_of("octave-away"), &melody));
    let (code, text, _) = said(&record(&microphone, &melody, &[]).output().expect("it ends"));
    assert_eq!(code, 0, "{text}");
    let again = FalseMicrophone::hearing(&after_count_in(&sound_of("all-right"), &melody));
    let mut second = again.command(PROGRAM);
    second
        .args(["record", "--silent-count", "--level-check", "0", "--book"])
        .arg(book(&microphone))
        .arg(&melody);
    let (code, text, errors) = said(&second.output().expect("it ends"));
    assert_eq!(code, 0, "{text}{errors}");
    assert!(text.contains("Since take 1, bars 1 to 4 have got better."), "{text}");
    let page = book(&microphone).join("melody/take-002.report.html");
    let page = fs::read_to_string(page).expect("the page is there");
    assert!(page.contains("Since earlier takes") && page.contains("take 2"), "the page knows of take 1");

    let (code, text, _) = takes(&microphone, &[]);
    assert_eq!(code, 0);
    assert!(text.contains("melody  (2 takes)") && text.contains("12 of 12 notes right"), "{text}");
    assert!(text.contains("  take 1 ") && text.contains("  take 2 "), "{text}");
    let (_, text, _) = takes(&microphone, &["melody"]);
    assert!(
        text.contains("bar      take 1   take 2\n1           0/4      4/4\n2           1/4      4/4\n"),
        "{text}"
    );
    assert!(text.contains("Better in take 2 than in take 1: bars 1 to 4."), "{text}");
    assert!(text.lines().all(|line| line.chars().count() < 80), "{text}");

    let (code, text, _) = takes(&microphone, &["melody", "--format", "json"]);
    assert_eq!(code, 0, "{text}");
    let listed: Value = serde_json::from_str(&text).expect("JSON");
    let second = &listed["melodies"][0]["takes"][1];
    assert_eq!((&second["number"], &second["outcome"]), (&2.into(), &"judged".into()), "{text}");
    assert_eq!((&second["right_notes"], &second["written_notes"]), (&12.into(), &12.into()), "{text}");

    let zip = microphone.folder().join("all.zip");
    let (code, text, _) = takes(&microphone, &["--export", zip.to_str().expect("a path")]);
    assert_eq!(code, 0, "{text}");
    assert!(text.starts_with("2 takes copied to"), "{text}");
    assert!(zip.is_file());
    let (code, _, errors) = takes(&microphone, &["--export", zip.to_str().expect("a path")]);
    assert_eq!(code, 2, "{errors}");

    let (code, text, _) = takes(&microphone, &["--delete", "melody/1"]);
    assert_eq!(code, 1);
    assert!(text.contains("Nothing was deleted. To delete for good, add --yes."), "{text}");
    // Another book's take, and a file's name, are not this take.
    for other in ["another-book/melody/1", "melody.toml/1"] {
        let (code, _, errors) = takes(&microphone, &["--delete", other, "--yes"]);
        assert!(code == 2 && errors.contains("there is no melody called"), "{errors}");
    }
    let (code, text, _) = takes(&microphone, &["--delete", "melody/1", "--yes"]);
    assert_eq!((code, text.as_str()), (0, "Take 1 of melody is deleted (6 files).\n"));
    let (code, _, errors) = takes(&microphone, &["--delete", "melody/1", "--yes"]);
    assert_eq!(code, 2, "{errors}");
    let (code, _, errors) = takes(&microphone, &["--delete", "melody", "--yes"]);
    assert_eq!(code, 2, "{errors}");
    assert!(book(&microphone).join("melody/take-002.wav").exists());

    let (code, _, _) = takes(&microphone, &["--erase-everything"]);
    assert_eq!(code, 1);
    let (code, text, _) = takes(&microphone, &["--erase-everything", "--yes"]);
    assert_eq!((code, text.as_str()), (0, "1 take deleted.\n"));
    assert!(!book(&microphone).exists());
}

#[test]
fn a_melody_out_of_a_pipe_is_recorded_and_judged() {
    let melody = case("all-right").join("melody.toml");
    let microphone = FalseMicrophone::hearing(&after_count_in(&sound_of("all-right"), &melody));
    let mut command = record(&microphone, Path::new("/dev/stdin"), &[]);
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program runs");
    let bytes = fs::read(&melody).expect("a melody");
    child.stdin.take().expect("a pipe").write_all(&bytes).expect("it is read");
    let (code, text, errors) = said(&child.wait_with_output().expect("it ends"));
    assert_eq!(code, 0, "{text}{errors}");
    assert_eq!(fs::read(first_take(&microphone).melody().expect("its copy")).expect("bytes"), bytes);
    let (_, text, _) = takes(&microphone, &[]);
    assert!(text.contains("12 of 12 notes right"), "{text}");
}

#[test]
fn the_book_is_where_the_environment_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = std::process::Command::new(PROGRAM)
        .arg("takes")
        .env("FINGERTAPE_BOOK", folder.path().join("mine"))
        .output()
        .expect("the program runs");
    let (code, text, _) = said(&output);
    assert_eq!(code, 0);
    assert!(text.contains(&folder.path().join("mine").display().to_string()), "{text}");
}

#[test]
fn microphones_are_listed_with_what_they_hear_and_why_they_cannot_be_opened() {
    let tone: Vec<f32> = (0..60 * RATE).map(|n| 0.2 * (n as f32 * 0.06).sin()).collect();
    let microphone = FalseMicrophone::hearing(&tone);
    let run = |arguments: &[&str]| {
        said(&microphone.command(PROGRAM).arg("inputs").args(arguments).output().expect("it ends"))
    };
    let (code, text, errors) = run(&[]);
    assert_eq!((code, errors.as_str()), (0, ""));
    assert!(text.contains("False microphone") && text.contains("* the system's own choice"), "{text}");
    let (code, text, errors) = run(&["--levels", "--format", "json"]);
    assert_eq!((code, errors.as_str()), (0, ""));
    let listed: Value = serde_json::from_str(&text).expect("JSON");
    let listed = listed["inputs"].as_array().expect("a list");
    let named = |name: &str| {
        listed
            .iter()
            .find(|one| one["id"].as_str().is_some_and(|id| id.contains(name)))
            .unwrap_or_else(|| panic!("{text}"))
    };
    assert_eq!(named("falsemic")["level"]["word"], "good", "{text}");
    assert!(named("brokenmic")["cannot_be_opened"].is_string(), "{text}");
    let (_, text, _) = run(&["--levels"]);
    assert!(text.contains("is there but cannot be opened"), "{text}");
    // −14 dB is the peak of 0.2, and −17 dB its level.
    assert!(text.contains("good (-17 dB)"), "{text}");
}

#[test]
fn the_level_is_checked_and_the_clicks_are_heard() {
    let melody = case("all-right").join("melody.toml");
    // A long note for the level, then silence for the count-in, then nothing is played.
    let mut heard: Vec<f32> = (0..2 * RATE).map(|n| 0.003 * (n as f32 * 0.06).sin()).collect();
    heard.extend(vec![0.0; RATE as usize]);
    let microphone = FalseMicrophone::hearing_beside_a_loudspeaker(&heard);
    let mut command = microphone.command(PROGRAM);
    command.args(["record", "--bpm", "300", "--book"]).arg(book(&microphone)).arg(&melody);
    let (code, text, errors) = said(&command.output().expect("it ends"));
    assert_eq!((code, errors.as_str()), (1, ""), "{text}");
    assert!(text.contains("You will hear clicks. Use headphones"), "{text}");
    assert!(text.contains("You are very soft here (-53 dB): come nearer"), "{text}");
    assert!(text.contains("\n1\n2\n3\n4\n"), "{text}");
    assert!(text.contains("I heard nothing to follow"), "{text}");
    assert!(text.contains("There is no sound in this take."), "{text}");
    let played = fs::read(microphone.played()).expect("what was played");
    let clicks = played.chunks_exact(4).map(|four| f32::from_le_bytes([four[0], four[1], four[2], four[3]]));
    let loudest = clicks.fold(0.0, f32::max);
    // Volume 20 of 100, of which 100 is a peak of 0.5.
    assert!((0.02..=0.1).contains(&loudest), "{loudest}");
}

/// The examples of a command's help, in order.
fn examples(command: &str) -> Vec<String> {
    let help =
        std::process::Command::new(PROGRAM).args([command, "--help"]).output().expect("the program runs");
    let (_, text, _) = said(&help);
    text.lines().map(str::trim).filter(|line| line.starts_with("fingertape ")).map(str::to_owned).collect()
}

#[test]
fn the_examples_of_the_help_work_and_takes_at_one_time_get_numbers_of_their_own() {
    let shared = tempfile::tempdir().expect("a folder");
    let melody = case("all-right").join("melody.toml");
    let read = fingertape::formats::read_melody(&melody).expect("a melody").melody;
    let tone = (0..2 * RATE).map(|n| 0.1 * (n as f32 * 0.06).sin());
    let heard: Vec<f32> = tone.chain(after_count_in(&sound_of("all-right"), &melody)).collect();
    let run = |microphone: &FalseMicrophone, example: &str| {
        // The microphone of the examples is another.
        let example = example.replace("USB Microphone", "False microphone");
        let bin = std::path::Path::new(PROGRAM).parent().expect("a folder").display().to_string();
        let mut command = microphone.command("bash");
        command.args(["-c", &example]).current_dir(microphone.folder()).stdin(std::process::Stdio::null());
        command.env("PATH", format!("{bin}:{}", std::env::var("PATH").unwrap_or_default()));
        said(&command.env("FINGERTAPE_BOOK", shared.path().join("book")).output().expect("bash runs"))
    };
    let of_record = examples("record");
    assert_eq!(of_record.len(), 4, "{of_record:?}");
    std::thread::scope(|scope| {
        for example in &of_record {
            let (run, read, heard, melody) = (&run, &read, &heard, &melody);
            scope.spawn(move || {
                let microphone = FalseMicrophone::hearing(heard);
                let folder = microphone.folder();
                fs::copy(melody, folder.join("my-melody.toml")).expect("a copy");
                fs::write(folder.join("my-melody.abc"), fingertape::formats::write_abc(read))
                    .expect("a file");
                let (code, text, errors) = run(&microphone, example);
                assert_eq!(code, 0, "{example}: {text}{errors}");
                let report = fs::read_to_string(folder.join("report.json")).unwrap_or_default();
                assert!(!example.contains("report.json") || report.contains("\"judged\""), "{report}");
            });
        }
    });
    let microphone = FalseMicrophone::hearing(&[]);
    let ended: Vec<(String, i32)> = examples("takes")
        .into_iter()
        .map(|example| {
            let (code, _, _) = run(&microphone, &example);
            (example.trim_start_matches("fingertape takes").trim().to_owned(), code)
        })
        .collect();
    let expected = [
        ("", 0),
        ("my-melody", 0),
        ("--format json", 0),
        ("--recover", 0),
        // Nobody has said yes.
        ("--delete my-melody/3", 1),
        ("--export my-takes.zip", 0),
        ("--erase-everything --yes", 0),
    ];
    assert_eq!(ended, expected.map(|(example, code)| (example.to_owned(), code)));
    let zip = fs::File::open(microphone.folder().join("my-takes.zip")).expect("a ZIP file");
    assert_eq!(zip::ZipArchive::new(zip).expect("a ZIP file").len(), 4 * 6);
}
