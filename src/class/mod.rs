//! A class's playing tests: the rows of a class list become students, files meet them by name, reports become marks by a
//! rubric, and all of it becomes lists, a gradebook's rows and one overview. Pure: files are read and written elsewhere.
//! A mark has its notes behind it; what is unsure is listed to be listened to, with time stamps, and never counted
//! against anybody.

mod folded_name;
mod mark_from_report;
mod rubric;
mod rubric_from_toml;
mod students_from_table;
mod takes_of_students;

pub use mark_from_report::{CriterionMark, ListenPlace, TakeMark, clock, mark_from_report};
pub use rubric::{Band, Criterion, Level, Repeated, Rubric, Thresholds};
pub use rubric_from_toml::{RubricComplaint, rubric_from_toml};
pub use students_from_table::{Roster, RowProblem, Student, shown, students_from_table};
pub use takes_of_students::{NamePattern, Whose, by_number, whose};
