//! The files that one student's report is made of; a page would be one more of them.

use fingertape::class::{ClassTake, Rubric, StudentResult, TakeResult, student_text};
use fingertape::report;
use fingertape::takes::safe_name;
use std::collections::BTreeSet;

/// A report of a student: the ending of its name, and its bytes.
pub fn student_files(result: &StudentResult, rubric: &Rubric) -> Vec<(&'static str, Vec<u8>)> {
    let mut files = vec![("txt", student_text(result, rubric).into_bytes())];
    if let Some(report) = result.drawn().and_then(ClassTake::judged) {
        files.push(("json", report::json(report).into_bytes()));
    } else if let Some(TakeResult::Heard { report, .. }) = result.takes.last().map(|take| &take.result) {
        files.push(("json", report::json(report).into_bytes()));
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
