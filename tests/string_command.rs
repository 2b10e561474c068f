//! `fingertape string` as people and scripts use it: from a file and at a microphone.

#[cfg(all(target_os = "linux", feature = "microphone"))]
mod false_microphone;
mod program;

use fingertape::notation::{Fifths, Instrument};
use fingertape::sound::{BowedTone, bowed_tone};
use fingertape::units::{A4_ISO16, Cents, SampleRate, Seconds};
use program::{program, said};
use serde_json::Value;
use std::path::{Path, PathBuf};

const RATE: SampleRate = SampleRate(48_000);

/// Open strings (0 to 3) so many cents off, one after the other, with pauses.
fn strings(instrument: Instrument, played: &[(usize, f64)]) -> Vec<f32> {
    let pause = vec![0.0; RATE.0 as usize / 2];
    let mut samples = pause.clone();
    for &(string, cents) in played {
        let pitch = Fifths::Equal.open_string(instrument, string, A4_ISO16).shifted(Cents(cents));
        samples.extend(bowed_tone(&BowedTone::new(pitch, Seconds(1.6), instrument), RATE).mono);
        samples.extend(&pause);
    }
    samples
}

fn file(folder: &Path, name: &str, samples: &[f32]) -> PathBuf {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE.0,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let path = folder.join(name);
    let mut wav = hound::WavWriter::create(&path, spec).expect("a file");
    for sample in samples {
        wav.write_sample((sample * 32_767.0).round() as i16).expect("a sample");
    }
    wav.finalize().expect("a file");
    path
}

/// Exit code and words of a check of a recording, line breaks taken out.
fn check(samples: &[f32], arguments: &[&str]) -> (i32, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = file(folder.path(), "strings.wav", samples);
    let mut all = vec!["string", "--from", path.to_str().expect("a path")];
    all.extend(arguments);
    let (code, text, errors) = said(program(&all).output().expect("the program runs"));
    assert_eq!(errors, "");
    let narrow = text.lines().all(|line| line.chars().count() <= 80);
    assert!(narrow || text.starts_with('{'), "{text}");
    (code, text)
}

fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_string_that_is_a_little_low_is_said_with_its_cents_and_what_to_turn() {
    let played = strings(Instrument::Violin, &[(1, -12.0)]);
    let (code, text) = check(&played, &["D", "--instrument", "violin"]);
    assert_eq!(code, 0, "{text}");
    let text = words(&text);
    assert!(
        text.contains("D string of a violin: should be 293.66 Hz (A4 at 440 Hz, equal temperament)"),
        "{text}"
    );
    // 293.665 Hz · 2^(−12/1200) = 291.636 Hz.
    assert!(text.contains("Too low: 291.64 Hz, 12 cents low."), "{text}");
    // A fixed tone moves by the least that is ever told.
    assert!(words(&text).contains("(While you bowed, it moved by 1 cent up and down.)"), "{text}");
    assert!(text.contains("Turn the fine tuner a little to the right (clockwise)"), "{text}");
    assert!(text.contains("ask your teacher or another grown-up"), "{text}");
}

#[test]
fn the_reference_is_the_a_and_the_fifths_that_were_asked_for() {
    let played = strings(Instrument::Violin, &[(1, 0.0)]);
    let cents = |more: &[&str]| {
        let mut arguments = vec!["D", "--instrument", "violin", "--format", "json"];
        arguments.extend(more);
        let report: Value = serde_json::from_str(&check(&played, &arguments).1).expect("JSON");
        report["strings"][1]["cents"].as_f64().expect("a number")
    };
    assert!(cents(&[]).abs() < 0.1);
    // A pure D lies 1.955 cents lower, D at A4 = 442 Hz 1200·log₂(442/440) = 7.851 cents higher.
    assert!((cents(&["--fifths", "pure"]) - 1.955).abs() < 0.1);
    assert!((cents(&["--a4", "442"]) + 7.851).abs() < 0.1);
}

