//! The command: reads the class list, the rubric and the folder, has the takes heard, and writes the marks.

use super::arguments::ClassArguments;
use super::folder::{Found, FoundKind, files_of};
use super::hear_takes::{Limits, Task, hear};
use super::kept_result::{Keeper, Kept};
use super::marks_folder::{
    CLASS_JSON, MarksFolder, RESULTS, STUDENTS, TEACHERS_MARKS, csv_bytes, failure, xlsx_bytes,
};
use super::matching::{Matching, matching};
use super::melodies::{Melodies, ReadOnce, Ready};
use super::student_files::{names, student_files};
use crate::cli::exit_codes::Ending;
use crate::cli::failure::{self as failures, Failure};
use crate::cli::print;
use fingertape::class::{
    ClassTake, Roster, Rubric, StudentResult, TakeResult, gradebook, html_from_overview, listen_text,
    mark_from_report, overview, pages_from_overview, rubric_from_toml, shown, students_from_table,
    teachers_marks,
};
use fingertape::engrave::pdf_from_pages;
use fingertape::formats::{self, FormatError};
use fingertape::pipeline::JudgeSettings;
use fingertape::units::{A4_ISO16, Hertz};
use rayon::prelude::*;
use rayon::{ThreadPool, ThreadPoolBuilder};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Runs the command.
pub fn run(arguments: &ClassArguments) -> miette::Result<Ending> {
    let folder = &arguments.folder;
    if !folder.is_dir() {
        let what = format!("there is no folder {}", folder.display());
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
    if arguments.dry_run {
        print::plain(&words)?;
        let takes = matched.takes.iter().any(Vec::is_empty);
        let open =
            takes || plays.iter().any(Result::is_err) || matched.open() > 0 || !roster.problems.is_empty();
        return Ok(if open { Ending::Refused } else { Ending::Done });
    }
    let before = earlier_marks(arguments.before.as_deref())?;
    let marks = MarksFolder::open(&output)?;
    let class = Class {
        arguments,
        roster: &roster,
        rubric: &rubric,
        files: &files,
        matched: &matched,
        ready: &ready,
    };
    let keeper = Keeper::new(marks.place(RESULTS));
    let (results, keys) = class.results(&keeper, &marks, &before)?;
    let written = write_all(&marks, &class, &results, &words)?;
    keeper.forget_others(&keys).map_err(|error| failure(&marks.place(RESULTS), &error))?;
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
    let table = formats::read_table(file).map_err(unusable_table)?;
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

fn unusable_table(error: FormatError) -> miette::Report {
    miette::Report::msg(error)
}

fn read_rubric(arguments: &ClassArguments) -> miette::Result<(Rubric, Option<PathBuf>)> {
    let usual = arguments.folder.join("rubric.toml");
    let file = match &arguments.rubric {
        Some(file) => file.clone(),
        None if usual.is_file() => usual,
        None => return Ok((Rubric::default(), None)),
    };
    failures::is_there(&file, "the rubric")?;
    let text = std::fs::read_to_string(&file).map_err(|error| {
        let what = format!("the rubric {} cannot be read: {error}", file.display());
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

/// Marks by what students are called, from an earlier test's folder.
fn earlier_marks(folder: Option<&Path>) -> miette::Result<BTreeMap<String, f64>> {
    let Some(folder) = folder else { return Ok(BTreeMap::new()) };
    let path = folder.join(CLASS_JSON);
    let read = std::fs::read(&path).map_err(|error| error.to_string());
    let value: Result<serde_json::Value, String> =
        read.and_then(|bytes| serde_json::from_slice(&bytes).map_err(|error| error.to_string()));
    let value = value.map_err(|error| {
        let what = format!("{} cannot be read: {error}", path.display());
        Failure::new(what, "give the marks folder of an earlier 'fingertape class' to --before")
    })?;
    let students = value["students"].as_array().cloned().unwrap_or_default();
    let mark = |student: &serde_json::Value| {
        let mark = student["final_mark"].as_str().and_then(|mark| mark.parse().ok());
        Some((student["student"].as_str()?.to_owned(), mark.filter(|mark: &f64| mark.is_finite())?))
    };
    Ok(students.iter().filter_map(mark).collect())
}

/// Everything that marks are made of.
struct Class<'a> {
    arguments: &'a ClassArguments,
    roster: &'a Roster,
    rubric: &'a Rubric,
    files: &'a [Found],
    matched: &'a Matching,
    ready: &'a [Result<Ready, String>],
}

impl Class<'_> {
    /// Hears all takes and settles all students; also the keys under which results are kept.
    fn results(
        &self,
        keeper: &Keeper,
        marks: &MarksFolder,
        before: &BTreeMap<String, f64>,
    ) -> miette::Result<(Vec<StudentResult>, Vec<String>)> {
        let settings: Vec<Option<JudgeSettings>> =
            self.ready.iter().map(|ready| ready.as_ref().ok().map(|ready| self.settings(ready))).collect();
        let mut tasks = Vec::new();
        let mut whose = Vec::new();
        for (student, takes) in self.matched.takes.iter().enumerate() {
            let (Ok(ready), Some(settings)) = (&self.ready[student], &settings[student]) else { continue };
            for &at in takes {
                if !self.doubled(at) {
                    whose.push(at);
                    tasks.push(Task { path: self.files[at].path.clone(), melody: &ready.melody, settings });
                }
            }
        }
        let limits = Limits { longest_s: self.arguments.longest, largest: self.arguments.largest << 20 };
        let heard = hear(&tasks, keeper, limits, &workers(self.jobs(), marks)?)
            .map_err(|error| failure(&marks.place(RESULTS), &error))?;
        let keys = heard.iter().filter_map(|(key, _)| key.clone()).collect();
        let mut heard: BTreeMap<usize, Kept> =
            whose.into_iter().zip(heard.into_iter().map(|(_, kept)| kept)).collect();
        let (own, problems) = self.teachers(marks)?;
        for problem in problems {
            print::remarks(&[fingertape::remark::Remark::new("teachers-marks", problem)]);
        }
        let mut melodies_seen: Vec<&str> = Vec::new();
        let mut results = Vec::new();
        for (at, student) in self.roster.students.iter().enumerate() {
            let name_of_melody = match &self.ready[at] {
                Ok(ready) if self.arguments.anonymous => {
                    let seen =
                        melodies_seen.iter().position(|name| *name == ready.name).unwrap_or_else(|| {
                            melodies_seen.push(&ready.name);
                            melodies_seen.len() - 1
                        });
                    format!("melody {}", seen + 1)
                }
                Ok(ready) => ready.name.clone(),
                Err(_) => String::new(),
            };
            let called = if self.arguments.anonymous { student.label.clone() } else { student.name.clone() };
            let takes = self.matched.takes[at]
                .iter()
                .enumerate()
                .map(|(number, file)| self.take(at, number, *file, heard.remove(file), &name_of_melody))
                .collect();
            let mut result = StudentResult::new(student.clone(), called, name_of_melody, takes);
            // The earlier test may have been written with names or with chairs.
            let earlier = [&result.shown, &student.name, &student.label];
            result.before = earlier.into_iter().find_map(|name| before.get(name)).copied();
            result.teachers = own.get(&at).cloned();
            if let Err(why) = &self.ready[at] {
                result.trouble.push(self.without_names(why));
            }
            result.settle(self.rubric);
            results.push(result);
        }
        Ok((results, keys))
    }

    /// How many takes are heard, or reports written, at a time.
    fn jobs(&self) -> usize {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        self.arguments.jobs.map_or(cores, usize::from)
    }

    fn settings(&self, ready: &Ready) -> JudgeSettings {
        JudgeSettings {
            instrument: ready.instrument,
            a4: self.arguments.a4.map(Hertz).or(ready.melody.a4).unwrap_or(A4_ISO16),
            fifths: self.arguments.fifths.into(),
            bpm: self.arguments.bpm.or(ready.melody.bpm),
            // What is kept has no names in it.
            title: String::new(),
            remarks: ready.remarks.clone(),
        }
    }

    fn doubled(&self, file: usize) -> bool {
        self.matched.handed_in_twice.iter().any(|same| same.contains(&file))
    }

    fn take(
        &self,
        student: usize,
        number: usize,
        file: usize,
        heard: Option<Kept>,
        melody: &str,
    ) -> ClassTake {
        let name = match self.arguments.anonymous {
            true => format!("take {}", number + 1),
            false => self.files[file].name.clone(),
        };
        let result = match (heard, &self.ready[student]) {
            (Some(Kept::Report(mut report)), _) => {
                let student = &self.roster.students[student];
                report.melody.title = melody.to_owned();
                let thresholds = self.rubric.thresholds_for(&student.level, &student.group);
                TakeResult::Heard { mark: mark_from_report(&report, self.rubric, thresholds), report }
            }
            (Some(Kept::Failed(why)), _) => TakeResult::Failed(sentence(&why)),
            (None, Err(why)) => TakeResult::Failed(sentence(&self.without_names(why))),
            (None, Ok(_)) => TakeResult::Failed(
                "The same recording was handed in for another student too. Ask whose it is.".to_owned(),
            ),
        };
        ClassTake { name, result }
    }

    /// Why a melody cannot be used may name a file, and the file a child.
    fn without_names(&self, why: &str) -> String {
        match self.arguments.anonymous {
            true => "The melody cannot be used; --dry-run says why.".to_owned(),
            false => sentence(why),
        }
    }

    fn teachers(
        &self,
        marks: &MarksFolder,
    ) -> miette::Result<(BTreeMap<usize, fingertape::class::TeachersMark>, Vec<String>)> {
        let table = formats::read_table(&marks.place(TEACHERS_MARKS)).map_err(unusable_table)?;
        print::remarks(&table.remarks);
        let (own, problems) = teachers_marks(&table, &self.roster.students);
        Ok((own, problems.iter().map(|problem| problem.sentence(TEACHERS_MARKS)).collect()))
    }
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

fn workers(jobs: usize, marks: &MarksFolder) -> miette::Result<ThreadPool> {
    let pool = ThreadPoolBuilder::new().num_threads(jobs).build();
    pool.map_err(|error| failure(&marks.place(RESULTS), &std::io::Error::other(error)))
}

/// Writes everything; how many reports.
fn write_all(
    marks: &MarksFolder,
    class: &Class<'_>,
    results: &[StudentResult],
    words: &str,
) -> miette::Result<usize> {
    let earlier = earlier_reports(&marks.place(CLASS_JSON));
    let students: Vec<(&StudentResult, String)> = results.iter().zip(names(results)).collect();
    let write_one = |at: usize| -> miette::Result<Vec<String>> {
        let (result, name) = &students[at];
        let melody = class.ready[at].as_ref().ok().map(|ready| &ready.melody);
        let mut written = Vec::new();
        for (ending, bytes) in student_files(result, class.rubric, melody) {
            let file = format!("{name}.{ending}");
            marks.write(&format!("{STUDENTS}/{file}"), &bytes)?;
            written.push(file);
        }
        Ok(written)
    };
    // In the order of the class list, however many write at a time.
    let reports: Vec<Vec<String>> = workers(class.jobs(), marks)?
        .install(|| (0..students.len()).into_par_iter().map(write_one).collect::<miette::Result<_>>())?;
    let reports: Vec<String> = reports.into_iter().flatten().collect();
    let rows = gradebook(results);
    marks.write("gradebook.csv", &csv_bytes(&rows))?;
    let xlsx = xlsx_bytes(&rows).map_err(|error| {
        Failure::new(
            format!("gradebook.xlsx cannot be made: {error}"),
            "use gradebook.csv instead, which has the same",
        )
    })?;
    marks.write("gradebook.xlsx", &xlsx)?;
    marks.write("listen-to-these.txt", listen_text(results).as_bytes())?;
    let files = match class.arguments.anonymous {
        true => format!(
            "{} files are on a list. 'fingertape class FOLDER --dry-run' names them; in here no names are kept.\n",
            class.matched.open()
        ),
        false => words.to_owned(),
    };
    marks.write("files.txt", files.as_bytes())?;
    let title = &class.arguments.title;
    let pages = pages_from_overview(&overview(results, class.rubric), title, class.arguments.paper.into());
    marks.write("overview.html", html_from_overview(&pages, results, title).as_bytes())?;
    marks.write("overview.pdf", &pdf_from_pages(&pages[..1], &shown(title)))?;
    // Reports of students who have gone, or of names that are now chairs, go; only then the list of reports changes.
    marks.remove_reports(&earlier, &reports)?;
    marks.write(CLASS_JSON, class_json(class, results, &reports).as_bytes())?;
    Ok(results.len())
}

/// The reports that the last run wrote.
fn earlier_reports(class_json: &Path) -> Vec<String> {
    let value: Option<serde_json::Value> =
        std::fs::read(class_json).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let list = value.and_then(|value| value["reports"].as_array().cloned()).unwrap_or_default();
    list.iter().filter_map(|name| name.as_str().map(str::to_owned)).collect()
}

fn class_json(class: &Class<'_>, results: &[StudentResult], reports: &[String]) -> String {
    let take = |take: &ClassTake| match &take.result {
        TakeResult::Heard { report, mark } => {
            serde_json::json!({ "name": take.name, "outcome": report.outcome, "mark": mark })
        }
        TakeResult::Failed(why) => serde_json::json!({ "name": take.name, "failed": why }),
    };
    let student = |result: &StudentResult| {
        serde_json::json!({
            "student": result.shown,
            "instrument": result.student.instrument,
            "group": result.student.group,
            "melody": result.melody,
            "final_mark": result.final_mark(),
            "mark": result.mark,
            "band": result.band,
            "no_mark_because": result.why_none,
            "takes": result.takes.iter().map(take).collect::<Vec<_>>(),
        })
    };
    let value = serde_json::json!({
        "class_version": 1,
        "title": class.arguments.title,
        "highest": class.rubric.highest,
        "students": results.iter().map(student).collect::<Vec<_>>(),
        "reports": reports,
    });
    serde_json::to_string_pretty(&value).expect("words, numbers and lists are JSON") + "\n"
}

/// What was done and what is left to do, on standard output.
fn summary(
    class: &Class<'_>,
    results: &[StudentResult],
    output: &Path,
    reports: usize,
    roster: &str,
) -> miette::Result<Ending> {
    let marked = results.iter().filter(|result| result.final_mark().is_some()).count();
    let open = results.iter().filter(|result| result.open()).count();
    let count =
        |number: usize, one: &str, many: &str| format!("{number} {}", if number == 1 { one } else { many });
    let takes: usize = results.iter().map(|result| result.takes.len()).sum();
    let mut out = format!(
        "{}, {}: {marked} with a mark, {open} to listen to or to look at.\n",
        count(results.len(), "student", "students"),
        count(takes, "take", "takes"),
    );
    for problem in &class.roster.problems {
        out.push_str(&format!("{}\n", problem.sentence(roster)));
    }
    let matched = class.matched;
    let lists: [(usize, &str, &str); 4] = [
        (matched.nobodys.len(), "file has nobody's name in it", "files have nobody's name in them"),
        (
            matched.ambiguous.len(),
            "file may be of more than one student",
            "files may be of more than one student",
        ),
        (
            matched.handed_in_twice.len(),
            "recording was handed in for several students",
            "recordings were handed in for several students",
        ),
        (matched.refused.len(), "file was not looked at", "files were not looked at"),
    ];
    let lists: Vec<String> = lists
        .iter()
        .filter(|(number, ..)| *number > 0)
        .map(|(number, one, many)| count(*number, one, many))
        .collect();
    if !lists.is_empty() {
        let place = if class.arguments.anonymous { "--dry-run names them" } else { "files.txt names them" };
        out.push_str(&format!("{}; {place}.\n", lists.join(", ")));
    }
    out.push_str(&format!(
        "In {}: overview.pdf, overview.html, gradebook.xlsx, gradebook.csv, listen-to-these.txt, and students/ with {}.\n",
        output.display(),
        count(reports, "report", "reports")
    ));
    if open > 0 {
        out.push_str(&format!(
            "Listen first where listen-to-these.txt says so; then write your own mark as a line into {TEACHERS_MARKS} (student,mark,note) and run this again.\n"
        ));
    }
    print::plain(&out)?;
    let done = open == 0 && matched.open() == 0 && class.roster.problems.is_empty();
    Ok(if done { Ending::Done } else { Ending::Refused })
}
