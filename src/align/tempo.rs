//! How long a beat lasts where, from the notes that were found.

use super::reading::{Reading, StepKind};
use super::written::WrittenNote;

/// Seconds a beat lasts, note by note.
#[derive(Debug, Clone, PartialEq)]
pub struct LocalTempo {
    /// Seconds per beat at each written note.
    pub at: Vec<f64>,
}

impl LocalTempo {
    /// The same tempo everywhere.
    pub fn steady(seconds_per_beat: f64, notes: usize) -> Self {
        Self { at: vec![seconds_per_beat; notes] }
    }

    /// Estimates the tempo around each note from inter-onset intervals of a reading: a weighted median
    /// over the neighbours within four notes, drawn towards the median of the whole take. `skip(n)` leaves
    /// out the interval that ends at note `n` (so that a rest is not measured by itself).
    pub fn from_reading(reading: &Reading, notes: &[WrittenNote], hop: f64, fallback: f64) -> Self {
        let intervals = intervals(reading, notes, hop);
        let mut all: Vec<(f64, f64)> = intervals.iter().map(|i| (i.per_beat, i.beats.min(2.0))).collect();
        let Some(whole) = weighted_median(&mut all) else {
            return Self::steady(fallback, notes.len());
        };
        let at = (0..notes.len()).map(|n| local(&intervals, n, None, whole)).collect();
        Self { at }
    }

    /// The median over the take.
    pub fn median(&self) -> f64 {
        let mut sorted = self.at.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.get(sorted.len() / 2).copied().unwrap_or(0.6)
    }
}

/// The interval from one written note to the next one that was played directly after it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The note that it ends at.
    pub to: usize,
    /// The note that it starts at.
    pub from: usize,
    /// Its written length.
    pub beats: f64,
    /// Its played length over its written length, in seconds per beat.
    pub per_beat: f64,
    /// Whether a rest is written inside it.
    pub holds_rest: bool,
}

/// All intervals of a reading between written notes in order, without extras between.
pub fn intervals(reading: &Reading, notes: &[WrittenNote], hop: f64) -> Vec<Interval> {
    reading
        .steps
        .windows(2)
        .filter_map(|pair| match (pair[0].kind, pair[1].kind) {
            (StepKind::Written { note: a, .. }, StepKind::Written { note: b, restart: false }) if b > a => {
                let beats = notes[b].start - notes[a].start;
                let seconds = (pair[1].from as f64 - pair[0].from as f64) * hop;
                let holds_rest = beats - notes[a].length > 1e-6 && b == a + 1;
                (beats > 0.0 && b <= a + 2).then(|| Interval {
                    to: b,
                    from: a,
                    beats,
                    per_beat: seconds / beats,
                    holds_rest,
                })
            }
            _ => None,
        })
        .collect()
}

/// The tempo around note `n`, without the interval that ends at `without`.
pub fn local(intervals: &[Interval], n: usize, without: Option<usize>, whole: f64) -> f64 {
    let mut near: Vec<(f64, f64)> = intervals
        .iter()
        .filter(|i| Some(i.to) != without)
        .filter_map(|i| {
            let away = (i.to as f64 - 0.5 - n as f64).abs();
            let weight = i.beats.min(2.0) * (1.0 - away / 6.0) * if i.holds_rest { 0.4 } else { 1.0 };
            (away < 6.0).then_some((i.per_beat, weight))
        })
        .collect();
    near.push((whole, 1.0));
    weighted_median(&mut near).unwrap_or(whole)
}

/// The value at which half of the weight lies on either side, between neighbours interpolated by weight.
pub fn weighted_median(values: &mut [(f64, f64)]) -> Option<f64> {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = values.iter().map(|v| v.1).sum();
    if total <= 0.0 {
        return None;
    }
    let mut sum = 0.0;
    for (k, v) in values.iter().enumerate() {
        if sum + v.1 >= total / 2.0 {
            // Between the centres of this weight and its neighbour.
            let centre = sum + v.1 / 2.0;
            let (other, other_centre) = if centre > total / 2.0 {
                if k == 0 {
                    return Some(v.0);
                }
                (values[k - 1].0, sum - values[k - 1].1 / 2.0)
            } else {
                if k + 1 == values.len() {
                    return Some(v.0);
                }
                (values[k + 1].0, sum + v.1 + values[k + 1].1 / 2.0)
            };
            let share = (total / 2.0 - centre) / (other_centre - centre);
            return Some(v.0 + (other - v.0) * share);
        }
        sum += v.1;
    }
    values.last().map(|v| v.0)
}
