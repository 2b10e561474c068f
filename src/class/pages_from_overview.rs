//! The overview as pages: a line for each student, a cell for each bar, and in it a mark for each note, black ink only;
//! under each melody how many stumbled in each bar; then the strings. Lengths are millimetres.
//!
//! The signs: as written, a thread along the ground; off its place, two threads; early or late, a wedge; another note, a
//! full block; no note, an empty frame; a rest lost, a slanted bar; unsure, a dot in the middle.

use super::overview::{Block, Came, Line, Overview};
use super::overview_sheet::{MARGIN, Sheet};
use super::strings_on_sheet::{THIN, strings_height};
use crate::engrave::{Anchor, Page, Paper, width_of_words};

/// The height of a student's line, at most, and at least: its letters are 5 points then.
const TALL: f64 = 6.0;
const SMALLEST: f64 = 3.25;
const SMALLEST_OF_TWO: f64 = 2.75;
/// The letters of a line are at most this large, and the marks of an earlier test need this much for a few digits.
const LARGEST_WORDS: f64 = 3.0;
const BEFORE: f64 = 9.5;
/// The line of bar numbers above a melody's lines; what is below them; the highest column in there.
const HEAD: f64 = 5.5;
const FOOT: f64 = 9.5;
const COLUMN: f64 = 5.3;

/// The pages: the first has a line for every student where they fit, in one column or two, else a row for every group;
/// then all students follow on further pages.
pub fn pages_from_overview(overview: &Overview, title: &str, paper: Paper) -> Vec<Page> {
    let new_sheet = || Sheet::new(paper, title).with_room_for_earlier(earlier_marks(overview));
    let mut heading = new_sheet();
    heading.heading(overview, title);
    let mut first = heading.clone();
    first.legend();
    let bottom = first.bottom() - strings_height(&overview.strings);
    // As tall as will fit: for each number of columns, heights from 6 mm down in quarters.
    let tries = [(1, SMALLEST), (2, SMALLEST_OF_TWO)].into_iter().flat_map(|(columns, least)| {
        (0..16)
            .map(move |step| (columns, TALL - 0.25 * f64::from(step)))
            .filter(move |(_, tall)| *tall >= least)
    });
    let whole = tries
        .map(|(columns, tall)| {
            let mut sheet = first.clone();
            sheet.all_lines(overview, tall, columns, bottom).then_some(sheet)
        })
        .find_map(|sheet| sheet);
    let fits = whole.is_some();
    let mut first = whole.unwrap_or_else(|| {
        heading.go_to_column(0, 1);
        heading.groups(overview, bottom);
        heading
    });
    first.go_to_column(0, 1);
    first.strings(&overview.strings);
    let mut pages = vec![first.page()];
    if !fits {
        let mut sheet = new_sheet();
        sheet.legend();
        for block in &overview.blocks {
            let mut lines = &block.lines[..];
            while !lines.is_empty() {
                let room = ((sheet.bottom() - sheet.y - HEAD - FOOT) / TALL).floor();
                if room < 1.0 {
                    pages.push(std::mem::replace(&mut sheet, new_sheet()).page());
                    continue;
                }
                let (now, later) = lines.split_at(lines.len().min(room as usize));
                sheet.block(block, now, TALL, later.is_empty().then_some(COLUMN));
                lines = later;
            }
        }
        if !sheet.marks.is_empty() {
            pages.push(sheet.page());
        }
    }
    pages
}

/// How much wider than a few digits the marks of an earlier test are: `16 of 20`.
fn earlier_marks(overview: &Overview) -> f64 {
    let lines = overview.blocks.iter().flat_map(|block| &block.lines);
    let marks = lines.filter_map(|line| line.before).filter(|before| before.of_another.is_some());
    let wide = marks.map(|before| width_of_words(&before.to_string()) * LARGEST_WORDS + 1.5 - BEFORE);
    wide.fold(0.0, f64::max)
}

impl Sheet {
    /// All students, lines of this height, in so many columns down to `bottom`; false where they do not fit.
    fn all_lines(&mut self, overview: &Overview, tall: f64, columns: usize, bottom: f64) -> bool {
        let (top, mut column) = (self.y, 0);
        self.go_to_column(column, columns);
        for block in &overview.blocks {
            let foot = if block.judged() > 1 { FOOT } else { 1.5 };
            let mut lines = &block.lines[..];
            loop {
                let room = ((bottom - self.y - HEAD - foot) / tall).floor();
                if room >= 1.0 {
                    let (now, later) = lines.split_at(lines.len().min(room as usize));
                    self.block(block, now, tall, later.is_empty().then_some(COLUMN));
                    lines = later;
                    if lines.is_empty() {
                        break;
                    }
                }
                column += 1;
                if column == columns {
                    return false;
                }
                self.go_to_column(column, columns);
                self.y = top;
            }
        }
        true
    }

