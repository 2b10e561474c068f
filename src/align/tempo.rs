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
    /// over the intervals within six notes, the nearer the heavier, drawn towards the median of the whole take.
    pub fn from_reading(reading: &Reading, notes: &[WrittenNote], hop: f64, fallback: f64) -> Self {
        let intervals = intervals(reading, notes, hop);
        let mut all: Vec<(f64, f64)> = intervals.iter().map(|i| (i.per_beat, i.beats.min(2.0))).collect();
        let Some(whole) = weighted_median(&mut all) else {
            return Self::steady(fallback, notes.len());
        };
        let at = (0..notes.len()).map(|n| local(&intervals, n, whole)).collect();
        Self { at }
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
            (StepKind::Written { note: a, .. }, StepKind::Written { note: b, restart: false }) => {
                let beats = notes[b].start - notes[a].start;
                let seconds = (pair[1].from as f64 - pair[0].from as f64) * hop;
                let holds_rest = beats - notes[a].length > 1e-6 && b == a + 1;
                (b > a && b <= a + 2).then(|| Interval {
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

/// The tempo around note `n`, where that of the whole take is `whole`.
fn local(intervals: &[Interval], n: usize, whole: f64) -> f64 {
    let mut near: Vec<(f64, f64)> = intervals
        .iter()
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
            let neighbour = if centre > total / 2.0 {
                k.checked_sub(1).map(|k| (values[k].0, sum - values[k].1 / 2.0))
            } else {
                values.get(k + 1).map(|next| (next.0, sum + v.1 + next.1 / 2.0))
            };
            let Some((other, other_centre)) = neighbour else { return Some(v.0) };
            let share = (total / 2.0 - centre) / (other_centre - centre);
            return Some(v.0 + (other - v.0) * share);
        }
        sum += v.1;
    }
    values.last().map(|v| v.0)
}

#[cfg(test)]
mod tests {
    use super::super::reading::Step;
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_weighted_median_lies_between_the_middles_of_the_weights_around_half() {
        // Weights 2, 3, 5 have their middles at 1, 3.5, 7.5; half is at 5, 1.5 of the 4 from the second to the third.
        let above = weighted_median(&mut [(4.0, 5.0), (1.0, 2.0), (2.0, 3.0)]);
        assert_abs_diff_eq!(above.unwrap(), 2.0 + 2.0 * 1.5 / 4.0, epsilon = 1e-9);
        // Weights 2, 6, 1 have theirs at 1, 5, 8.5; half is at 4.5, 0.5 of the 4 from the second back to the first.
        let below = weighted_median(&mut [(1.0, 2.0), (2.0, 6.0), (4.0, 1.0)]);
        assert_abs_diff_eq!(below.unwrap(), 2.0 - 0.5 / 4.0, epsilon = 1e-9);
        assert_eq!(weighted_median(&mut [(3.0, 0.5)]), Some(3.0));
        assert_eq!(weighted_median(&mut []), None);
    }

    #[test]
    fn intervals_lead_over_one_skipped_note_and_over_no_extra_note_and_no_return() {
        // Quarter notes, after the second of them a rest.
        let starts = [0.0, 1.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0];
        let notes = starts.map(|start| WrittenNote {
            event: 0,
            midi: 62,
            start,
            length: 1.0,
            opens_bar: false,
            bar: 1,
        });
        let written = |note| StepKind::Written { note, restart: false };
        let back_to = |note| StepKind::Written { note, restart: true };
        let steps = [
            (written(0), 100),
            (written(1), 103),
            (written(2), 108),
            (written(4), 113),
            (StepKind::Extra { after: Some(4) }, 115),
            (written(5), 116),
            (written(8), 125),
            (back_to(5), 130),
            (back_to(6), 140),
            (written(7), 142),
        ];
        let step = |(kind, from)| Step { kind, boundary: 0, from, to: from + 1, semitone: None };
        let reading = Reading { steps: steps.map(step).to_vec(), score: 0.0 };
        // A frame lasts a quarter of a second.
        let interval =
            |from, to, beats, per_beat, holds_rest| Interval { to, from, beats, per_beat, holds_rest };
        assert_eq!(
            intervals(&reading, &notes, 0.25),
            [
                interval(0, 1, 1.0, 0.75, false),
                interval(1, 2, 2.0, 1.25 / 2.0, true),
                interval(2, 4, 2.0, 1.25 / 2.0, false),
                interval(6, 7, 1.0, 0.5, false),
            ]
        );
    }

    #[test]
    fn a_local_tempo_counts_long_intervals_as_two_beats_and_distant_ones_and_rests_less() {
        // Half a second a beat against one second over the take, which counts 1: two values weigh as in a mean.
        let around = |n: usize, holds_rest: bool| {
            local(&[Interval { to: 4, from: 3, beats: 3.0, per_beat: 0.5, holds_rest }], n, 1.0)
        };
        let mean = |weight: f64| (0.5 * weight + 1.0) / (weight + 1.0);
        // From note 2 it is 1.5 notes to the middle of the interval: a quarter of six.
        assert_abs_diff_eq!(around(2, false), mean(2.0 * 0.75), epsilon = 1e-9);
        assert_abs_diff_eq!(around(5, false), mean(2.0 * 0.75), epsilon = 1e-9);
        assert_abs_diff_eq!(around(2, true), mean(2.0 * 0.75 * 0.4), epsilon = 1e-9);
        assert_eq!(around(10, false), 1.0);
    }
}
