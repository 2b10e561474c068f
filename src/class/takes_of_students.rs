//! Files meet students by name. A file that fits two students is listed with both and belongs to nobody: nothing is
//! guessed.

use super::folded_name::FoldedName;
use super::students_from_table::Student;
use std::cmp::Ordering;
use std::collections::BTreeSet;

/// How a file's name says whose it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamePattern {
    pieces: Vec<Piece>,
    /// How many parts of the path it speaks of; 0 for the usual pattern, which tries the file's name and then the folders.
    depth: usize,
}

/// A piece of a pattern.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Piece {
    Text(String),
    Student,
    Group,
    Any,
}

impl Default for NamePattern {
    fn default() -> Self {
        Self { pieces: vec![Piece::Any, Piece::Student, Piece::Any], depth: 0 }
    }
}

impl NamePattern {
    /// A pattern such as `{group}_{student}_*` or `{student}/*`: `{student}` and `{group}` stand for the cells of the
    /// class list, `*` for anything, the rest for itself, all without regard to case, accents and separators. `/` parts
    /// folders. The ending of the file's name does not count, here as there.
    ///
    /// # Errors
    /// A sentence, where `{student}` is not in it once or a brace is not understood.
    pub fn parse(text: &str) -> Result<Self, String> {
        let mut pieces = Vec::new();
        let text = text.trim_start_matches("./");
        let depth = 1 + text.matches('/').count();
        let mut rest = match text.rsplit_once('.') {
            Some((before, ending)) if is_ending(ending) => before,
            _ => text,
        };
        while !rest.is_empty() {
            if let Some(after) = rest.strip_prefix("{student}") {
                pieces.push(Piece::Student);
                rest = after;
            } else if let Some(after) = rest.strip_prefix("{group}") {
                pieces.push(Piece::Group);
                rest = after;
            } else if let Some(after) = rest.strip_prefix('*') {
                pieces.push(Piece::Any);
                rest = after;
            } else if rest.starts_with(['{', '}']) {
                return Err("only {student}, {group} and * stand for something".to_owned());
            } else {
                let end = rest.find(['{', '}', '*']).unwrap_or(rest.len());
                pieces.push(Piece::Text(rest[..end].to_owned()));
                rest = &rest[end..];
            }
        }
        if !pieces.contains(&Piece::Student) {
            return Err("{student} has to be in it, such as '{group}_{student}_*'".to_owned());
        }
        if pieces.iter().filter(|piece| **piece == Piece::Student).count() > 1 {
            return Err("{student} can be in it only once".to_owned());
        }
        Ok(Self { pieces, depth })
    }

    /// Whether the pattern, with this student in it, is the whole of `name`; for the usual pattern, where in it.
    fn place_in(&self, name: &FoldedName, student: &Student) -> Option<(usize, usize)> {
        let parts: Vec<Option<FoldedName>> = self
            .pieces
            .iter()
            .map(|piece| match piece {
                Piece::Any => None,
                Piece::Text(text) => Some(FoldedName::new(text)),
                Piece::Student => Some(FoldedName::new(&student.name)),
                Piece::Group => Some(FoldedName::new(&student.group)),
            })
            .collect();
        let student_at = self.pieces.iter().position(|piece| *piece == Piece::Student)?;
        if parts[student_at].as_ref().is_none_or(FoldedName::is_empty) {
            return None;
        }
        fits(name, &parts, 0, student_at, None, &mut BTreeSet::new())
    }
}

/// Whether a pattern's last letters are the ending of a file's name, such as `wav`.
fn is_ending(text: &str) -> bool {
    (2..=4).contains(&text.len())
        && text.starts_with(|letter: char| letter.is_ascii_alphabetic())
        && text.bytes().all(|byte| byte.is_ascii_alphanumeric())
}

