//! The rows of a class list become students, each with a chair label; a row that cannot be used becomes a problem with
//! its place and what to do.

use super::folded_name::FoldedName;
use crate::formats::Table;
use crate::notation::Instrument;
use crate::remark::Remark;
use std::collections::BTreeMap;

/// One student of the class list.
#[derive(Debug, Clone, PartialEq)]
pub struct Student {
    /// The row in the class list, as a spreadsheet numbers it.
    pub row: usize,
    /// The name as it stands there.
    pub name: String,
    /// The chair: the instrument (or `player`) and a number in the order of the list, such as `violin-1`.
    pub label: String,
    /// The instrument; without one the melody says it.
    pub instrument: Option<Instrument>,
    /// The group, such as a class; may be empty.
    pub group: String,
    /// The level that the rubric's thresholds are chosen by; may be empty.
    pub level: String,
    /// The melody as named in the list; may be empty.
    pub melody: String,
}

/// Something in the class list that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowProblem {
    /// The row; `None` for the whole table.
    pub row: Option<usize>,
    /// The column's name.
    pub column: String,
    /// What is wrong.
    pub what: String,
    /// What to do about it.
    pub what_to_do: String,
}

impl RowProblem {
    /// `roster.csv, row 4, column instrument: what. What to do.`
    pub fn sentence(&self, file: &str) -> String {
        let row = self.row.map_or(String::new(), |row| format!(", row {row}"));
        format!("{file}{row}, column {}: {}. {}.", self.column, self.what, self.what_to_do)
    }
}

/// A class list, read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Roster {
    /// The students in the order of the list.
    pub students: Vec<Student>,
    /// Rows and columns that cannot be used.
    pub problems: Vec<RowProblem>,
    /// What a reader should know.
    pub remarks: Vec<Remark>,
}

/// The columns by what they may be called.
const COLUMNS: [(&str, &[&str]); 5] = [
    ("student", &["student", "name", "chair", "player"]),
    ("instrument", &["instrument"]),
    ("group", &["group", "class", "ensemble"]),
    ("level", &["level", "grade", "year"]),
    ("melody", &["melody", "assignment", "piece"]),
];

/// Students from a table. The first row names the columns, in any order and case: `student` (needed), `instrument`,
/// `group`, `level`, `melody` (or `assignment`). Never fails: without a student column there are no students and a
/// problem.
pub fn students_from_table(table: &Table) -> Roster {
    let mut roster = Roster { remarks: table.remarks.clone(), ..Roster::default() };
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    for (at, head) in table.header.iter().enumerate() {
        let head = FoldedName::new(head).text();
        let Some((column, _)) = COLUMNS.iter().find(|(_, names)| names.contains(&head.as_str())) else {
            let begins =
                |name: &&str| head.len() >= 3 && (name.starts_with(&head) || head.starts_with(*name));
            if let Some((column, _)) = COLUMNS.iter().find(|(_, names)| names.iter().any(&begins)) {
                let text = format!(
                    "The column “{}” is not used. If it is the {column}, call it {column}.",
                    shown(&table.header[at])
                );
                roster.remarks.push(Remark::new("column-not-used", text));
            }
            continue;
        };
        if places.contains_key(column) {
            roster.problems.push(problem(
                None,
                column,
                format!("there are two columns for it, “{}” is the second", shown(&table.header[at])),
                "Keep one of them",
            ));
            continue;
        }
        places.insert(column, at);
    }
    if !places.contains_key("student") {
        let heads: Vec<String> =
            table.header.iter().take(8).map(|head| format!("“{}”", shown(head))).collect();
        roster.problems.push(problem(
            None,
            "student",
            format!("the first row has no such column; it has {}", heads.join(", ")),
            "Let the first row name the columns: student, instrument, group, melody",
        ));
        return roster;
    }
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    let mut chairs: BTreeMap<String, usize> = BTreeMap::new();
    for row in &table.rows {
        let cell =
            |column: &str| places.get(column).and_then(|at| row.cells.get(*at)).cloned().unwrap_or_default();
        let name = cell("student");
        let trouble = |column: &str, what: String, what_to_do: &str| {
            problem(Some(row.number), column, what, what_to_do)
        };
        let folded = FoldedName::new(&name);
        if folded.is_empty() {
            let what = if name.is_empty() {
                "the name is empty".to_owned()
            } else {
                format!("“{}” has no letter and no digit that a file's name could share", shown(&name))
            };
            roster.problems.push(trouble(
                "student",
                what,
                "Write the student's name or chair, such as violin-1",
            ));
            if name.is_empty() {
                continue;
            }
        } else if let Some(first) = seen.get(&folded.text()) {
            let what = format!(
                "“{}” is in row {first} already; a file with this name alone fits both and is given to neither",
                shown(&name)
            );
            let what_to_do = "Add a letter or a number to one of the two, or part them with --pattern, such as \
                              '{group}_{student}*'";
            roster.problems.push(trouble("student", what, what_to_do));
        }
        seen.entry(folded.text()).or_insert(row.number);
        let typed = cell("instrument");
        let instrument = Instrument::from_part_name(&typed);
        if instrument.is_none() && !typed.is_empty() {
            let what = format!("“{}” is no instrument that is known here", shown(&typed));
            roster.problems.push(trouble("instrument", what, &format!("Write {}", Instrument::names())));
        }
        let chair = instrument.map_or("player".to_owned(), |instrument| instrument.to_string());
        let number = chairs.entry(chair.clone()).or_insert(0);
        *number += 1;
        roster.students.push(Student {
            row: row.number,
            label: format!("{chair}-{number}"),
            name,
            instrument,
            group: cell("group"),
            level: cell("level"),
            melody: cell("melody"),
        });
    }
    if roster.students.is_empty() && roster.problems.is_empty() {
        let what = "there is no student below the first row".to_owned();
        roster.problems.push(problem(None, "student", what, "Add a row for each student"));
    }
    roster
}

