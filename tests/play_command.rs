//! `fingertape play`: what it plays is what is written, by the judgement of `check` itself; files,
//! errors, and (where there is a sound library) the way to a loudspeaker.

mod melodies;
mod program;

use fingertape::findings::{NoteVerdict, Outcome, Report, RestVerdict};
use fingertape::formats::read_melody;
use fingertape::notation::{Fifths, Melody};
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::units::{Hertz, SampleRate};
use program::{program, said};
use proptest::strategy::{Strategy, ValueTree as _};
use proptest::test_runner::TestRunner;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

fn run(arguments: &[&str], folder: &Path) -> (i32, String, String) {
    said(program(arguments).current_dir(folder).output().expect("the program runs"))
}

/// Every melody that comes with the project.
fn melody_files() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let cases = fs::read_dir(root.join("audio-fixtures")).expect("audio-fixtures is there");
    let mut files: Vec<PathBuf> = cases
        .map(|entry| entry.expect("it can be read").path().join("melody.toml"))
        .filter(|path| path.is_file())
        .chain([root.join("demo-data/melody.toml")])
        .collect();
    files.sort();
    files
}

fn demo() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/melody.toml").display().to_string()
}

/// What is not as it is written, in a report for programs.
fn faults(report: &Value) -> Vec<String> {
    let list = |word: &str| report[word].as_array().cloned().unwrap_or_default();
    let notes = list("notes").into_iter().filter(|note| note["verdict"] != "right");
    let rests = list("rests").into_iter().filter(|rest| rest["verdict"] != "kept");
    notes.chain(rests).chain(list("extra")).map(|one| one.to_string()).collect()
}

#[test]
fn every_melody_of_the_project_comes_back_all_right_with_its_rests_kept() {
    let folder = tempfile::tempdir().expect("a folder");
    let files = melody_files();
    assert!(files.len() >= 11, "{files:?}");
    for file in files {
        let file = file.to_str().expect("a path");
        for more in [&[][..], &["--no-count-in", "--slower", "0.7"], &["--a4", "443"]] {
            let arguments = [&["play", file, "--wav", "out.wav", "--force"][..], more].concat();
            let (code, _, errors) = run(&arguments, folder.path());
            assert_eq!(code, 0, "{file}: {errors}");
            let mut check = vec!["check", "out.wav", "--melody", file, "--format", "json"];
            if more.contains(&"--a4") {
                check.extend(more);
            }
            let (code, text, _) = run(&check, folder.path());
            let report: Value = serde_json::from_str(&text).expect("JSON");
            assert_eq!((code, &report["outcome"]), (0, &"judged".into()), "{file} {more:?}");
            assert_eq!(faults(&report), [""; 0], "{file} {more:?}");
        }
    }
}

/// The judgement of a melody that is played as it is written.
fn judged(melody: &Melody, count_in: bool) -> Report {
    let (instrument, bpm) = (melody.instrument.expect("an instrument"), melody.bpm.unwrap_or(80.0));
    let sound = melodies::played(melody, bpm, count_in, SampleRate(48_000));
    let settings = JudgeSettings {
        instrument,
        a4: Hertz(440.0),
        fifths: Fifths::Equal,
        bpm: Some(bpm),
        title: String::new(),
        remarks: Vec::new(),
    };
    pipeline::judge(&sound, melody, &settings)
}

