//! A line becomes marks: the staff, and on it everything that a bar has. The staff's top line is y = 0, its left end
//! x = 0.

use super::beams::{Beamed, beam_tips, draw_beams, group_points_up, stem_tip, stem_x};
use super::columns_from_bar::{
    DOT_STEP, UNDER_SIZE, accidental_offset, body, dot_offset, has_ledger, is_centred, texts,
};
use super::drawing::{Anchor, Mark, What, extent};
use super::glyph::Glyph;
use super::glyph::defaults::{
    BAR_LINE_GAP, LEDGER_EXTENSION, LEDGER_LINE, STAFF_LINE, STEM, THICK_BAR_LINE, THIN_BAR_LINE,
};
use super::lines_from_bars::{LaidLine, Music};
use super::symbols_from_bars::{Symbol, SymbolKind, Under};
use super::ties::draw_tie;
use super::tuplets;
use crate::notation::{Length, Value, WrittenValue};

/// From row to row of the texts under the notes.
pub(super) const ROW_STEP: f64 = 2.15;
/// From the lowest ink to the capitals of the first row.
pub(super) const BEFORE_ROWS: f64 = 0.7;

/// The staff, five lines.
pub(super) fn draw_staff(width: f64, marks: &mut Vec<Mark>) {
    for line in 0..5 {
        let y = f64::from(line);
        marks.push(Mark::stroke(What::StaffLine, (0.0, y), (width, y), STAFF_LINE));
    }
}

/// A bar line whose right edge is at `x`.
pub(super) fn draw_bar_line(x: f64, last: bool, marks: &mut Vec<Mark>) {
    let half = STAFF_LINE / 2.0;
    let mut line = |x: f64, width: f64| {
        marks.push(Mark::stroke(What::BarLine, (x, -half), (x, 4.0 + half), width));
    };
    if last {
        line(x - THICK_BAR_LINE / 2.0, THICK_BAR_LINE);
        line(x - THICK_BAR_LINE - BAR_LINE_GAP - THIN_BAR_LINE / 2.0, THIN_BAR_LINE);
    } else {
        line(x - THIN_BAR_LINE / 2.0, THIN_BAR_LINE);
    }
}

/// Everything on a line.
pub(super) fn draw_line(music: &Music, line: &LaidLine) -> Vec<Mark> {
    let mut marks = Vec::new();
    draw_staff(line.width, &mut marks);
    music.draw_header(line.bars.start, &mut marks);
    let first = &music.bars[line.bars.start];
    if line.bars.start > 0 {
        let number = first.number.to_string();
        marks.push(Mark::words(What::BarNumber, number, (0.0, -1.9), 1.45, Anchor::Start));
    }
    let mut stems_up = Vec::new();
    for (bar, place) in line.bars.clone().zip(&line.places) {
        if bar > line.bars.start {
            music.draw_change(bar, place.left, &mut marks);
        }
        let last = bar + 1 == music.bars.len();
        draw_bar_line(place.right, last, &mut marks);
        if is_centred(&music.bars[bar]) {
            let symbol = &music.bars[bar].symbols[0];
            let start = if bar > line.bars.start {
                music.draw_change(bar, place.left, &mut Vec::new())
            } else {
                place.left
            };
            let x = (start + place.right - body(symbol).width()) / 2.0;
            draw_rest(symbol, x, &mut marks);
            stems_up.push(vec![false]);
        } else {
            stems_up.push(draw_bar(music, bar, &place.heads, &mut marks));
        }
    }
    if line.bars.end < music.bars.len() && !line.places.is_empty() {
        let end = line.places[line.places.len() - 1].right;
        music.draw_change(line.bars.end, end, &mut marks);
    }
    draw_ties(music, line, &stems_up, &mut marks);
    draw_rows(music, line, &mut marks);
    marks
}

/// The symbols of one bar; for each whether its stem points up.
fn draw_bar(music: &Music, bar: usize, heads: &[f64], marks: &mut Vec<Mark>) -> Vec<bool> {
    let symbols = &music.bars[bar].symbols;
    let beamed = &music.beamed[bar];
    let clef = music.clef;
    let mut up: Vec<bool> =
        symbols.iter().map(|symbol| symbol.height(clef).is_some_and(|y| y > 2.0)).collect();
    let mut tips: Vec<Option<f64>> = vec![None; symbols.len()];
    for group in beamed {
        let heights: Vec<f64> = group.iter().filter_map(|&place| symbols[place].height(clef)).collect();
        let points_up = group_points_up(&heights);
        let notes: Vec<Beamed> = group
            .iter()
            .filter_map(|&place| {
                let symbol = &symbols[place];
                Some(Beamed { symbol, x: heads[place], y: symbol.height(clef)? })
            })
            .collect();
        let ends = beam_tips(&notes, points_up);
        draw_beams(&notes, &ends, points_up, marks);
        for (&place, tip) in group.iter().zip(ends) {
            up[place] = points_up;
            tips[place] = Some(tip);
        }
    }
    for (place, symbol) in symbols.iter().enumerate() {
        match symbol.height(clef) {
            Some(y) => {
                let stem = Stem { up: up[place], beam: tips[place] };
                draw_note(symbol, heads[place], y, stem, marks);
            }
            None => draw_rest(symbol, heads[place], marks),
        }
    }
    draw_tuplets(music, bar, heads, &up, &tips, marks);
    up
}