fn problem(row: Option<usize>, column: &str, what: String, what_to_do: &str) -> RowProblem {
    RowProblem { row, column: column.to_owned(), what, what_to_do: what_to_do.to_owned() }
}

/// Text from a file as it may be shown on a line: control characters and what turns the direction of writing are
/// spelled out.
pub fn shown(text: &str) -> String {
    let mut out = String::new();
    for letter in text.chars() {
        let hidden = letter.is_control()
            || matches!(letter, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}');
        match letter {
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            _ if hidden => out.push_str(&format!("\\u{{{:x}}}", u32::from(letter))),
            _ => out.push(letter),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_table_bytes;
    use proptest::prelude::*;

    fn roster(text: &str) -> Roster {
        students_from_table(&read_table_bytes("roster.csv", text.as_bytes()).unwrap())
    }

    #[test]
    fn columns_come_in_any_order_and_case_and_assignment_is_melody() {
        let roster =
            roster("Assignment;GROUP;Student;Instrument\nswing;4B;violin-1;Violin I\n;4B;vc;cello\n");
        assert_eq!(roster.problems, []);
        let [one, two] = &roster.students[..] else { panic!("{roster:?}") };
        assert_eq!((one.name.as_str(), one.label.as_str()), ("violin-1", "violin-1"));
        assert_eq!((one.melody.as_str(), one.group.as_str()), ("swing", "4B"));
        assert_eq!((two.label.as_str(), two.instrument, two.row), ("cello-1", Some(Instrument::Cello), 3));
    }

    #[test]
    fn problems_name_row_and_column_and_what_to_do() {
        let roster = roster("student,instrument\nviolin-1,kazoo\n,violin\nVIOLIN 1,violin\n");
        let said: Vec<String> = roster.problems.iter().map(|one| one.sentence("roster.csv")).collect();
        assert_eq!(
            said,
            [
                &*format!(
                    "roster.csv, row 2, column instrument: “kazoo” is no instrument that is known here. Write {}.",
                    Instrument::names()
                ),
                "roster.csv, row 3, column student: the name is empty. Write the student's name or chair, such as violin-1.",
                "roster.csv, row 4, column student: “VIOLIN 1” is in row 2 already; a file with this name alone fits both and is given to neither. Add a letter or a number to one of the two, or part them with --pattern, such as '{group}_{student}*'.",
            ]
        );
        assert_eq!(roster.students.len(), 2);
    }

    #[test]
    fn without_a_student_column_there_is_nobody_and_a_reason() {
        let roster = roster("who,what\nviolin-1,violin\n");
        assert!(roster.students.is_empty());
        assert!(roster.problems[0].sentence("r.csv").contains("it has “who”, “what”"));
    }

    #[test]
    fn hidden_characters_are_spelled_out() {
        assert_eq!(shown("a\nb\t\u{1b}[2J\u{202e}c"), "a\\nb\\t\\u{1b}[2J\\u{202e}c");
    }

    proptest! {
        #[test]
        fn any_table_becomes_students_with_labels_of_their_own(cells in prop::collection::vec("[a-c,\n\"]{0,40}", 1..6)) {
            let text = format!("student,instrument\n{}", cells.join("\n"));
            if let Ok(table) = read_table_bytes("r.csv", text.as_bytes()) {
                let roster = students_from_table(&table);
                let mut labels: Vec<&String> = roster.students.iter().map(|one| &one.label).collect();
                labels.sort();
                labels.dedup();
                prop_assert_eq!(labels.len(), roster.students.len());
            }
        }
    }
}
