//! Numbers over tuplets: three notes in the time of two and their like, with a bracket where no beam joins them.

use super::drawing::{Mark, Shape, What};
use super::glyph::Glyph;
use super::glyph::defaults::TUPLET_BRACKET;
use super::symbols_from_bars::MusicBar;
use crate::notation::Length;

/// Digits of a tuplet's number are drawn at this size (SMuFL has them larger than they are needed).
const SIZE: f64 = 0.8;

/// Runs of symbols that make one tuplet: its first and last place and its number.
pub(super) fn runs(bar: &MusicBar) -> Vec<(usize, usize, u8)> {
    let mut runs = Vec::new();
    let mut place = 0;
    while place < bar.symbols.len() {
        let Some((actual, normal)) = bar.symbols[place].value.tuplet else {
            place += 1;
            continue;
        };
        let same = |at: usize| {
            bar.symbols.get(at).is_some_and(|symbol| symbol.value.tuplet == Some((actual, normal)))
        };
        let mut end = place;
        let mut sum = bar.symbols[place].length;
        let mut shortest = bar.symbols[place].value.value;
        // A tuplet is full where it fills so many of its shortest value.
        let full = |sum: Length, shortest: crate::notation::Value| {
            (sum / (shortest.length() * i64::from(normal))).is_integer()
        };
        while !full(sum, shortest) && same(end + 1) {
            end += 1;
            sum += bar.symbols[end].length;
            shortest = shortest.max(bar.symbols[end].value.value);
        }
        runs.push((place, end, actual));
        place = end + 1;
    }
    runs
}

/// The number at the middle of `from` to `to`, its middle at height `y`; with a bracket around it if asked.
pub(super) fn draw_number(
    number: u8,
    from: f64,
    to: f64,
    y: f64,
    bracket: Option<f64>,
    marks: &mut Vec<Mark>,
) {
    let glyphs: Vec<Glyph> =
        number.to_string().bytes().map(|digit| Glyph::TupletDigit(digit - b'0')).collect();
    let width: f64 = glyphs.iter().map(|glyph| glyph.outline().advance * SIZE).sum();
    let middle = (from + to) / 2.0;
    let mut x = middle - width / 2.0;
    for glyph in glyphs {
        let [_, top, _, bottom] = glyph.outline().bounds;
        let y = y - (top + bottom) / 2.0 * SIZE;
        marks.push(Mark { what: What::Tuplet, shape: Shape::Glyph { glyph, x, y, scale: SIZE }, item: None });
        x += glyph.outline().advance * SIZE;
    }
    if let Some(hook) = bracket {
        let gap = width / 2.0 + 0.3;
        for (a, b) in [((from, y), (middle - gap, y)), ((middle + gap, y), (to, y))] {
            if b.0 > a.0 {
                marks.push(Mark::stroke(What::Tuplet, a, b, TUPLET_BRACKET));
            }
        }
        for x in [from, to] {
            marks.push(Mark::stroke(What::Tuplet, (x, y), (x, y + hook), TUPLET_BRACKET));
        }
    }
}