#[derive(Clone, Copy)]
pub(super) struct Stem {
    /// Which way it points.
    pub up: bool,
    /// Where the beam's outer edge is, if it has one.
    pub beam: Option<f64>,
}

/// A note: head, accidental, dots, ledger lines, stem and flag.
pub(super) fn draw_note(symbol: &Symbol, x: f64, y: f64, stem: Stem, marks: &mut Vec<Mark>) {
    let SymbolKind::Note { pitch, accidental, .. } = symbol.kind else { return };
    let (value, item) = (symbol.value.value, symbol.item);
    let width = Glyph::Head(value).width();
    draw_ledger_lines(x, y, width, item, marks);
    marks.push(Mark::glyph(What::NoteHead, Glyph::Head(value), x, y).of(item));
    if accidental {
        let glyph = Glyph::of_alter(pitch.alter);
        let left = x - accidental_offset(glyph, y);
        marks.push(Mark::glyph(What::Accidental, glyph, left, y).of(item));
    }
    let flagged = symbol.beams() > 0 && stem.beam.is_none();
    // Beside the head in a space; a note on a line has its dot in the space above (common practice; Gould 2011).
    let on_line = (y - y.round()).abs() < 1e-9;
    draw_dots(symbol, x, if on_line { y - 0.5 } else { y }, flagged && stem.up, marks);
    if value <= Value::Whole {
        return;
    }
    let centre = stem_x(x, stem.up);
    let tip = stem.beam.unwrap_or_else(|| stem_tip(y, stem.up, symbol.beams()));
    let head = Glyph::Head(value).outline();
    let foot = y + if stem.up { head.stem_up.1 } else { head.stem_down.1 };
    marks.push(Mark::stroke(What::Stem, (centre, foot), (centre, tip), STEM).of(item));
    if flagged {
        let glyph = Glyph::Flag(value, stem.up);
        let anchor = if stem.up { glyph.outline().stem_up } else { glyph.outline().stem_down };
        // The corner of the stem's end lies on the flag's anchor (SMuFL 1.4, stemUpNW and stemDownSW).
        marks.push(Mark::glyph(What::Flag, glyph, centre - STEM / 2.0 - anchor.0, tip - anchor.1).of(item));
    }
}

pub(super) fn draw_ledger_lines(x: f64, y: f64, width: f64, item: usize, marks: &mut Vec<Mark>) {
    if !has_ledger(y) {
        return;
    }
    let (from, to) = if y < 0.0 { (y.ceil() as i32, -1) } else { (5, y.floor() as i32) };
    for line in from..=to {
        let y = f64::from(line);
        let ends = ((x - LEDGER_EXTENSION, y), (x + width + LEDGER_EXTENSION, y));
        marks.push(Mark::stroke(What::LedgerLine, ends.0, ends.1, LEDGER_LINE).of(item));
    }
}

fn draw_dots(symbol: &Symbol, x: f64, y: f64, flagged_up: bool, marks: &mut Vec<Mark>) {
    for dot in 0..symbol.value.dots {
        let x = x + dot_offset(symbol, flagged_up) + DOT_STEP * f64::from(dot);
        marks.push(Mark::glyph(What::Dot, Glyph::Dot, x, y).of(symbol.item));
    }
}

fn draw_rest(symbol: &Symbol, x: f64, marks: &mut Vec<Mark>) {
    let value = symbol.value.value;
    // A whole rest hangs from the fourth line from below; the others have their origin on the middle line.
    let y = if value == Value::Whole { 1.0 } else { 2.0 };
    marks.push(Mark::glyph(What::Rest, Glyph::Rest(value), x, y).of(symbol.item));
    draw_dots(symbol, x, 1.5, false, marks);
}

