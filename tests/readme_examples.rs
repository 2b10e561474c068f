//! Every command and every melody in the README works as it stands there.

use fingertape::notation::Instrument;
use fingertape::sound::{BowedTone, bowed_tone};
use fingertape::units::{Hertz, SampleRate, Seconds};
use std::fs;
use std::path::Path;
use std::process::Command;

/// What a command prints on standard output.
fn printed(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_fingertape")).args(arguments).output();
    String::from_utf8_lossy(&output.expect("the program runs").stdout).into_owned()
}

/// The program's commands, as its own help lists them.
fn commands() -> Vec<String> {
    let help = printed(&["--help"]);
    let (_, list) = help.split_once("Commands:\n").expect("a list of commands");
    let list = list.split("\n\n").next().expect("the list ends");
    let names = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let names: Vec<String> =
        names.filter_map(|line| line.split_whitespace().next()).map(str::to_owned).collect();
    assert!(names.len() >= 14 && names.iter().any(|name| name == "check"), "{help}");
    names
}

/// The fenced blocks of a language, in order.
fn blocks(readme: &str, language: &str) -> Vec<String> {
    let fence = format!("```{language}\n");
    let mut found = Vec::new();
    let mut rest = readme;
    while let Some(start) = rest.find(&fence) {
        let body = &rest[start + fence.len()..];
        let end = body.find("```").expect("every block ends");
        found.push(body[..end].to_owned());
        rest = &body[end..];
    }
    found
}

fn readme() -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).expect("the README is there")
}

/// A folder with everything that the examples speak of.
fn folder_of_a_reader(readme: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let place = |name: &str| folder.path().join(name);
    let melodies = blocks(readme, "toml");
    assert_eq!(melodies.len(), 1, "a melody of eight bars at most");
    fs::write(place("my-melody.toml"), &melodies[0]).expect("a file");
    let case = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures");
    let read = fingertape::formats::read_melody(&place("my-melody.toml")).expect("the README's melody");
    assert_eq!(read.remarks, []);
    fs::write(place("melody.musicxml"), fingertape::formats::write_musicxml(&read.melody)).expect("a file");
    // The kind of a recording is read from its content, so a FLAC file may stand for any other.
    fs::copy(case.join("all-right/take.flac"), place("my-take.m4a")).expect("a copy");
    fs::create_dir(place("playing-tests")).expect("a folder");
    fs::copy(case.join("all-right/take.flac"), place("playing-tests/violin-1.m4a")).expect("a copy");
    fs::copy(case.join("one-long-bow/take.flac"), place("playing-tests/violin 2.flac")).expect("a copy");
    fs::copy(case.join("not-this-melody/take.flac"), place("playing-tests/violin-3.m4a")).expect("a copy");
    let roster = blocks(readme, "csv");
    assert_eq!(roster.len(), 1);
    fs::write(place("playing-tests/roster.csv"), &roster[0]).expect("a file");
    fs::copy(case.join("all-right/take.flac"), place("my-tune.m4a")).expect("a copy");
    // What the README has people do at the project's root.
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    fs::create_dir_all(place("demo-data/rules")).expect("a folder");
    for name in ["melody.toml", "rules/canal.toml"] {
        fs::copy(demo.join(name), place("demo-data").join(name)).expect("a copy");
    }
    write_strings(&place("open-a.m4a"), &[440.0]);
    // Pure fifths from A.
    write_strings(&place("four-strings.m4a"), &[440.0, 880.0 / 3.0, 1760.0 / 9.0, 660.0]);
    folder
}

/// Open strings that are 20 cents flat, one after the other, as a WAV file.
fn write_strings(path: &Path, hertz: &[f64]) {
    let rate = SampleRate(44_100);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate.0,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(path, spec).expect("a file");
    let silence = vec![0.0_f32; 22_050];
    for hertz in hertz {
        let pitch = Hertz(hertz * (-20.0_f64 / 1200.0).exp2());
        let tone = bowed_tone(&BowedTone::new(pitch, Seconds(4.0), Instrument::Violin), rate).mono;
        for sample in silence.iter().chain(&tone).chain(&silence) {
            file.write_sample((sample * 32_767.0).round() as i16).expect("a sample");
        }
    }
    file.finalize().expect("a file");
}

