//! The copy with its switches, and the tests built from it.
use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

use anyhow::{Context, Result, bail, ensure};
use serde_json::Value;

use crate::{Mutant, WORK, rewritten, write_if_new};

/// What asks, while the program runs, which mutant is on.
const SWITCHED: &str = "//! Which mutant is on: the number in `SWITCHED_MUTANT`.
static ON: std::sync::LazyLock<usize> = std::sync::LazyLock::new(|| {
    std::env::var(\"SWITCHED_MUTANT\").ok().and_then(|on| on.parse().ok()).unwrap_or(usize::MAX)
});

/// Whether it is this one.
#[must_use]
pub fn on(number: usize) -> bool {
    *ON == number
}
";

/// An executable with tests.
#[derive(Debug)]
pub struct Tests {
    /// `lib`, or the name of the file in `tests`.
    pub name: String,
    /// The executable.
    pub path: PathBuf,
}

/// Puts what can be put behind a switch into `tree`; the numbers of those mutants.
pub fn behind_switches(tree: &Path, mutants: &[Mutant]) -> Result<BTreeSet<usize>> {
    let mut originals: BTreeMap<&Path, String> = BTreeMap::new();
    for mutant in mutants {
        originals.insert(&mutant.file, fs::read_to_string(&mutant.file)?);
    }
    write_if_new(&tree.join("src/switched.rs"), SWITCHED.as_bytes())?;
    let root = fs::read_to_string("src/lib.rs")?;
    let root = format!("{root}\n/// Which mutant is on.\npub mod switched;\n");
    write_if_new(&tree.join("src/lib.rs"), root.as_bytes())?;
    // What could not be switched the last time is not tried again.
    let known = fs::read_to_string(format!("{WORK}/unswitched.txt")).unwrap_or_default();
    let known: BTreeSet<&str> = known.lines().collect();
    // A function that gives `impl Iterator` gives one type only.
    let can_be = |mutant: &Mutant| !mutant.replacement.contains("::std::iter::");
    let mut left: BTreeSet<usize> = (0..mutants.len())
        .filter(|number| !known.contains(mutants[*number].name.as_str()) && can_be(&mutants[*number]))
        .collect();
    for round in 1.. {
        let mut stretches = BTreeMap::new();
        let mut placed = BTreeSet::new();
        for (file, text) in &originals {
            let of_file: Vec<(usize, &Mutant)> = (0..mutants.len())
                .filter(|number| left.contains(number) && mutants[*number].file == *file)
                .map(|number| (number, &mutants[number]))
                .collect();
            let written = rewritten::rewritten(text, &of_file)?;
            write_if_new(&tree.join(file), written.text.as_bytes())?;
            placed.extend(written.stretches.iter().flat_map(|(_, numbers)| numbers).copied());
            stretches.insert(file.to_path_buf(), written.stretches);
        }
        left = placed;
        let errors = errors(tree)?;
        println!("round {round}: {} behind a switch, {} errors", left.len(), errors.len());
        if errors.is_empty() {
            return Ok(left);
        }
        let mut dropped = 0;
        for (file, place) in &errors {
            let Some(stretches) = stretches.get(file) else { continue };
            let around = stretches.iter().find(|(range, _)| range.contains(place));
            // A `match` that lacks an arm is marked before its arms.
            let after = stretches.iter().filter(|(range, _)| range.start > *place);
            let at = around.or_else(|| after.min_by_key(|(range, _)| range.start));
            let numbers: Vec<usize> = at.iter().flat_map(|(_, numbers)| numbers).copied().collect();
            // Of several ways to replace a function the one without a default value is wrong first.
            let defaults = |number: &&usize| mutants[**number].replacement.contains("Default::default()");
            let guilty: Vec<usize> = numbers.iter().filter(defaults).copied().collect();
            for number in if around.is_none() || guilty.is_empty() { numbers } else { guilty } {
                dropped += usize::from(left.remove(&number));
            }
        }
        ensure!(dropped > 0, "errors outside any switch: {errors:?}");
    }
    bail!("no end")
}

/// Cargo in the copy; with the program's own folder of what is built.
fn cargo(tree: &Path) -> Command {
    let mut cargo = Command::new("cargo");
    cargo
        .current_dir(tree)
        .env("CARGO_TARGET_DIR", "../build")
        .env("CARGO_INCREMENTAL", "0")
        .env("CARGO_PROFILE_DEV_OPT_LEVEL", "2")
        .stderr(Stdio::null());
    cargo
}

/// What the compiler says against the copy: file and byte of each error.
fn errors(tree: &Path) -> Result<Vec<(PathBuf, usize)>> {
    let output =
        cargo(tree).args(["check", "--lib", "--message-format=json"]).output().context("cargo check")?;
    let mut errors = Vec::new();
    for message in messages(&output.stdout) {
        if message["message"]["level"] != "error" {
            continue;
        }
        let spans = message["message"]["spans"].as_array().into_iter().flatten();
        for span in spans.filter(|span| span["is_primary"] == true) {
            let file = span["file_name"].as_str().context("a file")?;
            let place = span["byte_start"].as_u64().context("a byte")?;
            errors.push((PathBuf::from(file), usize::try_from(place)?));
        }
    }
    ensure!(output.status.success() == errors.is_empty(), "cargo check failed without a place");
    Ok(errors)
}

/// Builds the unit tests of the copy and some of its tests of whole commands.
pub fn tests(tree: &Path, whole: &[&str]) -> Result<Vec<Tests>> {
    let output = cargo(tree)
        .args(["test", "--no-run", "--message-format=json", "--lib"])
        .args(whole.iter().flat_map(|name| ["--test", name]))
        .output()
        .context("cargo test --no-run")?;
    ensure!(output.status.success(), "the tests of the copy do not build");
    let mut tests = Vec::new();
    for message in messages(&output.stdout) {
        let Some(path) = message["executable"].as_str() else { continue };
        if message["profile"]["test"] != true {
            continue;
        }
        let kind = message["target"]["kind"][0].as_str().unwrap_or_default();
        let name = message["target"]["name"].as_str().unwrap_or_default();
        let name = if kind == "lib" { "lib" } else { name };
        tests.push(Tests { name: name.to_owned(), path: PathBuf::from(path) });
    }
    Ok(tests)
}

/// The lines of JSON that cargo writes.
fn messages(bytes: &[u8]) -> impl Iterator<Item = Value> {
    let text = String::from_utf8_lossy(bytes).into_owned();
    let lines: Vec<Value> = text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
    lines.into_iter()
}