/// On one staff with one voice a tie curves away from the stem; whole notes have the stem that they would have.
fn draw_ties(music: &Music, line: &LaidLine, stems_up: &[Vec<bool>], marks: &mut Vec<Mark>) {
    let mut notes: Vec<(&Symbol, f64, bool)> = Vec::new();
    for ((bar, place), up) in line.bars.clone().zip(&line.places).zip(stems_up) {
        for ((symbol, &x), &up) in music.bars[bar].symbols.iter().zip(&place.heads).zip(up) {
            notes.push((symbol, x, up));
        }
    }
    let pitch = |symbol: &Symbol| match symbol.kind {
        SymbolKind::Note { pitch, .. } => Some(pitch),
        SymbolKind::Rest { .. } => None,
    };
    // The second half of a tie from the line before.
    let before = line.bars.start.checked_sub(1).and_then(|bar| music.bars[bar].symbols.last());
    if let (Some(before), Some(&(first, x, up))) = (before, notes.first())
        && before.tied()
        && pitch(before) == pitch(first)
        && let Some(y) = first.height(music.clef)
    {
        let from = line.places[0].left - 0.2;
        draw_tie(from.min(x - 1.2), x - 0.15, y, !up, first.item, marks);
    }
    for (place, &(symbol, x, up)) in notes.iter().enumerate() {
        let Some(y) = symbol.height(music.clef).filter(|_| symbol.tied()) else { continue };
        let dots = symbol.value.dots;
        let from = if dots == 0 {
            x + body(symbol).width() + 0.15
        } else {
            x + dot_offset(symbol, false) + DOT_STEP * f64::from(dots - 1) + Glyph::Dot.width() + 0.1
        };
        match notes.get(place + 1) {
            Some(&(next, to, _)) if pitch(next) == pitch(symbol) => {
                draw_tie(from, to - 0.15, y, !up, symbol.item, marks);
            }
            Some(_) => {}
            None => {
                let end = line.places.last().map_or(from, |last| last.right);
                draw_tie(from, end - 0.3, y, !up, symbol.item, marks);
            }
        }
    }
}

fn draw_tuplets(
    music: &Music,
    bar: usize,
    heads: &[f64],
    up: &[bool],
    tips: &[Option<f64>],
    marks: &mut Vec<Mark>,
) {
    let symbols = &music.bars[bar].symbols;
    for (from, to, number) in tuplets::runs(&music.bars[bar]) {
        let joined =
            music.beamed[bar].iter().any(|group| group.first() == Some(&from) && group.last() == Some(&to));
        let right = |place: usize| heads[place] + body(&symbols[place]).width();
        if let (true, Some(start), Some(end)) = (joined, tips[from], tips[to]) {
            let middle = (start + end) / 2.0;
            let y = if up[from] { middle - 1.0 } else { middle + 1.0 };
            tuplets::draw_number(
                number,
                stem_x(heads[from], up[from]),
                stem_x(heads[to], up[to]),
                y,
                None,
                marks,
            );
        } else {
            let items: Vec<usize> = symbols[from..=to].iter().map(|symbol| symbol.item).collect();
            let (top, _) =
                extent(marks.iter().filter(|mark| mark.item.is_some_and(|item| items.contains(&item))));
            let number_y = top - 1.3;
            tuplets::draw_number(number, heads[from], right(to), number_y, Some(0.6), marks);
        }
    }
}

/// Names, fingers and strings under the notes, each in its row, with the row's name at the left.
fn draw_rows(music: &Music, line: &LaidLine, marks: &mut Vec<Mark>) {
    let rows = [(What::Name, "note"), (What::Finger, "finger"), (What::StringName, "string")];
    let asked = |what: What| {
        music.bars.iter().flat_map(|bar| &bar.symbols).any(|symbol| texts(symbol).any(|(one, _)| one == what))
    };
    let (_, bottom) = extent(marks.iter());
    let mut baseline = bottom + BEFORE_ROWS + super::letters::capital_height() * UNDER_SIZE;
    for (what, label) in rows.into_iter().filter(|&(what, _)| asked(what)) {
        marks.push(Mark::words(What::RowLabel, label, (0.0, baseline), 1.25, Anchor::Start));
        for (bar, place) in line.bars.clone().zip(&line.places) {
            for (symbol, &x) in music.bars[bar].symbols.iter().zip(&place.heads) {
                let middle = x + body(symbol).width() / 2.0;
                for (_, text) in texts(symbol).filter(|&(one, _)| one == what) {
                    let words = Mark::words(what, text, (middle, baseline), UNDER_SIZE, Anchor::Middle);
                    marks.push(words.of(symbol.item));
                }
            }
        }
        baseline += ROW_STEP;
    }
}

/// A rest that stands on a sheet to write on.
pub(super) fn draw_given_rest(length: Length, x: f64, marks: &mut Vec<Mark>) {
    let Some(value) = WrittenValue::of(length) else { return };
    let kind = SymbolKind::Rest { whole_bar: false };
    let start = Length::from_integer(0);
    draw_rest(&Symbol { start, length, value, kind, item: 0, under: Under::default() }, x, marks);
}
