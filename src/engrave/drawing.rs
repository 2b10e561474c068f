//! A drawing: marks with their shape and what they are, in staff spaces, y downward.

use super::glyph::Glyph;
use super::letters;

/// What a mark is on the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum What {
    StaffLine,
    BarLine,
    Clef,
    KeySignature,
    TimeSignature,
    NoteHead,
    Accidental,
    Dot,
    Rest,
    Flag,
    Stem,
    Beam,
    LedgerLine,
    Tie,
    Tuplet,
    /// The name of a note, under it.
    Name,
    /// The finger that plays a note, under it.
    Finger,
    /// The string that a note is played on, under it.
    StringName,
    /// What a row of names, fingers or strings is.
    RowLabel,
    BarNumber,
    Title,
    Composer,
    Part,
    Tempo,
    PageNumber,
    /// Other words.
    Words,
    /// A line to write on.
    WritingLine,
    /// The number of a beat under an empty bar.
    Beat,
    /// Which of two staves this is.
    StaffName,
    /// The line at the left that joins two staves.
    SystemLine,
    /// The head of a note that was heard.
    HeardHead,
    /// The box round a note that is not the written one.
    HeardBox,
    /// The head of a note of which nothing can be said.
    UnsureHead,
    /// How long a note sounded.
    SoundLine,
    /// Where a note was written that was heard earlier or later.
    WrittenPlace,
    /// The empty room of a note that was not heard.
    MissingRoom,
    /// A rest that was heard.
    HeardRest,
    /// How much of a rest was silence.
    Silence,
    /// How much of a rest was not.
    SoundInRest,
    /// The head of a note that is not on the sheet.
    ExtraHead,
    /// Cents, or what stands in their place.
    Cents,
    /// A word under a note that was heard.
    HeardWord,
    /// Where a player stopped, and the way back.
    ReturnLine,
    /// The words along it.
    ReturnWords,
}

impl What {
    /// The word for it in SVG classes.
    pub fn class(self) -> &'static str {
        match self {
            Self::StaffLine => "staff-line",
            Self::BarLine => "bar-line",
            Self::Clef => "clef",
            Self::KeySignature => "key-signature",
            Self::TimeSignature => "time-signature",
            Self::NoteHead => "note-head",
            Self::Accidental => "accidental",
            Self::Dot => "dot",
            Self::Rest => "rest",
            Self::Flag => "flag",
            Self::Stem => "stem",
            Self::Beam => "beam",
            Self::LedgerLine => "ledger-line",
            Self::Tie => "tie",
            Self::Tuplet => "tuplet",
            Self::Name => "note-name",
            Self::Finger => "finger",
            Self::StringName => "string",
            Self::RowLabel => "row-label",
            Self::BarNumber => "bar-number",
            Self::Title => "title",
            Self::Composer => "composer",
            Self::Part => "part",
            Self::Tempo => "tempo",
            Self::PageNumber => "page-number",
            Self::Words => "words",
            Self::WritingLine => "writing-line",
            Self::Beat => "beat",
            Self::StaffName => "staff-name",
            Self::SystemLine => "system-line",
            Self::HeardHead => "heard-head",
            Self::HeardBox => "heard-box",
            Self::UnsureHead => "unsure-head",
            Self::SoundLine => "sound-line",
            Self::WrittenPlace => "written-place",
            Self::MissingRoom => "missing-room",
            Self::HeardRest => "heard-rest",
            Self::Silence => "silence",
            Self::SoundInRest => "sound-in-rest",
            Self::ExtraHead => "extra-head",
            Self::Cents => "cents",
            Self::HeardWord => "heard-word",
            Self::ReturnLine => "return-line",
            Self::ReturnWords => "return-words",
        }
    }
}

/// Which part of a text stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// The shape of a mark.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub enum Shape {
    /// A glyph with its origin at (x, y), `scale` times its size on the staff.
    Glyph { glyph: Glyph, x: f64, y: f64, scale: f64 },
    /// A straight stroke, upright or level.
    Stroke { from: (f64, f64), to: (f64, f64), width: f64 },
    /// A filled four-sided area.
    Area([(f64, f64); 4]),
    /// A filled crescent between two curves from `from` to `to`: each has its control points at a fifth and
    /// four fifths of the way, `outer` and `inner` away from the straight line (negative: above it).
    Crescent { from: (f64, f64), to: (f64, f64), outer: f64, inner: f64 },
    /// A line through points in their order, not filled; `dash` is the length of its strokes and of the gaps between.
    Line { points: Vec<(f64, f64)>, width: f64, dash: Option<(f64, f64)> },
    /// An upright ellipse, not filled; `radii` are to the middle of its line.
    Ring { centre: (f64, f64), radii: (f64, f64), width: f64, dash: Option<(f64, f64)> },
    /// Words on a baseline; `size` is the em.
    Words { text: String, x: f64, y: f64, size: f64, anchor: Anchor },
}

/// One mark on the page.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// What it is.
    pub what: What,
    /// Its shape and place.
    pub shape: Shape,
    /// The item of the melody that it belongs to: the place of a note or rest among all items of the sheet's bars,
    /// counted from 0 in playing order.
    pub item: Option<usize>,
}

impl Mark {
    /// A glyph at its usual size.
    pub(super) fn glyph(what: What, glyph: Glyph, x: f64, y: f64) -> Self {
        Self { what, shape: Shape::Glyph { glyph, x, y, scale: 1.0 }, item: None }
    }

    /// A straight stroke.
    pub(super) fn stroke(what: What, from: (f64, f64), to: (f64, f64), width: f64) -> Self {
        Self { what, shape: Shape::Stroke { from, to, width }, item: None }
    }

