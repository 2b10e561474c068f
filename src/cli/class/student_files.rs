//! The files that one student's report is made of: the mark in words, the findings as JSON, and a page for the player.

use fingertape::class::{ClassTake, Rubric, StudentResult, TakeResult, student_text};
use fingertape::notation::Melody;
use fingertape::page::{self, PageContent, PageSettings};
use fingertape::report;
use fingertape::takes::safe_name;
use std::collections::BTreeSet;

/// A report of a student: the endings of its files, and their bytes. With the melody there is a page to look at as well,
/// from what is kept: without the sound, which stays where it is.
pub fn student_files(
    result: &StudentResult,
    rubric: &Rubric,
    melody: Option<&Melody>,
) -> Vec<(&'static str, Vec<u8>)> {
    let mut files = vec![("txt", student_text(result, rubric).into_bytes())];
    let heard = result.takes.last().and_then(|take| match &take.result {
        TakeResult::Heard { report, .. } => Some(&**report),
        TakeResult::Failed(_) => None,
    });
    let Some(report) = result.drawn().and_then(ClassTake::judged).or(heard) else { return files };
    files.push(("json", report::json(report).into_bytes()));
    if let Some(melody) = melody {
        // Called as in all other files: a title or a composer may be a child's name.
        let mut melody = melody.clone();
        melody.title = Some(result.melody.clone());
        melody.sheet.composer = None;
        let content =
            PageContent { report, melody: &melody, contour: None, samples: None, number: None, earlier: &[] };
        let settings = PageSettings { sound: false, ..PageSettings::default() };
        files.push(("html", page::html(&content, &settings).into_bytes()));
    }
    files
}

/// A name for each student's files that every system takes, each once, also where case does not count.
pub fn names(results: &[StudentResult]) -> Vec<String> {
    let mut taken = BTreeSet::new();
    let mut name = |result: &StudentResult| {
        let mut name = safe_name(&result.shown);
        if !taken.insert(name.to_lowercase()) {
            name = format!("{name}-row-{}", result.student.row);
            taken.insert(name.to_lowercase());
        }
        name
    };
    results.iter().map(&mut name).collect()
}
