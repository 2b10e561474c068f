//! What is known of the class becomes one result for each student: takes are heard, marked and settled.

use super::arguments::ClassArguments;
use super::folder::Found;
use super::hear_takes::{self, Limits, Task, hear};
use super::kept_result::{Keeper, Kept};
use super::marks_folder::{MarksFolder, RESULTS, TEACHERS_MARKS, failure};
use super::matching::Matching;
use super::melodies::Ready;
use super::memory::Memory;
use super::student_files::ToDraw;
use crate::cli::shared::failure as failures;
use crate::cli::shared::print;
use fingertape::class::{
    ClassTake, EarlierMark, Roster, Rubric, StudentResult, TakeResult, TeachersMark, day_in_name,
    mark_from_report, teachers_marks,
};
use fingertape::findings::Report;
use fingertape::formats;
use fingertape::pipeline::JudgeSettings;
use fingertape::remark::Remark;
use fingertape::units::{A4_ISO16, Hertz};
use rayon::{ThreadPool, ThreadPoolBuilder};
use std::collections::BTreeMap;
use std::time::Duration;

/// Everything that marks are made of.
pub struct Class<'a> {
    /// What was asked for.
    pub arguments: &'a ClassArguments,
    /// The class list.
    pub roster: &'a Roster,
    /// What marks are given for.
    pub rubric: &'a Rubric,
    /// All files of the folder.
    pub files: &'a [Found],
    /// Whose they are.
    pub matched: &'a Matching,
    /// Each student's melody, or why there is none.
    pub ready: &'a [Result<Ready, String>],
    /// Where results are kept.
    pub keeper: &'a Keeper,
    /// What takes may need while they are in memory.
    pub memory: &'a Memory,
}

/// The results of all students, and where what was heard is kept.
pub struct Results {
    /// In the order of the class list.
    pub students: Vec<StudentResult>,
    /// By file: the key of its result.
    pub keys: BTreeMap<usize, String>,
    /// What is wrong with lines of the teacher's own marks; it was told.
    pub lines_of_nobody: usize,
}

