//! A class that is too large for a line each, on one sheet: a row for each group, in it a column for each note, as tall as
//! the part of the group that stumbled there; then the marks of each group as strokes on a line.

use super::overview::{Block, Group, Overview};
use super::overview_sheet::{MARGIN, Sheet};
use super::strings_on_sheet::THIN;
use crate::engrave::{Anchor, width_of_words};

/// A row's height, at most and at least.
const TALL: f64 = 22.0;
const LEAST: f64 = 4.0;
/// Above and below the rows of a melody.
const HEAD: f64 = 5.5;
const FOOT: f64 = 2.5;
/// The line of a group's marks.
const MARKS: f64 = 5.0;
/// The sentences above and below.
const WORDS: f64 = 6.0;

impl Sheet {
    /// All groups down to `bottom`. Where there are too many of them, one row for each melody; of more melodies than fit,
    /// the first.
    pub fn groups(&mut self, overview: &Overview, bottom: f64) {
        self.words("Each column is a note, as tall as the part of the group that needs help there: another note or none, the", MARGIN, 2.8);
        self.y += 4.0;
        self.words("finger off its place, early or late, a rest not kept. The number is the part for the whole bar, in percent.", MARGIN, 2.8);
        self.y += WORDS;
        let by_group: Vec<(&Block, Vec<Group>)> =
            overview.blocks.iter().map(|block| (block, block.groups())).collect();
        let together = || overview.blocks.iter().map(|block| (block, vec![block.as_one_group()])).collect();
        let marks = |blocks: &[(&Block, Vec<Group>)]| marks_of(blocks);
        let tall = |blocks: &[(&Block, Vec<Group>)]| {
            let rows: usize = blocks.iter().map(|block| block.1.len()).sum();
            let room = bottom - self.y - WORDS - marks_height(marks(blocks).len());
            (room - blocks.len() as f64 * (HEAD + FOOT)) / rows.max(1) as f64
        };
        let blocks = if tall(&by_group) >= LEAST { by_group } else { together() };
        let (tall, marks) = (tall(&blocks).clamp(LEAST, TALL), marks(&blocks));
        let last = bottom - WORDS - marks_height(marks.len());
        let mut left_out = 0;
        for (block, groups) in &blocks {
            if left_out > 0 || self.y + HEAD + FOOT + tall * groups.len() as f64 > last + 0.01 {
                left_out += 1;
                continue;
            }
            self.groups_of(block, groups, tall);
        }
        let more = match left_out {
            0 => String::new(),
            1 => "... and 1 more melody. ".to_owned(),
            many => format!("... and {many} more melodies. "),
        };
        self.words(&format!("{more}Every student has a line in overview.html."), MARGIN, 2.8);
        self.y += WORDS;
        self.marks_of_groups(&marks, overview.highest);
    }

    fn groups_of(&mut self, block: &Block, groups: &[Group], tall: f64) {
        let bars: Vec<u32> = block.stumbles().into_keys().collect();
        let cells = self.left + self.names;
        let wide = ((self.edge - cells) / bars.len().max(1) as f64).min(34.0);
        let base = self.y + 4.2;
        self.cut(&block.melody, (self.left, base), 3.0, self.names - 1.0);
        let every = (5.0 / wide).ceil().max(1.0) as usize;
        for (at, bar) in bars.iter().enumerate().filter(|(at, _)| at % every == 0) {
            let x = cells + (at as f64 + 0.5) * wide;
            self.put(&bar.to_string(), (x, base), 2.6, Anchor::Middle);
        }
        self.y += HEAD;
        for group in groups {
            self.group(group, &bars, wide, tall);
        }
        self.y += FOOT;
    }

    fn group(&mut self, group: &Group, bars: &[u32], wide: f64, tall: f64) {
        let ground = self.y + tall;
        let highest = tall - (tall * 0.3).min(3.4);
        let size = (tall * 0.6).min(3.0);
        self.cut(&group.name, (self.left, ground - 0.4), size, self.names - 14.0);
        let judged = format!("{} takes", group.judged);
        self.put(&judged, (self.left + self.names - 1.5, ground - 0.4), size.min(2.4), Anchor::End);
        for (at, bar) in bars.iter().enumerate() {
            let left = self.left + self.names + at as f64 * wide;
            self.box_of([left, ground - highest, left + THIN, ground]);
            let Some(found) = group.bars.get(bar) else { continue };
            let each = (wide - 1.6) / found.notes.len().max(1) as f64;
            for (number, share) in found.notes.iter().enumerate() {
                let x = left + 1.0 + number as f64 * each;
                self.box_of([x, ground - (highest * share).max(THIN), x + each * 0.82, ground]);
            }
            let percent = format!("{:.0}", found.share * 100.0);
            let room = width_of_words(&percent) * 2.2 + 1.0 < wide;
            if found.share > 0.0 && room && tall >= 6.0 {
                // Above the tallest column of the bar.
                let top = found.notes.iter().copied().fold(0.0, f64::max) * highest;
                self.put(&percent, (left + wide / 2.0, ground - top - 0.5), 2.2, Anchor::Middle);
            }
        }
        self.y += tall;
    }

    fn marks_of_groups(&mut self, groups: &[(String, Vec<f64>)], highest: f64) {
        if groups.is_empty() {
            return;
        }
        let (left, wide) = (self.left + self.names, self.edge - self.left - self.names - 26.0);
        self.put("Marks", (left, self.y + 3.0), 3.0, Anchor::Start);
        let scale = format!("a stroke for each student, 0 to {highest}; beside it the median");
        self.put(&scale, (left + 12.0, self.y + 3.0), 2.3, Anchor::Start);
        self.y += 4.6;
        for (name, marks) in groups {
            let (top, bottom) = (self.y + 0.6, self.y + MARKS - 0.8);
            self.cut(name, (self.left, bottom), 2.8, self.names - 1.0);
            self.box_of([left, bottom, left + wide, bottom + THIN]);
            for mark in marks {
                let x = left + wide * (mark / highest).clamp(0.0, 1.0);
                self.box_of([x - 0.2, top, x + 0.2, bottom]);
            }
            let middle = super::overview::median(&mut marks.clone());
            let text = format!("median {middle:.0}");
            self.put(&text, (left + wide + 1.5, bottom), 2.4, Anchor::Start);
            self.y += MARKS;
        }
    }
}

fn marks_height(groups: usize) -> f64 {
    if groups == 0 { 0.0 } else { 4.6 + 4.0 + groups as f64 * MARKS }
}

/// The marks of each group, whatever it played, in the order in which groups come; at most ten groups, else all together.
fn marks_of(blocks: &[(&Block, Vec<Group>)]) -> Vec<(String, Vec<f64>)> {
    let mut all: Vec<(String, Vec<f64>)> = Vec::new();
    for group in blocks.iter().flat_map(|block| &block.1).filter(|group| !group.marks.is_empty()) {
        match all.iter_mut().find(|one| one.0 == group.name) {
            Some(one) => one.1.extend(&group.marks),
            None => all.push((group.name.clone(), group.marks.clone())),
        }
    }
    if all.len() > 10 {
        all = vec![("everybody".to_owned(), all.into_iter().flat_map(|one| one.1).collect())];
    }
    all
}
