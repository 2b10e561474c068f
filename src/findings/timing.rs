//! Timing against the player's own beat: local tempo, onset errors, drift.

use crate::align::weighted_median;

/// One onset of a written note in one attempt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beat {
    /// Number of the written note.
    pub note: usize,
    /// Where it is written, in beats.
    pub at: f64,
    /// Where its written length ends, in beats.
    pub until: f64,
    /// When it began, in seconds.
    pub onset: f64,
    /// Which attempt it belongs to (counted from 0; a restart begins a new one).
    pub attempt: usize,
}

/// The player's own beat, from onsets.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnBeat {
    beats: Vec<Beat>,
    spans: Vec<Span>,
    whole: Option<f64>,
}

/// From one played written note to the next in the same attempt.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Span {
    to: usize,
    middle: f64,
    /// How long it is written, in beats.
    written: f64,
    per_beat: f64,
    /// Whether a rest is written in it, or a note was left out.
    broken: bool,
    /// How much it says of the tempo.
    weight: f64,
}

/// A longer interval than this many beats says no more of the tempo.
const LONGEST_COUNTED: f64 = 2.0;
/// An interval that a rest is written in says so much less, because rests are what beginners cut short, and so does one
/// in which a note was left out.
const REST_COUNTS_FOR: f64 = 0.3;
/// So many notes of one length have a beat of their own.
const ENOUGH: usize = 3;
/// Neighbours further away than this many beats do not speak for a local tempo.
const REACH: f64 = 10.0;
/// An interval this many beats (dotted ones in a compound metre) longer or shorter than written, and by a quarter or
/// more, breaks the beat.
const BREAK_BEATS: f64 = 0.25;

impl OwnBeat {
    /// Learns the beat. `beats` are in order of time.
    pub fn new(beats: Vec<Beat>) -> Self {
        let spans: Vec<Span> = beats
            .windows(2)
            .filter(|w| w[0].attempt == w[1].attempt && w[1].at > w[0].at)
            .map(|w| {
                let (written, broken) = (w[1].at - w[0].at, w[1].at > w[0].until + 1e-6);
                Span {
                    to: w[1].note,
                    middle: 0.5 * (w[0].at + w[1].at),
                    written,
                    per_beat: (w[1].onset - w[0].onset) / written,
                    broken,
                    weight: written.min(LONGEST_COUNTED) * if broken { REST_COUNTS_FOR } else { 1.0 },
                }
            })
            .collect();
        let mut all: Vec<(f64, f64)> = spans.iter().map(|s| (s.per_beat, s.weight)).collect();
        let whole = weighted_median(&mut all);
        Self { beats, spans, whole }
    }

    /// The same beats, cut into attempts of their own wherever the player broke the beat: a rest cut short, a
    /// hesitation. What follows a break is on time against itself, and a break says nothing of the tempo. So many beats
    /// are `felt_as_one`.
    pub fn cut_at_breaks(&self, felt_as_one: u8) -> Self {
        let breaks_from = BREAK_BEATS * f64::from(felt_as_one);
        let mut cuts = 0;
        let mut beats = Vec::with_capacity(self.beats.len());
        for (k, beat) in self.beats.iter().enumerate() {
            if let Some(before) = k.checked_sub(1).map(|b| self.beats[b]) {
                let written = beat.at - before.at;
                if beat.attempt == before.attempt
                    && written > 0.0
                    && let Some(local) = self.local(0.5 * (beat.at + before.at), &[beat.note])
                {
                    let played = (beat.onset - before.onset) / local;
                    let ratio = played / written;
                    let broken = (played - written).abs() > breaks_from && !(0.75..=1.35).contains(&ratio);
                    cuts += usize::from(broken);
                }
            }
            beats.push(Beat { attempt: beat.attempt + cuts, ..*beat });
        }
        Self::new(beats)
    }

    /// Seconds per beat over the whole take, where at least two notes tell.
    pub fn whole(&self) -> Option<f64> {
        self.whole
    }

    /// Seconds per beat of the notes of each written length, of which there are enough: the middle one.
    pub fn of_each_length(&self) -> impl Iterator<Item = f64> {
        let mut whole: Vec<&Span> = self.spans.iter().filter(|span| !span.broken).collect();
        whole.sort_by(|a, b| a.written.total_cmp(&b.written).then(a.per_beat.total_cmp(&b.per_beat)));
        let alike = whole.chunk_by(|a, b| (a.written - b.written).abs() < 1e-6);
        let middle = |spans: &[&Span]| (spans.len() >= ENOUGH).then(|| spans[spans.len() / 2].per_beat);
        alike.filter_map(middle).collect::<Vec<f64>>().into_iter()
    }

