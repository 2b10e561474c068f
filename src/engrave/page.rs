//! Pages and how they are set up.

use super::drawing::Mark;
use crate::remark::Remark;

/// The height of a staff for adults, in millimetres: rastral size 3 (Gould, *Behind Bars*, 2011, on stave sizes; the
/// value is from memory).
pub const STAFF_FOR_ADULTS_MM: f64 = 7.0;

/// The height of a staff for children, in millimetres: rastral size 0, that of educational music (same source, from
/// memory).
pub const STAFF_FOR_CHILDREN_MM: f64 = 9.2;

/// A sheet of paper, upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// US Letter, 8.5 by 11 inches.
    #[default]
    Letter,
    /// A4 of ISO 216, 210 by 297 mm.
    A4,
}

impl Paper {
    /// Width and height in millimetres.
    pub fn millimetres(self) -> (f64, f64) {
        match self {
            Self::Letter => (215.9, 279.4),
            Self::A4 => (210.0, 297.0),
        }
    }
}

/// How a sheet is set up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SheetSettings {
    /// The paper.
    pub paper: Paper,
    /// The height of a staff in millimetres, from 3 to 20; values outside are taken as the nearest of these. A bar that is
    /// too long for the paper makes it smaller.
    pub staff_mm: f64,
    /// Note names under the notes.
    pub names: bool,
    /// Fingers of first position under the notes.
    pub fingers: bool,
    /// Strings under the notes.
    pub strings: bool,
}

impl Default for SheetSettings {
    fn default() -> Self {
        Self {
            paper: Paper::Letter,
            staff_mm: STAFF_FOR_CHILDREN_MM,
            names: false,
            fingers: false,
            strings: false,
        }
    }
}

/// Paper that stays white on every side, in millimetres: printers need 4 to 6 (common practice), a folder's holes more.
pub(super) const MARGIN_MM: f64 = 16.0;

/// One page.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// The paper.
    pub paper: Paper,
    /// The length of a staff space in millimetres; the marks are in these.
    pub space_mm: f64,
    /// What a reader who does not see it is told that it is.
    pub title: String,
    /// Everything on it, from the top left corner of the paper.
    pub marks: Vec<Mark>,
    /// Pictures that others made.
    pub figures: Vec<PlacedFigure>,
}

/// A picture from elsewhere on a page.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedFigure {
    /// Its left upper corner, from that of the paper, in millimetres.
    pub at_mm: (f64, f64),
    /// Its width and height in millimetres; ink outside of that is cut off.
    pub size_mm: (f64, f64),
    /// SVG elements whose unit is the millimetre, from its own left upper corner; known to be well-formed.
    pub(super) svg: String,
}

impl Page {
    /// Width and height in staff spaces.
    pub fn size(&self) -> (f64, f64) {
        let (width, height) = self.paper.millimetres();
        (width / self.space_mm, height / self.space_mm)
    }
}

/// Pages, and what a reader should know about them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Engraved {
    /// The pages in order.
    pub pages: Vec<Page>,
    /// What could not be printed as it was asked for.
    pub remarks: Vec<Remark>,
}

/// The measures of a page in staff spaces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Frame {
    pub paper: Paper,
    pub space_mm: f64,
}

impl Frame {
    pub fn new(paper: Paper, staff_mm: f64) -> Self {
        let staff = if staff_mm.is_finite() { staff_mm.clamp(3.0, 20.0) } else { STAFF_FOR_CHILDREN_MM };
        Self { paper, space_mm: staff / 4.0 }
    }

    /// Millimetres as staff spaces.
    pub fn spaces(self, millimetres: f64) -> f64 {
        millimetres / self.space_mm
    }

    pub fn left(self) -> f64 {
        self.spaces(MARGIN_MM)
    }

    pub fn right(self) -> f64 {
        self.spaces(self.paper.millimetres().0 - MARGIN_MM)
    }

    pub fn width(self) -> f64 {
        self.right() - self.left()
    }

    pub fn top(self) -> f64 {
        self.spaces(MARGIN_MM)
    }

    /// The lowest place for music; the foot line is below it.
    pub fn bottom(self) -> f64 {
        self.spaces(self.paper.millimetres().1 - MARGIN_MM - 6.0)
    }

    /// The baseline of the foot line.
    pub fn foot(self) -> f64 {
        self.spaces(self.paper.millimetres().1 - MARGIN_MM)
    }

    pub fn page(self, title: &str, marks: Vec<Mark>) -> Page {
        Page {
            paper: self.paper,
            space_mm: self.space_mm,
            title: title.to_owned(),
            marks,
            figures: Vec::new(),
        }
    }
}
