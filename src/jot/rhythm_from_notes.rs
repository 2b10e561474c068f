//! Onsets become places on a grid of sixteenth notes, and the tempo that the player really had is found with them.
//!
//! Tempo and rhythm explain each other, so they are decided together: a Viterbi over (length in sixteenths, place
//! in the bar, local tempo) for each note (the idea of Cemgil and Kappen, "Monte Carlo methods for tempo tracking and
//! rhythm quantization", JAIR 18, 2003, and of Raphael, "A hybrid graphical model for rhythmic parsing", Artificial
//! Intelligence 137, 2002; cited from memory, and ours is a plain dynamic program with a grid of tempi).

use super::notes_from_listening::JottedNote;
use crate::notation::Metre;

/// Where a note stands and how long it is, in sixteenths.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placed {
    /// From the first downbeat (below 0 in a pickup).
    pub start: i64,
    /// How long it sounds.
    pub length: i64,
    /// Whether where it starts was hard to decide.
    pub unsure_start: bool,
    /// Whether its length was hard to decide.
    pub unsure_length: bool,
}

/// The rhythm of a take.
#[derive(Debug, Clone, PartialEq)]
pub struct Rhythm {
    /// One for each note.
    pub notes: Vec<Placed>,
    /// Seconds of a sixteenth at each note, as it was played.
    pub sixteenth: Vec<f64>,
}

/// Local tempi: so many steps to either side of the set one, each by this share.
const TEMPI: i32 = 14;
const TEMPO_STEP: f64 = 0.02;
/// The price of one step of tempo between two notes (squared steps).
const DRIFT: f64 = 0.35;
/// The price of being away from the set tempo at the start, for each step.
const AWAY: f64 = 0.06;
/// How exactly a child places an onset: seconds, and a share of the interval.
const SPREAD: f64 = 0.045;
const SPREAD_SHARE: f64 = 0.06;
/// The longest interval between two onsets, in sixteenths.
const LONGEST: i64 = 64;
/// An interval this far from the grid is said to be unsure, in sixteenths.
const UNSURE: f64 = 0.75;

/// The grid of a metre: sixteenths in a bar, in a felt beat, in its division.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grid {
    pub bar: i64,
    pub beat: i64,
    pub half: i64,
}

impl Grid {
    /// The grid of a metre.
    pub fn of(metre: Metre) -> Self {
        let unit = (16 / i64::from(metre.unit)).max(1);
        let bar = unit * i64::from(metre.beats);
        match metre.is_compound() {
            true => Self { bar, beat: 3 * unit, half: unit },
            false => Self { bar, beat: unit, half: (unit / 2).max(1) },
        }
    }

    /// How unlikely an onset is at a place, in nats: on the beat, on its division, between.
    pub fn weakness(self, place: i64) -> f64 {
        if place.rem_euclid(self.beat) == 0 {
            0.0
        } else if place.rem_euclid(self.half) == 0 {
            0.9
        } else {
            2.6
        }
    }
}

/// Places the notes. `first` is where the first onset stands, in sixteenths from the first downbeat; `sixteenth`
/// is its length in seconds at the set tempo.
pub fn rhythm_from_notes(notes: &[JottedNote], metre: Metre, sixteenth: f64, first: i64) -> Rhythm {
    let grid = Grid::of(metre);
    let starts = starts(notes, grid, sixteenth, first);
    let mut placed = Vec::with_capacity(notes.len());
    for k in 0..notes.len() {
        let (start, local) = starts[k];
        let next = starts.get(k + 1).map(|(next, _)| *next);
        let sounding = (notes[k].offset.0 - notes[k].onset.0) / local;
        let (length, unsure_length) = length(grid, start, next, sounding);
        let unsure_start = k > 0 && {
            let played = (notes[k].onset.0 - notes[k - 1].onset.0) / local;
            (played - (start - starts[k - 1].0) as f64).abs() > UNSURE
        };
        placed.push(Placed { start, length, unsure_start, unsure_length });
    }
    Rhythm { notes: placed, sixteenth: starts.iter().map(|(_, local)| *local).collect() }
}

