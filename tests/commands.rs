//! The commands as people and scripts use them: output, files, errors and exit codes.

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

fn fingertape(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fingertape"));
    command.args(arguments).env_remove("NO_COLOR").env_remove("CLICOLOR_FORCE").stdin(Stdio::null());
    command
}

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures").join(name)
}

/// Exit code, standard output, standard error.
fn run(arguments: &[&str]) -> (i32, String, String) {
    let output = fingertape(arguments).output().expect("the program runs");
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("the program writes UTF-8");
    (output.status.code().expect("it ends by itself"), text(&output.stdout), text(&output.stderr))
}

fn check(name: &str, more: &[&str]) -> (i32, String, String) {
    let (take, melody) = (fixture(name).join("take.flac"), fixture(name).join("melody.toml"));
    let mut arguments =
        vec!["check", take.to_str().expect("a path"), "--melody", melody.to_str().expect("a path")];
    arguments.extend(more);
    run(&arguments)
}

/// The words of an error without its line breaks and frame.
fn words(text: &str) -> String {
    text.split_whitespace().filter(|word| !["│", "×", "help:"].contains(word)).collect::<Vec<_>>().join(" ")
}

#[test]
fn a_judged_take_ends_with_0_and_speaks_to_the_child() {
    let (code, text, errors) = check("wrong-notes", &[]);
    assert_eq!((code, errors.as_str()), (0, ""));
    assert!(text.starts_with("The Long Staircase (cello)\n"), "{text}");
    assert!(text.contains("Bar 1, beat 3: you played F natural; the sheet has F sharp."), "{text}");
    assert!(!text.contains('\u{1b}'), "piped text has no colours");
}

#[test]
fn headings_are_bold_where_it_is_wanted_and_the_words_stay_the_same() {
    let case = fixture("wrong-notes");
    let (take, melody) = (case.join("take.flac"), case.join("melody.toml"));
    let arguments = ["check", take.to_str().expect("a path"), "--melody", melody.to_str().expect("a path")];
    let printed = |name: &str| {
        let output = fingertape(&arguments).env(name, "1").output().expect("the program runs");
        String::from_utf8(output.stdout).expect("text")
    };
    let bold = printed("CLICOLOR_FORCE");
    assert!(bold.contains("\u{1b}[1mFix this first\u{1b}[0m"), "{bold}");
    assert_eq!(bold.replace("\u{1b}[1m", "").replace("\u{1b}[0m", ""), printed("NO_COLOR"));
}

#[test]
fn detail_prints_the_tables() {
    let (code, text, _) = check("wrong-notes", &["--detail"]);
    assert_eq!(code, 0);
    assert!(text.contains("| confidence (0-1) |") && text.contains("WRONG"), "{text}");
}

#[test]
fn a_refused_take_ends_with_1_and_is_not_graded() {
    let (code, text, errors) = check("not-this-melody", &[]);
    assert_eq!((code, errors.as_str()), (1, ""));
    assert!(text.contains("Not judged"), "{text}");
    assert!(!text.contains("Fix this first"), "{text}");
}

#[test]
fn json_goes_to_the_screen_and_the_same_to_a_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("report.json");
    let name = file.to_str().expect("a path");
    let (code, screen, _) = check("wrong-notes", &["--format", "json", "--json", name]);
    assert_eq!(code, 0);
    assert_eq!(fs::read_to_string(&file).expect("the report is there"), screen);
    let report: serde_json::Value = serde_json::from_str(&screen).expect("it is JSON");
    assert_eq!(report["report_version"], 1);
    assert_eq!(report["melody"]["instrument"], "cello");
    // A refused take has its report too.
    let (code, _, _) = check("not-this-melody", &["--json", name]);
    assert_eq!(code, 1);
    assert!(fs::read_to_string(&file).expect("it is replaced").contains("\"not-this-melody\""));
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1);
}

#[test]
fn the_report_never_replaces_the_take_or_the_melody() {
    let folder = tempfile::tempdir().expect("a folder");
    let take = folder.path().join("take.flac");
    let melody = folder.path().join("melody.toml");
    fs::copy(fixture("wrong-notes").join("take.flac"), &take).expect("a copy");
    fs::copy(fixture("wrong-notes").join("melody.toml"), &melody).expect("a copy");
    let before = fs::read(&take).expect("the take");
    for file in [&take, &melody] {
        let paths = [&take, &melody, file].map(|path| path.to_str().expect("a path"));
        let (code, _, errors) = run(&["check", paths[0], "--melody", paths[1], "--json", paths[2]]);
        assert_eq!(code, 2);
        assert!(words(&errors).contains("give the report a name of its own"), "{errors}");
    }
    assert_eq!(fs::read(&take).expect("the take"), before);
}