#[test]
fn all_four_are_a_table_their_fifths_and_what_to_fix_first() {
    let played = strings(Instrument::Violin, &[(2, -12.0), (1, 3.0), (0, 22.0), (3, -2.0)]);
    let (code, text) = check(&played, &["--all", "--instrument", "violin"]);
    assert_eq!(code, 0, "{text}");
    let said = words(&text);
    assert!(said.contains("A 440.00 Hz 436.9") && said.contains("Hz 12 cents low too low"), "{text}");
    // By hand: D = 294.174, A = 436.961 Hz: |3 · 294.174 − 2 · 436.961| = 8.60; 1200·log₂(A/D) = 685.0, pure 702.0.
    assert!(said.contains("D and A: 17 cents too narrow, 8.6 beats a second."), "{text}");
    assert!(said.contains("Begin with A: it is 12 cents low."), "{text}");
    assert!(said.contains("Then G (22 cents high)"), "{text}");
    let (_, json) = check(&played, &["--all", "--instrument", "violin", "--format", "json"]);
    let report: Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(report["fix_first"], serde_json::json!(["A", "G"]));
    assert_eq!(report["outcome"], "steady");
    assert_eq!(report["asked"], Value::Null);
    assert!((report["pairs"][1]["beats_per_second"].as_f64().expect("a number") - 8.60).abs() < 0.05);
}

/// D 6 cents high is the first thing to tune, though the fifth to an A that is 1 cent high is only 5 narrower than pure.
#[test]
fn two_strings_are_not_called_fine_where_one_of_them_is_to_be_tuned() {
    let said = |d: f64| {
        let played = strings(Instrument::Violin, &[(2, 1.0), (1, d), (0, -3.9), (3, 2.0)]);
        words(&check(&played, &["--all", "--instrument", "violin", "--fifths", "pure"]).1)
    };
    // A pure D lies 1.955 cents lower than the equal one that is played.
    let off = said(4.05);
    assert!(off.contains("Begin with D: it is 6 cents high."), "{off}");
    assert!(off.contains("D and A: 5 cents narrower than pure,"), "{off}");
    let fine = said(2.05);
    assert!(fine.contains("D and A: 3 cents narrower than pure: fine,"), "{fine}");
}

#[test]
fn a_bass_is_held_against_fourths_and_its_pegs_are_for_grown_ups() {
    let played = strings(Instrument::Bass, &[(0, 0.0), (1, 0.0), (2, -15.0), (3, 0.0)]);
    let (code, text) = check(&played, &["--all", "--instrument", "bass", "--fifths", "pure"]);
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("beside a pure fourth"), "{text}");
    assert!(words(&text).contains("grown-up to tighten it with you"), "{text}");
    assert!(!text.contains("fine tuner"), "{text}");
}

#[test]
fn what_is_not_the_string_ends_with_1_and_says_what_it_is() {
    let violin = |played: &[(usize, f64)], asked| {
        let (code, text) = check(&strings(Instrument::Violin, played), &[asked, "--instrument", "violin"]);
        assert_eq!(code, 1, "{text}");
        words(&text)
    };
    assert!(violin(&[(2, 0.0)], "D").contains("That is the A string, not the D string."));
    assert!(violin(&[(1, 1200.0)], "D").contains("an octave above the open D string"));
    let slack = violin(&[(1, -130.0)], "D");
    assert!(slack.contains("do not turn the peg alone") && slack.contains("can snap"), "{slack}");
    assert!(slack.contains("130 cents below D: a finger on another string, or"), "{slack}");
    // Below the lowest string there is no note for a finger.
    let lowest = violin(&[(0, -90.0)], "G");
    assert!(lowest.contains("I hear a tone near F sharp, 90 cents below the open G string"), "{lowest}");
    assert!(lowest.contains("Do not turn the peg alone") && !lowest.contains("a finger on"), "{lowest}");
    let stopped = violin(&[(1, 200.0)], "d");
    assert!(stopped.contains("This sounds like a stopped note (E, 200 cents above D)"), "{stopped}");
    assert!(violin(&[], "D").contains("bow the open D string for two seconds or more"));
}

#[test]
fn a_string_that_was_not_heard_is_named() {
    let played = strings(Instrument::Cello, &[(3, 0.0), (2, 1.0), (1, -120.0)]);
    let (code, text) = check(&played, &["--all", "--instrument", "cello"]);
    assert_eq!(code, 1, "{text}");
    let text = words(&text);
    assert!(text.contains("The G string was not heard near its pitch, but at"), "{text}");
    assert!(text.contains("The C string was not heard, or not near its pitch"), "{text}");
    assert!(text.contains("What was heard steadily is in tune."), "{text}");
}

#[test]
fn wrong_arguments_end_with_2_and_say_what_is_right() {
    for (arguments, expected) in [
        (vec!["string", "C", "--instrument", "violin", "--from", "x.wav"], "its strings are G, D, A and E"),
        (vec!["string", "--instrument", "violin"], "G, D, A or E on a violin"),
        (vec!["string", "D"], "--instrument"),
        (vec!["string", "D", "--all", "--instrument", "violin"], "cannot be used with"),
        (vec!["string", "D", "--instrument", "violin", "--from", "no-such.wav"], "no-such.wav"),
        (vec!["string", "D", "--instrument", "violin", "--a4", "300"], "390 to 470"),
    ] {
        let (code, text, errors) = said(program(&arguments).output().expect("the program runs"));
        assert_eq!((code, text.as_str()), (2, ""), "{arguments:?}");
        assert!(errors.contains(expected), "{arguments:?}: {errors}");
    }
}

