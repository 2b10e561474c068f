//! Headings, paragraphs, systems and pictures from elsewhere become pages, from the top down; whatever does not fit on
//! a page begins the next one, and a heading is never left alone at the foot of one.

use super::drawing::{Anchor, Mark, What};
use super::drawn_tree::is_svg;
use super::letters;
use super::page::{Engraved, Frame, Page, Paper, PlacedFigure};
use super::system::System;
use crate::remark::Remark;

/// A piece of a page.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// The title of everything, in large letters.
    Title(String),
    /// The heading of what follows.
    Heading(String),
    /// Words, broken into lines.
    Paragraph(String),
    /// A system; ask for it with the width that [`Block::width_mm`] says.
    System(System),
    /// A picture: SVG elements (or one `<svg>` element with a width and height without unit) whose unit is the
    /// millimetre, and its width and height in millimetres. One that is too large is made smaller.
    Figure {
        /// The elements.
        svg: String,
        /// Width and height.
        size_mm: (f64, f64),
    },
}

impl Block {
    /// The width that blocks have on a paper, in millimetres.
    pub fn width_mm(paper: Paper) -> f64 {
        let frame = Frame::new(paper, STAFF_MM);
        frame.width() * frame.space_mm
    }
}

/// Marks of a page are counted in the spaces of this staff, whatever the systems on it have.
const STAFF_MM: f64 = 8.0;
/// Ems in millimetres: title, heading, paragraph; lines are `LEADING` ems apart.
const TITLE_MM: f64 = 6.4;
const HEADING_MM: f64 = 4.3;
const PARAGRAPH_MM: f64 = 3.5;
const LEADING: f64 = 1.35;
/// Between two blocks, in millimetres.
const BETWEEN_MM: f64 = 1.6;

/// The pages of blocks, at least one; where there are several they are numbered. `title` is told to who does not see
/// them.
pub fn pages_from_blocks(title: &str, blocks: &[Block], paper: Paper) -> Engraved {
    let frame = Frame::new(paper, STAFF_MM);
    let mut flow = Blocks { frame, title, pages: Vec::new(), y: 0.0, filled: false };
    flow.new_page();
    let mut remarks = Vec::new();
    for (place, block) in blocks.iter().enumerate() {
        match block {
            Block::Title(text) => flow.words(text, TITLE_MM, 0.0),
            Block::Heading(text) => {
                flow.words(text, HEADING_MM, with_heading_mm(&blocks[place + 1..], frame));
            }
            Block::Paragraph(text) => flow.words(text, PARAGRAPH_MM, 0.0),
            Block::System(system) => flow.system(system),
            Block::Figure { svg, size_mm } => {
                let sized = [size_mm.0, size_mm.1].iter().all(|size| size.is_finite() && *size > 0.0);
                if sized && is_svg(svg) {
                    flow.figure(svg, *size_mm);
                } else {
                    remarks.push(Remark::new(
                        "figure-not-printed",
                        format!("Picture {} of the page is not well-formed SVG; it is left out.", place + 1),
                    ));
                }
            }
        }
    }
    Engraved { pages: flow.numbered(), remarks }
}

/// The height that must follow a heading on the same page: what comes next, and a picture that is explained before it is
/// seen.
fn with_heading_mm(next: &[Block], frame: Frame) -> f64 {
    match next {
        [Block::Paragraph(text), picture @ (Block::Figure { .. } | Block::System(_)), ..] => {
            let wide = frame.width() / frame.spaces(PARAGRAPH_MM);
            let lines = letters::wrapped(&letters::printable(text).0, wide).len();
            lines as f64 * PARAGRAPH_MM * LEADING + 2.0 * BETWEEN_MM + first_mm(picture, frame)
        }
        [next, ..] => first_mm(next, frame),
        [] => 0.0,
    }
}