#[test]
fn the_a_and_the_tempo_of_the_command_are_in_the_report() {
    let (code, text, _) =
        check("all-right", &["--format", "json", "--a4", "442", "--bpm", "90", "--instrument", "violin"]);
    assert_eq!(code, 0);
    let report: serde_json::Value = serde_json::from_str(&text).expect("it is JSON");
    assert_eq!(report["melody"]["a4_hz"], 442.0);
    assert_eq!(report["melody"]["bpm"], 90.0);
    assert_eq!(report["tempo"]["set_bpm"], 90.0);
    // The take was made at 440: it is 1200·log2(440/442) = −7.85 cents from 442.
    let cents: Vec<f64> =
        report["notes"].as_array().expect("notes").iter().filter_map(|note| note["cents"].as_f64()).collect();
    let mean = cents.iter().sum::<f64>() / cents.len() as f64;
    assert!((mean + 7.85).abs() < 3.0, "{mean}");
}

#[test]
fn wrong_arguments_end_with_2_and_say_what_is_allowed() {
    for (arguments, expected) in [
        (vec!["check"], "--melody <FILE>"),
        (vec!["check", "a.wav", "--melody", "m.toml", "--a4", "500"], "give 390 to 470 hertz"),
        (vec!["check", "a.wav", "--melody", "m.toml", "--bpm", "fast"], "give 20 to 300 beats per minute"),
        (vec!["check", "a.wav", "--melody", "m.toml", "--instrument", "harp"], "violin, viola, cello, bass"),
        (vec!["check", "a.wav", "--melody", "m.toml", "--size", "2/3"], "4/4, 7/8, 3/4"),
        (
            vec!["check", "a.wav", "--melody", "m.toml", "--size", "3/4", "--string-length", "300"],
            "cannot be used with",
        ),
        (vec!["check", "a.wav", "--melody", "m.toml", "--bpm", "-60"], "give 20 to 300 beats per minute"),
        (vec!["check", "a.wav", "--melody", "m.toml", "--a4", "442,5"], "write decimals with a point"),
        (vec!["juggle"], "unrecognized subcommand"),
        (vec![], "Usage"),
    ] {
        let (code, text, errors) = run(&arguments);
        assert_eq!((code, text.as_str()), (2, ""), "{arguments:?}");
        assert!(errors.contains(expected), "{arguments:?}: {errors}");
    }
}

#[test]
fn a_file_that_is_not_there_is_named() {
    let melody = fixture("all-right").join("melody.toml");
    let melody = melody.to_str().expect("a path");
    let (code, text, errors) = run(&["check", "no-such-take.wav", "--melody", melody]);
    assert_eq!((code, text.as_str()), (2, ""));
    assert!(words(&errors).contains("no-such-take.wav"), "{errors}");
    let take = fixture("all-right").join("take.flac");
    let (code, _, errors) =
        run(&["check", take.to_str().expect("a path"), "--melody", "no-such-melody.toml"]);
    assert_eq!(code, 2);
    assert!(words(&errors).contains("no-such-melody.toml"), "{errors}");
}

#[test]
fn a_recording_in_the_place_of_the_melody_is_called_that() {
    let take = fixture("all-right").join("take.flac");
    let melody = fixture("all-right").join("melody.toml");
    let paths = [take.to_str().expect("a path"), melody.to_str().expect("a path")];
    let (code, text, errors) = run(&["check", paths[1], "--melody", paths[0]]);
    assert_eq!((code, text.as_str()), (2, ""));
    assert!(words(&errors).contains("is a recording, not a written melody"), "{errors}");
    assert!(words(&errors).contains("fingertape check TAKE --melody MELODY"), "{errors}");
}

#[test]
fn a_report_that_cannot_be_saved_is_printed_all_the_same() {
    let (code, text, errors) = check("wrong-notes", &["--json", "no-such-folder/report.json"]);
    assert_eq!(code, 2);
    assert!(text.contains("Fix this first"), "{text}");
    assert!(words(&errors).contains("make the folder first"), "{errors}");
}

#[test]
fn a_contour_of_a_file_that_breaks_off_says_so_beside_the_table() {
    let take = fixture("broken").join("sound-cut.wav");
    let (code, text, errors) = run(&["contour", take.to_str().expect("a path")]);
    assert_eq!(code, 0);
    assert!(text.starts_with("time_s,hz,clarity\n") && !text.contains("Remark"), "{text}");
    assert!(errors.starts_with("Remark: The file breaks off"), "{errors}");
}