/// The longest-way-round match of parts from a place on; gives where the student stands. `dead` keeps how many parts were
/// left at which places from where nothing fits, so that no way is gone twice.
fn fits(
    name: &FoldedName,
    parts: &[Option<FoldedName>],
    from: usize,
    student_at: usize,
    place: Option<(usize, usize)>,
    dead: &mut BTreeSet<(usize, usize)>,
) -> Option<(usize, usize)> {
    // `student_at` counts down to the student's part.
    let Some((part, rest)) = parts.split_first() else {
        return place.filter(|_| from == name.len());
    };
    if dead.contains(&(parts.len(), from)) {
        return None;
    }
    let next = student_at.wrapping_sub(1);
    let found = match part {
        None => (from..=name.len()).find_map(|to| fits(name, rest, to, next, place, dead)),
        Some(part) if part.is_empty() => fits(name, rest, from, next, place, dead),
        Some(part) => {
            let from = name.next_letter(from);
            name.places_of(part).into_iter().find(|&(start, _)| start == from).and_then(|(_, to)| {
                let place = if student_at == 0 { Some((from, to)) } else { place };
                fits(name, rest, to, next, place, dead)
            })
        }
    };
    if found.is_none() {
        dead.insert((parts.len(), from));
    }
    found
}

/// Whose a file is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Whose {
    /// The student with this place in the list.
    Of(usize),
    /// It fits more than one student.
    Ambiguous(Vec<usize>),
    /// It fits nobody.
    Nobody,
}

/// Whose the file at `path` is: parts of its path inside the folder, parted by `/`, without the ending of its name. With
/// the usual pattern a student's name in the file's name or in a folder's name decides; a longer name that holds a
/// shorter one wins (`Ada Berg` over `Ada`); names side by side are ambiguous.
pub fn whose(path: &[String], students: &[Student], pattern: &NamePattern) -> Whose {
    if pattern.depth > 0 {
        let from = path.len().saturating_sub(pattern.depth);
        let name = FoldedName::new(&path[from..].join("/"));
        let found = candidates(&name, students, pattern);
        return settled(found);
    }
    let mut all: Vec<usize> = Vec::new();
    for part in path {
        for found in candidates(&FoldedName::new(part), students, pattern) {
            if !all.contains(&found) {
                all.push(found);
            }
        }
    }
    settled(all)
}

fn settled(found: Vec<usize>) -> Whose {
    match found[..] {
        [] => Whose::Nobody,
        [one] => Whose::Of(one),
        _ => Whose::Ambiguous(found),
    }
}

/// The students whose names stand in a name and are not part of a longer one there.
fn candidates(name: &FoldedName, students: &[Student], pattern: &NamePattern) -> Vec<usize> {
    let found: Vec<(usize, (usize, usize))> = students
        .iter()
        .enumerate()
        .filter_map(|(at, student)| Some((at, pattern.place_in(name, student)?)))
        .collect();
    let inside = |(from, to): (usize, usize), (outer_from, outer_to): (usize, usize)| {
        outer_from <= from && to <= outer_to && outer_to - outer_from > to - from
    };
    let free = found.iter().filter(|(_, place)| !found.iter().any(|(_, other)| inside(*place, *other)));
    free.map(|(at, _)| *at).collect()
}