/// What is not as it is written, of 60 melodies that are random and the same every time.
fn faults_of_sixty(melodies: impl Strategy<Value = Melody>, count_in: impl Fn(usize) -> bool) -> Vec<String> {
    let mut runner = TestRunner::deterministic();
    let mut wrong = Vec::new();
    for number in 0..60 {
        let melody = melodies.new_tree(&mut runner).expect("a melody").current();
        let report = judged(&melody, count_in(number));
        assert_eq!(report.outcome, Outcome::Judged, "{number}");
        let mut say = |place: String| wrong.push(format!("melody {number}, {place}"));
        for note in report.notes.iter().filter(|note| note.verdict != NoteVerdict::Right) {
            say(format!("bar {} beat {}: {} {:?}", note.bar, note.beat, note.written, note.verdict));
        }
        // Of two notes nobody knows the beat: whether a rest between them was kept cannot be told.
        let kept = if report.notes.len() > 2 { RestVerdict::Kept } else { RestVerdict::Unsure };
        let as_written = |verdict| verdict == RestVerdict::Kept || verdict == kept;
        for rest in report.rests.iter().filter(|rest| !as_written(rest.verdict)) {
            say(format!("bar {} beat {}: rest {:?}", rest.bar, rest.beat, rest.verdict));
        }
        for extra in &report.extra {
            say(format!("{extra:?}"));
        }
    }
    wrong
}

/// What is played as it is written may not be called anything else (240 melodies were tried when the tone was made:
/// no fault).
#[test]
fn sixty_random_melodies_come_back_all_right_with_their_rests_kept() {
    assert_eq!(faults_of_sixty(melodies::melodies(false), |number| number % 2 == 0), [""; 0]);
}

/// Where nothing but short dips is soft, those are what there is to hear the second of two equal notes by.
#[test]
fn sixty_melodies_of_repeated_notes_without_a_rest_come_back_all_right() {
    assert_eq!(faults_of_sixty(melodies::repeats(), |_| false), [""; 0]);
}

#[test]
fn a_wav_file_has_its_form_its_length_its_level_and_the_same_bytes_each_time() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = demo();
    let (code, text, errors) = run(&["play", &demo, "--wav", "a.wav"], folder.path());
    assert_eq!((code, errors.as_str()), (0, ""));
    // Eight bars of four beats and one to count in, at 88 a minute: 36 · 60 / 88 = 24.55 s, and the last note dies away.
    assert_eq!(text, "a.wav: 24.6 s, Lanterns on the Canal (viola), bars 1 to 8, 88 beats a minute.\n");
    let mut wav = hound::WavReader::open(folder.path().join("a.wav")).expect("a WAV file");
    let spec = wav.spec();
    assert_eq!((spec.sample_rate, spec.bits_per_sample, spec.channels), (48_000, 16, 1));
    let samples: Vec<i16> = wav.samples().map(|sample| sample.expect("a sample")).collect();
    assert!((samples.len() as f64 / 48_000.0 - 36.0 * 60.0 / 88.0).abs() < 0.3);
    // At most 12 dB below full scale: a quarter of 32767 is 8191.75.
    let peak = samples.iter().map(|sample| sample.unsigned_abs()).max().expect("samples");
    assert!((8000..=8192).contains(&peak), "{peak}");
    assert_eq!(run(&["play", &demo, "--wav", "b.wav"], folder.path()).0, 0);
    let bytes = |name: &str| fs::read(folder.path().join(name)).expect("a file");
    assert!(bytes("a.wav") == bytes("b.wav"), "the same bytes");
}

#[test]
fn bars_are_cut_out_repeated_and_slowed() {
    let folder = tempfile::tempdir().expect("a folder");
    let seconds = |more: &[&str]| {
        let (code, _, errors) =
            run(&[&["play", &demo(), "--wav", "a.wav", "--force"][..], more].concat(), folder.path());
        assert_eq!(code, 0, "{errors}");
        let wav = hound::WavReader::open(folder.path().join("a.wav")).expect("a WAV file");
        f64::from(wav.duration()) / 48_000.0
    };
    let bar = 4.0 * 60.0 / 88.0;
    let near = |found: f64, bars: f64| assert!((found - bars * bar).abs() < 0.3, "{found} for {bars} bars");
    near(seconds(&["--from-bar", "3", "--to-bar", "4", "--no-count-in"]), 2.0);
    near(seconds(&["--from-bar", "7", "--loop", "3"]), 7.0);
    near(seconds(&["--to-bar", "1", "--slower", "0.5", "--count-in"]), 4.0);
    near(seconds(&["--to-bar", "2", "--bpm", "44", "--no-count-in", "--metronome"]), 4.0);
}