#[test]
fn a_mistake_in_the_melody_is_shown_in_its_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let melody = folder.path().join("mistake.toml");
    fs::write(&melody, "instrument = \"violin\"\nbars = \"\"\"\nD4 q E4 F#4 H4\n\"\"\"\n").expect("a file");
    let take = fixture("all-right").join("take.flac");
    let (code, _, errors) =
        run(&["check", take.to_str().expect("a path"), "--melody", melody.to_str().expect("a path")]);
    assert_eq!(code, 2);
    assert!(errors.contains("H4") && errors.contains("mistake.toml"), "{errors}");
    assert!(errors.contains("3"), "the line is named: {errors}");
    assert!(!errors.contains("melody::"), "no words for programs: {errors}");
}

#[test]
fn a_melody_without_an_instrument_is_guessed_or_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    let melody = folder.path().join("who.toml");
    let text = fs::read_to_string(fixture("all-right").join("melody.toml")).expect("a melody");
    fs::write(&melody, text.replace("instrument = \"violin\"\n", "")).expect("a file");
    let take = fixture("all-right").join("take.flac");
    let paths = [take.to_str().expect("a path"), melody.to_str().expect("a path")];
    let (code, text, _) = run(&["check", paths[0], "--melody", paths[1]]);
    assert_eq!(code, 0);
    assert!(words(&text).contains("from its notes it was read as a melody for violin"), "{text}");
    fs::write(&melody, "bars = \"\"\"\nD3 q E3 F#3 G3\n\"\"\"\n").expect("a file");
    let (code, _, errors) = run(&["check", paths[0], "--melody", paths[1]]);
    assert_eq!(code, 2);
    assert!(words(&errors).contains("add --instrument"), "{errors}");
}

#[test]
fn the_contour_is_one_row_every_10_ms_and_follows_the_notes() {
    let take = fixture("all-right").join("take.flac");
    let (code, text, errors) =
        run(&["contour", take.to_str().expect("a path"), "--instrument", "violin", "--format", "csv"]);
    assert_eq!((code, errors.as_str()), (0, ""));
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("time_s,hz,clarity"));
    let rows: Vec<Vec<&str>> = lines.map(|line| line.split(',').collect()).collect();
    for (number, row) in rows.iter().enumerate() {
        assert_eq!(row.len(), 3);
        assert_eq!(row[0], format!("{:.3}", number as f64 / 100.0));
        assert!((0.0..=1.0).contains(&row[2].parse::<f64>().expect("a clarity")), "{row:?}");
    }
    // 11 s of take; silent at first, then D4 = 293.66 Hz from 0.7 s on.
    assert!((1100..=1102).contains(&rows.len()), "{}", rows.len());
    assert_eq!(rows[20][1], "");
    let hertz: f64 = rows[100][1].parse().expect("a pitch in the first note");
    assert!((1200.0 * (hertz / 293.665).log2()).abs() < 10.0, "{hertz}");
    assert_eq!(rows[100][1].split('.').nth(1).map(str::len), Some(5));
}

#[test]
fn a_reader_that_has_seen_enough_is_not_an_error() {
    let take = fixture("all-right").join("take.flac");
    let mut child = Command::new(env!("CARGO_BIN_EXE_fingertape"))
        .arg("contour")
        .arg(&take)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program runs");
    // Closed at once: every byte is written to nobody.
    drop(child.stdout.take());
    let status = child.wait().expect("it ends");
    let mut errors = String::new();
    child.stderr.take().expect("standard error").read_to_string(&mut errors).expect("text");
    assert_eq!((status.code(), errors.as_str()), (Some(0), ""));
}

#[test]
fn the_demo_finds_what_was_planted_and_leaves_its_files() {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("a/demo");
    let (code, text, errors) = run(&["demo", "--out", out.to_str().expect("a path")]);
    assert_eq!((code, errors.as_str()), (0, ""));
    let said = words(&text);
    for planted in [
        "Bar 2, beat 3: you played F natural; the sheet has F sharp.",
        "Bar 4, beat 4: the rest is 1 beat long",
        "Bar 6, beat 1: E was a little too low",
        "The C string is too loose",
    ] {
        assert!(said.contains(planted), "{planted}: {text}");
    }
    for file in ["take.flac", "melody.toml", "report.json"] {
        assert!(out.join(file).is_file(), "{file}");
        assert!(text.contains(&out.join(file).display().to_string()), "{file}");
    }
    let report = fs::read_to_string(out.join("report.json")).expect("the report");
    let (_, again, _) = run(&[
        "check",
        out.join("take.flac").to_str().expect("a path"),
        "--melody",
        out.join("melody.toml").to_str().expect("a path"),
        "--format",
        "json",
    ]);
    assert_eq!(report, again, "the demo is an ordinary check");
}

