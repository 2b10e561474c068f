//! The teacher's own marks: one line for a student in a small table that the program never changes.

use super::folded_name::FoldedName;
use super::students_from_table::{RowProblem, Student, shown};
use crate::formats::Table;
use std::collections::BTreeMap;

/// What a new file of the teacher's own marks holds: the names of the columns.
pub const TEACHERS_MARKS_HEADER: &str = "student,mark,note\n";

/// The teacher's own mark for a student.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TeachersMark {
    /// The mark: a number or any word, such as `absent`.
    pub mark: String,
    /// Why; may be empty.
    pub note: String,
}

/// The teacher's marks by the student's place in the list, and lines that cannot be used. A student is named by the name
/// or the chair label. A number above `highest` or below 0 stands, and so does one with words behind it; they are told of.
pub fn teachers_marks(
    table: &Table,
    students: &[Student],
    highest: f64,
) -> (BTreeMap<usize, TeachersMark>, Vec<RowProblem>) {
    let mut marks = BTreeMap::new();
    let mut problems = Vec::new();
    let mut problem = |row: Option<usize>, column: &str, what: String, what_to_do: &str| {
        let (column, what_to_do) = (column.to_owned(), what_to_do.to_owned());
        problems.push(RowProblem { row, column, what, what_to_do });
    };
    let column = |name: &str| table.header.iter().position(|head| head.eq_ignore_ascii_case(name));
    let (Some(student_at), Some(mark_at)) = (column("student"), column("mark")) else {
        let what = "the first row does not name it".to_owned();
        problem(None, "student or mark", what, "Let the first line be: student,mark,note");
        return (marks, problems);
    };
    let note_at = column("note");
    for row in &table.rows {
        let cell = |at: usize| row.cells.get(at).cloned().unwrap_or_default();
        let name = FoldedName::new(&cell(student_at)).text();
        let all_with = |of: fn(&Student) -> &str| -> Vec<usize> {
            let same = |at: &usize| FoldedName::new(of(&students[*at])).text() == name;
            (0..students.len()).filter(same).collect()
        };
        let by_name = all_with(|student| &student.name);
        if by_name.len() > 1 && !name.is_empty() {
            let chairs: Vec<&str> = by_name.iter().map(|at| students[*at].label.as_str()).collect();
            let what = format!("“{}” may be {}", shown(&cell(student_at)), chairs.join(" or "));
            problem(Some(row.number), "student", what, "Write the chair");
            continue;
        }
        let found = by_name.first().copied().or_else(|| all_with(|student| &student.label).first().copied());
        let Some(found) = found.filter(|_| !name.is_empty()) else {
            let what = format!("“{}” is nobody in the class list", shown(&cell(student_at)));
            problem(Some(row.number), "student", what, "Write the name as it stands in the class list");
            continue;
        };
        // 8,5 without quotes is two cells: it would be 8, or a note would lose its end.
        let (cells, named) = (filled(&row.cells), filled(&table.header));
        if cells > named {
            let what = format!(
                "the line for “{}” has {cells} cells, and the first row names {named}",
                shown(&cell(student_at)),
            );
            let what_to_do = "Is there a comma in a mark or in a note? Write 8.5, or put quotes around it";
            problem(Some(row.number), "mark", what, what_to_do);
            continue;
        }
        if cell(mark_at).is_empty() {
            let what = format!("there is no mark for “{}”", shown(&cell(student_at)));
            problem(Some(row.number), "mark", what, "Write a mark, or take the line out");
            continue;
        }
        if cell(mark_at).parse().is_ok_and(|mark: f64| mark.is_finite() && mark > highest) {
            let what = format!(
                "{} for “{}” is above the highest mark, {highest}; it counts as it stands",
                shown(&cell(mark_at)),
                shown(&cell(student_at))
            );
            problem(Some(row.number), "mark", what, "Correct it, or change highest in the rubric");
        }
        if cell(mark_at).parse().is_ok_and(|mark: f64| mark < 0.0) {
            let what = format!(
                "{} for “{}” is below 0; it counts as it stands",
                shown(&cell(mark_at)),
                shown(&cell(student_at))
            );
            problem(Some(row.number), "mark", what, "Correct it");
        }
        if let Some(number) = before_words(&cell(mark_at)) {
            let what = format!(
                "“{}” for “{}” is a number with words behind it; it counts as it stands",
                shown(&cell(mark_at)),
                shown(&cell(student_at))
            );
            let what_to_do = format!(
                "Is a comma missing? Write {},{number},and then your note",
                name_of(&cell(student_at))
            );
            problem(Some(row.number), "mark", what, &what_to_do);
        }
        let own = TeachersMark { mark: cell(mark_at), note: note_at.map(cell).unwrap_or_default() };
        if marks.insert(found, own).is_some() {
            let what = format!("“{}” has two lines; the later one counts", shown(&cell(student_at)));
            problem(Some(row.number), "student", what, "Keep one of them");
        }
    }
    (marks, problems)
}

/// A student as a cell that is typed by hand.
fn name_of(cell: &str) -> String {
    if cell.contains([',', '"']) { format!("\"{}\"", shown(cell).replace('"', "\"\"")) } else { shown(cell) }
}

