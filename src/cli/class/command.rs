//! The command: reads the class list, the rubric and the folder, has the takes heard, and writes the marks.

use super::arguments::ClassArguments;
use super::folder::{Found, FoundKind, files_of};
use super::kept_result::Keeper;
use super::marks_folder::{CLASS_JSON, MarksFolder, RESULTS};
use super::matching::matching;
use super::melodies::{Melodies, ReadOnce, Ready};
use super::memory::{FOR_ALL_TAKES, Memory};
use super::results::Class;
use super::summary::summary;
use super::write_marks::{CALLED_BY_NAMES, write_all};
use crate::cli::shared::exit_codes::Ending;
use crate::cli::shared::failure::{self as failures, Failure};
use crate::cli::shared::{print, read_file};
use fingertape::class::{EarlierMark, Roster, Rubric, rubric_from_toml, students_from_table};
use fingertape::formats;
use fingertape::remark::Remark;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A rubric is at most this many bytes: 1 MiB.
const LARGEST_RUBRIC: u64 = 1 << 20;
/// An earlier test's marks are at most this many bytes: 256 MiB.
const LARGEST_CLASS_JSON: u64 = 256 << 20;

/// Runs the command.
pub fn run(arguments: &ClassArguments) -> miette::Result<Ending> {
    let folder = &arguments.folder;
    if !folder.is_dir() {
        let is = if folder.exists() { "is no folder but a file" } else { "is not there" };
        let what = format!("the folder {} {is}", folder.display());
        return Err(Failure::new(what, "give the folder that the takes are in").into());
    }
    let roster_file = roster_file(arguments)?;
    let roster_name = roster_file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let roster = read_roster(&roster_file, &roster_name)?;
    let (rubric, rubric_file) = read_rubric(arguments)?;
    let output = arguments.output.clone().unwrap_or_else(|| folder.join("marks"));
    let mut skip = vec![roster_file, output.clone()];
    skip.extend(rubric_file);
    skip.extend(arguments.before.clone());
    let files = files_of(folder, &skip)?;
    let melody_files = match &arguments.melodies {
        Some(melodies) => files_of(melodies, &skip)?,
        None => files.clone(),
    };
    let melody_files: Vec<Found> =
        melody_files.into_iter().filter(|file| file.kind == FoundKind::Melody).collect();
    if let Some(melody) = &arguments.melody {
        failures::is_there(melody, "the melody")?;
    }
    let for_all = arguments.melody.as_deref();
    let melodies = Melodies { files: &melody_files, for_all };
    let mut read_once = ReadOnce::default();
    let ready: Vec<Result<Ready, String>> = (0..roster.students.len())
        .map(|at| {
            let path = melodies.file_for(&roster.students, at)?;
            read_once.read(&path, roster.students[at].instrument).clone()
        })
        .collect();
    let pattern = arguments.pattern.clone().unwrap_or_default();
    let matched = matching(&files, &roster.students, &pattern, arguments.largest << 20);
    let plays: Vec<Result<String, String>> =
        ready.iter().map(|one| one.as_ref().map(|ready| ready.name.clone()).map_err(Clone::clone)).collect();
    let words = matched.text(&files, &roster.students, &plays, &roster.problems, &roster_name);
    let before = earlier_marks(arguments.before.as_deref(), rubric.highest)?;
    if arguments.dry_run {
        print::plain(&words)?;
        let takes = matched.takes.iter().any(Vec::is_empty);
        let open =
            takes || plays.iter().any(Result::is_err) || matched.open() > 0 || !roster.problems.is_empty();
        return Ok(if open { Ending::Refused } else { Ending::Done });
    }
    let marks = MarksFolder::open(&output)?;
    let class = Class {
        arguments,
        roster: &roster,
        rubric: &rubric,
        files: &files,
        matched: &matched,
        ready: &ready,
        keeper: &Keeper::new(marks.place(RESULTS)),
        memory: &Memory::new(FOR_ALL_TAKES),
    };
    let results = class.results(&marks, &before)?;
    let written = write_all(&marks, &class, &results, &words)?;
    summary(&class, &results, &output, written, &roster_name)
}

