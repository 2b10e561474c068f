//! A student's takes become one result: which take counts, the mark, and the teacher's own where there is one.

use super::mark_from_report::TakeMark;
use super::rubric::{Repeated, Rubric};
use super::students_from_table::Student;
use super::teachers_marks::TeachersMark;
use crate::findings::{Outcome, Report};
use jiff::civil::Date;
use std::fmt;

/// What became of one file.
#[derive(Debug, Clone, PartialEq)]
pub enum TakeResult {
    /// It was heard.
    Heard {
        /// The report.
        report: Box<Report>,
        /// Its mark.
        mark: TakeMark,
    },
    /// It could not be heard; a sentence that says why and what to do.
    Failed(String),
}

/// One take of a student.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassTake {
    /// What it is called in everything that is written: its path, or `take 1`.
    pub name: String,
    /// What became of it.
    pub result: TakeResult,
    /// Its day, where that is after the last day in time.
    pub late: Option<Date>,
}

impl ClassTake {
    /// The mark, where the file was heard.
    pub fn mark(&self) -> Option<&TakeMark> {
        match &self.result {
            TakeResult::Heard { mark, .. } => Some(mark),
            TakeResult::Failed(_) => None,
        }
    }

    /// The report, where the take was judged.
    pub fn judged(&self) -> Option<&Report> {
        match &self.result {
            TakeResult::Heard { report, .. } if report.outcome == Outcome::Judged => Some(report),
            _ => None,
        }
    }
}

/// The mark of an earlier test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EarlierMark {
    /// The mark.
    pub mark: f64,
    /// The highest mark of that test, where it was another than now.
    pub of_another: Option<f64>,
}

impl EarlierMark {
    /// A mark of a test with this highest mark, where now it is `highest_now`.
    pub fn new(mark: f64, highest: Option<f64>, highest_now: f64) -> Self {
        Self { mark, of_another: highest.filter(|highest| *highest != highest_now) }
    }
}

/// `80`, or `80 of 100` where the highest mark was another.
impl fmt::Display for EarlierMark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.of_another {
            Some(highest) => write!(f, "{} of {highest}", self.mark),
            None => write!(f, "{}", self.mark),
        }
    }
}

/// Everything about one student.
#[derive(Debug, Clone, PartialEq)]
pub struct StudentResult {
    /// The student.
    pub student: Student,
    /// What the student is called in everything that is written: the name or the chair.
    pub shown: String,
    /// What the melody is called.
    pub melody: String,
    /// The takes, in the order of their names as people count.
    pub takes: Vec<ClassTake>,
    /// Why takes could not be looked at, such as a melody that is not there.
    pub trouble: Vec<String>,
    /// The teacher's own mark.
    pub teachers: Option<TeachersMark>,
    /// The mark of an earlier test.
    pub before: Option<EarlierMark>,
    /// The take that counts; with [`Repeated::All`] the last of them.
    pub counted: Option<usize>,
    /// The takes that the mark is made of, where there is one: one, or all that may count.
    pub in_the_mark: Vec<usize>,
    /// The program's mark.
    pub mark: Option<f64>,
    /// Its band.
    pub band: Option<String>,
    /// Why there is no mark.
    pub why_none: Option<String>,
}

impl StudentResult {
    /// A student with takes, not yet settled.
    pub fn new(student: Student, shown: String, melody: String, takes: Vec<ClassTake>) -> Self {
        Self {
            student,
            shown,
            melody,
            takes,
            trouble: Vec::new(),
            teachers: None,
            before: None,
            counted: None,
            in_the_mark: Vec::new(),
            mark: None,
            band: None,
            why_none: None,
        }
    }

