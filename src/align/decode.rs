//! The joint decoder: a segmental (semi-Markov) Viterbi over boundaries × position in the melody.
//!
//! A path is a chain of steps; each begins at a boundary and lasts to the next step's boundary. Inside,
//! it sounds up to a moment that is chosen best, then pauses. Every step is either a written note (at its
//! pitch or, at a price, at another) or an extra; from a step the player may go on, skip, or go back. The
//! idea of jumps to any note at small cost is T. Nakamura, E. Nakamura and Sagayama, "Real-time audio-to-score
//! alignment of music performances containing errors and arbitrary repeats and skips", IEEE/ACM TASLP 24(2),
//! 2016; ours differs in being segmental and offline, and in paying for tempo by inter-onset interval.

use super::content::{NEVER, NO_PITCH};
use super::costs::Costs;
use super::lattice::{Edge, Lattice, Target};
use super::reading::{Reading, Step, StepKind, Support};
use super::tempo::LocalTempo;
use super::written::WrittenNote;
use crate::segment::{Boundary, Evidence};

/// States this far below the best at a boundary are dropped, in nats.
const BEAM: f64 = 60.0;

/// Reads the take: the best chain of steps.
pub fn decode(
    notes: &[WrittenNote],
    boundaries: &[Boundary],
    evidence: &Evidence,
    tempo: &LocalTempo,
    costs: &Costs,
) -> Reading {
    if notes.is_empty() || boundaries.is_empty() {
        return Reading::default();
    }
    let lattice = Lattice::new(notes, boundaries, evidence, tempo, costs);
    Forward::run(&lattice).trace(&lattice)
}

/// Reads the take and asks of each written note how much worse the best other reading of it is.
pub fn decode_with_support(
    notes: &[WrittenNote],
    boundaries: &[Boundary],
    evidence: &Evidence,
    tempo: &LocalTempo,
    costs: &Costs,
) -> (Reading, Vec<Support>) {
    if notes.is_empty() || boundaries.is_empty() {
        return (Reading::default(), vec![Support::default(); notes.len()]);
    }
    let lattice = Lattice::new(notes, boundaries, evidence, tempo, costs);
    let forward = Forward::run(&lattice);
    let support = forward.support(&lattice);
    (forward.trace(&lattice), support)
}

#[derive(Clone, Copy)]
struct Back {
    from_boundary: u32,
    from_state: u32,
    /// Frame at which the previous step stopped sounding.
    until: u32,
    /// Hypothesis that the previous step sounded at.
    heard: u32,
    restart: bool,
}

const START: Back =
    Back { from_boundary: u32::MAX, from_state: 0, until: 0, heard: NO_PITCH, restart: false };

/// Best scores from the start of the take.
struct Forward {
    score: Vec<Vec<f64>>,
    back: Vec<Vec<Back>>,
    /// Best path that has stopped at a boundary, by last written note.
    hub: Vec<Vec<(f64, Back)>>,
    end: (f64, Back),
}

impl Forward {
    fn run(lattice: &Lattice<'_>) -> Self {
        let (count, states) = (lattice.boundaries.len(), lattice.states());
        let mut this = Self {
            score: vec![vec![NEVER; states]; count],
            back: vec![vec![START; states]; count],
            hub: vec![vec![(NEVER, START); lattice.notes.len()]; count],
            end: (NEVER, START),
        };
        for k in 0..count {
            for (state, price) in lattice.starts(k) {
                this.offer(k, state, price, START);
            }
            this.leave_hub(lattice, k);
            let alive = this.prune(k);
            let score = this.score[k].clone();
            lattice.edges_from(k, &alive, &mut |edge: Edge| {
                let total = score[edge.state] + edge.price;
                let back = Back {
                    from_boundary: k as u32,
                    from_state: edge.state as u32,
                    until: edge.content.until,
                    heard: edge.content.heard,
                    restart: false,
                };
                match edge.target {
                    Target::State(to, state) => this.offer(to, state, total, back),
                    Target::Hub(to, note) if total > this.hub[to][note].0 => {
                        this.hub[to][note] = (total, back)
                    }
                    Target::End if total > this.end.0 => this.end = (total, back),
                    _ => {}
                }
            });
        }
        this
    }

    fn offer(&mut self, k: usize, state: usize, score: f64, back: Back) {
        if score > self.score[k][state] {
            self.score[k][state] = score;
            self.back[k][state] = back;
        }
    }