fn roster_file(arguments: &ClassArguments) -> miette::Result<PathBuf> {
    if let Some(file) = &arguments.roster {
        failures::is_there(file, "the class list")?;
        return Ok(file.clone());
    }
    let folder = &arguments.folder;
    let found =
        ["roster.csv", "roster.xlsx"].map(|name| folder.join(name)).into_iter().find(|file| file.is_file());
    found.ok_or_else(|| {
        let what = format!("there is no class list: neither roster.csv nor roster.xlsx is in {}", folder.display());
        let help = "write one, with the first line student,instrument,group,melody and a line for each student, or name \
                    another with --roster FILE";
        Failure::new(what, help).into()
    })
}

fn read_roster(file: &Path, name: &str) -> miette::Result<Roster> {
    let table =
        formats::read_table(file).map_err(|error| failures::unusable_table(error, file, "the class list"))?;
    let roster = students_from_table(&table);
    print::remarks(&roster.remarks);
    if roster.students.is_empty() {
        let said: Vec<String> = roster.problems.iter().map(|problem| problem.sentence(name)).collect();
        return Err(
            Failure::new(said.join("\n"), "mend the class list; 'fingertape help class' shows one").into()
        );
    }
    Ok(roster)
}

fn read_rubric(arguments: &ClassArguments) -> miette::Result<(Rubric, Option<PathBuf>)> {
    let usual = arguments.folder.join("rubric.toml");
    let file = match &arguments.rubric {
        Some(file) => file.clone(),
        None if usual.is_file() => usual,
        None => return Ok((Rubric::default(), None)),
    };
    failures::is_there(&file, "the rubric")?;
    let bytes = read_file::within(&file, LARGEST_RUBRIC);
    let text = bytes
        .and_then(|bytes| {
            String::from_utf8(bytes)
                .map_err(|error| std::io::Error::new(std::io::ErrorKind::InvalidData, error))
        })
        .map_err(|error| {
            let what = format!("the rubric {} cannot be read: {}", file.display(), failures::said(&error));
            Failure::new(what, "save it as text in UTF-8")
        })?;
    let (rubric, complaints) = rubric_from_toml(&text);
    if complaints.is_empty() {
        return Ok((rubric, Some(file)));
    }
    let said: Vec<String> =
        complaints.iter().map(|one| format!("{}, {}: {}.", file.display(), one.place, one.text)).collect();
    Err(Failure::new(said.join("\n"), "mend these places; 'fingertape help class' shows a rubric").into())
}

/// Marks by the students' names, from an earlier test's folder, to stand beside marks up to `highest`.
fn earlier_marks(folder: Option<&Path>, highest: f64) -> miette::Result<BTreeMap<String, EarlierMark>> {
    let Some(folder) = folder else { return Ok(BTreeMap::new()) };
    let path = folder.join(CLASS_JSON);
    let read = read_file::within(&path, LARGEST_CLASS_JSON).map_err(|error| failures::said(&error));
    let value: Result<serde_json::Value, String> =
        read.and_then(|bytes| serde_json::from_slice(&bytes).map_err(|error| error.to_string()));
    let value = value.map_err(|error| {
        let what = format!("{} cannot be read: {error}", path.display());
        Failure::new(what, "give the marks folder of an earlier 'fingertape class' to --before")
    })?;
    // A chair is a place in a class list, and another child may sit there now. Where the file does not say what its
    // students are called by, it may be chairs.
    if value["called_by"] != CALLED_BY_NAMES {
        print::remarks(&[Remark::new(
            "before-without-names",
            format!(
                "{} has no names in it but chairs, and a chair may be another student now: nothing is compared with that \
                 test. To compare, run it again without --anonymous, and keep that folder to yourself; the run that it \
                 is compared with may be anonymous.",
                path.display()
            ),
        )]);
        return Ok(BTreeMap::new());
    }
    let students = value["students"].as_array().cloned().unwrap_or_default();
    let mark = |student: &serde_json::Value| {
        let mark = student["final_mark"].as_str().and_then(|mark| mark.parse().ok());
        Some((student["student"].as_str()?.to_owned(), mark.filter(|mark: &f64| mark.is_finite())?))
    };
    let mut marks: BTreeMap<String, Option<f64>> = BTreeMap::new();
    for (name, mark) in students.iter().filter_map(mark) {
        // Of two students with one name nobody knows which is which.
        marks.entry(name).and_modify(|mark| *mark = None).or_insert(Some(mark));
    }
    let of = value["highest"].as_f64();
    let earlier = |(name, mark): (String, Option<f64>)| Some((name, EarlierMark::new(mark?, of, highest)));
    Ok(marks.into_iter().filter_map(earlier).collect())
}