/// The number that a mark begins with, where words follow it.
fn before_words(mark: &str) -> Option<&str> {
    let (number, rest) = mark.split_once(char::is_whitespace)?;
    let is_number =
        number.trim_end_matches(['.', ':', ';']).replace(',', ".").parse::<f64>().is_ok_and(f64::is_finite);
    (is_number && rest.contains(char::is_alphabetic)).then_some(number.trim_end_matches(['.', ':', ';']))
}

/// How many cells there are up to the last one with anything in it.
fn filled(cells: &[String]) -> usize {
    cells.iter().rposition(|cell| !cell.is_empty()).map_or(0, |last| last + 1)
}

#[cfg(test)]
mod tests {
    use super::super::students_from_table::students_from_table;
    use super::*;
    use crate::formats::read_table_bytes;

    #[test]
    fn of_two_students_with_one_name_neither_gets_a_line_of_that_name() {
        let table = |text: &str| read_table_bytes("t.csv", text.as_bytes()).unwrap();
        let roster = students_from_table(&table("student,instrument\nViola A,violin\nviola-a,violin\n"));
        assert_eq!((roster.students.len(), roster.problems.len()), (2, 1));
        let (marks, problems) =
            teachers_marks(&table("student,mark\nViola A,80\nviolin-2,70\n"), &roster.students, 100.0);
        assert_eq!(marks.keys().collect::<Vec<_>>(), [&1]);
        assert_eq!(problems[0].what, "“Viola A” may be violin-1 or violin-2");
    }

    #[test]
    fn a_line_is_found_by_name_or_chair_and_anything_else_is_told() {
        let table = |text: &str| read_table_bytes("t.csv", text.as_bytes()).unwrap();
        let roster = students_from_table(&table("student,instrument\nChair Nine,violin\nviola-1,viola\n"));
        let text = "Student,Mark,Note\nVIOLIN 1,absent,\nviola-1,90,heard in class\nviola-2,80,\nviola-1,,\n";
        let (marks, problems) = teachers_marks(&table(text), &roster.students, 100.0);
        assert_eq!(marks[&0].mark, "absent");
        assert_eq!(marks[&1], TeachersMark { mark: "90".into(), note: "heard in class".into() });
        let rows: Vec<_> = problems.iter().map(|one| (one.row, one.column.as_str())).collect();
        assert_eq!(rows, [(Some(4), "student"), (Some(5), "mark")]);
        assert!(teachers_marks(&table("who\nx\n"), &roster.students, 100.0).0.is_empty());
        let (none, problems) = teachers_marks(&table(TEACHERS_MARKS_HEADER), &roster.students, 100.0);
        assert!(none.is_empty() && problems.is_empty());
    }

    #[test]
    fn a_decimal_comma_is_no_other_mark_and_a_number_too_high_is_told_of() {
        let table = |text: &str| read_table_bytes("t.csv", text.as_bytes()).unwrap();
        let roster =
            students_from_table(&table("student,instrument\na,violin\nb,violin\nc,violin\nd,viola\n"));
        let text = "student,mark,note\na,8,5,heard in class\nb,\"8,5\",heard,\nc,980,\nd,absent,\n";
        let (marks, problems) = teachers_marks(&table(text), &roster.students, 100.0);
        let found: Vec<_> = marks.iter().map(|(at, own)| (*at, own.mark.as_str())).collect();
        assert_eq!(found, [(1, "8,5"), (2, "980"), (3, "absent")]);
        let said: Vec<_> = problems.iter().map(|one| one.sentence("t.csv")).collect();
        assert_eq!(
            said,
            [
                "t.csv, row 2, column mark: the line for “a” has 4 cells, and the first row names 3. Is there a \
                 comma in a mark or in a note? Write 8.5, or put quotes around it.",
                "t.csv, row 4, column mark: 980 for “c” is above the highest mark, 100; it counts as it stands. \
                 Correct it, or change highest in the rubric.",
            ]
        );
        assert_eq!(teachers_marks(&table(text), &roster.students, 1000.0).1.len(), 1);
    }

    #[test]
    fn a_forgotten_comma_and_a_number_below_0_are_told_of() {
        let table = |text: &str| read_table_bytes("t.csv", text.as_bytes()).unwrap();
        let roster =
            students_from_table(&table("student,instrument\na,violin\nb,violin\nc,violin\nd,viola\n"));
        let text = "student,mark,note\na,85 heard in class\nb,-3,x\nc,not heard,\nd,85 %,\n";
        let (marks, problems) = teachers_marks(&table(text), &roster.students, 100.0);
        assert_eq!(marks.len(), 4);
        let said: Vec<_> = problems.iter().map(|one| one.sentence("t.csv")).collect();
        assert_eq!(
            said,
            [
                "t.csv, row 2, column mark: “85 heard in class” for “a” is a number with words behind it; it counts as it \
                 stands. Is a comma missing? Write a,85,and then your note.",
                "t.csv, row 3, column mark: -3 for “b” is below 0; it counts as it stands. Correct it.",
            ]
        );
    }
}
