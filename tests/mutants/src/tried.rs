//! The tests, once for each mutant.
use std::{
    collections::{BTreeMap, BTreeSet},
    fs::{self, OpenOptions},
    io::Write,
    os::unix::process::ExitStatusExt,
    path::Path,
    process::{Command, Stdio},
    sync::Mutex,
    time::{Duration, Instant},
};

use anyhow::{Context, Result, ensure};
use rayon::prelude::*;
use wait_timeout::ChildExt;

use crate::{Mutant, WORK, built::Tests};

/// What became of a mutant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// A test failed.
    Killed,
    /// A test used eight times its time of the processor, or forty times by the clock.
    Endless,
    /// Every test passed.
    Survived,
}

/// What the rooms of sound come to, in order: the fast ones first. (`class_command` is left out: it takes twenty times as long as all of them.)
const OF_SOUND: [&str; 3] = ["plain_tones", "fixtures", "commands"];
/// What melodies and rules come to.
const OF_PAPER: [&str; 5] =
    ["formats", "proofread_command", "move_command", "convert_command", "sheet_command"];
/// Unit tests that take long and look at none of these rooms.
const ELSEWHERE: [&str; 8] = [
    "pitch::",
    "segment::",
    "sound::",
    "decode::",
    "open_string::",
    "live::",
    "capture::",
    "recording_quality::",
];

/// All tests of whole commands that are needed.
pub fn whole_commands() -> Vec<&'static str> {
    OF_SOUND.iter().chain(&OF_PAPER).copied().collect()
}

/// One run of tests: which executable, and with which words after it.
type Run<'a> = (&'a Tests, Vec<String>);

/// The runs for a room, until one fails: its unit tests, those of other rooms, whole commands.
fn runs<'a>(room: &str, tests: &'a [Tests]) -> Result<Vec<Run<'a>>> {
    let named = |name: &str| {
        tests.iter().find(|tests| tests.name == name).with_context(|| format!("{name} is not built"))
    };
    let lib = named("lib")?;
    let elsewhere = ELSEWHERE.iter().flat_map(|room| ["--skip".to_owned(), (*room).to_owned()]).collect();
    let mut runs = vec![(lib, vec![format!("{room}::")]), (lib, elsewhere)];
    let whole: &[&str] = if ["rules", "notation"].contains(&room) { &OF_PAPER } else { &OF_SOUND };
    for name in whole {
        runs.push((named(name)?, Vec::new()));
    }
    Ok(runs)
}

/// Tries every mutant; what earlier runs found out of the same names is kept in `results.txt`.
pub fn all(
    tree: &Path,
    mutants: &[Mutant],
    switched: &BTreeSet<usize>,
    tests: &[Tests],
) -> Result<Vec<(usize, Outcome)>> {
    let file = format!("{WORK}/results.txt");
    let mut known: BTreeMap<String, Outcome> = BTreeMap::new();
    for line in fs::read_to_string(&file).unwrap_or_default().lines() {
        let Some((outcome, name)) = line.split_once('\t') else { continue };
        let outcome = match outcome {
            "killed" => Outcome::Killed,
            "endless" => Outcome::Endless,
            // Tried again, as tests may have come.
            _ => continue,
        };
        known.insert(name.to_owned(), outcome);
    }
    // How long each run takes without a mutant; it must pass.
    let mut usual: BTreeMap<(String, String), Duration> = BTreeMap::new();
    let rooms: BTreeSet<String> = switched.iter().map(|number| mutants[*number].room()).collect();
    for (tests, words) in rooms.iter().map(|room| runs(room, tests)).collect::<Result<Vec<_>>>()?.concat() {
        let begun = Instant::now();
        let key = (tests.name.clone(), words.join(" "));
        if usual.contains_key(&key) {
            continue;
        }
        let outcome = run(tree, usize::MAX, &(tests, words), Duration::from_secs(75))?;
        ensure!(outcome == Outcome::Survived, "{} fails without a mutant", tests.name);
        println!("{} {}: {:.1} s", key.0, key.1, begun.elapsed().as_secs_f64());
        usual.insert(key, begun.elapsed());
    }
    let results = Mutex::new(OpenOptions::new().create(true).append(true).open(&file)?);
    let numbers: Vec<usize> = switched.iter().copied().collect();
    let done = Mutex::new(0);
    numbers
        .par_iter()
        .with_max_len(1)
        .map(|&number| {
            let mutant = &mutants[number];
            if let Some(outcome) = known.get(&mutant.name) {
                return Ok((number, *outcome));
            }
            let mut outcome = Outcome::Survived;
            for one in runs(&mutant.room(), tests)? {
                let limit = usual[&(one.0.name.clone(), one.1.join(" "))] * 8 + Duration::from_secs(3);
                outcome = run(tree, number, &one, limit)?;
                if outcome != Outcome::Survived {
                    break;
                }
            }
            let word = match outcome {
                Outcome::Killed => "killed",
                Outcome::Endless => "endless",
                Outcome::Survived => "survived",
            };
            let mut done = done.lock().expect("no other panics");
            *done += 1;
            if outcome == Outcome::Survived {
                println!("{done}/{}: survived: {}", numbers.len(), mutant.name);
            }
            let mut results = results.lock().expect("no other panics");
            writeln!(results, "{word}\t{}", mutant.name).context("results")?;
            Ok((number, outcome))
        })
        .collect()
}

/// What the system ends a process with that has used its processor time: XCPU, then KILL.
const OUT_OF_TIME: [i32; 2] = [24, 9];

/// One run with one mutant on. The limit is one of processor time, so that a busy computer makes no mutant endless.
fn run(tree: &Path, number: usize, (tests, words): &Run, limit: Duration) -> Result<Outcome> {
    // Two threads of tests use twice the time.
    let processor = 2 * limit.as_secs() + 1;
    let mut command = Command::new("sh");
    command
        .args(["-c", "ulimit -t \"$0\"; exec \"$@\""])
        .arg(processor.to_string())
        .arg(fs::canonicalize(&tests.path)?)
        .current_dir(tree)
        .env("CARGO_MANIFEST_DIR", fs::canonicalize(tree)?)
        .env("SWITCHED_MUTANT", number.to_string())
        .env("RUST_BACKTRACE", "0")
        // What fails with a mutant says nothing about the program without it.
        .env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1")
        .args(words)
        .args(["--quiet", "--test-threads=2"])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .stdin(Stdio::null());
    let mut child = command.spawn().context("a test")?;
    match child.wait_timeout(5 * limit)? {
        Some(status) if status.success() => Ok(Outcome::Survived),
        Some(status) if status.signal().is_some_and(|signal| OUT_OF_TIME.contains(&signal)) => {
            Ok(Outcome::Endless)
        }
        Some(_) => Ok(Outcome::Killed),
        None => {
            child.kill()?;
            child.wait()?;
            Ok(Outcome::Endless)
        }
    }
}
