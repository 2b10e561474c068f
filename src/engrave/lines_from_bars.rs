//! Bars become lines: where a line ends, and where everything stands on it.
//!
//! Lines end at bars. Of all ways to break, the one with the least squared departure from ideal spacing over all lines
//! is taken (the total-fit method of Knuth and Plass, “Breaking paragraphs into lines”, *Software: Practice and
//! Experience* 11, 1981, with springs that follow durations). Every line but the last fills the width.

use super::columns_from_bar::{Column, columns, placed};
use super::drawing::Mark;
use super::signatures;
use super::symbols_from_bars::MusicBar;
use crate::notation::{Clef, Key, Metre};
use std::ops::Range;

/// How much wider than the spacing of handbooks a line would like to be: children read single notes, and write between
/// them (our own taste).
const WISHED: f64 = 1.2;

/// The final bar line is wider than others by this.
pub(super) const FINAL: f64 = 0.9;

/// The music of a page or more, with all that lines need.
pub(super) struct Music {
    pub clef: Clef,
    pub bars: Vec<MusicBar>,
    /// Places that share a beam, by bar.
    pub beamed: Vec<Vec<Vec<usize>>>,
    /// Columns, by bar.
    pub columns: Vec<Vec<Column>>,
}

/// One line: its bars and where they stand.
#[derive(Debug, Clone)]
pub(super) struct LaidLine {
    pub bars: Range<usize>,
    /// By bar.
    pub places: Vec<LaidBar>,
    /// The right end of the staff.
    pub width: f64,
}

/// A bar on its line.
#[derive(Debug, Clone)]
pub(super) struct LaidBar {
    /// Its left bar line (or the end of the clef and signatures).
    pub left: f64,
    /// The left edges of its heads and rests.
    pub heads: Vec<f64>,
    /// Its right bar line.
    pub right: f64,
}

impl Music {
    pub fn new(clef: Clef, bars: Vec<MusicBar>) -> Self {
        let beamed: Vec<_> = bars.iter().map(super::beams::groups).collect();
        let columns = bars.iter().zip(&beamed).map(|(bar, beamed)| columns(bar, clef, beamed)).collect();
        Self { clef, bars, beamed, columns }
    }

    /// The key and the metre that are new in a bar.
    fn news(&self, bar: usize) -> (Option<Key>, Option<Metre>) {
        let this = &self.bars[bar];
        match bar.checked_sub(1).map(|before| &self.bars[before]) {
            None => (None, Some(this.metre)),
            Some(last) => (
                (last.key.fifths != this.key.fifths).then_some(this.key),
                (last.metre != this.metre).then_some(this.metre),
            ),
        }
    }

    /// What stands at the start of a line that begins with `bar`; the place after it.
    pub fn draw_header(&self, bar: usize, marks: &mut Vec<Mark>) -> f64 {
        let x = signatures::draw_clef(self.clef, 0.0, marks);
        let x = signatures::draw_key(self.bars[bar].key, None, self.clef, x, marks);
        match self.news(bar).1 {
            Some(metre) => signatures::draw_metre(metre, x, marks),
            None => x,
        }
    }

    /// A new key or metre at the start of a bar (or, as a warning, at the end of the line before it); the place after.
    pub fn draw_change(&self, bar: usize, x: f64, marks: &mut Vec<Mark>) -> f64 {
        let (key, metre) = self.news(bar);
        if key.is_none() && metre.is_none() {
            return x;
        }
        let old = bar.checked_sub(1).map(|before| self.bars[before].key);
        let x = x + 0.7;
        let x = key.map_or(x, |key| signatures::draw_key(key, old, self.clef, x, marks));
        metre.map_or(x, |metre| signatures::draw_metre(metre, x, marks))
    }

    fn header_width(&self, bar: usize) -> f64 {
        self.draw_header(bar, &mut Vec::new()) - 0.4
    }