    /// Settles which take counts and what the mark is.
    pub fn settle(&mut self, rubric: &Rubric) {
        let mark = |at: usize| self.takes[at].mark().and_then(|mark| mark.mark);
        let may_count = |at: &usize| rubric.late_counts || self.takes[*at].late.is_none();
        let all: Vec<usize> = (0..self.takes.len()).filter(may_count).collect();
        self.counted = match rubric.repeated {
            // Of equal marks the later take counts.
            Repeated::Best => all
                .iter()
                .filter_map(|&at| Some((at, mark(at)?)))
                .reduce(|best, one| if one.1 >= best.1 { one } else { best })
                .map(|(at, _)| at),
            Repeated::Last | Repeated::All => all.last().copied(),
        };
        self.mark = match rubric.repeated {
            Repeated::Best | Repeated::Last => self.counted.and_then(mark),
            Repeated::All => {
                let marks: Option<Vec<f64>> = all.iter().map(|&at| mark(at)).collect();
                marks
                    .filter(|marks| !marks.is_empty())
                    .map(|marks| rubric.mark(marks.iter().sum::<f64>() / marks.len() as f64 / rubric.highest))
            }
        };
        self.in_the_mark = match rubric.repeated {
            _ if self.mark.is_none() => Vec::new(),
            Repeated::Best | Repeated::Last => self.counted.into_iter().collect(),
            Repeated::All => all.clone(),
        };
        self.band = self.mark.and_then(|mark| rubric.band(mark)).map(str::to_owned);
        self.why_none = match (self.mark, self.takes.last()) {
            (Some(_), _) => None,
            (None, None) if self.trouble.is_empty() => Some("No recording was handed in.".to_owned()),
            (None, None) => Some(self.trouble.join(" ")),
            (None, Some(_)) if all.is_empty() => {
                let due = rubric.due.map_or(String::new(), |due| due.to_string());
                Some(format!("Every take came after {due}, and late ones do not count."))
            }
            (None, Some(_)) => {
                // The first take that stands in the way.
                let first = all.iter().find(|at| mark(**at).is_none());
                let why = match first.map(|at| &self.takes[*at].result) {
                    Some(TakeResult::Failed(why)) => why.clone(),
                    Some(TakeResult::Heard { mark, .. }) => mark.why_none.clone().unwrap_or_default(),
                    None => String::new(),
                };
                Some(why)
            }
        };
    }

    /// The take to draw and to tell of: the one that counts, else the last that was judged.
    pub fn drawn(&self) -> Option<&ClassTake> {
        self.drawn_at().map(|at| &self.takes[at])
    }

    /// Its place among the takes.
    pub fn drawn_at(&self) -> Option<usize> {
        let judged = |at: &usize| self.takes.get(*at).is_some_and(|take| take.judged().is_some());
        self.counted.filter(judged).or_else(|| (0..self.takes.len()).rev().find(judged))
    }

    /// The take that a page is made of: the drawn one, else the last that was heard at all, to say why it was refused.
    pub fn told_at(&self) -> Option<usize> {
        let heard = |at: &usize| self.takes[*at].mark().is_some();
        self.drawn_at().or_else(|| (0..self.takes.len()).rev().find(heard))
    }

    /// The mark as it goes into the gradebook: the teacher's, else the program's.
    pub fn final_mark(&self) -> Option<String> {
        let teachers = self.teachers.as_ref().map(|own| own.mark.clone());
        teachers.or_else(|| self.mark.map(|mark| mark.to_string()))
    }

    /// Whether somebody still has to look: there is no mark, a place to listen to, or a file that failed. The teacher's own
    /// mark settles all of it.
    pub fn open(&self) -> bool {
        let to_listen = |take: &ClassTake| take.mark().is_none_or(|mark| !mark.listen.is_empty());
        self.teachers.is_none() && (self.mark.is_none() || self.takes.iter().any(to_listen))
    }
}

#[cfg(test)]
mod tests {
    use super::super::mark_from_report::mark_from_report;
    use super::super::rubric::Thresholds;
    use super::*;
    use crate::notation::Instrument;
    use crate::report::sample_report::{report, wrong};

    fn take(wrong_notes: usize) -> ClassTake {
        let mut report = report(Instrument::Violin, &["E4"; 10]);
        for index in 0..wrong_notes {
            wrong(&mut report, index, 2.0);
        }
        let mark = mark_from_report(&report, &Rubric::default(), Thresholds::default());
        ClassTake {
            name: format!("{wrong_notes} wrong"),
            result: TakeResult::Heard { report: Box::new(report), mark },
            late: None,
        }
    }

