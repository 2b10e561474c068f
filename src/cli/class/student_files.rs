//! The files that one student's report is made of: the mark in words, the findings as JSON, and a page to look at.

use super::memory::Share;
use fingertape::class::{ClassTake, Rubric, StudentResult, TakeResult, playing_test, student_text};
use fingertape::findings::Report;
use fingertape::notation::Melody;
use fingertape::page::{self, PageContent, PageSettings};
use fingertape::pitch::F0;
use fingertape::report;
use fingertape::samples::Samples;
use fingertape::takes::safe_name;
use std::collections::BTreeSet;

/// What the page draws besides the report; each may be missing.
#[derive(Default)]
pub struct ToDraw<'a> {
    /// The fundamental over time.
    pub f0: Option<F0>,
    /// The sound.
    pub samples: Option<Samples>,
    /// The memory for it, held until the page is made.
    pub share: Option<Share<'a>>,
}

/// A report of a student: the endings of its files, and their bytes. With the melody there is a page to look at as well;
/// `to_draw` finds what it draws of the take at a place among the student's takes.
pub fn student_files<'a>(
    result: &StudentResult,
    rubric: &Rubric,
    melody: Option<&Melody>,
    to_draw: impl FnOnce(usize) -> ToDraw<'a>,
) -> Vec<(&'static str, Vec<u8>)> {
    let mut files = vec![("txt", student_text(result, rubric).into_bytes())];
    let Some(at) = result.told_at() else { return files };
    let take = &result.takes[at];
    let TakeResult::Heard { report, .. } = &take.result else { return files };
    files.push(("json", report::json(report).into_bytes()));
    let Some(melody) = melody else { return files };
    // Called as in all other files: a title or a composer may be a child's name.
    let mut melody = melody.clone();
    melody.title = Some(result.melody.clone());
    melody.sheet.composer = None;
    let number = |at: usize| u32::try_from(at + 1).unwrap_or(u32::MAX);
    let earlier: Vec<(u32, Report)> = result.takes[..at]
        .iter()
        .enumerate()
        .filter_map(|(at, take)| Some((number(at), ClassTake::judged(take)?.clone())))
        .collect();
    let ToDraw { f0, samples, share } = to_draw(at);
    let content = PageContent {
        report,
        melody: &melody,
        f0: f0.as_ref(),
        samples: samples.as_ref(),
        number: (result.takes.len() > 1).then_some(number(at)),
        earlier: &earlier,
        playing_test: Some(&playing_test(result, rubric, take)),
    };
    let settings = PageSettings { sound: samples.is_some(), ..PageSettings::default() };
    files.push(("html", page::html(&content, &settings).into_bytes()));
    drop(share);
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