impl Class<'_> {
    /// Hears all takes and settles all students.
    pub fn results(
        &self,
        marks: &MarksFolder,
        before: &BTreeMap<String, EarlierMark>,
    ) -> miette::Result<Results> {
        let settings: Vec<Option<JudgeSettings>> =
            self.ready.iter().map(|ready| ready.as_ref().ok().map(|ready| self.settings(ready))).collect();
        let mut tasks = Vec::new();
        let mut whose = Vec::new();
        for (student, takes) in self.matched.takes.iter().enumerate() {
            let (Ok(ready), Some(settings)) = (&self.ready[student], &settings[student]) else { continue };
            for &at in takes.iter().filter(|at| !self.doubled(**at)) {
                let hash = self.matched.hashes.get(&at).map(String::as_str);
                whose.push(at);
                tasks.push(Task { path: self.files[at].path.clone(), hash, melody: &ready.melody, settings });
            }
        }
        let heard = hear(&tasks, self.keeper, self.limits(), self.memory, &self.workers(marks)?)
            .map_err(|error| failure(&marks.place(RESULTS), &error))?;
        let keys = whose.iter().zip(&heard).filter_map(|(at, (key, _))| Some((*at, key.clone()?))).collect();
        let mut heard: BTreeMap<usize, Kept> =
            whose.into_iter().zip(heard.into_iter().map(|(_, kept)| kept)).collect();
        let (own, problems) = self.teachers(marks)?;
        let lines_of_nobody = problems.len();
        for problem in problems {
            print::remarks(&[Remark::new("teachers-marks", problem)]);
        }
        let mut melodies_seen: Vec<&str> = Vec::new();
        let mut results = Vec::new();
        for (at, student) in self.roster.students.iter().enumerate() {
            let name_of_melody = match &self.ready[at] {
                Ok(ready) if self.arguments.anonymous => {
                    let seen =
                        melodies_seen.iter().position(|name| *name == ready.name).unwrap_or_else(|| {
                            melodies_seen.push(&ready.name);
                            melodies_seen.len() - 1
                        });
                    format!("melody {}", seen + 1)
                }
                Ok(ready) => ready.name.clone(),
                Err(_) => String::new(),
            };
            let called = if self.arguments.anonymous { student.label.clone() } else { student.name.clone() };
            let takes = self.matched.takes[at]
                .iter()
                .enumerate()
                .map(|(number, file)| self.take(at, number, *file, heard.remove(file), &name_of_melody))
                .collect();
            let mut result = StudentResult::new(student.clone(), called, name_of_melody, takes);
            // By name, whatever students are called in what is written now: a chair may have been another child's.
            let alone = self.roster.students.iter().filter(|one| one.name == student.name).count() == 1;
            result.before = before.get(&student.name).filter(|_| alone).copied();
            result.teachers = own.get(&at).cloned().map(|mut own| {
                if self.arguments.anonymous {
                    // It may name anybody; it stays in the teacher's own file.
                    own.note.clear();
                }
                own
            });
            if let Err(why) = &self.ready[at] {
                result.trouble.push(self.without_names(why));
            }
            result.settle(self.rubric);
            results.push(result);
        }
        Ok(Results { students: results, keys, lines_of_nobody })
    }

    /// What the page of a student's take draws besides its report.
    pub fn to_draw(&self, keys: &BTreeMap<usize, String>, student: usize, take: usize) -> ToDraw<'_> {
        let file = self.matched.takes[student][take];
        let f0 = keys.get(&file).and_then(|key| self.keeper.look_up_f0(key));
        let samples = || hear_takes::read(&self.files[file].path, self.limits(), self.memory).ok();
        let (take, share) = self.arguments.sound.then(samples).flatten().unzip();
        ToDraw { f0, samples: take.map(|take| take.samples), share }
    }

    fn limits(&self) -> Limits {
        Limits {
            longest_s: self.arguments.longest,
            largest: self.arguments.largest << 20,
            patience: Duration::from_secs_f64(self.arguments.patience),
        }
    }

    /// As many threads as takes are heard, or reports written, at a time.
    pub fn workers(&self, marks: &MarksFolder) -> miette::Result<ThreadPool> {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        let jobs = self.arguments.jobs.map_or(cores, usize::from);
        let pool = ThreadPoolBuilder::new().num_threads(jobs).build();
        pool.map_err(|error| failure(&marks.place(RESULTS), &std::io::Error::other(error)))
    }

    fn settings(&self, ready: &Ready) -> JudgeSettings {
        JudgeSettings {
            instrument: ready.instrument,
            a4: self.arguments.a4.map(Hertz).or(ready.melody.a4).unwrap_or(A4_ISO16),
            fifths: self.arguments.fifths.into(),
            bpm: self.arguments.bpm.or(ready.melody.bpm),
            // What is kept has no names in it, and no words of the melody's file.
            title: String::new(),
            remarks: Vec::new(),
        }
    }

    fn doubled(&self, file: usize) -> bool {
        self.matched.handed_in_twice.iter().any(|same| same.contains(&file))
    }

    fn take(
        &self,
        student: usize,
        number: usize,
        file: usize,
        heard: Option<Kept>,
        melody: &str,
    ) -> ClassTake {
        let name = match self.arguments.anonymous {
            true => format!("take {}", number + 1),
            false => self.files[file].name.clone(),
        };
        let result = match (heard, &self.ready[student]) {
            (Some(Kept::Report(mut report)), ready) => {
                let of_melody = ready.as_ref().map_or(&[][..], |ready| &ready.remarks);
                report.take.remarks.splice(0..0, of_melody.iter().cloned());
                let student = &self.roster.students[student];
                report.melody.title = melody.to_owned();
                if self.arguments.anonymous {
                    hide_quotations(&mut report);
                }
                let thresholds = self.rubric.thresholds_for(&student.level, &student.group);
                TakeResult::Heard { mark: mark_from_report(&report, self.rubric, thresholds), report }
            }
            (Some(Kept::Failed(why)), _) => TakeResult::Failed(sentence(&why)),
            (None, Err(why)) => TakeResult::Failed(sentence(&self.without_names(why))),
            (None, Ok(_)) => TakeResult::Failed(String::from(
                "This recording came in twice, so it has no mark yet. Your teacher will ask about it.",
            )),
        };
        let day = day_in_name(&self.files[file].name);
        let late = day.filter(|day| self.rubric.due.is_some_and(|due| *day > due));
        ClassTake { name, result, late }
    }

    /// Why a melody cannot be used may name a file, and the file a child.
    fn without_names(&self, why: &str) -> String {
        match self.arguments.anonymous {
            true => "The melody cannot be used; --dry-run says why.".to_owned(),
            false => sentence(why),
        }
    }

    fn teachers(&self, marks: &MarksFolder) -> miette::Result<(BTreeMap<usize, TeachersMark>, Vec<String>)> {
        // Emptied, it holds no marks any more.
        let path = marks.place(TEACHERS_MARKS);
        if std::fs::read(&path).is_ok_and(|bytes| bytes.iter().all(u8::is_ascii_whitespace)) {
            return Ok((BTreeMap::new(), Vec::new()));
        }
        let what = "the table of your own marks";
        let table =
            formats::read_table(&path).map_err(|error| failures::unusable_table(error, &path, what))?;
        print::remarks(&table.remarks);
        let (own, problems) = teachers_marks(&table, &self.roster.students, self.rubric.highest);
        Ok((own, problems.iter().map(|problem| problem.sentence(TEACHERS_MARKS)).collect()))
    }
}

/// What a remark quotes may be a child's name.
fn hide_quotations(report: &mut Report) {
    for Remark { text, .. } in &mut report.take.remarks {
        while let Some((before, rest)) = text.split_once('“')
            && let Some((_, after)) = rest.split_once('”')
        {
            *text = format!("{before}(a word of the file){after}");
        }
    }
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