    /// Goes back from any note to an earlier one (the same note once more is an extra note) or leaps on to one that is
    /// not the next.
    fn leave_hub(&mut self, lattice: &Lattice<'_>, k: usize) {
        // Every note that a leap is longer costs the same, so the best place to leap from is the best for all to come.
        let (mut best, mut from) = ((NEVER, START), 0);
        for m in 2..lattice.notes.len() {
            let a = m - 2;
            if self.hub[k][a].0 > best.0 - lattice.leap_note() * (a - from) as f64 {
                (best, from) = (self.hub[k][a], a);
            }
            if best.0 > NEVER {
                self.offer(k, m, best.0 + lattice.leaping(k, from, m), best.1);
            }
        }
        let mut best = (NEVER, START);
        for m in (0..lattice.notes.len()).rev() {
            if best.0 > NEVER {
                self.offer(k, m, best.0 + lattice.going_back(k, m), Back { restart: true, ..best.1 });
            }
            if self.hub[k][m].0 > best.0 {
                best = self.hub[k][m];
            }
        }
    }

    /// Drops hopeless states and lists the others.
    fn prune(&mut self, k: usize) -> Vec<usize> {
        let best = self.score[k].iter().copied().fold(NEVER, f64::max);
        let mut alive = Vec::new();
        for (s, score) in self.score[k].iter_mut().enumerate() {
            if *score > NEVER && *score >= best - BEAM {
                alive.push(s);
            } else {
                *score = NEVER;
            }
        }
        alive
    }

    fn trace(&self, lattice: &Lattice<'_>) -> Reading {
        let mut steps = Vec::new();
        let mut back = self.end.1;
        while back.from_boundary != u32::MAX {
            let (k, s) = (back.from_boundary as usize, back.from_state as usize);
            let before = self.back[k][s];
            let kind = match lattice.written(s) {
                Some(note) => StepKind::Written { note, restart: before.restart },
                None => StepKind::Extra { after: lattice.position(s) },
            };
            steps.push(Step {
                kind,
                boundary: k,
                from: lattice.frames[k],
                to: back.until as usize,
                semitone: (back.heard < NO_PITCH).then(|| lattice.evidence.lowest + back.heard as i32),
            });
            back = before;
        }
        steps.reverse();
        Reading { steps, score: self.end.0 }
    }