/// A pickup, bar 1, the first ending in bar 2, the second in bar 3, and bar 4 with three beats.
#[test]
fn bars_between_which_a_repeat_goes_back_are_played_until_the_last_is_reached() {
    let folder = tempfile::tempdir().expect("a folder");
    let melody = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/formats/broken/second_ending.musicxml");
    let beats = |more: &[&str]| {
        let melody = melody.display().to_string();
        let arguments = ["play", &melody, "--wav", "a.wav", "--force", "--bpm", "60", "--no-count-in"];
        let (code, _, errors) = run(&[&arguments[..], more].concat(), folder.path());
        assert_eq!(code, 0, "{errors}");
        let wav = hound::WavReader::open(folder.path().join("a.wav")).expect("a WAV file");
        (f64::from(wav.duration()) / 48_000.0).round()
    };
    assert_eq!(beats(&["--from-bar", "2", "--to-bar", "3"]), 12.0);
    assert_eq!(beats(&["--from-bar", "2"]), 15.0);
    assert_eq!(beats(&["--from-bar", "3"]), 7.0);
}

#[test]
fn what_cannot_be_played_is_said() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = demo();
    for (more, words) in [
        (&["--from-bar", "9"][..], "there is no bar 9"),
        (&["--from-bar", "4", "--to-bar", "2"], "bar 2 comes before bar 4"),
        (&["--loop", "100", "--slower", "0.25"], "half an hour is the longest"),
        (&["--slower", "2"], "0.25 to 1"),
        (&["--loop", "0"], "give 1 to 100 times"),
    ] {
        let (code, _, errors) = run(&[&["play", &demo, "--wav", "a.wav"][..], more].concat(), folder.path());
        assert_eq!(code, 2, "{more:?}");
        assert!(errors.contains(words), "{more:?}: {errors}");
        assert!(!folder.path().join("a.wav").exists());
    }
    fs::write(folder.path().join("mine.wav"), "mine").expect("a file");
    let (code, _, errors) = run(&["play", &demo, "--wav", "mine.wav"], folder.path());
    assert_eq!((code, errors.contains("there is a file mine.wav already")), (2, true), "{errors}");
    assert_eq!(fs::read(folder.path().join("mine.wav")).expect("a file"), b"mine");
}

#[cfg(all(target_os = "linux", feature = "microphone"))]
mod aloud {
    use super::*;
    use nix::sys::signal::{Signal, kill};
    use nix::unistd::Pid;
    use std::process::{Command, Stdio};
    use std::time::{Duration, Instant};

    /// A folder with a false sound card: what is played goes to `played.raw`, or to a pipe that takes
    /// nothing until it is read.
    fn sound_card(played: &str) -> tempfile::TempDir {
        let folder = tempfile::tempdir().expect("a folder");
        let device = format!("{{ type file slave.pcm \"null\" file \"{played}\" format \"raw\" }}");
        let configuration = format!("</usr/share/alsa/alsa.conf>\npcm.!default {device}\n");
        fs::write(folder.path().join("asound.conf"), configuration).expect("a file");
        folder
    }

    fn aloud(folder: &Path, more: &[&str]) -> Command {
        let mut command = program(&[&["play", &demo()][..], more].concat());
        command.current_dir(folder);
        command.env("ALSA_CONFIG_PATH", folder.join("asound.conf"));
        command
    }