    fn settled(takes: Vec<ClassTake>, repeated: Repeated) -> StudentResult {
        let student = Student {
            row: 2,
            name: "violin-1".into(),
            label: "violin-1".into(),
            instrument: None,
            group: String::new(),
            level: String::new(),
            melody: String::new(),
        };
        let mut result = StudentResult::new(student, "violin-1".into(), "m".into(), takes);
        result.settle(&Rubric { repeated, ..Rubric::default() });
        result
    }

    #[test]
    fn the_best_the_last_or_all_takes_count() {
        let takes = || vec![take(5), take(0), take(2)];
        let best = settled(takes(), Repeated::Best);
        assert_eq!((best.counted, best.mark), (Some(1), Some(100.0)));
        let last = settled(takes(), Repeated::Last);
        assert_eq!((last.counted, &last.in_the_mark[..]), (Some(2), &[2][..]));
        let all = settled(takes(), Repeated::All);
        assert_eq!(all.in_the_mark, [0, 1, 2]);
        // Pitch is right in 5, 10 and 8 of 10 notes: the row has the mean beside the mean of the marks.
        let row = super::super::gradebook::gradebook(std::slice::from_ref(&all)).remove(0);
        use super::super::gradebook::Cell;
        assert_eq!((&row[5], &row[8]), (&Cell::Text("3 takes: the mean".into()), &Cell::Number(77.0)));
        // Without rests the weights are 40, 30 and 20: 1 - 40/90 of the wrong part; rhythm counts wrong notes in time.
        let by_hand = [0.5, 0.0, 0.2].map(|wrong: f64| ((1.0 - wrong * 40.0 / 90.0) * 100.0).round());
        assert_eq!(all.mark, Some((by_hand.iter().sum::<f64>() / 3.0).round()));
    }

    #[test]
    fn a_failed_take_leaves_the_best_of_the_others_and_stays_open() {
        let failed =
            ClassTake { name: "bad".into(), result: TakeResult::Failed("It is empty.".into()), late: None };
        let best = settled(vec![failed.clone(), take(0)], Repeated::Best);
        assert_eq!((best.mark, best.open()), (Some(100.0), true));
        let last = settled(vec![take(0), failed], Repeated::Last);
        assert_eq!((last.mark, last.why_none.as_deref()), (None, Some("It is empty.")));
        let none = settled(vec![], Repeated::All);
        assert_eq!((none.mark, none.why_none.as_deref()), (None, Some("No recording was handed in.")));
    }

    #[test]
    fn late_takes_count_or_stand_apart() {
        let day = |day| Date::new(2026, 11, day).unwrap();
        let late = || vec![take(5), ClassTake { late: Some(day(21)), ..take(0) }];
        let student = settled(vec![], Repeated::Best).student;
        let marked = |takes, late_counts, repeated| {
            let mut result = StudentResult::new(student.clone(), "violin-1".into(), "m".into(), takes);
            result.settle(&Rubric { due: Some(day(20)), late_counts, repeated, ..Rubric::default() });
            result
        };
        for repeated in [Repeated::Best, Repeated::Last] {
            assert_eq!(marked(late(), true, repeated).mark, Some(100.0));
            assert_eq!(marked(late(), false, repeated).counted, Some(0));
            assert_eq!(marked(late(), false, repeated).mark, Some(78.0));
        }
        assert_eq!(marked(late(), false, Repeated::All).mark, Some(78.0));
        let only_late = marked(late().split_off(1), false, Repeated::Best);
        assert_eq!(only_late.mark, None);
        assert_eq!(
            only_late.why_none.as_deref(),
            Some("Every take came after 2026-11-20, and late ones do not count.")
        );
    }

    #[test]
    fn an_earlier_mark_says_of_how_many_where_that_was_another_number() {
        let said = |highest| EarlierMark::new(80.0, highest, 100.0).to_string();
        assert_eq!([said(Some(100.0)), said(None), said(Some(120.0))], ["80", "80", "80 of 120"]);
    }

    #[test]
    fn the_teachers_own_mark_settles_everything() {
        let mut result = settled(vec![], Repeated::Best);
        result.teachers = Some(TeachersMark { mark: "88".into(), note: String::new() });
        assert_eq!((result.final_mark().as_deref(), result.open()), (Some("88"), false));
    }
}