    /// A line through points.
    pub(super) fn line(what: What, points: Vec<(f64, f64)>, width: f64, dash: Option<(f64, f64)>) -> Self {
        Self { what, shape: Shape::Line { points, width, dash }, item: None }
    }

    /// Words.
    pub(super) fn words(
        what: What,
        text: impl Into<String>,
        (x, y): (f64, f64),
        size: f64,
        anchor: Anchor,
    ) -> Self {
        Self { what, shape: Shape::Words { text: text.into(), x, y, size, anchor }, item: None }
    }

    /// The same mark, said to belong to an item.
    pub(super) fn of(self, item: usize) -> Self {
        Self { item: Some(item), ..self }
    }

    /// The same mark elsewhere.
    pub(super) fn moved(mut self, dx: f64, dy: f64) -> Self {
        let shift = |point: &mut (f64, f64)| {
            point.0 += dx;
            point.1 += dy;
        };
        match &mut self.shape {
            Shape::Glyph { x, y, .. } | Shape::Words { x, y, .. } => {
                *x += dx;
                *y += dy;
            }
            Shape::Stroke { from, to, .. } | Shape::Crescent { from, to, .. } => {
                shift(from);
                shift(to);
            }
            Shape::Area(corners) => corners.iter_mut().for_each(shift),
            Shape::Line { points, .. } => points.iter_mut().for_each(shift),
            Shape::Ring { centre, .. } => shift(centre),
        }
        self
    }

    /// The same mark, everything `by` times as large and as far from the origin.
    pub(super) fn scaled(mut self, by: f64) -> Self {
        let grow = |point: &mut (f64, f64)| *point = (point.0 * by, point.1 * by);
        let dashes = |dash: &mut Option<(f64, f64)>| dash.iter_mut().for_each(grow);
        match &mut self.shape {
            Shape::Glyph { x, y, scale: size, .. } | Shape::Words { x, y, size, .. } => {
                (*x, *y, *size) = (*x * by, *y * by, *size * by);
            }
            Shape::Stroke { from, to, width } => {
                grow(from);
                grow(to);
                *width *= by;
            }
            Shape::Crescent { from, to, outer, inner } => {
                grow(from);
                grow(to);
                (*outer, *inner) = (*outer * by, *inner * by);
            }
            Shape::Area(corners) => corners.iter_mut().for_each(grow),
            Shape::Line { points, width, dash } => {
                points.iter_mut().for_each(grow);
                *width *= by;
                dashes(dash);
            }
            Shape::Ring { centre, radii, width, dash } => {
                grow(centre);
                grow(radii);
                *width *= by;
                dashes(dash);
            }
        }
        self
    }

    /// Its box: left, top, right, bottom.
    pub fn bounds(&self) -> [f64; 4] {
        match &self.shape {
            Shape::Glyph { glyph, x, y, scale } => {
                let [left, top, right, bottom] = glyph.outline().bounds;
                [x + left * scale, y + top * scale, x + right * scale, y + bottom * scale]
            }
            Shape::Stroke { from, to, width } => {
                let half = width / 2.0;
                // The width lies across the stroke.
                let (across, along) = if from.0 == to.0 { (half, 0.0) } else { (0.0, half) };
                [
                    from.0.min(to.0) - across,
                    from.1.min(to.1) - along,
                    from.0.max(to.0) + across,
                    from.1.max(to.1) + along,
                ]
            }
            Shape::Area(corners) => box_of(corners, 0.0),
            Shape::Line { points, width, .. } => box_of(points, width / 2.0),
            Shape::Ring { centre, radii, width, .. } => {
                let (x, y) = (radii.0 + width / 2.0, radii.1 + width / 2.0);
                [centre.0 - x, centre.1 - y, centre.0 + x, centre.1 + y]
            }
            Shape::Crescent { from, to, outer, .. } => {
                // A cubic whose control points lie `outer` away reaches three quarters of that.
                let (top, bottom) = (from.1.min(to.1), from.1.max(to.1));
                let reach = outer * 0.75;
                [from.0, top + reach.min(0.0), to.0, bottom + reach.max(0.0)]
            }
            Shape::Words { text, x, y, size, anchor } => {
                let width = letters::width(text) * size;
                let left = match anchor {
                    Anchor::Start => *x,
                    Anchor::Middle => x - width / 2.0,
                    Anchor::End => x - width,
                };
                [left, y - letters::capital_height() * size, left + width, y + letters::DESCENT * size]
            }
        }
    }
}

/// The box of points, so much wider on every side.
fn box_of(points: &[(f64, f64)], around: f64) -> [f64; 4] {
    points.iter().fold(
        [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY],
        |[left, top, right, bottom], &(x, y)| {
            [left.min(x - around), top.min(y - around), right.max(x + around), bottom.max(y + around)]
        },
    )
}

/// The box of all ink of marks.
pub(super) fn bounds_of(marks: &[Mark]) -> [f64; 4] {
    let corners: Vec<(f64, f64)> = marks
        .iter()
        .map(Mark::bounds)
        .flat_map(|[left, top, right, bottom]| [(left, top), (right, bottom)])
        .collect();
    if corners.is_empty() { [0.0; 4] } else { box_of(&corners, 0.0) }
}

/// The highest and the lowest ink of marks; `(0, 4)`, the staff, where there is none.
pub(super) fn extent<'a>(marks: impl IntoIterator<Item = &'a Mark>) -> (f64, f64) {
    marks
        .into_iter()
        .map(Mark::bounds)
        .fold((0.0, 4.0), |(top, bottom), bounds| (f64::min(top, bounds[1]), f64::max(bottom, bounds[3])))
}