#[test]
fn the_demo_leaves_files_of_its_names_that_are_not_its_own() {
    for name in ["take.flac", "melody.toml", "report.html", "report.pdf", "report.json"] {
        let folder = tempfile::tempdir().expect("a folder");
        let (out, mine) = (folder.path().to_str().expect("a path"), folder.path().join(name));
        fs::write(&mine, "mine").expect("a file");
        let (code, _, errors) = run(&["demo", "--out", out]);
        assert_eq!(code, 2, "{name}: {errors}");
        assert!(words(&errors).contains("--force"), "{name}: {errors}");
        assert_eq!(fs::read_to_string(&mine).expect("it is there"), "mine");
        assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1, "{name}: nothing is written");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().to_str().expect("a path");
    assert_eq!(run(&["demo", "--out", out]).0, 0);
    assert_eq!(run(&["demo", "--out", out]).0, 0, "its own files may be written again");
    fs::write(folder.path().join("report.pdf"), "mine").expect("a file");
    assert_eq!(run(&["demo", "--out", out]).0, 2);
    assert_eq!(run(&["demo", "--out", out, "--force"]).0, 0);
    assert!(fs::read(folder.path().join("report.pdf")).expect("it is there").starts_with(b"%PDF"));
}

#[test]
fn a_demo_without_a_place_says_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let taken = folder.path().join("taken");
    fs::write(&taken, "a file").expect("a file");
    let (code, _, errors) = run(&["demo", "--out", taken.to_str().expect("a path")]);
    assert_eq!(code, 2);
    assert!(words(&errors).contains("--out FOLDER"), "{errors}");
}

#[test]
fn help_ends_with_0_and_its_examples_are_true() {
    let commands = ["check", "contour", "demo", "proofread", "move", "convert"];
    for arguments in commands.map(|command| vec![command, "--help"]).into_iter().chain([vec!["--help"]]) {
        let (code, text, _) = run(&arguments);
        assert_eq!(code, 0, "{arguments:?}");
        let examples: Vec<&str> =
            text.lines().filter_map(|line| line.trim_start().strip_prefix("fingertape ")).collect();
        assert!(examples.len() >= 2, "{arguments:?}: {text}");
        // What needs a microphone is run at a false one by `tests/recording/take_book.rs`, what needs a loudspeaker
        // by `tests/play_command.rs`.
        let needs = |example: &&str| example.starts_with("record ") || example.starts_with("play ");
        for example in examples.into_iter().filter(|example| !needs(example)) {
            example_runs(example);
        }
    }
}

/// Runs an example in a folder that holds the files it speaks of.
fn example_runs(example: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    let place = |name: &str, from: &Path| {
        fs::copy(from, folder.path().join(name)).expect("a copy");
    };
    let case = fixture("all-right");
    // Its first note is D, so it may stand for the D string too.
    for take in
        ["my-take.m4a", "my-take.wav", "my-take.mp3", "my-take.flac", "my-d-string.m4a", "my-tune.m4a"]
    {
        // The kind of a file is read from its content.
        place(take, &case.join("take.flac"));
    }
    place("my-melody.toml", &case.join("melody.toml"));
    let read = fingertape::formats::read_melody(&case.join("melody.toml")).expect("a melody");
    let musicxml = fingertape::formats::write_musicxml(&read.melody);
    fs::write(folder.path().join("my-melody.musicxml"), musicxml).expect("a file");
    let abc = fingertape::formats::write_abc(&read.melody);
    fs::write(folder.path().join("my-melody.abc"), abc).expect("a file");
    fs::write(folder.path().join("rules.toml"), "metre = '4/4'\nfill_every_bar = true\n").expect("a file");
    let tiers = "[tier.starter]\nbars = 2\n[tier.further]\nbars = 4\n";
    fs::write(folder.path().join("rules-in-tiers.toml"), tiers).expect("a file");
    fs::create_dir(folder.path().join("playing-tests")).expect("a folder");
    place("playing-tests/violin-1.flac", &case.join("take.flac"));
    place("playing-tests/tune.toml", &case.join("melody.toml"));
    let roster = "student,instrument,group,melody\nviolin-1,violin,4B,tune\n";
    fs::write(folder.path().join("playing-tests/roster.csv"), roster).expect("a file");
    let (command, into) = example.split_once(" > ").map_or((example, None), |(a, b)| (a, Some(b)));
    let arguments: Vec<&str> = command.split_whitespace().collect();
    let mut command = fingertape(&arguments);
    command.current_dir(folder.path()).env("FINGERTAPE_BOOK", folder.path().join("book"));
    let output = command.output().expect("the program runs");
    assert_eq!(
        output.status.code(),
        Some(0),
        "{example}: {}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(!output.stdout.is_empty(), "{example}");
    assert!(into.is_none_or(|file| file.ends_with(".csv")), "{example}");
}

#[test]
fn a_library_that_panics_is_not_heard_of() {
    let take = fixture("broken").join("codebooks-of-no-dimensions.ogg");
    let (code, text, errors) = run(&["contour", take.to_str().expect("a path")]);
    assert_eq!((code, text.as_str()), (2, ""));
    let errors = words(&errors);
    assert!(errors.starts_with("codebooks-of-no-dimensions.ogg is damaged beyond use"), "{errors}");
    assert!(!errors.contains("panicked"), "{errors}");
}

#[test]
fn two_outputs_in_one_file_are_refused_before_anything_is_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let page = folder.path().join("same.html");
    let page = page.to_str().expect("a path");
    for more in [["--page", page, "--json", page], ["--page", page, "--page", page]] {
        let (code, text, errors) = check("wrong-notes", &more);
        assert_eq!((code, text.as_str()), (2, ""), "{errors}");
        assert!(words(&errors).contains("are one file"), "{errors}");
        assert!(words(&errors).contains("give each its own name"), "{errors}");
    }
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 0);
}

