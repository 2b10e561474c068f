//! One pitch a frame from the candidates of all frames: the cheapest path (Viterbi).

use super::contour::{Frame, MOST_CANDIDATES};

/// Candidates and, last, "no pitch".
const STATES: usize = MOST_CANDIDATES + 1;
/// What "no pitch" scores in a frame; a candidate must be stronger than this to be worth voicing. Eight kinds
/// of noise, a minute each, stay unvoiced down to 0.36 with every instrument's settings.
const UNVOICED_STRENGTH: f32 = 0.44;
/// The cost of beginning or ending a voiced stretch.
const SWITCH: f32 = 0.3;
/// The cost of an octave's leap, and the most that any leap costs.
const LEAP: f32 = 0.7;

/// The search, frame by frame.
pub(super) struct Path {
    score: [f32; STATES],
    pitch: [f32; STATES],
    back: Vec<[u8; STATES]>,
}

impl Path {
    pub(super) fn with_capacity(frames: usize) -> Self {
        Self { score: [0.0; STATES], pitch: [0.0; STATES], back: Vec::with_capacity(frames) }
    }

    pub(super) fn reset(&mut self) {
        self.back.clear();
        self.score = [f32::NEG_INFINITY; STATES];
        self.score[MOST_CANDIDATES] = 0.0;
        self.pitch = [0.0; STATES];
    }

    pub(super) fn step(&mut self, frame: &Frame) {
        let mut score = [f32::NEG_INFINITY; STATES];
        let mut pitch = [0.0; STATES];
        let mut back = [MOST_CANDIDATES as u8; STATES];
        for state in 0..STATES {
            let local = if state == MOST_CANDIDATES {
                UNVOICED_STRENGTH
            } else if let Some(one) = frame.candidates[state] {
                pitch[state] = one.pitch.0.log2() as f32;
                one.strength
            } else {
                continue;
            };
            for from in 0..STATES {
                let cost = match (from == MOST_CANDIDATES, state == MOST_CANDIDATES) {
                    (true, true) => 0.0,
                    (true, false) | (false, true) => SWITCH,
                    (false, false) => (LEAP * (self.pitch[from] - pitch[state]).abs()).min(LEAP),
                };
                let total = self.score[from] - cost + local;
                if total > score[state] {
                    score[state] = total;
                    back[state] = from as u8;
                }
            }
        }
        // Scores stay small however long the take.
        let top = score.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        self.score = score.map(|one| one - top);
        self.pitch = pitch;
        self.back.push(back);
    }

    /// The state of the newest frame on the best path so far; `None` is "no pitch".
    pub(super) fn best_now(&self) -> Option<usize> {
        let best = (0..STATES).max_by(|&a, &b| self.score[a].total_cmp(&self.score[b]))?;
        (best < MOST_CANDIDATES).then_some(best)
    }

    /// The best path, a state a frame.
    pub(super) fn best(&self) -> Vec<Option<usize>> {
        let mut state = self.best_now().unwrap_or(MOST_CANDIDATES);
        let mut states = vec![None; self.back.len()];
        for (slot, back) in states.iter_mut().zip(&self.back).rev() {
            *slot = (state < MOST_CANDIDATES).then_some(state);
            state = usize::from(back[state]);
        }
        states
    }
}