    fn heading(&mut self, overview: &Overview, title: &str) {
        self.cut(title, (MARGIN, self.y + 5.0), 5.5, self.right() - MARGIN);
        self.y += 7.5;
        let count = |number: usize, one: &str, many: &str| {
            format!("{number} {}", if number == 1 { one } else { many })
        };
        let text = format!(
            "{}, {} with a mark (of {}), {} to listen to or to look at{}.",
            count(overview.students, "student", "students"),
            overview.marked,
            overview.highest,
            overview.open,
            if overview.open > 0 { ": listen-to-these.txt says where" } else { "" }
        );
        self.words(&text, MARGIN, 3.2);
        self.y += 6.0;
        if overview.chairs_for_names {
            let text = "A chair, such as violin-2, stands for a name that this page has no letters for; gradebook.csv has the name.";
            self.words(text, MARGIN, 2.8);
            self.y += 5.0;
        }
    }

    fn legend(&mut self) {
        let signs = [
            (Came::Well, "as written"),
            (Came::OffPitch, "finger off its place"),
            (Came::OffBeat, "early, late, no new bow"),
            (Came::Wrong, "another note"),
            (Came::Missing, "no note"),
            (Came::RestLost, "rest not kept"),
            (Came::Unsure, "unsure"),
        ];
        let mut x = MARGIN;
        for (came, word) in signs {
            self.sign(came, [x, self.y, x + 3.4, self.y + 3.4]);
            self.put(word, (x + 4.6, self.y + 3.0), 2.8, Anchor::Start);
            x += 4.6 + width_of_words(word) * 2.8 + 4.2;
        }
        self.y += 7.0;
    }

    /// A melody: bar numbers, lines, and (with columns up to this height) how many stumbled in each bar.
    fn block(&mut self, block: &Block, lines: &[Line], tall: f64, columns: Option<f64>) {
        let stumbles = block.stumbles();
        let cells = self.left + self.names;
        let wide = (self.edge - self.numbers - cells) / stumbles.len().max(1) as f64;
        let wide = wide.min(24.0);
        let base = self.y + 4.2;
        self.cut(&block.melody, (self.left, base), 3.0, self.names - 1.0);
        let every = (5.0 / wide).ceil().max(1.0) as usize;
        for (at, bar) in stumbles.keys().enumerate().filter(|(at, _)| at % every == 0) {
            let x = cells + at as f64 * wide;
            self.put(&bar.to_string(), (x + wide / 2.0, base), 2.6, Anchor::Middle);
        }
        if !lines.is_empty() {
            self.put("mark", (self.mark_at(), base), 2.6, Anchor::End);
            if lines.iter().any(|line| line.before.is_some()) {
                self.put("before", (self.edge, base), 2.6, Anchor::End);
            }
        }
        self.y += HEAD;
        for line in lines {
            self.line(line, stumbles.keys().copied(), wide, tall);
        }
        match columns {
            Some(most) if block.judged() > 1 => self.stumbles(block, wide, most),
            _ => self.y += 1.5,
        }
    }

    /// Where marks end; to the right of them are those of the test before.
    fn mark_at(&self) -> f64 {
        self.edge - BEFORE - self.earlier
    }

    fn line(&mut self, line: &Line, bars: impl Iterator<Item = u32>, wide: f64, tall: f64) {
        let size = (tall * 0.62).min(LARGEST_WORDS);
        let base = self.y + tall * 0.78;
        self.cut(&line.shown, (self.left, base), size, self.names - 1.0);
        let gap = (tall * 0.16).min(0.9);
        for (at, bar) in bars.enumerate() {
            let left = self.left + self.names + at as f64 * wide;
            self.box_of([left, self.y + gap, left + THIN, self.y + tall]);
            let Some(came) = line.bars.get(&bar) else { continue };
            let each = (wide - 1.2) / came.len() as f64;
            for (number, came) in came.iter().enumerate() {
                let x = left + 0.8 + number as f64 * each;
                self.sign(*came, [x, self.y + gap, x + each * 0.82, self.y + tall]);
            }
        }
        let mark = line.mark.as_deref().unwrap_or(if line.takes > 0 { "listen" } else { "no take" });
        let mark: String = mark.chars().take(9).collect();
        self.put(&mark, (self.mark_at(), base), size, Anchor::End);
        if let Some(before) = line.before {
            self.put(&before.to_string(), (self.edge, base), size, Anchor::End);
        }
        self.y += tall;
    }

