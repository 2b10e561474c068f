//! Whose each file is, and what belongs to nobody; printed before anything is judged.

use super::folder::{Found, FoundKind};
use super::kept_result::hash_of_file;
use crate::cli::shared::progress::Pieces;
use fingertape::class::{NamePattern, RowProblem, Student, Whose, shown, whose};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;

/// The files of a class by student.
pub struct Matching {
    /// The takes of each student, in the order of the class list, as places among the files.
    pub takes: Vec<Vec<usize>>,
    /// Takes that fit more than one student, with them.
    pub ambiguous: Vec<(usize, Vec<usize>)>,
    /// Takes that fit nobody.
    pub nobodys: Vec<usize>,
    /// Files that are not looked at, with the reason.
    pub refused: Vec<(usize, String)>,
    /// Files that are neither takes nor melodies.
    pub others: Vec<usize>,
    /// Takes that are the same recording as another student's.
    pub handed_in_twice: Vec<Vec<usize>>,
    /// Takes that are a copy of another take of the same student; they are left out.
    pub copies: Vec<usize>,
    /// The hashes of the files that had to be compared.
    pub hashes: BTreeMap<usize, String>,
}

/// Matches files to students. Files larger than `largest` bytes are not read, also not for being the same as another.
pub fn matching(files: &[Found], students: &[Student], pattern: &NamePattern, largest: u64) -> Matching {
    let mut found = Matching {
        takes: vec![Vec::new(); students.len()],
        ambiguous: Vec::new(),
        nobodys: Vec::new(),
        refused: Vec::new(),
        others: Vec::new(),
        handed_in_twice: Vec::new(),
        copies: Vec::new(),
        hashes: BTreeMap::new(),
    };
    for (at, file) in files.iter().enumerate() {
        match &file.kind {
            FoundKind::Melody => {}
            FoundKind::Other => found.others.push(at),
            FoundKind::Refused(why) => found.refused.push((at, why.clone())),
            FoundKind::Take => match whose(&file.parts(), students, pattern) {
                Whose::Of(student) => found.takes[student].push(at),
                Whose::Ambiguous(several) => found.ambiguous.push((at, several)),
                Whose::Nobody => found.nobodys.push(at),
            },
        }
    }
    find_doubles(files, &mut found, largest);
    found
}

/// The same bytes under two names. Only files of the same size are read.
fn find_doubles(files: &[Found], found: &mut Matching, largest: u64) {
    let mut by_size: BTreeMap<u64, Vec<(usize, usize)>> = BTreeMap::new();
    for (student, takes) in found.takes.iter().enumerate() {
        for &at in takes {
            // Empty files are the same and are not recordings.
            if let Ok(size) = fs::metadata(&files[at].path).map(|file| file.len())
                && (1..=largest).contains(&size)
            {
                by_size.entry(size).or_default().push((student, at));
            }
        }
    }
    by_size.retain(|_, alike| alike.len() > 1);
    let to_read: Vec<usize> = by_size.values().flatten().map(|(_, at)| *at).collect();
    let bar = Pieces::new(to_read.len(), "Comparing files:");
    let hash = |at: &usize| {
        let hash = hash_of_file(&files[*at].path).ok();
        bar.one_done();
        Some((*at, hash?))
    };
    found.hashes = to_read.par_iter().filter_map(hash).collect();
    drop(bar);
    for alike in by_size.into_values() {
        let mut by_hash: BTreeMap<&str, Vec<(usize, usize)>> = BTreeMap::new();
        for (student, at) in alike {
            if let Some(hash) = found.hashes.get(&at) {
                by_hash.entry(hash).or_default().push((student, at));
            }
        }
        for mut same in by_hash.into_values() {
            let first_of = |student: usize, same: &[(usize, usize)]| {
                same.iter().filter(|(other, _)| *other == student).map(|(_, at)| *at).min()
            };
            let copies: Vec<usize> = same
                .iter()
                .filter(|(student, at)| first_of(*student, &same) != Some(*at))
                .map(|(_, at)| *at)
                .collect();
            same.retain(|(_, at)| !copies.contains(at));
            if same.len() > 1 {
                found.handed_in_twice.push(same.iter().map(|(_, at)| *at).collect());
            }
            found.copies.extend(copies);
        }
    }
    found.copies.sort_unstable();
    found.handed_in_twice.sort();
    let copies = found.copies.clone();
    for takes in &mut found.takes {
        takes.retain(|at| !copies.contains(at));
    }
}

impl Matching {
    /// How many files and lines somebody has to look at.
    pub fn open(&self) -> usize {
        self.ambiguous.len() + self.nobodys.len() + self.refused.len() + self.handed_in_twice.len()
    }

    /// The matching as words. `melodies` is what each student plays, or why that is not known.
    pub fn text(
        &self,
        files: &[Found],
        students: &[Student],
        melodies: &[Result<String, String>],
        problems: &[RowProblem],
        roster: &str,
    ) -> String {
        let name = |at: &usize| shown(&files[*at].name);
        let mut out = String::new();
        // Writing into a String cannot fail, here and below.
        for (at, student) in students.iter().enumerate() {
            let instrument =
                student.instrument.map_or("instrument of the melody".to_owned(), |one| one.to_string());
            let group =
                if student.group.is_empty() { String::new() } else { format!(", {}", shown(&student.group)) };
            let _ = writeln!(out, "{} ({instrument}{group}; row {})", shown(&student.name), student.row);
            match &melodies[at] {
                Ok(melody) => {
                    let _ = writeln!(out, "  melody: {}", shown(melody));
                }
                Err(why) => {
                    let _ = writeln!(out, "  NO MELODY: {why}");
                }
            }
            for take in &self.takes[at] {
                let empty = fs::metadata(&files[*take].path).is_ok_and(|file| file.len() == 0);
                let _ = writeln!(out, "  take: {}{}", name(take), if empty { " (EMPTY)" } else { "" });
            }
            if self.takes[at].is_empty() {
                out.push_str("  NO TAKE\n");
            }
        }
        let mut section = |heading: &str, lines: Vec<String>| {
            if !lines.is_empty() {
                let _ = write!(out, "\n{heading}\n  {}\n", lines.join("\n  "));
            }
        };
        section("The class list:", problems.iter().map(|problem| problem.sentence(roster)).collect());
        let who = |several: &[usize]| {
            several.iter().map(|at| shown(&students[*at].name)).collect::<Vec<_>>().join(" or ")
        };
        let lines = self.ambiguous.iter().map(|(at, several)| format!("{}: {}?", name(at), who(several)));
        section(
            "Could belong to several students (not judged; rename them, or give a --pattern):",
            lines.collect(),
        );
        section(
            "Fit no student (no student's name is in the file's or the folder's name; not judged):",
            self.nobodys.iter().map(name).collect(),
        );
        let lines = self.handed_in_twice.iter();
        let lines = lines.map(|same| same.iter().map(name).collect::<Vec<_>>().join(" = "));
        section("The same recording for several students (not judged; ask whose it is):", lines.collect());
        section(
            "Copies of another take of the same student (left out):",
            self.copies.iter().map(name).collect(),
        );
        let lines = self.refused.iter().map(|(at, why)| format!("{}: {why}", name(at)));
        section("Not looked at:", lines.collect());
        section("Other files, not used:", self.others.iter().map(name).collect());
        out
    }
}
