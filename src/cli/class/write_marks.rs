//! Everything that is written into the folder of marks, in the order in which a killed run may leave it.

use super::marks_folder::{CLASS_JSON, MarksFolder, RESULTS, STUDENTS, csv_bytes, failure, xlsx_bytes};
use super::results::{Class, Results};
use super::student_files::{names, student_files};
use crate::cli::shared::failure::Failure;
use crate::cli::shared::print;
use crate::cli::shared::progress::Pieces;
use fingertape::class::{
    ClassTake, StudentResult, TakeResult, gradebook, html_from_overview, listen_text, name_is_printable,
    overview, pages_from_overview, shown,
};
use fingertape::engrave::pdf_from_pages;
use fingertape::remark::Remark;
use rayon::prelude::*;
use std::path::Path;

/// What `class.json` says where its students are called by their names. Else they are called by their chairs.
pub const CALLED_BY_NAMES: &str = "names";

/// Writes everything, and forgets what was heard in takes that are gone; how many reports there are.
pub fn write_all(
    marks: &MarksFolder,
    class: &Class<'_>,
    results: &Results,
    words: &str,
) -> miette::Result<usize> {
    let Results { students: results, keys, .. } = results;
    let earlier = earlier_reports(&marks.place(CLASS_JSON));
    let students: Vec<(&StudentResult, String)> = results.iter().zip(names(results)).collect();
    let bar = Pieces::new(students.len(), "Writing reports:");
    let write_one = |at: usize| -> miette::Result<Vec<String>> {
        let (result, name) = &students[at];
        let melody = class.ready[at].as_ref().ok().map(|ready| &ready.melody);
        let mut written = Vec::new();
        for (ending, bytes) in
            student_files(result, class.rubric, melody, |take| class.to_draw(keys, at, take))
        {
            let file = format!("{name}.{ending}");
            marks.write(&format!("{STUDENTS}/{file}"), &bytes)?;
            written.push(file);
        }
        bar.one_done();
        Ok(written)
    };
    // In the order of the class list, however many write at a time.
    let reports: Vec<Vec<String>> = class
        .workers(marks)?
        .install(|| (0..students.len()).into_par_iter().map(write_one).collect::<miette::Result<_>>())?;
    drop(bar);
    let page = |files: &Vec<String>| files.iter().find(|file| file.ends_with(".html")).cloned();
    let links: Vec<String> = reports
        .iter()
        .map(|files| page(files).map_or(String::new(), |file| format!("{STUDENTS}/{}", in_address(&file))))
        .collect();
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
        true => match class.matched.open() {
            0 => "Every file was given to a student.\n".to_owned(),
            open => format!(
                "{} not be given to a student. 'fingertape class FOLDER --dry-run' says which; no names are kept in here.\n",
                if open == 1 { "1 file could".to_owned() } else { format!("{open} files could") }
            ),
        },
        false => words.to_owned(),
    };
    marks.write("files.txt", files.as_bytes())?;
    for result in results.iter().filter(|result| !name_is_printable(result)) {
        let text = format!(
            "The pictures of the overview have no letters for “{}”: they say {} instead. The gradebook has the name.",
            shown(&result.shown),
            result.student.label
        );
        print::remarks(&[Remark::new("name-not-printable", text)]);
    }
    let title = &class.arguments.title;
    let pages = pages_from_overview(&overview(results, class.rubric), title, class.arguments.paper.into());
    marks.write("overview.html", html_from_overview(&pages, results, &links, title).as_bytes())?;
    marks.write("overview.pdf", &pdf_from_pages(&pages[..1], &shown(title)))?;
    // Reports of students who have gone, or of names that are now chairs, go; only then the list of reports changes.
    marks.remove_reports(&earlier, &reports)?;
    marks.write(CLASS_JSON, class_json(class, results, &reports).as_bytes())?;
    let kept: Vec<&str> = keys.values().map(String::as_str).collect();
    class.keeper.forget_others(&kept).map_err(|error| failure(&marks.place(RESULTS), &error))?;
    Ok(results.len())
}

/// A file's name as a part of an address (RFC 3986: everything but the unreserved characters as bytes in hexadecimal).
fn in_address(name: &str) -> String {
    let byte = |byte: u8| match byte {
        b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => char::from(byte).to_string(),
        other => format!("%{other:02X}"),
    };
    name.bytes().map(byte).collect()
}

/// The reports that the last run wrote.
fn earlier_reports(class_json: &Path) -> Vec<String> {
    let value: Option<serde_json::Value> =
        std::fs::read(class_json).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let list = value.and_then(|value| value["reports"].as_array().cloned()).unwrap_or_default();
    list.iter().filter_map(|name| name.as_str().map(str::to_owned)).collect()
}

fn class_json(class: &Class<'_>, results: &[StudentResult], reports: &[String]) -> String {
    let take = |take: &ClassTake| {
        let late = take.late.map(|day| day.to_string());
        match &take.result {
            TakeResult::Heard { report, mark } => {
                serde_json::json!({ "name": take.name, "outcome": report.outcome, "mark": mark, "late": late })
            }
            TakeResult::Failed(why) => serde_json::json!({ "name": take.name, "failed": why, "late": late }),
        }
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
    // Where the class list itself has chairs for names, they are names.
    let names = results.iter().all(|result| result.shown == result.student.name);
    let value = serde_json::json!({
        "class_version": 1,
        "called_by": if names { CALLED_BY_NAMES } else { "chairs" },
        "title": class.arguments.title,
        "highest": class.rubric.highest,
        "students": results.iter().map(student).collect::<Vec<_>>(),
        "reports": reports,
    });
    serde_json::to_string_pretty(&value).expect("words, numbers and lists are JSON") + "\n"
}