/// The place of each onset and the length of a sixteenth there.
fn starts(notes: &[JottedNote], grid: Grid, sixteenth: f64, first: i64) -> Vec<(i64, f64)> {
    if notes.is_empty() {
        return Vec::new();
    }
    let tempi = (2 * TEMPI + 1) as usize;
    let seconds = |t: usize| sixteenth * ((t as i32 - TEMPI) as f64 * TEMPO_STEP).exp();
    let places = grid.bar as usize;
    let state = |place: usize, t: usize| place * tempi + t;
    let never = f64::INFINITY;
    // Costs in nats; for each note and state the cost, the state before and the interval.
    let mut cost = vec![never; places * tempi];
    let home = first.rem_euclid(grid.bar) as usize;
    for t in 0..tempi {
        cost[state(home, t)] = AWAY * f64::from((t as i32 - TEMPI).abs());
    }
    let mut back: Vec<Vec<(u32, u8)>> = Vec::with_capacity(notes.len());
    for pair in notes.windows(2) {
        let interval = (pair[1].onset.0 - pair[0].onset.0).max(0.01);
        let mut next = vec![never; places * tempi];
        let mut from = vec![(0_u32, 0_u8); places * tempi];
        for place in 0..places {
            for t in 0..tempi {
                let so_far = cost[state(place, t)];
                if so_far == never {
                    continue;
                }
                for to in t.saturating_sub(3)..=(t + 3).min(tempi - 1) {
                    let steps = to as f64 - t as f64;
                    let local = seconds(to);
                    let nearest = interval / local;
                    let low = ((nearest * 0.6).floor() as i64).clamp(1, LONGEST);
                    let high = ((nearest * 1.4).ceil() as i64 + 1).clamp(1, LONGEST);
                    for n in low..=high {
                        let off = interval - n as f64 * local;
                        let spread = SPREAD + SPREAD_SHARE * n as f64 * local;
                        let at = (place as i64 + n).rem_euclid(grid.bar);
                        // Heavy tails: a child hesitates.
                        let z = off / spread;
                        let price = 2.0 * (z * z / 3.0).ln_1p()
                            + DRIFT * steps * steps
                            + grid.weakness(at)
                            + rarity(n, grid);
                        let s = state(at as usize, to);
                        if so_far + price < next[s] {
                            next[s] = so_far + price;
                            from[s] = (state(place, t) as u32, n as u8);
                        }
                    }
                }
            }
        }
        back.push(from);
        cost = next;
    }
    let mut s = (0..cost.len()).min_by(|&a, &b| cost[a].total_cmp(&cost[b])).unwrap_or(0);
    let mut found = vec![(0_i64, seconds(s % tempi))];
    for from in back.iter().rev() {
        let (before, n) = from[s];
        s = before as usize;
        found.push((i64::from(n), seconds(s % tempi)));
    }
    // With each note, last to first, the interval that leads on from it: summed up from the first.
    let mut start = first;
    let mut placed = Vec::with_capacity(notes.len());
    for (n, local) in found.into_iter().rev() {
        placed.push((start, local));
        start += n;
    }
    placed
}

/// How rare an interval is in a beginner's melody, in nats.
fn rarity(n: i64, grid: Grid) -> f64 {
    let beat = grid.beat;
    match n {
        _ if n == beat => 0.0,
        _ if n % beat == 0 => 0.5,
        _ if n == grid.half => 0.3,
        _ if n % grid.half == 0 => 1.0,
        1 => 2.0,
        _ => 2.4,
    }
}

