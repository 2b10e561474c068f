//! Every command that writes a file or prints, with what it needs to do so.

use fingertape::takes::{About, Book};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The program.
const PROGRAM: &str = env!("CARGO_BIN_EXE_fingertape");

/// A folder with a melody, a take, a rule file, a songbook's folder, a class and a take book.
pub struct Desk {
    folder: tempfile::TempDir,
}

/// A command that writes one file: its words, with `OUT` where the file goes.
pub struct Writer {
    /// The words.
    pub words: &'static [&'static str],
    /// The file's ending.
    pub ending: &'static str,
}

/// Each way in which a command writes a file that the user names.
pub const WRITERS: [Writer; 13] = [
    Writer { words: &["check", "take.flac", "--melody", "melody.toml", "--page", "OUT"], ending: "html" },
    Writer { words: &["check", "take.flac", "--melody", "melody.toml", "--page", "OUT"], ending: "pdf" },
    Writer { words: &["check", "take.flac", "--melody", "melody.toml", "--json", "OUT"], ending: "json" },
    Writer {
        words: &[
            "jot",
            "--from",
            "take.flac",
            "--instrument",
            "viola",
            "--bpm",
            "88",
            "--output",
            "OUT",
            "--force",
        ],
        ending: "toml",
    },
    Writer { words: &["sheet", "melody.toml", "--output", "OUT"], ending: "pdf" },
    Writer { words: &["sheet", "melody.toml", "--output", "OUT"], ending: "svg" },
    Writer { words: &["sheet", "melody.toml", "--output", "OUT"], ending: "png" },
    Writer { words: &["songbook", "songs", "--output", "OUT"], ending: "pdf" },
    Writer { words: &["convert", "melody.toml", "OUT", "--force"], ending: "musicxml" },
    Writer { words: &["convert", "melody.toml", "OUT", "--force"], ending: "mid" },
    Writer { words: &["move", "melody.toml", "--to", "cello", "--output", "OUT", "--force"], ending: "abc" },
    Writer { words: &["play", "melody.toml", "--wav", "OUT", "--force"], ending: "wav" },
    Writer { words: &["takes", "--book", "book", "--export", "OUT"], ending: "zip" },
];

impl Desk {
    /// Everything in place.
    pub fn new() -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let folder = tempfile::tempdir().expect("a folder");
        let here = folder.path();
        let demo = root.join("demo-data");
        for made in ["songs", "class", "out"] {
            fs::create_dir(here.join(made)).expect("a folder");
        }
        for (from, to) in [
            (demo.join("melody.toml"), "melody.toml"),
            (demo.join("take.flac"), "take.flac"),
            (demo.join("melody.toml"), "songs/melody.toml"),
            (demo.join("melody.toml"), "class/melody.toml"),
            (demo.join("take.flac"), "class/viola-2.flac"),
        ] {
            fs::copy(from, here.join(to)).expect("a copy");
        }
        fs::write(here.join("class/roster.csv"), "student,instrument\nviola-2,viola\n")
            .expect("a class list");
        fs::copy(demo.join("rules/two-strings.toml"), here.join("rules.toml")).expect("a copy");
        let book = Book::at(&here.join("book"));
        let about = About {
            recorded: String::new(),
            microphone: String::new(),
            melody: "melody".to_owned(),
            instrument: None,
            a4_hz: None,
            fifths: fingertape::notation::Fifths::Equal,
            string_length_mm: None,
            bpm: 88.0,
            finished: true,
            lost_ms: 0.0,
            remarks: Vec::new(),
        };
        let take = book.begin(&about, Some("toml"), b"bars").expect("a take");
        fs::copy(demo.join("take.flac"), take.wav()).expect("its sound");
        Self { folder }
    }

    /// The folder itself.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The program with some words, started in this folder.
    pub fn program(&self, words: &[&str]) -> Command {
        self.through(words, None)
    }

    /// The program through a line of bash, in which it is `"$0" "$@"`.
    pub fn bash(&self, line: &str, words: &[&str]) -> Command {
        self.through(words, Some(line))
    }

    fn through(&self, words: &[&str], line: Option<&str>) -> Command {
        let mut command = match line {
            Some(line) => {
                let mut command = Command::new("bash");
                command.args(["-c", line, PROGRAM]);
                command
            }
            None => Command::new(PROGRAM),
        };
        command.args(words).current_dir(self.folder.path()).env("NO_COLOR", "1").env_remove("CLICOLOR_FORCE");
        command
    }
}

impl Writer {
    /// The words, with the file's place in them.
    pub fn words_to<'a>(&'a self, place: &'a str) -> Vec<&'a str> {
        self.words.iter().map(|word| if *word == "OUT" { place } else { word }).collect()
    }

    /// A name for messages.
    pub fn name(&self) -> String {
        format!("{} to {}", self.words[0], self.ending)
    }
}

/// Exit code, standard output, standard error with its line breaks taken out.
pub fn said(output: &Output) -> (Option<i32>, String, String) {
    let errors = String::from_utf8(output.stderr.clone()).expect("UTF-8");
    let errors = errors.split_whitespace().collect::<Vec<_>>().join(" ").replace(" │", "");
    (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned(), errors)
}