    fn change_width(&self, bar: usize) -> f64 {
        let width = self.draw_change(bar, 0.0, &mut Vec::new());
        if width > 0.0 { width - 0.4 } else { 0.0 }
    }

    /// The bars of a line at a stretch, from x = 0.
    fn laid(&self, bars: Range<usize>, stretch: f64) -> LaidLine {
        let mut x = self.header_width(bars.start);
        let mut places = Vec::new();
        for bar in bars.clone() {
            let left = x;
            if bar > bars.start {
                x += self.change_width(bar);
            }
            let (heads, width) = placed(&self.columns[bar], stretch);
            let width = if bar + 1 == self.bars.len() { width + FINAL } else { width };
            places.push(LaidBar {
                left,
                heads: heads.into_iter().map(|head| x + head).collect(),
                right: x + width,
            });
            x += width;
        }
        if bars.end < self.bars.len() {
            let warning = self.change_width(bars.end);
            x += if warning > 0.0 { warning + 0.4 } else { 0.0 };
        }
        LaidLine { bars, places, width: x }
    }

    /// The narrowest a line of one bar can be, over all bars.
    pub fn narrowest(&self) -> f64 {
        (0..self.bars.len()).map(|bar| self.laid(bar..bar + 1, 0.0).width).fold(0.0, f64::max)
    }

    /// The stretch at which bars fill `width`; `None` where they cannot be so narrow.
    fn filling(&self, bars: Range<usize>, width: f64) -> Option<f64> {
        let too_wide = |stretch: f64| self.laid(bars.clone(), stretch).width > width;
        if too_wide(0.0) {
            return None;
        }
        let (mut low, mut high) = (0.0, 64.0);
        for _ in 0..40 {
            let middle = (low + high) / 2.0;
            if too_wide(middle) { high = middle } else { low = middle }
        }
        Some(low)
    }

    /// All lines for a page `width` wide.
    pub fn lines(&self, width: f64) -> Vec<LaidLine> {
        let count = self.bars.len();
        // best[end]: the least cost of all bars before `end`, and where the last line of it begins.
        let mut best: Vec<(f64, usize, f64)> = vec![(f64::INFINITY, 0, 1.0); count + 1];
        best[0] = (0.0, 0, 1.0);
        for end in 1..=count {
            for start in (0..end).rev() {
                let Some(stretch) = self.filling(start..end, width) else {
                    if end - start > 1 {
                        break;
                    }
                    // A bar that is too long even alone: the caller makes the staff smaller before it comes to this.
                    best[end] = (best[start].0 + 100.0, start, 0.0);
                    continue;
                };
                let cost = best[start].0 + cost(stretch, end == count, end - start);
                if cost < best[end].0 {
                    best[end] = (cost, start, stretch);
                }
            }
        }
        let mut breaks = Vec::new();
        let mut end = count;
        while end > 0 {
            let (_, start, stretch) = best[end];
            breaks.push((start..end, stretch));
            end = start;
        }
        breaks.reverse();
        let mut lines = Vec::new();
        let mut before = WISHED;
        for (bars, stretch) in breaks {
            // The last line is spaced like the line before it, never stretched to the margin.
            let stretch = if bars.end == count { stretch.min(before) } else { stretch };
            lines.push(self.laid(bars, stretch));
            before = stretch.min(WISHED * 1.5);
        }
        lines
    }
}

/// What a line costs: how far it is from ideal, squared on a logarithmic scale; squeezing costs more than stretching.
fn cost(stretch: f64, last: bool, bars: usize) -> f64 {
    // Every line costs a little, so that a tune is not spread over more lines than it needs.
    const LINE: f64 = 0.05;
    let departure = (stretch / WISHED).max(0.05).log2();
    if departure < 0.0 {
        LINE + 3.0 * departure * departure
    } else if last {
        // A last line may be short, but one bar alone looks forgotten.
        LINE + if bars == 1 { 0.3 } else { 0.0 } + 0.02 * departure.min(4.0)
    } else {
        LINE + departure * departure
    }
}
