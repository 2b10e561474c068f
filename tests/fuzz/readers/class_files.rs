//! Class lists and the teacher's own marks as tables, and patterns of file names.

use super::archive::archive_of;
use super::melodies::answered;
use fingertape::class::{NamePattern, Whose, shown, students_from_table, teachers_marks, whose};
use fingertape::formats::read_table_bytes;
use std::collections::BTreeSet;

/// Rows and columns beyond these are not read (`src/formats/table_from_file.rs`).
const ROWS: usize = 20_000;
const COLUMNS: usize = 200;

/// The first byte says what it is: 0 of 4 a table as it stands in a file, 1 a spreadsheet whose files stand one after the
/// other, 2 a class list with the teacher's marks below it, 3 a pattern, a list and names of files.
pub fn class_tables(bytes: &[u8]) {
    let Some((which, rest)) = bytes.split_first() else { return };
    match which % 4 {
        0 => table(rest),
        1 => {
            if let Some(archive) = archive_of(rest) {
                table(&archive);
            }
        }
        2 => marks(rest),
        _ => pattern(rest),
    }
}

fn table(bytes: &[u8]) {
    let name = "fuzzed.csv";
    let table = match read_table_bytes(name, bytes) {
        Ok(table) => table,
        Err(error) => return answered_of_table(error, name),
    };
    assert!(table.rows.len() <= ROWS && table.header.len() <= COLUMNS);
    assert!(table.rows.iter().all(|row| row.cells.len() <= COLUMNS && row.number > 0));
    assert!(table.rows.windows(2).all(|pair| pair[0].number < pair[1].number), "rows come in order");
    let roster = students_from_table(&table);
    let labels: BTreeSet<&str> = roster.students.iter().map(|student| student.label.as_str()).collect();
    assert_eq!(labels.len(), roster.students.len(), "each student has a chair of their own");
    assert!(!roster.students.is_empty() || !roster.problems.is_empty(), "nobody, and no word about it");
    for problem in &roster.problems {
        let sentence = problem.sentence(name);
        assert!(sentence.ends_with('.') && !sentence.chars().any(char::is_control), "{sentence:?}");
    }
    assert!(roster.students.iter().all(|student| !shown(&student.name).chars().any(char::is_control)));
}

/// A table has no place in a text, but a name, a fault and advice.
fn answered_of_table(error: fingertape::formats::FormatError, name: &str) {
    answered(error, name, b"PK");
}

fn marks(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let (list, own) = text.split_once("\n\n").unwrap_or((&text, ""));
    let (Ok(list), Ok(own)) =
        (read_table_bytes("list.csv", list.as_bytes()), read_table_bytes("marks.csv", own.as_bytes()))
    else {
        return;
    };
    let roster = students_from_table(&list);
    let (marks, problems) = teachers_marks(&own, &roster.students, 100.0);
    assert!(marks.keys().all(|at| *at < roster.students.len()));
    assert!(marks.values().all(|mark| !mark.mark.is_empty()));
    for problem in problems {
        let sentence = problem.sentence("marks.csv");
        assert!(sentence.ends_with('.') && !sentence.chars().any(char::is_control), "{sentence:?}");
    }
}

fn pattern(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let mut lines = text.lines();
    let typed = lines.next().unwrap_or("");
    let pattern = match NamePattern::parse(typed) {
        Ok(pattern) => pattern,
        Err(why) => {
            assert!(!why.is_empty());
            NamePattern::default()
        }
    };
    let rest: Vec<&str> = lines.collect();
    let (list, files) = rest.split_at(rest.len() / 2);
    let list = format!("student,group\n{}", list.join("\n"));
    let Ok(list) = read_table_bytes("list.csv", list.as_bytes()) else { return };
    let students = students_from_table(&list).students;
    for file in files.iter().take(20) {
        let path: Vec<String> = file.split('/').map(str::to_owned).collect();
        match whose(&path, &students, &pattern) {
            Whose::Of(at) => assert!(at < students.len()),
            Whose::Ambiguous(places) => {
                assert!(places.len() > 1 && places.iter().all(|at| *at < students.len()));
            }
            Whose::Nobody => {}
        }
    }
}