/// The order of names as people count: `take 2` before `take 10`.
pub fn by_number(one: &str, other: &str) -> Ordering {
    let key = |text: &str| {
        let mut parts: Vec<(String, u64)> = vec![(String::new(), 0)];
        for letter in text.chars() {
            if let Some(digit) = letter.to_digit(10) {
                if let Some(last) = parts.last_mut() {
                    last.1 = last.1.saturating_mul(10).saturating_add(u64::from(digit));
                }
            } else {
                if parts.last().is_some_and(|last| last.1 > 0) {
                    parts.push((String::new(), 0));
                }
                if let Some(last) = parts.last_mut() {
                    last.0.extend(letter.to_lowercase());
                }
            }
        }
        parts
    };
    key(one).cmp(&key(other)).then_with(|| one.cmp(other))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn students(names: &[&str]) -> Vec<Student> {
        let student = |(at, name): (usize, &&str)| Student {
            row: at + 2,
            name: (*name).to_owned(),
            label: format!("player-{}", at + 1),
            instrument: None,
            group: "4B".to_owned(),
            level: String::new(),
            melody: String::new(),
        };
        names.iter().enumerate().map(student).collect()
    }

    fn of(path: &str, names: &[&str], pattern: &str) -> Whose {
        let pattern =
            if pattern.is_empty() { NamePattern::default() } else { NamePattern::parse(pattern).unwrap() };
        let path: Vec<String> = path.split('/').map(str::to_owned).collect();
        whose(&path, &students(names), &pattern)
    }

    #[test]
    fn a_second_copy_is_nobody_elses() {
        let names: Vec<String> = (1..=12).map(|number| format!("violin-{number}")).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        for path in ["violin-1 (2)", "violin-1 2", "violin_1_0", "violin-1-2"] {
            assert_eq!(of(path, &names, ""), Whose::Of(0), "{path}");
        }
        assert_eq!(of("violin-1 (2)", &names, "{student} (*)"), Whose::Of(0));
        assert_eq!(of("4_2 take", &["2", "3"], "4_{student} *"), Whose::Of(0));
        assert_eq!(of("violin-12 (2)", &names, ""), Whose::Of(11));
        assert_eq!(of("Viola A", &["Viola A", "viola-a"], ""), Whose::Ambiguous(vec![0, 1]));
    }

    #[test]
    fn the_name_in_the_file_or_in_its_folder_decides() {
        let names = ["violin-1", "violin-2", "violin-12"];
        assert_eq!(of("4B Violin 12 final", &names, ""), Whose::Of(2));
        assert_eq!(of("violin_2/recording", &names, ""), Whose::Of(1));
        assert_eq!(of("violin_2/violin 2 again", &names, ""), Whose::Of(1));
        assert_eq!(of("recording", &names, ""), Whose::Nobody);
    }

    #[test]
    fn what_fits_two_is_listed_and_not_guessed() {
        let names = ["violin-1", "violin-2"];
        assert_eq!(of("violin-1 and violin-2", &names, ""), Whose::Ambiguous(vec![0, 1]));
        assert_eq!(of("violin-1/violin-2", &names, ""), Whose::Ambiguous(vec![0, 1]));
        assert_eq!(
            of("viola first violin-1", &["viola first", "first violin-1"], ""),
            Whose::Ambiguous(vec![0, 1])
        );
    }

    #[test]
    fn a_longer_name_wins_over_a_part_of_it() {
        assert_eq!(of("first violin 1.2", &["violin-1", "first violin-1"], ""), Whose::Of(1));
    }

    #[test]
    fn a_pattern_says_where_the_name_stands() {
        let names = ["violin-1", "viola-1"];
        assert_eq!(of("4b_Viola 1_violin-1 song", &names, "{group}_{student}_*"), Whose::Of(1));
        assert_eq!(of("5C_viola-1", &names, "{group}_{student}"), Whose::Nobody);
        assert_eq!(of("drop/viola-1/violin-1 song", &names, "{student}/*"), Whose::Of(1));
        assert_eq!(of("take_violin-1", &names, "*_{student}.wav"), Whose::Of(0), "endings do not count");
        assert_eq!(of("take_violin-1. final", &names, "*_{student}. final"), Whose::Of(0));
        for wrong in ["*", "{chair}{student}", "{student}_{student}"] {
            assert!(NamePattern::parse(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_pattern_of_many_stars_is_answered_at_once() {
        // Each star may end anywhere: without a memory of dead ends there are more ways than seconds.
        let pattern = format!("{}x{{student}}y", "*a".repeat(30));
        let name = "1 a ".repeat(60);
        assert_eq!(of(&name, &["violin-1"], &pattern), Whose::Nobody);
    }

    #[test]
    fn takes_are_ordered_as_people_count() {
        let mut names = ["v take 10", "v take 2", "v", "V take 1"];
        names.sort_by(|one, other| by_number(one, other));
        assert_eq!(names, ["v", "V take 1", "v take 2", "v take 10"]);
    }
}
