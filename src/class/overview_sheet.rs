//! A page of the overview being filled from the top: words, boxes, signs, in millimetres.

use super::overview::Came;
use super::students_from_table::shown;
use crate::engrave::{Anchor, Mark, Page, Paper, Shape, What, printable, width_of_words};

pub(super) const MARGIN: f64 = 14.0;
/// Between two columns of lines.
const GUTTER: f64 = 8.0;

/// A page being filled from the top.
#[derive(Clone)]
pub(super) struct Sheet {
    pub paper: Paper,
    pub title: String,
    pub marks: Vec<Mark>,
    pub y: f64,
    /// Where the lines begin and end, and how wide their names and their marks are.
    pub left: f64,
    pub edge: f64,
    pub names: f64,
    pub numbers: f64,
    /// How much of that marks of an earlier test need beyond a few digits.
    pub earlier: f64,
}

impl Sheet {
    pub fn new(paper: Paper, title: &str) -> Self {
        let mut sheet = Self {
            paper,
            title: title.to_owned(),
            marks: Vec::new(),
            y: MARGIN,
            left: 0.0,
            edge: 0.0,
            names: 0.0,
            numbers: 0.0,
            earlier: 0.0,
        };
        sheet.go_to_column(0, 1);
        sheet
    }

    /// Lines go into this column of so many.
    pub fn go_to_column(&mut self, column: usize, columns: usize) {
        let all = self.right() - MARGIN;
        let wide = (all - GUTTER * (columns - 1) as f64) / columns as f64;
        self.left = MARGIN + (wide + GUTTER) * column as f64;
        self.edge = self.left + wide;
        (self.names, self.numbers) = if columns == 1 { (40.0, 26.0) } else { (24.0, 18.0) };
        self.numbers += self.earlier;
    }

    /// Leaves this much more room for marks of an earlier test.
    pub fn with_room_for_earlier(mut self, earlier: f64) -> Self {
        self.earlier = earlier;
        self.go_to_column(0, 1);
        self
    }

    pub fn page(self) -> Page {
        Page {
            paper: self.paper,
            space_mm: 1.0,
            title: shown(&self.title),
            marks: self.marks,
            figures: Vec::new(),
        }
    }

    pub fn bottom(&self) -> f64 {
        self.paper.millimetres().1 - MARGIN
    }

    pub fn right(&self) -> f64 {
        self.paper.millimetres().0 - MARGIN
    }

    pub fn box_of(&mut self, [left, top, right, bottom]: [f64; 4]) {
        let corners = [(left, top), (right, top), (right, bottom), (left, bottom)];
        self.marks.push(Mark { what: What::Words, shape: Shape::Area(corners), item: None });
    }

    pub fn area(&mut self, corners: [(f64, f64); 4]) {
        self.marks.push(Mark { what: What::Words, shape: Shape::Area(corners), item: None });
    }

    pub fn frame(&mut self, [left, top, right, bottom]: [f64; 4], line: f64) {
        self.box_of([left, top, right, top + line]);
        self.box_of([left, bottom - line, right, bottom]);
        self.box_of([left, top + line, left + line, bottom - line]);
        self.box_of([right - line, top + line, right, bottom - line]);
    }

    pub fn put(&mut self, text: &str, (x, y): (f64, f64), size: f64, anchor: Anchor) {
        let (text, _) = printable(&shown(text));
        if !text.is_empty() {
            let shape = Shape::Words { text, x, y, size, anchor };
            self.marks.push(Mark { what: What::Words, shape, item: None });
        }
    }

    /// Words on the current line.
    pub fn words(&mut self, text: &str, x: f64, size: f64) {
        self.put(text, (x, self.y + size), size, Anchor::Start);
    }

    /// Words that are cut where they would be wider than `room`.
    pub fn cut(&mut self, text: &str, place: (f64, f64), size: f64, room: f64) {
        let (mut text, _) = printable(&shown(text));
        if width_of_words(&text) * size > room {
            while !text.is_empty() && width_of_words(&format!("{text}…")) * size > room {
                text.pop();
            }
            text.push('…');
        }
        self.put(&text, place, size, Anchor::Start);
    }

    /// The sign of what a note came to.
    pub fn sign(&mut self, came: Came, [left, top, right, bottom]: [f64; 4]) {
        let tall = bottom - top;
        let line = (tall * 0.07).clamp(0.12, 0.3);
        match came {
            Came::Well => self.box_of([left, bottom - line, right, bottom]),
            Came::OffPitch => {
                self.box_of([left, bottom - line, right, bottom]);
                self.box_of([left, bottom - tall * 0.4 - line, right, bottom - tall * 0.4]);
            }
            Came::OffBeat => {
                self.area([(left, bottom), (right, bottom), (right, top + tall * 0.2), (left, bottom)]);
            }
            Came::Wrong => self.box_of([left, top, right, bottom]),
            Came::Missing => self.frame([left, top, right, bottom], line.max(0.15)),
            Came::RestLost => {
                let wide = (right - left) * 0.35;
                self.area([(left, bottom), (left + wide, bottom), (right, top), (right - wide, top)]);
            }
            Came::Unmeasured => {}
            Came::Unsure => {
                let half = (tall * 0.14).min((right - left) / 3.0);
                let (x, y) = ((left + right) / 2.0, (top + bottom) / 2.0);
                self.area([(x - half, y), (x, y - half), (x + half, y), (x, y + half)]);
            }
        }
    }
}