/// How long a note is written that sounds `sounding` sixteenths, with the next onset at `next`: up to the next note,
/// unless the silence is long enough to be a rest.
fn length(grid: Grid, start: i64, next: Option<i64>, sounding: f64) -> (i64, bool) {
    let Some(next) = next else {
        // The last note: to the end of a beat, of the bar where that is near.
        let to_bar = grid.bar - start.rem_euclid(grid.bar);
        if (sounding - to_bar as f64).abs() <= 0.3 * to_bar as f64 {
            return (to_bar, false);
        }
        let beats = (sounding / grid.beat as f64).round() as i64;
        let halves = ((sounding / grid.half as f64).round() as i64).max(1);
        return if beats >= 1 { (beats * grid.beat, false) } else { (halves * grid.half, true) };
    };
    let interval = next - start;
    let silence = interval as f64 - sounding;
    let beat = grid.beat as f64;
    // Bows are lifted early: up to half a beat of silence belongs to the note.
    if silence < 0.5 * beat {
        return (interval, silence > 0.4 * beat && interval >= 2 * grid.half);
    }
    // The note's end: on the grid of half beats, on the beat if that is near.
    let ends = (1..interval).filter(|n| (start + n) % grid.half == 0);
    let price = |n: &i64| (*n as f64 - sounding - 0.12 * beat).abs() / beat + 0.3 * grid.weakness(start + n);
    match ends.min_by(|a, b| price(a).total_cmp(&price(b))) {
        Some(end) if interval - end >= grid.half => (end, silence < 0.7 * beat),
        _ => (interval, true),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn notes(onsets: &[f64], sound: f64) -> Vec<JottedNote> {
        let ends = onsets.iter().skip(1).copied().chain([onsets[onsets.len() - 1] + 1.0]);
        onsets
            .iter()
            .zip(ends)
            .map(|(&onset, end)| JottedNote {
                onset: Seconds(onset),
                offset: Seconds(onset + sound * (end - onset)),
                midi: 62,
                cents: 0.0,
                onset_llr: 4.0,
                passed_llr: -6.0,
            })
            .collect()
    }

    /// At 60 beats a minute a sixteenth is 0.25 s.
    #[test]
    fn plain_lengths_come_back_exactly() {
        let played = notes(&[1.0, 2.0, 2.5, 3.0, 5.0, 6.5, 7.0], 0.95);
        let rhythm = rhythm_from_notes(&played, Metre::default(), 0.25, 0);
        let starts: Vec<i64> = rhythm.notes.iter().map(|note| note.start).collect();
        assert_eq!(starts, [0, 4, 6, 8, 16, 22, 24]);
        let lengths: Vec<i64> = rhythm.notes.iter().map(|note| note.length).collect();
        assert_eq!(lengths, [4, 2, 2, 8, 6, 2, 4]);
    }

    #[test]
    fn a_player_who_is_a_tenth_faster_and_speeds_up_keeps_the_rhythm() {
        let mut time = 0.5;
        let onsets: Vec<f64> = (0..32)
            .map(|k| {
                let now = time;
                let beat = if k % 4 == 3 { 1.0 } else { 0.5 };
                time += beat * 0.9 * (1.0 - 0.003 * f64::from(k));
                now
            })
            .collect();
        let rhythm = rhythm_from_notes(&notes(&onsets, 0.9), Metre::default(), 0.25, 0);
        let steps: Vec<i64> = rhythm.notes.windows(2).map(|pair| pair[1].start - pair[0].start).collect();
        let expected: Vec<i64> = (0..31).map(|k| if k % 4 == 3 { 4 } else { 2 }).collect();
        assert_eq!(steps, expected);
    }

    #[test]
    fn a_long_silence_is_a_rest_and_a_lifted_bow_is_not() {
        // Half notes of which the second sounds only a beat; the others stop a third of a beat early.
        let mut played = notes(&[0.0, 2.0, 4.0, 6.0], 0.84);
        played[1].offset = Seconds(3.0);
        let rhythm = rhythm_from_notes(&played, Metre::default(), 0.25, 0);
        let lengths: Vec<i64> = rhythm.notes.iter().map(|note| note.length).collect();
        assert_eq!(lengths[..3], [8, 4, 8]);
    }

    #[test]
    fn a_pickup_stands_before_the_first_downbeat() {
        let rhythm = rhythm_from_notes(&notes(&[0.0, 1.0, 2.0], 0.9), Metre::default(), 0.25, -4);
        assert_eq!(rhythm.notes.iter().map(|note| note.start).collect::<Vec<_>>(), [-4, 0, 4]);
        assert_eq!(rhythm_from_notes(&[], Metre::default(), 0.25, 0).notes, vec![]);
    }

    #[test]
    fn six_eight_is_felt_in_dotted_quarters() {
        // Eighth = 0.3 s, sixteenth 0.15 s: long short long short, a dotted half.
        let onsets = [0.0, 0.6, 0.9, 1.5, 1.8];
        let rhythm = rhythm_from_notes(&notes(&onsets, 0.95), Metre::new(6, 8).unwrap(), 0.15, 0);
        assert_eq!(rhythm.notes.iter().map(|note| note.start).collect::<Vec<_>>(), [0, 4, 6, 10, 12]);
    }
}
