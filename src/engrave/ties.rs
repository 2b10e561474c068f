//! Ties: thin crescents from head to head, on the side away from the stems.
//!
//! Ends a little off the heads, height growing with length (Gould, *Behind Bars*, 2011, chapter “Ties”; our measures);
//! thickness from the font's `tieEndpointThickness` and `tieMidpointThickness`. A tie over the end of a line is drawn
//! in two halves (same chapter).

use super::drawing::{Mark, Shape, What};
use super::glyph::defaults::{TIE_END, TIE_MIDDLE};

/// A tie at the height `y` of its heads, from `from` to `to`; `over` says that it lies above them.
pub(super) fn draw_tie(from: f64, to: f64, y: f64, over: bool, item: usize, marks: &mut Vec<Mark>) {
    let side = if over { -1.0 } else { 1.0 };
    let length = (to - from).max(0.8);
    let height = (0.3 + 0.06 * length).min(1.1);
    let at = y + side * 0.65;
    // A cubic reaches three quarters of the way to its control points.
    let outer = side * (height + TIE_MIDDLE) / 0.75;
    let inner = side * (height - TIE_END) / 0.75;
    let shape = Shape::Crescent { from: (from, at), to: (from + length, at), outer, inner };
    marks.push(Mark { what: What::Tie, shape, item: Some(item) });
}