    /// Max-marginals: for each written note the best score of any reading in which it is right, wrong or
    /// left out. One sweep from the end of the take.
    fn support(&self, lattice: &Lattice<'_>) -> Vec<Support> {
        let n = lattice.notes.len();
        let (count, states) = (lattice.boundaries.len(), lattice.states());
        let mut to_end = vec![vec![NEVER; states]; count];
        // Best way on after stopping at a boundary, by last written note.
        let mut hub_to_end = vec![vec![NEVER; n]; count];
        let mut support = vec![Support::default(); n];
        for j in (0..count).rev() {
            let alive: Vec<usize> = (0..states).filter(|&s| self.score[j][s] > NEVER).collect();
            let mut here = vec![NEVER; states];
            let score = &self.score[j];
            lattice.edges_from(j, &alive, &mut |edge: Edge| {
                let (onward, next) = match edge.target {
                    Target::State(k, m) => (to_end[k][m], lattice.written(m)),
                    Target::Hub(k, a) => (hub_to_end[k][a], None),
                    Target::End => (0.0, Some(n)),
                };
                let rest = edge.price + onward;
                if rest <= NEVER {
                    return;
                }
                here[edge.state] = here[edge.state].max(rest);
                let total = score[edge.state] + rest;
                if let Some(w) = lattice.written(edge.state) {
                    let of = if edge.right { &mut support[w].right } else { &mut support[w].wrong };
                    *of = of.max(total);
                }
                let after = lattice.position(edge.state).map_or(0, |a| a + 1);
                if let Some(next) = next {
                    for left_out in support.iter_mut().take(next).skip(after) {
                        left_out.missing = left_out.missing.max(total);
                    }
                }
            });
            // Notes before the one that a take begins with, and notes between the two ends of a leap, are left out.
            let mut begun = vec![NEVER; n];
            for (state, price) in lattice.starts(j) {
                if let Some(m) = lattice.written(state) {
                    begun[m] = price + here[state];
                }
            }
            let leap_note = lattice.leap_note();
            let mut leapt_from = vec![NEVER; n];
            for a in 0..n.saturating_sub(1) {
                leapt_from[a + 1] = self.hub[j][a].0.max(leapt_from[a] - leap_note);
            }
            let (mut best_start, mut leapt_to) = (NEVER, NEVER);
            for w in (0..n).rev() {
                // To a note after `w`, from the one before it.
                let left_out = &mut support[w].missing;
                *left_out = left_out.max(best_start).max(leapt_from[w] + leapt_to);
                if w > 0 {
                    hub_to_end[j][w - 1] = leapt_to;
                }
                best_start = best_start.max(begun[w]);
                if w > 0 {
                    leapt_to = (leapt_to - leap_note).max(here[w] + lattice.leaping(j, w - 1, w) - leap_note);
                }
            }
            let mut best = NEVER;
            for m in 0..n {
                hub_to_end[j][m] = hub_to_end[j][m].max(best);
                best = best.max(here[m] + lattice.going_back(j, m));
            }
            to_end[j] = here;
        }
        support
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::Features;
    use crate::units::Seconds;
    use proptest::prelude::*;

    #[test]
    fn a_take_without_boundaries_and_a_sheet_without_notes_have_no_reading() {
        let evidence = Evidence {
            hop: Seconds(0.01),
            lowest: 60,
            pitch: vec![sums(&[0.0; 100])],
            other: sums(&[-0.5; 100]),
            pause: sums(&[-0.5; 100]),
            inside: sums(&[0.0; 100]),
        };
        let note = WrittenNote { event: 0, midi: 60, start: 0.0, length: 1.0, opens_bar: true, bar: 1 };
        let start = Boundary { time: Seconds(0.0), llr: 6.0, leads: true, features: Features::default() };
        let costs = Costs::default();
        for (notes, boundaries) in
            [(vec![note.clone()], vec![]), (vec![], vec![start.clone()]), (vec![], vec![])]
        {
            let tempo = LocalTempo::steady(0.5, notes.len());
            assert_eq!(decode(&notes, &boundaries, &evidence, &tempo, &costs), Reading::default());
            let (reading, support) = decode_with_support(&notes, &boundaries, &evidence, &tempo, &costs);
            assert_eq!((reading, support), (Reading::default(), vec![Support::default(); notes.len()]));
        }
        let both = decode(&[note], &[start], &evidence, &LocalTempo::steady(0.5, 1), &costs);
        assert_eq!(both.steps.len(), 1);
    }

    #[test]
    fn states_far_below_the_best_are_dropped_and_those_that_cannot_be_never_live() {
        let scores = vec![-5.0, -5.0 - BEAM, -5.1 - BEAM, NEVER];
        let mut forward = Forward {
            back: vec![vec![START; scores.len()]],
            score: vec![scores],
            hub: vec![Vec::new()],
            end: (NEVER, START),
        };
        assert_eq!(forward.prune(0), [0, 1]);
        assert_eq!(forward.score[0], [-5.0, -5.0 - BEAM, NEVER, NEVER]);
        forward.score[0].fill(NEVER);
        assert!(forward.prune(0).is_empty());
    }

    /// A reading tried by hand: what it consists of, and its price.
    #[derive(Clone, Default)]
    struct Walk {
        steps: Vec<Step>,
        price: f64,
        right: Vec<usize>,
        wrong: Vec<usize>,
        missing: Vec<usize>,
    }

    /// Every chain of steps there is, one after the other, without a table of what was best before.
    fn every_walk(lattice: &Lattice<'_>, finished: &mut impl FnMut(Walk)) {
        for k in 0..lattice.boundaries.len() {
            for (state, price) in lattice.starts(k) {
                let missing = lattice.written(state).map_or(Vec::new(), |m| (0..m).collect());
                go_on(lattice, (k, state, false), Walk { price, missing, ..Walk::default() }, finished);
            }
        }
    }

    fn go_on(
        lattice: &Lattice<'_>,
        (k, state, restart): (usize, usize, bool),
        walk: Walk,
        finished: &mut impl FnMut(Walk),
    ) {
        let mut edges = Vec::new();
        lattice.edges_from(k, &[state], &mut |edge: Edge| edges.push(edge));
        for edge in edges {
            let mut next = walk.clone();
            next.price += edge.price;
            next.steps.push(Step {
                kind: match lattice.written(state) {
                    Some(note) => StepKind::Written { note, restart },
                    None => StepKind::Extra { after: lattice.position(state) },
                },
                boundary: k,
                from: lattice.frames[k],
                to: edge.content.until as usize,
                semitone: (edge.content.heard < NO_PITCH)
                    .then(|| lattice.evidence.lowest + edge.content.heard as i32),
            });
            if let Some(note) = lattice.written(state) {
                if edge.right { &mut next.right } else { &mut next.wrong }.push(note);
            }
            let after = lattice.position(state).map_or(0, |a| a + 1);
            match edge.target {
                Target::State(to, m) => {
                    if let Some(note) = lattice.written(m) {
                        next.missing.extend(after..note);
                    }
                    go_on(lattice, (to, m, false), next, finished);
                }
                Target::Hub(to, a) => {
                    for m in 0..a {
                        let mut back = next.clone();
                        back.price += lattice.going_back(to, m);
                        go_on(lattice, (to, m, true), back, finished);
                    }
                    for m in a + 2..lattice.notes.len() {
                        let mut on = next.clone();
                        on.price += lattice.leaping(to, a, m);
                        on.missing.extend(after..m);
                        go_on(lattice, (to, m, false), on, finished);
                    }
                }
                Target::End => {
                    next.missing.extend(after..lattice.notes.len());
                    finished(next);
                }
            }
        }
    }

    /// Sums over frames that begin at 0.
    fn sums(values: &[f64]) -> Vec<f32> {
        let mut sum = 0.0;
        std::iter::once(0.0)
            .chain(values.iter().map(|value| {
                sum += value;
                sum as f32
            }))
            .collect()
    }

    fn a_case() -> impl Strategy<Value = (Vec<WrittenNote>, Vec<Boundary>, Evidence)> {
        let frames = 120;
        let values = |least: f64| proptest::collection::vec(least..0.0, frames);
        (
            proptest::collection::vec(0..3_i32, 4),
            proptest::collection::vec(-4.5..6.0_f64, 4),
            proptest::collection::vec(values(-0.6), 3),
            (values(-0.9), values(-0.9), values(-0.02)),
            proptest::collection::vec(12..30_usize, 4),
        )
            .prop_map(|(pitches, llrs, pitch, (other, pause, inside), gaps)| {
                let notes = pitches.iter().enumerate().map(|(n, semitone)| WrittenNote {
                    event: n,
                    midi: 60 + semitone,
                    start: n as f64,
                    length: 1.0,
                    opens_bar: n == 1,
                    bar: 1,
                });
                let mut at = 0;
                let boundaries = llrs.iter().zip(&gaps).map(|(llr, gap)| {
                    at += gap;
                    let time = Seconds(at as f64 * 0.01);
                    Boundary { time, llr: *llr, leads: true, features: Features::default() }
                });
                let evidence = Evidence {
                    hop: Seconds(0.01),
                    lowest: 60,
                    pitch: pitch.iter().map(|values| sums(values)).collect(),
                    other: sums(&other),
                    pause: sums(&pause),
                    inside: sums(&inside),
                };
                (notes.collect(), boundaries.collect(), evidence)
            })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn the_best_reading_and_each_support_are_those_of_all_readings_tried_one_by_one(
            (notes, boundaries, evidence) in a_case(),
        ) {
            let tempo = LocalTempo::steady(0.25, notes.len());
            // Going back and leaping on as cheap as anything, so that they are among the best readings.
            let costs = Costs { restart: 1.0, leap: 0.5, leap_note: 0.3, ..Costs::default() };
            let (reading, support) =
                decode_with_support(&notes, &boundaries, &evidence, &tempo, &costs);
            let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
            let mut best = Walk { price: NEVER, ..Walk::default() };
            let mut tried = vec![Support::default(); notes.len()];
            every_walk(&lattice, &mut |walk| {
                for (of, pick) in [
                    (&walk.right, (|s| &mut s.right) as fn(&mut Support) -> &mut f64),
                    (&walk.wrong, |s| &mut s.wrong),
                    (&walk.missing, |s| &mut s.missing),
                ] {
                    for &note in of {
                        let known = pick(&mut tried[note]);
                        *known = known.max(walk.price);
                    }
                }
                if walk.price > best.price {
                    best = walk;
                }
            });
            prop_assert!((reading.score - best.price).abs() < 1e-9, "{} {}", reading.score, best.price);
            prop_assert_eq!(&reading.steps, &best.steps);
            prop_assert_eq!(&reading, &decode(&notes, &boundaries, &evidence, &tempo, &costs));
            for (one, other) in support.iter().zip(&tried) {
                for (a, b) in
                    [(one.right, other.right), (one.wrong, other.wrong), (one.missing, other.missing)]
                {
                    prop_assert!(a == b || (a - b).abs() < 1e-9, "{one:?} {other:?}");
                }
            }
        }
    }
}