    /// Columns: how many of those who were judged stumbled in a bar.
    fn stumbles(&mut self, block: &Block, wide: f64, most: f64) {
        let judged = block.judged() as f64;
        let (top, ground) = (self.y + 2.2, self.y + 2.2 + most);
        self.put("students to help", (self.left, ground), 2.6, Anchor::Start);
        for (at, count) in block.stumbles().values().enumerate() {
            let left = self.left + self.names + at as f64 * wide;
            let height = (ground - top) * *count as f64 / judged;
            self.box_of([left + 0.8, ground - height.max(THIN), left + wide - 0.8, ground]);
            if *count > 0 && wide >= 3.0 {
                self.put(&count.to_string(), (left + wide / 2.0, ground - height - 0.4), 2.2, Anchor::Middle);
            }
        }
        self.y += FOOT - COLUMN + most;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::class::{EarlierMark, StringPoints};
    use crate::engrave::{Mark, Shape};
    use std::collections::BTreeMap;

    fn class(students: usize, melodies: usize) -> Overview {
        let line = |at: usize| Line {
            shown: format!("violin-{at}"),
            group: format!("{}A", at % 7),
            mark: (!at.is_multiple_of(3)).then(|| "87".to_owned()),
            before: at.is_multiple_of(2).then(|| EarlierMark::new(80.0, Some(120.0), 100.0)),
            takes: 1,
            bars: (1..=8)
                .map(|bar| {
                    (
                        bar,
                        vec![
                            Came::Well,
                            if (at as u32 + bar).is_multiple_of(4) { Came::Wrong } else { Came::Well },
                        ],
                    )
                })
                .collect(),
        };
        let block = |melody: usize| Block {
            melody: format!("Melody {melody}"),
            lines: (0..students / melodies).map(line).collect(),
        };
        let mut strings = BTreeMap::new();
        for string in 0..4 {
            strings.insert((0, string), StringPoints { fingers: vec![-60.0, 3.0], open: vec![8.0] });
        }
        Overview {
            blocks: (0..melodies).map(block).collect(),
            strings,
            students,
            marked: 3,
            open: 2,
            highest: 100.0,
            chairs_for_names: students > 20,
        }
    }

    fn outside(page: &Page) -> Vec<[f64; 4]> {
        let (width, height) = page.size();
        let out = |bounds: &[f64; 4]| {
            bounds[0] < 5.0 || bounds[1] < 5.0 || bounds[2] > width - 5.0 || bounds[3] > height - 5.0
        };
        page.marks.iter().map(Mark::bounds).filter(out).collect()
    }

    #[test]
    fn nothing_is_printed_outside_the_paper() {
        for (students, melodies) in [(1, 1), (12, 2), (40, 1), (100, 4), (1000, 50), (300, 300)] {
            for paper in [Paper::Letter, Paper::A4] {
                for (number, page) in
                    pages_from_overview(&class(students, melodies), "Test", paper).iter().enumerate()
                {
                    assert_eq!(outside(page), Vec::<[f64; 4]>::new(), "{students} {melodies} page {number}");
                }
            }
        }
    }

    #[test]
    fn every_student_has_a_line_however_many_there_are() {
        for students in [12, 100, 500] {
            let pages = pages_from_overview(&class(students, 1), "Test", Paper::Letter);
            let mut names: Vec<String> = pages
                .iter()
                .flat_map(|page| &page.marks)
                .filter_map(|mark| match &mark.shape {
                    Shape::Words { text, .. } if text.starts_with("violin-") => Some(text.clone()),
                    _ => None,
                })
                .collect();
            names.sort();
            names.dedup();
            assert_eq!(names.len(), students);
        }
    }

    #[test]
    fn an_earlier_mark_of_another_test_has_room_beside_the_mark() {
        let pages = pages_from_overview(&class(3, 1), "Test", Paper::Letter);
        let bounds = |words: &str| {
            let marks = pages.iter().flat_map(|page| &page.marks);
            let is = |mark: &&Mark| matches!(&mark.shape, Shape::Words { text, .. } if text == words);
            marks.filter(is).map(Mark::bounds).collect::<Vec<_>>()
        };
        let (marks, earlier) = (bounds("87"), bounds("80 of 120"));
        assert_eq!((marks.len(), earlier.len()), (2, 2));
        for (mark, before) in marks.iter().zip(&earlier) {
            assert!(mark[2] + 1.0 < before[0], "{mark:?} {before:?}");
        }
    }

    #[test]
    fn marks_say_of_how_many_and_a_chair_for_a_name_is_told_of() {
        let said = |overview: &Overview| -> String {
            let marks =
                pages_from_overview(overview, "Test", Paper::Letter).into_iter().flat_map(|page| page.marks);
            let words = marks.filter_map(|mark| match mark.shape {
                Shape::Words { text, .. } => Some(text + "\n"),
                _ => None,
            });
            words.collect()
        };
        let mut class = Overview { highest: 20.0, ..class(3, 1) };
        let text = said(&class);
        let line = "3 students, 3 with a mark (of 20), 2 to listen to or to look at: listen-to-these.txt says where.\n";
        assert!(text.contains(line) && text.contains("\nlisten\n"), "{text}");
        assert!(!text.contains("A chair, such as"), "{text}");
        (class.open, class.chairs_for_names) = (0, true);
        let text = said(&class);
        assert!(
            text.contains("0 to listen to or to look at.\n") && text.contains("A chair, such as"),
            "{text}"
        );
    }

    #[test]
    fn an_empty_class_is_a_page_all_the_same() {
        assert_eq!(pages_from_overview(&class(0, 1), "Test", Paper::A4).len(), 1);
    }
}
