//! Lines become pages, from the top down.

use super::drawing::{Anchor, Mark, What, extent};
use super::heading::WORDS_MM;
use super::page::{Frame, Page};

/// From ink to ink of two lines, and from the bottom line of a staff to the top line of the next, at least (in staff
/// spaces; wide enough to write between them).
const BETWEEN_INK: f64 = 1.8;
const BETWEEN_STAVES: f64 = 6.5;

/// Pages that fill up.
pub(super) struct Flow {
    frame: Frame,
    title: String,
    pages: Vec<Vec<Mark>>,
    /// The lowest ink so far.
    y: f64,
    /// The bottom line of the last staff on this page.
    staff: Option<f64>,
}

impl Flow {
    pub fn new(frame: Frame, title: &str) -> Self {
        Self { frame, title: title.to_owned(), pages: vec![Vec::new()], y: frame.top(), staff: None }
    }

    /// Marks on the page that is being filled, placed by the caller who also says where they end.
    pub fn fixed(&mut self, draw: impl FnOnce(Frame, f64, &mut Vec<Mark>) -> f64) {
        let (frame, y) = (self.frame, self.y);
        let mut marks = Vec::new();
        self.y = draw(frame, y, &mut marks);
        self.page().append(&mut marks);
    }

    fn page(&mut self) -> &mut Vec<Mark> {
        if self.pages.is_empty() {
            self.pages.push(Vec::new());
        }
        let last = self.pages.len() - 1;
        &mut self.pages[last]
    }

    /// A staff line with its marks, its left end at the left margin; on a new page where it does not fit on this.
    pub fn line(&mut self, marks: Vec<Mark>) {
        let (top, bottom) = extent(&marks);
        let place = |y: f64, staff: Option<f64>| {
            let by_ink = y + BETWEEN_INK - top;
            staff.map_or(by_ink, |staff| by_ink.max(staff + BETWEEN_STAVES))
        };
        let mut y = place(self.y, self.staff);
        if y + bottom > self.frame.bottom() && !self.page().is_empty() {
            self.pages.push(Vec::new());
            y = place(self.frame.top() - BETWEEN_INK, None);
        }
        let left = self.frame.left();
        self.page().extend(marks.into_iter().map(|mark| mark.moved(left, y)));
        self.y = y + bottom;
        self.staff = Some(y + 4.0);
    }

    /// The pages, each with its foot: `foot` at the left, and its number at the right where there are several.
    pub fn finish(self, foot: Option<&str>) -> Vec<Page> {
        let Self { frame, title, pages, .. } = self;
        let count = pages.len();
        let em = frame.spaces(WORDS_MM * 0.85);
        pages
            .into_iter()
            .enumerate()
            .map(|(place, mut marks)| {
                if let Some(foot) = foot {
                    marks.push(Mark::words(
                        What::Words,
                        foot,
                        (frame.left(), frame.foot()),
                        em,
                        Anchor::Start,
                    ));
                }
                if count > 1 {
                    let number = format!("{} / {count}", place + 1);
                    marks.push(Mark::words(
                        What::PageNumber,
                        number,
                        (frame.right(), frame.foot()),
                        em,
                        Anchor::End,
                    ));
                }
                frame.page(&title, marks)
            })
            .collect()
    }
}