/// Runs a block as a reader would; exit code and what was printed.
fn run(block: &str, folder: &Path) -> (i32, String) {
    let program = Path::new(env!("CARGO_BIN_EXE_fingertape"));
    let bin = program.parent().expect("the program is in a folder");
    let path = format!("{}:{}", bin.display(), std::env::var("PATH").unwrap_or_default());
    let output = Command::new("bash")
        .args(["-c", block])
        .current_dir(folder)
        .env("PATH", path)
        .output()
        .expect("bash runs");
    let text =
        format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    (output.status.code().expect("it ends"), text)
}

#[cfg(unix)]
#[test]
fn every_example_of_the_readme_runs() {
    let readme = readme();
    let folder = folder_of_a_reader(&readme);
    let mut blocks = blocks(&readme, "sh");
    // Takes out the block that begins so.
    let mut example = |beginning: &str| {
        let at = blocks.iter().position(|block| block.starts_with(beginning));
        blocks.remove(at.unwrap_or_else(|| panic!("no example begins with {beginning}")))
    };
    assert_eq!(example("cargo"), "cargo run --release -- demo\n");
    assert_eq!(example("bash"), "bash tests/everything.sh\n");
    assert!(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/everything.sh").is_file());
    // The demo through the program that is already built.
    let (code, text) = run("fingertape demo", folder.path());
    assert_eq!(code, 0, "{text}");
    assert!(folder.path().join("fingertape-demo/report.json").is_file());

    let (code, text) = run(&example("fingertape check"), folder.path());
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("What went well"), "{text}");

    let (code, text) = run(&example("fingertape class"), folder.path());
    assert_eq!(code, 1, "one take is of another melody: {text}");
    assert!(
        text.contains("violin-2 (violin, 4B; row 3)\n  melody: Swing Gate\n  take: violin 2.flac\n"),
        "{text}"
    );
    assert!(text.contains("3 students, 3 takes: 2 with a mark, 1 to listen to or to look at."), "{text}");
    let marks = |name: &str| {
        fs::read_to_string(folder.path().join("playing-tests/marks").join(name))
            .unwrap_or_else(|error| panic!("{name}: {error}"))
    };
    assert!(marks("students/violin-1.txt").contains("Mark: 100 of 100"));
    assert!(marks("students/violin-2.txt").contains("A is written again; one long A was heard"));
    assert!(marks("listen-to-these.txt").contains("violin-3: no mark: I could not follow this melody"));
    assert!(folder.path().join("playing-tests/marks/overview.pdf").is_file());

    let (code, text) = run(&example("fingertape string"), folder.path());
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("Too low: 434.95 Hz, 20 cents low."), "{text}");
    assert!(text.contains("D and A: pure, hardly a beat to be heard."), "{text}");
    assert!(text.contains("Begin with A: it is 20 cents low."), "{text}");

    let (code, text) = run(&example("fingertape contour"), folder.path());
    assert_eq!(code, 0, "{text}");
    let row = text.lines().find(|line| line.starts_with("2.000,")).expect("a row at 2 s");
    let hertz: f64 = row.split(',').nth(1).expect("a pitch").parse().expect("a number");
    // 440 Hz · 2^(−20/1200) = 434.95 Hz.
    assert!((hertz - 434.95).abs() < 0.2, "{row}");

    let (code, text) = run(&example("fingertape jot"), folder.path());
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("draft.toml: 12 notes in 4 bars."), "{text}");
    let draft = fingertape::formats::read_melody(&folder.path().join("draft.toml")).expect("a draft").melody;
    let written =
        fingertape::formats::read_melody(&folder.path().join("my-melody.toml")).expect("a melody").melody;
    assert_eq!(draft.soundings().collect::<Vec<_>>(), written.soundings().collect::<Vec<_>>());

    let (code, text) = run(&example("fingertape sheet my-melody.toml"), folder.path());
    assert_eq!(code, 0, "{text}");
    // The reader's own melody, the draft and the MusicXML file.
    assert!(text.contains("our-tunes.pdf: 4 pages.\n3 melodies are in it.\n"), "{text}");
    assert!(folder.path().join("helped.pdf").is_file());

    let (code, text) = run(&example("fingertape proofread"), folder.path());
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("Nothing to change\nAll is as the sheet asks"), "{text}");

    let (code, text) = run(&example("fingertape sheet --rules"), folder.path());
    assert_eq!(code, 0, "{text}");
    assert!(
        text.starts_with("class-set.pdf: 4 pages.\nRemark: On the cello, the A of the D string is the open"),
        "{text}"
    );

    let (code, text) = run(&example("fingertape play"), folder.path());
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("listen.wav: ") && text.contains("for-cello-1.toml: for cello, in D"), "{text}");
    assert!(text.contains("my-melody.musicxml: 12 notes and 2 rests in 4 bars."), "{text}");

    // These are run at a false microphone by `tests/recording/sessions.rs`.
    example("fingertape inputs");
    example("fingertape takes");
    assert_eq!(blocks, [""; 0], "every example is run");
}

