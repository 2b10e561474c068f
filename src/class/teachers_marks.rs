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
/// or the chair label.
pub fn teachers_marks(
    table: &Table,
    students: &[Student],
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
        if cell(mark_at).is_empty() {
            let what = format!("there is no mark for “{}”", shown(&cell(student_at)));
            problem(Some(row.number), "mark", what, "Write a mark, or take the line out");
            continue;
        }
        let own = TeachersMark { mark: cell(mark_at), note: note_at.map(cell).unwrap_or_default() };
        if marks.insert(found, own).is_some() {
            let what = format!("“{}” has two lines; the later one counts", shown(&cell(student_at)));
            problem(Some(row.number), "student", what, "Keep one of them");
        }
    }
    (marks, problems)
}

#[cfg(test)]
mod tests {
    use super::super::students_from_table::students_from_table;
    use super::*;
    use crate::formats::read_table_bytes;

    #[test]
    fn of_two_students_with_one_name_neither_gets_a_line_of_that_name() {
        let table = |text: &str| read_table_bytes("t.csv", text.as_bytes()).unwrap();
        let roster = students_from_table(&table("student,instrument\nAnn Lee,violin\nann-lee,violin\n"));
        assert_eq!((roster.students.len(), roster.problems.len()), (2, 1));
        let (marks, problems) =
            teachers_marks(&table("student,mark\nAnn Lee,80\nviolin-2,70\n"), &roster.students);
        assert_eq!(marks.keys().collect::<Vec<_>>(), [&1]);
        assert_eq!(problems[0].what, "“Ann Lee” may be violin-1 or violin-2");
    }

    #[test]
    fn a_line_is_found_by_name_or_chair_and_anything_else_is_told() {
        let table = |text: &str| read_table_bytes("t.csv", text.as_bytes()).unwrap();
        let roster = students_from_table(&table("student,instrument\nChair Nine,violin\nviola-1,viola\n"));
        let text = "Student,Mark,Note\nVIOLIN 1,absent,\nviola-1,90,heard in class\nviola-2,80,\nviola-1,,\n";
        let (marks, problems) = teachers_marks(&table(text), &roster.students);
        assert_eq!(marks[&0].mark, "absent");
        assert_eq!(marks[&1], TeachersMark { mark: "90".into(), note: "heard in class".into() });
        let rows: Vec<_> = problems.iter().map(|one| (one.row, one.column.as_str())).collect();
        assert_eq!(rows, [(Some(4), "student"), (Some(5), "mark")]);
        assert!(teachers_marks(&table("who\nx\n"), &roster.students).0.is_empty());
        let (none, problems) = teachers_marks(&table(TEACHERS_MARKS_HEADER), &roster.students);
        assert!(none.is_empty() && problems.is_empty());
    }
}