/// The height of a block, or of as much of it as must stand together.
fn first_mm(block: &Block, frame: Frame) -> f64 {
    match block {
        Block::Title(_) | Block::Heading(_) | Block::Paragraph(_) => PARAGRAPH_MM * LEADING * 2.0,
        Block::System(system) => system.height * system.space_mm * shrunk(system, frame),
        Block::Figure { size_mm, .. } if size_mm.1.is_finite() => size_mm.1.min(120.0),
        Block::Figure { .. } => 0.0,
    }
}

/// How much smaller a system is drawn that is wider than the page.
fn shrunk(system: &System, frame: Frame) -> f64 {
    (frame.width() * frame.space_mm / (system.width * system.space_mm).max(1.0)).min(1.0)
}

struct Blocks<'a> {
    frame: Frame,
    title: &'a str,
    pages: Vec<Page>,
    /// The lowest ink, in millimetres.
    y: f64,
    /// Whether anything stands on the page.
    filled: bool,
}

impl Blocks<'_> {
    fn new_page(&mut self) {
        self.pages.push(self.frame.page(self.title, Vec::new()));
        self.y = self.frame.top() * self.frame.space_mm;
        self.filled = false;
    }

    /// Makes room for so many millimetres, on a new page if need be; where they begin.
    fn room(&mut self, height: f64, together_with: f64) -> f64 {
        let bottom = self.frame.bottom() * self.frame.space_mm;
        let between = if self.filled { BETWEEN_MM } else { 0.0 };
        if self.filled && self.y + between + height + together_with > bottom {
            self.new_page();
        } else {
            self.y += between;
        }
        let top = self.y;
        self.y += height;
        self.filled = true;
        top
    }

    fn draw(&mut self, marks: impl IntoIterator<Item = Mark>) {
        if let Some(page) = self.pages.last_mut() {
            page.marks.extend(marks);
        }
    }

    fn words(&mut self, text: &str, em_mm: f64, together_with: f64) {
        let frame = self.frame;
        let em = frame.spaces(em_mm);
        let lines = letters::wrapped(&letters::printable(text).0, frame.width() / em);
        let what = if em_mm == TITLE_MM { What::Title } else { What::Words };
        for (row, line) in lines.into_iter().enumerate() {
            if row > 0 {
                // Lines of a paragraph are nearer to each other than paragraphs.
                self.y -= BETWEEN_MM;
            }
            let top = self.room(em_mm * LEADING, if row == 0 { together_with } else { 0.0 });
            let y = frame.spaces(top) + em;
            self.draw([Mark::words(what, line, (frame.left(), y), em, Anchor::Start)]);
        }
    }

    fn system(&mut self, system: &System) {
        let frame = self.frame;
        let by = shrunk(system, frame);
        let top = frame.spaces(self.room(system.height * system.space_mm * by, 0.0));
        let scale = system.space_mm * by / frame.space_mm;
        self.draw(system.marks().map(|mark| mark.clone().scaled(scale).moved(frame.left(), top)));
    }

    fn figure(&mut self, svg: &str, (width, height): (f64, f64)) {
        let frame = self.frame;
        let most = (frame.width() * frame.space_mm, (frame.bottom() - frame.top()) * frame.space_mm);
        let by = (most.0 / width).min(most.1 / height).min(1.0);
        let top = self.room(height * by, 0.0);
        let size_mm = (width * by, height * by);
        let svg = if by < 1.0 { format!("<g transform=\"scale({by})\">{svg}</g>") } else { svg.to_owned() };
        if let Some(page) = self.pages.last_mut() {
            page.figures.push(PlacedFigure { at_mm: (frame.left() * frame.space_mm, top), size_mm, svg });
        }
    }

    fn numbered(mut self) -> Vec<Page> {
        let (frame, count) = (self.frame, self.pages.len());
        let em = frame.spaces(PARAGRAPH_MM * 0.85);
        for (place, page) in self.pages.iter_mut().enumerate().filter(|_| count > 1) {
            let number = format!("{} / {count}", place + 1);
            let at = (frame.right(), frame.foot());
            page.marks.push(Mark::words(What::PageNumber, number, at, em, Anchor::End));
        }
        self.pages
    }
}