#[test]
fn the_examples_of_the_help_work() {
    let (code, help, _) = said(program(&["string", "--help"]).output().expect("the program runs"));
    assert_eq!(code, 0);
    assert!(help.contains("can snap") && help.contains("Exit codes:"), "{help}");
    let folder = tempfile::tempdir().expect("a folder");
    file(folder.path(), "my-d-string.m4a", &strings(Instrument::Violin, &[(1, 0.0)]));
    file(
        folder.path(),
        "my-four-strings.wav",
        &strings(Instrument::Viola, &[(0, 0.0), (1, 0.0), (2, 0.0), (3, 0.0)]),
    );
    let examples: Vec<&str> =
        help.lines().filter_map(|line| line.trim_start().strip_prefix("fingertape ")).collect();
    let from_files: Vec<&&str> = examples.iter().filter(|example| example.contains("--from")).collect();
    assert_eq!((examples.len(), from_files.len()), (4, 2), "{help}");
    for example in from_files {
        let arguments: Vec<&str> = example.split_whitespace().collect();
        let output = program(&arguments).current_dir(folder.path()).output().expect("the program runs");
        assert_eq!(output.status.code(), Some(0), "{example}");
    }
}

#[cfg(all(target_os = "linux", feature = "microphone"))]
mod live {
    use super::false_microphone::{self, FalseMicrophone};
    use super::*;

    fn listen(samples: Vec<f32>, arguments: &[&str]) -> (i32, String, String) {
        assert_eq!(false_microphone::RATE, RATE.0);
        let microphone = FalseMicrophone::hearing(&samples);
        let mut command = microphone.command(env!("CARGO_BIN_EXE_fingertape"));
        said(command.args(arguments).output().expect("the program runs"))
    }

    #[test]
    fn a_microphone_gives_the_same_reading_as_the_file() {
        let played = strings(Instrument::Viola, &[(2, -21.0)]);
        let arguments = ["D", "--instrument", "viola", "--format", "json"];
        let from_file: Value = serde_json::from_str(&check(&played, &arguments).1).expect("JSON");
        let mut live = vec!["string", "--stop-after", "1"];
        live.extend(arguments);
        let (code, text, errors) = listen(played, &live);
        assert_eq!((code, errors.as_str()), (0, ""), "{text}");
        let from_microphone: Value = serde_json::from_str(&text).expect("only JSON is printed");
        let cents = |report: &Value| report["strings"][2]["cents"].as_f64().expect("a number");
        assert!((cents(&from_file) - cents(&from_microphone)).abs() < 0.05, "{text}");
        assert!((cents(&from_file) + 21.0).abs() < 0.1);
        assert_eq!(from_file["says"], from_microphone["says"]);
    }

    #[test]
    fn all_strings_are_asked_for_one_after_the_other_in_plain_lines() {
        let played = strings(Instrument::Violin, &[(2, 0.0), (1, -8.0), (0, 0.0), (3, 1.0)]);
        let (code, text, errors) =
            listen(played, &["string", "--all", "--instrument", "violin", "--stop-after", "4"]);
        assert_eq!((code, errors.as_str()), (0, ""), "{text}");
        assert!(!text.contains('\u{1b}') && !text.contains('\r'), "{text}");
        let places: Vec<usize> =
            ["A string: heard.", "D string: heard.", "G string: heard.", "E string: heard."]
                .iter()
                .map(|line| text.find(line).unwrap_or_else(|| panic!("{line}: {text}")))
                .collect();
        assert!(places.is_sorted(), "{text}");
        assert!(
            text.contains("D string     -8 cents   a little low: fine tuner a little to the right"),
            "{text}"
        );
        assert!(!text.contains("That is the"), "{text}");
        assert!(text.contains("Begin with D: it is 8 cents low."), "{text}");
    }

    #[test]
    fn a_silent_microphone_is_waited_for_and_then_left() {
        let (code, text, _) =
            listen(Vec::new(), &["string", "A", "--instrument", "cello", "--stop-after", "1"]);
        assert_eq!(code, 1, "{text}");
        assert!(words(&text).contains("Nothing sounded for a while"), "{text}");
        assert!(words(&text).contains("move the microphone closer"), "{text}");
    }
}