#[cfg(unix)]
#[test]
fn a_report_to_standard_output_stands_before_the_words() {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("out.txt");
    let (take, melody) =
        (fixture("wrong-notes").join("take.flac"), fixture("wrong-notes").join("melody.toml"));
    let (take, melody) = (take.to_str().expect("a path"), melody.to_str().expect("a path"));
    let arguments = ["check", take, "--melody", melody, "--json", "/dev/stdout"];
    let status = fingertape(&arguments)
        .stdout(fs::File::create(&out).expect("a file"))
        .status()
        .expect("the program runs");
    assert_eq!(status.code(), Some(0));
    let text = fs::read_to_string(&out).expect("text");
    let (json, words) = text.split_once("The Long Staircase (cello)\n").expect("both are there");
    assert!(json.starts_with("{") && json.contains("\"report_version\": 1"), "{json}");
    assert!(words.contains("Bar 1, beat 3: you played F natural"), "{words}");
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1);
}

#[cfg(unix)]
#[test]
fn a_name_of_a_file_cannot_steer_the_terminal() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    let (songs, evil) = (at("songs\u{1b}[31m"), "\u{1b}]0;title\u{7}");
    fs::create_dir(&songs).expect("a folder");
    fs::copy(fixture("wrong-notes").join("melody.toml"), format!("{songs}/{evil}.toml")).expect("a copy");
    fs::write(format!("{songs}/{evil}rules.toml"), "[rules]\nmetre = \"4/4\"\nbars = 4\n").expect("rules");
    fs::write(format!("{songs}/{evil}broken.toml"), "bars = \"H9\"").expect("no melody");
    fs::write(format!("{songs}/{evil}.wav"), "no sound").expect("no sound");
    let melody = format!("{songs}/{evil}.toml");
    let (wav, broken) = (format!("{songs}/{evil}.wav"), format!("{songs}/{evil}broken.toml"));
    for arguments in [
        vec!["songbook", &songs, "--output", &at("\u{1b}[1mbook.pdf")],
        vec!["sheet", &melody, "--output", &at("\u{1b}[1m.pdf")],
        vec!["convert", &melody, &at("\u{1b}[1m.abc")],
        vec!["move", &melody, "--to", "viola", "--output", &at("\u{1b}[1mviola.abc")],
        vec!["play", &melody, "--wav", &at("\u{1b}[1mplay.wav")],
        vec!["check", &wav, "--melody", &melody],
        vec!["check", &melody, "--melody", &broken],
        vec!["check", &at("\u{1b}[1mno.wav"), "--melody", &melody],
        vec!["contour", &wav],
        vec!["proofread", &melody, "--rules", &melody],
        vec!["takes", "--book", &songs],
        vec!["takes", "--book", &songs, "--delete", "\u{1b}[1m/1"],
        vec!["takes", "--book", &songs, "--export", &at("\u{1b}[1mcopy")],
    ] {
        let (_, text, errors) = run(&arguments);
        assert!(!text.contains(['\u{1b}', '\u{7}']), "{arguments:?}: {text:?}");
        assert!(!errors.contains(['\u{1b}', '\u{7}']), "{arguments:?}: {errors:?}");
        assert!(!(text.is_empty() && errors.is_empty()), "{arguments:?}");
    }
}