    #[test]
    fn a_loudspeaker_gets_the_same_sound_as_the_file() {
        let folder = sound_card("played.raw");
        let more = ["--to-bar", "1"];
        let (code, text, errors) = said(aloud(folder.path(), &more).output().expect("it runs"));
        assert_eq!((code, errors.as_str()), (0, ""));
        assert!(
            text.starts_with("Playing Lanterns on the Canal (viola), bar 1, 88 beats a minute."),
            "{text}"
        );
        assert!(text.contains("Headphones: turn them low before you put them on."), "{text}");
        let raw = fs::read(folder.path().join("played.raw")).expect("what was played");
        // The device chooses its own rate and format; what matters is that the whole sound went there.
        assert!(raw.len() > 48_000, "{} bytes", raw.len());
        assert!(raw.iter().any(|byte| *byte != 0));
    }

    #[test]
    fn the_examples_of_the_help_work() {
        let (_, help, _) = run(&["play", "--help"], Path::new("."));
        let examples: Vec<&str> =
            help.lines().filter_map(|line| line.trim_start().strip_prefix("fingertape play ")).collect();
        assert_eq!(examples.len(), 4, "{help}");
        for example in examples {
            let folder = sound_card("/dev/null");
            let melody = read_melody(Path::new(&demo())).expect("a melody").melody;
            fs::copy(demo(), folder.path().join("my-melody.toml")).expect("a copy");
            let score = fingertape::formats::write_musicxml(&melody);
            fs::write(folder.path().join("my-melody.musicxml"), score).expect("a file");
            let arguments: Vec<&str> = ["play"].into_iter().chain(example.split_whitespace()).collect();
            let mut command = program(&arguments);
            command.current_dir(folder.path());
            command.env("ALSA_CONFIG_PATH", folder.path().join("asound.conf"));
            let (code, text, errors) = said(command.output().expect("it runs"));
            assert_eq!((code, errors.as_str()), (0, ""), "{example}");
            assert!(text.contains("Lanterns on the Canal (viola)"), "{example}: {text}");
        }
    }

    #[test]
    fn without_a_loudspeaker_it_says_so_and_offers_a_file() {
        let folder = tempfile::tempdir().expect("a folder");
        let broken = "</usr/share/alsa/alsa.conf>\npcm.!default { type hw card 31 }\n";
        fs::write(folder.path().join("asound.conf"), broken).expect("a file");
        let (code, _, errors) = said(aloud(folder.path(), &[]).output().expect("it runs"));
        assert_eq!(code, 2, "{errors}");
        assert!(errors.contains("loudspeaker") && errors.contains("--wav FILE"), "{errors}");
    }

    #[test]
    fn ctrl_c_stops_it_cleanly() {
        let folder = sound_card("/dev/null");
        let mut child = aloud(folder.path(), &["--loop", "50"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it runs");
        let mut out = std::io::BufReader::new(child.stdout.take().expect("its output"));
        let mut line = String::new();
        std::io::BufRead::read_line(&mut out, &mut line).expect("a line");
        assert!(line.starts_with("Playing"), "{line}");
        kill(Pid::from_raw(child.id() as i32), Signal::SIGINT).expect("a signal");
        let asked = Instant::now();
        let status = loop {
            if let Some(status) = child.try_wait().expect("its state") {
                break status;
            }
            assert!(asked.elapsed() < Duration::from_secs(20), "it does not stop");
            std::thread::sleep(Duration::from_millis(20));
        };
        assert_eq!(status.code(), Some(0));
        let mut rest = String::new();
        std::io::Read::read_to_string(&mut out, &mut rest).expect("text");
        assert!(rest.ends_with("Stopped.\n"), "{rest}");
    }
}

#[test]
fn only_a_name_that_ends_in_wav_is_written() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["z.mp3", "listen", "z.wav.flac"] {
        let (code, _, errors) = run(&["play", &demo(), "--wav", name], folder.path());
        assert_eq!(code, 2, "{name}");
        assert!(errors.contains("end the name in .wav"), "{name}: {errors}");
    }
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 0);
}

#[test]
fn the_melody_of_every_test_here_can_be_read() {
    for file in melody_files() {
        assert!(read_melody(&file).is_ok(), "{}", file.display());
    }
}