    /// Seconds per beat around a place (in beats), not counting the spans that end at the notes `without`; nothing where
    /// there are no others.
    pub fn local(&self, at: f64, without: &[usize]) -> Option<f64> {
        let whole = self.whole.filter(|_| self.spans.iter().any(|s| !without.contains(&s.to)))?;
        let mut near: Vec<(f64, f64)> = self
            .spans
            .iter()
            .filter(|s| !without.contains(&s.to))
            .filter_map(|s| {
                let away = (s.middle - at).abs();
                (away < REACH).then(|| (s.per_beat, s.weight * (1.0 - away / REACH)))
            })
            .collect();
        near.push((whole, 0.7));
        weighted_median(&mut near)
    }

    /// How late (positive) a note began against what its neighbours in the same attempt predict, in beats.
    pub fn onset_error(&self, k: usize) -> Option<f64> {
        let me = self.beats[k];
        let beat = self.local(me.at, &[])?;
        let mut predictions: Vec<(f64, f64)> = self
            .beats
            .iter()
            .enumerate()
            .filter(|(i, b)| *i != k && b.attempt == me.attempt && (b.at - me.at).abs() <= 6.0)
            .map(|(_, b)| (b.onset + (me.at - b.at) * beat, 1.0 / (0.5 + (b.at - me.at).abs())))
            .collect();
        if predictions.len() < 2 {
            return None;
        }
        Some((me.onset - weighted_median(&mut predictions)?) / beat)
    }