#[test]
fn what_the_readme_says_of_dots_signs_ties_and_triplets_is_so() {
    let readme = readme();
    // Each with its sounding pitches, and how long it lasts in quarter notes.
    for (typed, soundings, quarters) in [
        ("A4 q.", &[69][..], 1.5),
        ("Bb4", &[70], 1.0),
        ("Bn4", &[71], 1.0),
        ("D4 h~ D4 q", &[62], 3.0),
        ("D4 q/3 E4 F#4", &[62, 64, 66], 1.0),
    ] {
        assert!(readme.contains(&format!("`{typed}`")), "{typed}");
        let text = format!("key = 'F'\nbars = ['short: {typed}']");
        let melody = fingertape::formats::read_melody_bytes("m.toml", text.as_bytes()).expect(typed).melody;
        assert_eq!(melody.soundings().collect::<Vec<_>>(), soundings, "{typed}");
        assert_eq!(fingertape::notation::as_f64(melody.length()) * 4.0, quarters, "{typed}");
    }
    let pickup = "pickup = \"A4 q\"";
    let text = format!("{pickup}\nmetre = '6/8'\nbpm = 360\nbars = ['D4 h.']");
    let read = fingertape::formats::read_melody_bytes("m.toml", text.as_bytes()).expect("a pickup");
    assert!(readme.contains(&format!("`{pickup}`")) && readme.contains("`bpm = 360`"));
    assert_eq!((read.melody.events[0].bar, read.melody.bpm), (0, Some(360.0)));
}

#[test]
fn the_readme_speaks_of_every_command_and_promises_none_that_is_not_there() {
    let readme = readme();
    let named: Vec<&str> = readme
        .split("fingertape ")
        .skip(1)
        .filter_map(|rest| rest.split(|letter: char| letter.is_whitespace() || letter == '`').next())
        .filter(|word| !word.is_empty() && word.chars().all(|letter| letter.is_ascii_lowercase()))
        .collect();
    let (commands, prose) = (commands(), ["is", "listens"]);
    for word in &named {
        assert!(commands.iter().any(|command| command == word) || prose.contains(word), "{word}");
    }
    for command in &commands {
        let said = named.contains(&command.as_str())
            || readme.contains(&format!("cargo run --release -- {command}\n"));
        assert!(said, "the README does not say fingertape {command}");
    }
}

#[test]
fn every_option_in_the_readme_is_one_of_a_command() {
    let help: String = commands().iter().map(|command| printed(&[command, "--help"])).collect();
    let readme = readme();
    let options = readme
        .split(|letter: char| !(letter.is_ascii_lowercase() || letter == '-' || letter.is_ascii_digit()))
        .filter(|word| word.starts_with("--") && word.len() > 3);
    for option in options {
        assert!(
            help.contains(option) || ["--release", "--path", "--no-default-features"].contains(&option),
            "{option}"
        );
    }
}
