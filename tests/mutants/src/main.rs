//! Mutation testing with one build: every mutant of cargo-mutants' list is compiled into one copy of
//! the program behind a switch, and the tests run once for each with that switch on. A build for each
//! of two thousand mutants would take a day.
//!
//! ```sh
//! tests/mutants/mutants.sh [--every N] [ROOM...]
//! ```
//!
//! From the project's root; `--every 4` tries one mutant of four; needs `cargo install cargo-mutants --locked`. Works in `target/mutants`.
//! Prints each survivor and a table of counts by room. What cannot be compiled behind a switch
//! (another type, a constant) is listed in `target/mutants/unswitched.txt`, for cargo-mutants itself.
mod built;
mod rewritten;
mod tried;

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
    process::Command,
};

use anyhow::{Context, Result, ensure};
use serde::Deserialize;

/// The rooms of `src` with mutants.
const ROOMS: [&str; 4] = ["align", "findings", "rules", "notation"];

/// Where the copy and the results are.
const WORK: &str = "target/mutants";

/// One change of the list, as `cargo mutants --list --json` writes it.
#[derive(Debug, Clone, Deserialize)]
pub struct Mutant {
    /// The file, from the project's root.
    pub file: PathBuf,
    /// What kind of change: `BinaryOperator`, `FnValue`…
    pub genre: String,
    /// The place and the change in words.
    pub name: String,
    /// What stands there instead.
    pub replacement: String,
    /// What is replaced.
    pub span: Span,
}

/// A stretch of a file.
#[derive(Debug, Clone, Deserialize)]
pub struct Span {
    /// Where it begins.
    pub start: Place,
}

/// A place in a file: both from 1, the column in characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
pub struct Place {
    /// The line.
    pub line: usize,
    /// The column.
    pub column: usize,
}

impl Mutant {
    /// The folder of `src` that it is in.
    pub fn room(&self) -> String {
        let mut parts = self.file.iter().skip(1);
        parts.next().map_or(String::new(), |room| room.to_string_lossy().into_owned())
    }
}

fn main() -> Result<()> {
    let mut rooms: Vec<String> = std::env::args().skip(1).collect();
    let mut every = 1;
    if rooms.first().is_some_and(|word| word == "--every") {
        every = rooms.get(1).context("--every needs a number")?.parse().context("--every N")?;
        rooms.drain(..2);
    }
    if rooms.is_empty() {
        rooms = ROOMS.map(String::from).into();
    }
    ensure!(Path::new("src/lib.rs").exists(), "run this from the project's root");
    let mutants = listed()?;
    println!("{} mutants", mutants.len());
    let tree = copied(&mutants)?;
    let switched = built::behind_switches(&tree, &mutants)?;
    let unswitched: Vec<&str> = (0..mutants.len())
        .filter(|number| !switched.contains(number))
        .map(|number| mutants[number].name.as_str())
        .collect();
    fs::write(format!("{WORK}/unswitched.txt"), unswitched.join("\n"))?;
    println!("{} behind a switch, {} not", switched.len(), unswitched.len());
    let tests = built::tests(&tree, &tried::whole_commands())?;
    let chosen: BTreeSet<usize> = switched
        .into_iter()
        .filter(|number| number % every == 0 && rooms.contains(&mutants[*number].room()))
        .collect();
    let outcomes = tried::all(&tree, &mutants, &chosen, &tests)?;
    let mut table: BTreeMap<String, [usize; 3]> = BTreeMap::new();
    for (number, outcome) in &outcomes {
        let row = table.entry(mutants[*number].room()).or_default();
        row[*outcome as usize] += 1;
    }
    println!("room       killed  endless  survived");
    for (room, [killed, endless, survived]) in table {
        println!("{room:10} {killed:6}  {endless:7}  {survived:8}");
    }
    Ok(())
}

/// The list of cargo-mutants for [`ROOMS`], whichever of them are tried: a mutant keeps its number.
fn listed() -> Result<Vec<Mutant>> {
    let mut list = Command::new("cargo");
    list.args(["mutants", "--list", "--json"]);
    for room in ROOMS {
        list.args(["-f", &format!("src/{room}/*.rs")]);
    }
    let output = list.output().context("cargo mutants")?;
    ensure!(output.status.success(), "cargo mutants: {}", String::from_utf8_lossy(&output.stderr));
    Ok(serde_json::from_slice(&output.stdout)?)
}

/// A copy of the project to write in, without what was built.
fn copied(mutants: &[Mutant]) -> Result<PathBuf> {
    let tree = PathBuf::from(WORK).join("tree");
    // Files with mutants are written later, and only where they differ: what is built stays.
    let mutated: BTreeSet<&Path> = mutants.iter().map(|mutant| mutant.file.as_path()).collect();
    let list = Command::new("git").args(["ls-files", "-z", "-co", "--exclude-standard"]).output()?;
    ensure!(list.status.success(), "git ls-files: {}", String::from_utf8_lossy(&list.stderr));
    for name in String::from_utf8(list.stdout)?.split_terminator('\0') {
        let name = Path::new(name);
        // Cargo finds `.cargo` above the copy, and would read a second one as well.
        if name.starts_with(".cargo")
            || name == Path::new("src/lib.rs")
            || mutated.contains(name)
            || !name.exists()
        {
            continue;
        }
        write_if_new(&tree.join(name), &fs::read(name)?)?;
    }
    Ok(tree)
}

/// Writes a file unless it is there with these bytes.
pub fn write_if_new(path: &Path, bytes: &[u8]) -> Result<()> {
    if fs::read(path).is_ok_and(|there| there == bytes) {
        return Ok(());
    }
    fs::create_dir_all(path.parent().context("a folder")?)?;
    Ok(fs::write(path, bytes)?)
}