    /// Change of tempo from the first to the last note in percent (positive: faster at the end), from a
    /// line through the logarithm of the tempo (Theil–Sen: the median of slopes of pairs more than a beat apart, the
    /// later one written later).
    pub fn drift_percent(&self) -> Option<f64> {
        if self.spans.len() < 6 {
            return None;
        }
        let mut slopes = Vec::new();
        for (i, a) in self.spans.iter().enumerate() {
            for b in &self.spans[i + 1..] {
                let apart = b.middle - a.middle;
                if apart > 1.0 && a.per_beat > 0.0 && b.per_beat > 0.0 {
                    slopes.push(((a.per_beat / b.per_beat).ln() / apart, apart * a.weight.min(b.weight)));
                }
            }
        }
        let slope = weighted_median(&mut slopes)?;
        let first = self.spans.iter().map(|s| s.middle).fold(f64::INFINITY, f64::min);
        let last = self.spans.iter().map(|s| s.middle).fold(f64::NEG_INFINITY, f64::max);
        Some((slope * (last - first)).exp_m1() * 100.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn steady(per_beat: f64) -> Vec<Beat> {
        (0..12)
            .map(|n| Beat {
                note: n,
                at: n as f64,
                until: n as f64 + 1.0,
                onset: 1.0 + n as f64 * per_beat,
                attempt: 0,
            })
            .collect()
    }

    #[test]
    fn three_notes_of_one_length_have_a_beat_of_their_own() {
        // Quarters of 0.5, 0.6, 0.4 s and halves of 0.6, 0.7 s and more; a rest of a beat is written after the first.
        let played = [
            (0.0, 1.0, 0.0),
            (2.0, 1.0, 2.0),
            (3.0, 1.0, 2.5),
            (4.0, 1.0, 3.1),
            (5.0, 2.0, 3.5),
            (7.0, 2.0, 4.1),
            (9.0, 1.0, 4.8),
        ];
        let beats = |count: usize| {
            let beat = |(note, &(at, length, onset)): (usize, &(f64, f64, f64))| Beat {
                note,
                at,
                until: at + length,
                onset,
                attempt: 0,
            };
            OwnBeat::new(played[..count].iter().enumerate().map(beat).collect())
        };
        let found: Vec<f64> = beats(7).of_each_length().collect();
        assert!(matches!(found[..], [quarter] if (quarter - 0.5).abs() < 1e-9), "{found:?}");
        assert_eq!(beats(4).of_each_length().count(), 0, "two quarters");
    }

    #[test]
    fn a_steady_player_is_never_late() {
        let own = OwnBeat::new(steady(0.75));
        assert_abs_diff_eq!(own.whole().unwrap(), 0.75, epsilon = 1e-9);
        for k in 0..12 {
            assert_abs_diff_eq!(own.onset_error(k).unwrap(), 0.0, epsilon = 1e-9);
        }
        assert_abs_diff_eq!(own.drift_percent().unwrap(), 0.0, epsilon = 1e-9);
    }

    #[test]
    fn rests_that_are_all_cut_short_do_not_make_the_beat_faster() {
        // Pairs of quarter notes with a rest of a beat after each pair, of which a third was given.
        let beats: Vec<Beat> = (0..12)
            .map(|n| {
                let at = (n + n / 2) as f64;
                let onset = 0.6 * (at - 0.67 * (n / 2) as f64);
                Beat { note: n, at, until: at + 1.0, onset, attempt: 0 }
            })
            .collect();
        let own = OwnBeat::new(beats);
        assert_abs_diff_eq!(own.whole().unwrap(), 0.6, epsilon = 1e-9);
        for at in 0..17 {
            assert_abs_diff_eq!(own.local(f64::from(at), &[]).unwrap(), 0.6, epsilon = 1e-9);
        }
    }

    #[test]
    fn a_rest_cut_short_makes_no_note_early_or_late_and_is_no_drift() {
        // Twelve quarter notes with a rest of a beat after the sixth, of which a third was given.
        let beats: Vec<Beat> = (0..12)
            .map(|n| {
                let (at, lost) = if n < 6 { (n as f64, 0.0) } else { (n as f64 + 1.0, 0.67) };
                Beat { note: n, at, until: at + 1.0, onset: 0.6 * (at - lost), attempt: 0 }
            })
            .collect();
        let own = OwnBeat::new(beats).cut_at_breaks(1);
        for k in 0..12 {
            assert_abs_diff_eq!(own.onset_error(k).unwrap(), 0.0, epsilon = 1e-6);
        }
        assert_abs_diff_eq!(own.drift_percent().unwrap(), 0.0, epsilon = 1e-6);
    }

    #[test]
    fn one_late_note_is_late_by_as_much_and_its_neighbours_are_not() {
        let mut beats = steady(0.5);
        beats[5].onset += 0.1;
        let own = OwnBeat::new(beats);
        assert_abs_diff_eq!(own.onset_error(5).unwrap(), 0.2, epsilon = 1e-6);
        assert!(own.onset_error(4).unwrap().abs() < 0.05);
    }

    /// Notes of one attempt from where they are written, in beats, and when they began; each lasts up to the next.
    fn attempt(number: usize, notes: &[(f64, f64)]) -> Vec<Beat> {
        let ends = notes.iter().skip(1).map(|next| next.0).chain([f64::INFINITY]);
        let beat = |(note, (&(at, onset), until))| Beat { note, at, until, onset, attempt: number };
        notes.iter().zip(ends).enumerate().map(beat).collect()
    }

    #[test]
    fn an_interval_counts_as_two_beats_at_most_and_one_with_a_rest_for_three_tenths() {
        // Four beats at 0.5 s, then one at 0.8: two values weigh as in a mean.
        let mut beats = attempt(0, &[(0.0, 0.0), (4.0, 2.0), (5.0, 2.8)]);
        let whole = |beats: &[Beat]| OwnBeat::new(beats.to_vec()).whole().unwrap();
        assert_abs_diff_eq!(whole(&beats), (2.0 * 0.5 + 0.8) / 3.0, epsilon = 1e-9);
        beats[1].until = 4.5;
        assert_abs_diff_eq!(whole(&beats), (2.0 * 0.5 + 0.3 * 0.8) / 2.3, epsilon = 1e-9);
    }

    #[test]
    fn a_neighbour_five_beats_away_says_half_as_much_of_the_local_tempo() {
        // A beat at 0.5 s around 0.5 and one at 1.0 s: 0.75 over the take, which counts for 0.7.
        let own = OwnBeat::new(attempt(0, &[(0.0, 0.0), (1.0, 0.5), (2.0, 1.5)]));
        let found = own.local(5.5, &[2]).unwrap();
        assert_abs_diff_eq!(found, (0.5 * 0.5 + 0.7 * 0.75) / 1.2, epsilon = 1e-9);
        assert_abs_diff_eq!(own.local(11.0, &[2]).unwrap(), 0.75, epsilon = 1e-9);
    }

    #[test]
    fn an_interval_is_not_measured_by_itself() {
        let own = OwnBeat::new(attempt(0, &[(0.0, 0.0), (2.0, 10.0)]));
        assert_eq!((own.local(1.0, &[]), own.local(1.0, &[1])), (Some(5.0), None));
    }

    #[test]
    fn the_beat_breaks_where_more_than_a_quarter_of_a_beat_and_of_the_interval_is_lost_or_gained() {
        let breaks = |written: f64, played: f64| {
            let more = |n: usize, more: f64| if n < 6 { 0.0 } else { more };
            let notes: Vec<(f64, f64)> = (0..12)
                .map(|n| (n as f64 + more(n, written - 1.0), 0.5 * (n as f64 + more(n, played - 1.0))))
                .collect();
            let attempts: Vec<usize> =
                OwnBeat::new(attempt(1, &notes)).cut_at_breaks(1).beats.iter().map(|b| b.attempt).collect();
            assert!(attempts[..6].iter().all(|&a| a == 1), "{attempts:?}");
            assert!(attempts[6..].iter().all(|&a| a == attempts[6]), "{attempts:?}");
            attempts[6] - 1
        };
        for (written, played) in [(1.0, 1.4), (1.0, 0.7), (4.0, 2.8), (4.0, 5.6), (0.5, 0.9)] {
            assert_eq!(breaks(written, played), 1, "{written} {played}");
        }
        for (written, played) in [(1.0, 1.3), (1.0, 0.8), (4.0, 3.2), (4.0, 5.2), (0.5, 0.3), (0.5, 0.7)] {
            assert_eq!(breaks(written, played), 0, "{written} {played}");
        }
    }

    #[test]
    fn in_a_compound_metre_it_is_a_quarter_of_a_dotted_beat() {
        // Eighths of 0.3 s; before the seventh so many eighths are lost.
        let breaks = |lost: f64, felt_as_one: u8| {
            let notes: Vec<(f64, f64)> = (0..12)
                .map(|n| (f64::from(n), 0.3 * (f64::from(n) - if n < 6 { 0.0 } else { lost })))
                .collect();
            OwnBeat::new(attempt(0, &notes)).cut_at_breaks(felt_as_one).beats[6].attempt
        };
        assert_eq!([breaks(0.3, 1), breaks(0.3, 3), breaks(0.7, 3), breaks(0.8, 3)], [1, 0, 0, 1]);
    }

    #[test]
    fn a_slow_end_is_no_row_of_breaks() {
        // Half a second a beat for 30 beats, a second a beat for 20 more.
        let notes: Vec<(f64, f64)> =
            (0..=50).map(|n| (f64::from(n), 0.5 * f64::from(n + (n - 30).max(0)))).collect();
        let own = OwnBeat::new(attempt(0, &notes)).cut_at_breaks(1);
        assert_eq!(own.beats[42].attempt, own.beats[50].attempt);
    }

    #[test]
    fn an_onset_is_predicted_by_its_own_attempt_and_near_notes_say_more() {
        let mut beats = steady(0.5);
        beats.extend(attempt(1, &[(4.0, 20.0), (5.0, 20.6), (7.0, 21.7)]));
        beats.extend(attempt(2, &[(3.0, 30.0), (4.0, 30.5)]));
        let own = OwnBeat::new(beats);
        // At half a second a beat the note before says 20.5 s, the one after 20.7, with weights 1/1.5 and 1/2.5.
        let predicted = (20.5 / 1.5 + 20.7 / 2.5) / (1.0 / 1.5 + 1.0 / 2.5);
        assert_abs_diff_eq!(own.onset_error(13).unwrap(), (20.6 - predicted) / 0.5, epsilon = 1e-9);
        assert_eq!(own.onset_error(16), None, "one other note tells nothing");
    }

    #[test]
    fn a_player_a_tenth_faster_at_the_end_drifts_by_ten_percent() {
        // Each beat is shorter than the one before by the same share; from the first to the last by 1.1.
        let mut onset = 0.0;
        let notes: Vec<(f64, f64)> = (0..12)
            .map(|n| {
                let began = onset;
                onset += 0.6 * 1.1_f64.powf(-f64::from(n) / 10.0);
                (f64::from(n), began)
            })
            .collect();
        let drift = OwnBeat::new(attempt(0, &notes)).drift_percent();
        assert_abs_diff_eq!(drift.unwrap(), 10.0, epsilon = 1e-6);
    }

    #[test]
    fn a_drift_is_told_by_later_places_more_than_a_beat_away_the_further_and_longer_the_more() {
        // Attempts of two notes each, further and further back, and a last one after some of them: where they are
        // written and the logarithm of the seconds a beat.
        let attempts = [
            (8.5, 9.5, 0.3),
            (6.5, 7.5, -0.3),
            (3.5, 4.5, 0.7),
            (2.5, 3.5, 0.04),
            (0.0, 2.0, 0.04),
            (4.0, 6.0, 0.0),
        ];
        let beats = |attempts: &[(f64, f64, f64)]| {
            let pair = |(number, &(from, to, log)): (usize, &(f64, f64, f64))| {
                let began = 10.0 * number as f64;
                attempt(number, &[(from, began), (to, began + (to - from) * log.exp())])
            };
            attempts.iter().enumerate().flat_map(pair).collect()
        };
        // The last is 4 beats after the fifth (a slope of 0.01) and 2 after the fourth (0.02), and just one after the
        // third. Those weigh 4 beats by two beats long, and 2 by one: 0.012. The middles are from 1 to 9.
        let slope = (0.01 * 8.0 + 0.02 * 2.0) / 10.0;
        let drift = OwnBeat::new(beats(&attempts)).drift_percent();
        assert_abs_diff_eq!(drift.unwrap(), 100.0 * (f64::exp(8.0 * slope) - 1.0), epsilon = 1e-6);
        assert_eq!(OwnBeat::new(beats(&attempts[1..])).drift_percent(), None, "five are too few");
    }
}
