//! A class's playing tests: the rows of a class list become students, files meet them by name, reports become marks by a
//! rubric, and all of it becomes lists, a gradebook's rows and one overview. Pure: files are read and written elsewhere.
//! A mark has its notes behind it; what is unsure is listed to be listened to, with time stamps, and never counted
//! against anybody.

mod criteria_from_report;
mod day_in_name;
mod folded_name;
mod gradebook;
mod groups_on_sheet;
mod html_from_overview;
mod mark_from_report;
mod overview;
mod overview_sheet;
mod pages_from_overview;
mod playing_test;
mod rubric;
mod rubric_from_toml;
mod strings_on_sheet;
mod student_result;
mod students_from_table;
mod takes_of_students;
mod teachers_marks;
mod words_from_results;

pub use criteria_from_report::{CriterionMark, ListenPlace, clock};
pub use day_in_name::day_in_name;
pub use folded_name::FoldedName;
pub use gradebook::{Cell, GRADEBOOK_COLUMNS, csv_cell, gradebook};
pub use html_from_overview::html_from_overview;
pub use mark_from_report::{TakeMark, mark_from_report};
pub use overview::{Block, Came, Group, GroupBar, Line, Overview, StringPoints, name_is_printable, overview};
pub use pages_from_overview::pages_from_overview;
pub use playing_test::playing_test;
pub use rubric::{Band, Criterion, Level, Repeated, Rubric, Thresholds};
pub use rubric_from_toml::{RubricComplaint, rubric_from_toml};
pub use student_result::{ClassTake, EarlierMark, StudentResult, TakeResult};
pub use students_from_table::{Roster, RowProblem, Student, shown, students_from_table};
pub use takes_of_students::{NamePattern, Whose, by_number, whose};
pub use teachers_marks::{TEACHERS_MARKS_HEADER, TeachersMark, teachers_marks};
pub use words_from_results::{listen_text, student_text};
