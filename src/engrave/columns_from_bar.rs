//! How much room the symbols of a bar need, and how much they would like.
//!
//! The ideal distance to the next symbol grows with the square root of the length: 3.5 spaces for a quarter note, 5 for
//! a half, 7 for a whole, 2.5 for an eighth (Gould, *Behind Bars*, 2011, has a table of about these in “Spacing”; the
//! numbers are from memory).

use super::drawing::What;
use super::glyph::Glyph;
use super::glyph::defaults::LEDGER_EXTENSION;
use super::letters;
use super::symbols_from_bars::{MusicBar, Symbol, SymbolKind};
use crate::notation::{Clef, as_f64};

/// The ideal distance after a quarter note.
const AFTER_QUARTER: f64 = 3.5;
/// Between two neighbours at least.
pub(super) const GAP: f64 = 0.35;
/// From a bar line to the first head, and from the last symbol's ink to the bar line, at least.
const AFTER_BAR_LINE: f64 = 1.3;
pub(super) const BEFORE_BAR_LINE: f64 = 0.8;
/// The em of the texts under the notes.
pub(super) const UNDER_SIZE: f64 = 1.75;
/// From a head to its accidental, from a head to its dot, from dot to dot.
pub(super) const BEFORE_HEAD: f64 = 0.22;
pub(super) const BEFORE_DOT: f64 = 0.4;
pub(super) const DOT_STEP: f64 = 0.65;

/// The room of one symbol, from the left edge of its head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Column {
    /// Ink to the left.
    pub left: f64,
    /// Ink to the right.
    pub right: f64,
    /// The ideal distance to the next symbol.
    pub ideal: f64,
}

/// The width of a head or rest.
pub(super) fn body(symbol: &Symbol) -> Glyph {
    match symbol.kind {
        SymbolKind::Note { .. } => Glyph::Head(symbol.value.value),
        SymbolKind::Rest { .. } => Glyph::Rest(symbol.value.value),
    }
}

/// Whether the note has ledger lines, which reach further than its head.
pub(super) fn has_ledger(y: f64) -> bool {
    !(-0.75..=4.75).contains(&y)
}

/// How far left of the head its accidental begins.
pub(super) fn accidental_offset(accidental: Glyph, y: f64) -> f64 {
    let ledger = if has_ledger(y) { LEDGER_EXTENSION } else { 0.0 };
    accidental.width() + BEFORE_HEAD + ledger
}

/// Where the first dot begins, from the left edge of the head or rest.
pub(super) fn dot_offset(symbol: &Symbol, flagged_up: bool) -> f64 {
    let width = body(symbol).width();
    // A dot beside an upward flag goes right of it (Gould, chapter on note heads and dots, from memory).
    let flag = if flagged_up { Glyph::Flag(symbol.value.value, true).width() - 0.3 } else { 0.0 };
    width + BEFORE_DOT.max(flag)
}

/// The texts under a symbol with what they are.
pub(super) fn texts(symbol: &Symbol) -> impl Iterator<Item = (What, &str)> {
    let under = &symbol.under;
    [(What::Name, &under.name), (What::Finger, &under.finger), (What::StringName, &under.string)]
        .into_iter()
        .filter_map(|(what, text)| Some((what, text.as_deref()?)))
}

/// The columns of a bar; `beamed` are the places that share a beam.
pub(super) fn columns(bar: &MusicBar, clef: Clef, beamed: &[Vec<usize>]) -> Vec<Column> {
    bar.symbols
        .iter()
        .enumerate()
        .map(|(place, symbol)| {
            let width = body(symbol).width();
            let (mut left, mut right) = (0.0, width);
            let mut flagged_up = false;
            if let (SymbolKind::Note { pitch, accidental, .. }, Some(y)) = (symbol.kind, symbol.height(clef))
            {
                if has_ledger(y) {
                    left = LEDGER_EXTENSION;
                    right += LEDGER_EXTENSION;
                }
                if accidental {
                    left = accidental_offset(Glyph::of_alter(pitch.alter), y);
                }
                let alone = !beamed.iter().any(|group| group.contains(&place));
                if symbol.beams() > 0 && alone && y > 2.0 {
                    flagged_up = true;
                    right = right.max(width + Glyph::Flag(symbol.value.value, true).width());
                }
            }
            if symbol.value.dots > 0 {
                let dots = dot_offset(symbol, flagged_up)
                    + DOT_STEP * f64::from(symbol.value.dots - 1)
                    + Glyph::Dot.width();
                right = right.max(dots);
            }
            let wide = texts(symbol).map(|(_, text)| letters::width(text) * UNDER_SIZE).fold(0.0, f64::max);
            left = left.max((wide - width) / 2.0);
            right = right.max((wide + width) / 2.0);
            Column { left, right, ideal: ideal(symbol) }
        })
        .collect()
}

fn ideal(symbol: &Symbol) -> f64 {
    AFTER_QUARTER * (4.0 * as_f64(symbol.length).clamp(1.0 / 64.0, 4.0)).sqrt()
}

/// Where the heads of a bar stand, from its left bar line, and its width, with ideal distances `stretch` times as wide.
pub(super) fn placed(columns: &[Column], stretch: f64) -> (Vec<f64>, f64) {
    let mut at = 0.0;
    let mut before: Option<Column> = None;
    let mut places = Vec::with_capacity(columns.len());
    for &column in columns {
        at += match before {
            None => (AFTER_BAR_LINE * stretch.clamp(0.75, 1.25)).max(column.left + 0.7),
            Some(last) => (last.right + GAP + column.left).max(last.ideal * stretch),
        };
        places.push(at);
        before = Some(column);
    }
    let after = before
        .map_or(6.0 * stretch.max(0.3), |last| (last.right + BEFORE_BAR_LINE).max(last.ideal * stretch));
    (places, at + after)
}

/// The rest of a whole bar is drawn in the middle of it.
pub(super) fn is_centred(bar: &MusicBar) -> bool {
    matches!(bar.symbols.as_slice(), [Symbol { kind: SymbolKind::Rest { whole_bar: true }, .. }])
}
