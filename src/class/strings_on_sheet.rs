//! The strings of a class on its overview: a stroke for each student, fingers at the left and open strings at the right.

use super::overview::{StringPoints, median};
use super::overview_sheet::{MARGIN, Sheet};
use crate::engrave::Anchor;
use crate::notation::Instrument;
use crate::report::words;
use std::collections::BTreeMap;

/// A thread.
pub(super) const THIN: f64 = 0.2;
/// Cents to either side that a strip shows.
const REACH: f64 = 50.0;

/// The height that they take.
pub(super) fn strings_height(strings: &BTreeMap<(usize, usize), StringPoints>) -> f64 {
    if strings.is_empty() { 0.0 } else { 14.0 + strings.len() as f64 * 4.6 }
}

impl Sheet {
    /// All strings, the highest first.
    pub fn strings(&mut self, strings: &BTreeMap<(usize, usize), StringPoints>) {
        if strings.is_empty() {
            return;
        }
        // At the foot of the page where there is room for it, so that it is always in one place.
        self.y = self.y.max(self.bottom() - strings_height(strings));
        let half = (self.right() - MARGIN - 26.0) / 2.0;
        let (one, two) = (MARGIN + 26.0, MARGIN + 26.0 + half);
        let base = self.y + 4.0;
        self.put("Fingers, by string", (one, base), 3.0, Anchor::Start);
        self.put("Open strings", (two, base), 3.0, Anchor::Start);
        let scale = "a stroke for each student, −50 to +50 cents; frame ±20; the median";
        self.put(scale, (one, base + 3.6), 2.3, Anchor::Start);
        let scale = "the same; frame ±5; the median";
        self.put(scale, (two, base + 3.6), 2.3, Anchor::Start);
        self.y += 10.0;
        // The highest string first, as on the page of a score.
        let mut rows: Vec<_> = strings.iter().collect();
        rows.sort_by_key(|((instrument, string), _)| (*instrument, std::cmp::Reverse(*string)));
        for ((instrument, string), points) in rows {
            let instrument = Instrument::ALL[*instrument];
            let name = format!("{instrument} {}", instrument.string_names()[*string]);
            self.put(&name, (MARGIN, self.y + 3.2), 2.8, Anchor::Start);
            self.strip(&points.fingers, one, half - 22.0, 20.0);
            self.strip(&points.open, two, half - 22.0, 5.0);
            self.y += 4.6;
        }
    }

    /// Strokes on a line from 50 cents low to 50 cents high, a frame around what is good, the median in words.
    fn strip(&mut self, cents: &[f64], left: f64, wide: f64, good: f64) {
        let (top, bottom) = (self.y + 0.4, self.y + 4.0);
        let at = |cents: f64| left + wide * (cents.clamp(-REACH, REACH) + REACH) / (2.0 * REACH);
        self.box_of([left, bottom, left + wide, bottom + THIN]);
        if cents.is_empty() {
            self.put("not heard", (left + wide + 1.5, bottom), 2.4, Anchor::Start);
            return;
        }
        self.frame([at(-good), top, at(good), bottom], 0.12);
        for cents in cents {
            let x = at(*cents);
            self.box_of([x - 0.25, top + 0.7, x + 0.25, bottom]);
        }
        let middle = median(&mut cents.to_vec());
        self.put(&in_words(middle), (left + wide + 1.5, bottom), 2.4, Anchor::Start);
    }
}

/// `18 cents low`, `1 cent high`, `0 cents`.
fn in_words(cents: f64) -> String {
    let count = words::count(cents.abs().round() as usize, "cent", "cents");
    if cents.round() == 0.0 { count } else { format!("{count} {}", words::low_or_high(cents)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_median_has_its_unit_and_its_side() {
        let said = [-18.2, 1.4, -0.4].map(in_words);
        assert_eq!(said, ["18 cents low", "1 cent high", "0 cents"]);
    }
}
