//! The joint decoder: a segmental (semi-Markov) Viterbi over boundaries × position in the melody.
//!
//! A path is a chain of steps; each begins at a boundary and lasts to the next step's boundary. Inside,
//! it sounds up to a moment that is chosen best, then pauses. Every step is either a written note (at its
//! pitch or, at a price, at another) or an extra; from a step the player may go on, skip, or go back. The
//! idea of jumps to any note at small cost is T. Nakamura, E. Nakamura and Sagayama, "Real-time audio-to-score
//! alignment of music performances containing errors and arbitrary repeats and skips", IEEE/ACM TASLP 24(2),
//! 2016; ours differs in being segmental and offline, and in paying for tempo by inter-onset interval.

use super::reading::{Reading, Step, StepKind};
use super::tempo::LocalTempo;
use super::written::WrittenNote;
use crate::segment::{Boundary, Evidence, softplus};

/// Prices of a reading in nats (natural logarithm; about: how many times e less likely).
#[derive(Debug, Clone, PartialEq)]
pub struct Costs {
    /// Another pitch than the written one. At most 3.5, so that the melody cannot outshout the sound.
    pub wrong: f64,
    /// A written note left out.
    pub missing: f64,
    /// A written note left out that has the pitch of the one before: one long bow for two.
    pub merged: f64,
    /// A note that is not written.
    pub extra: f64,
    /// Going back.
    pub restart: f64,
    /// Scale of the logarithm of played over expected inter-onset interval.
    pub timing_scale: f64,
    /// Least onset evidence (log odds, melody unseen) for two notes of one pitch without a pause between.
    pub split: f64,
    /// What a split with less evidence costs.
    pub unheard_split: f64,
    /// Noise or talk in a pause inside the melody.
    pub talk: f64,
}

impl Default for Costs {
    fn default() -> Self {
        Self {
            wrong: 3.5,
            missing: 5.0,
            merged: 3.5,
            extra: 4.5,
            restart: 7.0,
            timing_scale: 0.16,
            split: -1.0,
            unheard_split: 6.0,
            talk: 6.0,
        }
    }
}

/// Steps longer than this are not looked for, in seconds (a whole note, a hesitation and a talk).
const LONGEST_STEP: f64 = 15.0;
/// A note lasts at least this many frames.
const SHORTEST_NOTE: usize = 4;
/// States this far below the best at a boundary are dropped.
const BEAM: f64 = 90.0;
/// Driven sound per frame before the first note, after the last one and before a restart, in nats: talk.
const TALK_FRAME: f64 = -0.45;

const NONE: f64 = f64::NEG_INFINITY;

#[derive(Clone, Copy)]
struct Back {
    from_boundary: u32,
    from_state: u32,
    /// Frame at which the previous step stopped sounding.
    until: u32,
    /// Hypothesis of the previous step (index; `u32::MAX` for none, `u32::MAX - 1` for no definite pitch).
    heard: u32,
    restart: bool,
}

const START: Back = Back { from_boundary: u32::MAX, from_state: 0, until: 0, heard: u32::MAX, restart: false };
const OTHER: u32 = u32::MAX - 1;

/// Reads the take: the best chain of steps. With `flat` the written pitch is not preferred at all.
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
    Decoder::new(notes, boundaries, evidence, tempo, costs).run()
}

struct Decoder<'a> {
    notes: &'a [WrittenNote],
    boundaries: &'a [Boundary],
    evidence: &'a Evidence,
    tempo: &'a LocalTempo,
    costs: &'a Costs,
    /// Frame of each boundary, then the end of the take.
    frames: Vec<usize>,
    /// Pause or talk, whichever fits better, summed like `evidence.pause`.
    loose: Vec<f32>,
    /// score[k][state]: state n is written note n beginning at boundary k; state N + 1 + n an extra after
    /// written note n, N an extra before the first.
    score: Vec<Vec<f64>>,
    back: Vec<Vec<Back>>,
    /// Best path that has ended its step at a boundary, by last written note: for restarts.
    hub: Vec<Vec<(f64, Back)>>,
    end: (f64, Back),
}

/// The content of a step from a boundary to a later one, for one hypothesis.
#[derive(Clone, Copy)]
struct Content {
    score: f64,
    until: u32,
    heard: u32,
}

const NO_CONTENT: Content = Content { score: NONE, until: 0, heard: u32::MAX };

impl<'a> Decoder<'a> {
    fn new(
        notes: &'a [WrittenNote],
        boundaries: &'a [Boundary],
        evidence: &'a Evidence,
        tempo: &'a LocalTempo,
        costs: &'a Costs,
    ) -> Self {
        let mut frames: Vec<usize> = boundaries.iter().map(|b| evidence.frame(b.time)).collect();
        frames.push(evidence.pause.len() - 1);
        let states = 2 * notes.len() + 1;
        let mut loose = vec![0.0_f32; evidence.pause.len()];
        for f in 0..evidence.pause.len() - 1 {
            loose[f + 1] = loose[f] + (evidence.pause[f + 1] - evidence.pause[f]).max(TALK_FRAME as f32);
        }
        Self {
            notes,
            boundaries,
            evidence,
            tempo,
            costs,
            score: vec![vec![NONE; states]; boundaries.len()],
            back: vec![vec![START; states]; boundaries.len()],
            hub: vec![vec![(NONE, START); notes.len()]; boundaries.len()],
            frames,
            loose,
            end: (NONE, START),
        }
    }

    fn run(mut self) -> Reading {
        let n = self.notes.len();
        for k in 0..self.boundaries.len() {
            self.start_at(k);
            self.leave_hub(k);
            let best = self.score[k].iter().copied().fold(NONE, f64::max);
            if best == NONE {
                continue;
            }
            for s in 0..2 * n + 1 {
                if self.score[k][s] < best - BEAM {
                    self.score[k][s] = NONE;
                }
            }
            self.relax_from(k);
        }
        self.trace()
    }

    fn onset(&self, k: usize) -> f64 {
        -softplus(-self.boundaries[k].llr)
    }

    /// The take may begin anywhere; what came before is silence or talk.
    fn start_at(&mut self, k: usize) {
        let before = f64::from(self.loose[self.frames[k]]) + 0.6 * f64::from(self.evidence.inside[self.frames[k]]);
        let onset = self.onset(k);
        let n = self.notes.len();
        for m in 0..n.min(12) {
            let late = if m == 0 { 0.0 } else { 2.0 + self.costs.missing * m as f64 };
            self.offer(k, m, before + onset - late, START);
        }
        self.offer(k, n, before + onset - self.costs.extra, START);
    }

    fn offer(&mut self, k: usize, state: usize, score: f64, back: Back) {
        if score > self.score[k][state] {
            self.score[k][state] = score;
            self.back[k][state] = back;
        }
    }

    /// Goes back from any note to an earlier one (or to itself).
    fn leave_hub(&mut self, k: usize) {
        let onset = self.onset(k);
        let mut best = (NONE, START);
        for m in (0..self.notes.len()).rev() {
            let here = self.hub[k][m];
            if here.0 > best.0 {
                best = here;
            }
            if best.0 == NONE {
                continue;
            }
            let ease = if m == 0 {
                3.0
            } else if self.notes[m].opens_bar {
                2.0
            } else {
                0.0
            };
            let score = best.0 + onset - self.costs.restart + ease;
            self.offer(k, m, score, Back { restart: true, ..best.1 });
        }
    }

    fn relax_from(&mut self, j: usize) {
        let hypotheses = self.evidence.pitch.len();
        let start = self.frames[j];
        let n = self.notes.len();
        let alive: Vec<usize> = (0..2 * n + 1).filter(|&s| self.score[j][s] > NONE).collect();
        // Running best of (sounding − pausing) up to each later boundary, per hypothesis.
        let mut strict = vec![(NONE, 0_u32); hypotheses + 1];
        let mut relaxed = vec![(NONE, 0_u32); hypotheses + 1];
        let longest = start + (LONGEST_STEP / self.evidence.hop.0) as usize;
        let mut frame = start + SHORTEST_NOTE;
        let mut contents = vec![NO_CONTENT; hypotheses + 1];
        let mut loose_contents = vec![NO_CONTENT; hypotheses + 1];
        for k in j + 1..self.frames.len() {
            let end = self.frames[k];
            if end > longest && k > j + 1 && k < self.frames.len() - 1 {
                // The end of the take is always tried, so that it can end in silence.
                continue;
            }
            while frame <= end.min(longest) {
                let pause = f64::from(self.evidence.pause[frame]);
                let loose = f64::from(self.loose[frame]);
                let shift = 0.4 * f64::from(self.evidence.inside[frame]);
                for h in 0..=hypotheses {
                    let sums =
                        if h < hypotheses { &self.evidence.pitch[h] } else { &self.evidence.other };
                    let sound = f64::from(sums[frame]) + shift;
                    if sound - pause > strict[h].0 {
                        strict[h] = (sound - pause, frame as u32);
                    }
                    if sound - loose > relaxed[h].0 {
                        relaxed[h] = (sound - loose, frame as u32);
                    }
                }
                frame += 1;
            }
            if end < start + SHORTEST_NOTE {
                continue;
            }
            let pause = f64::from(self.evidence.pause[end]);
            let loose = f64::from(self.loose[end]);
            let after_own = (start + 1).min(self.evidence.inside.len() - 1);
            let inside = 0.6 * f64::from(self.evidence.inside[end] - self.evidence.inside[after_own])
                - 0.4 * f64::from(self.evidence.inside[after_own]);
            for h in 0..=hypotheses {
                let sums = if h < hypotheses { &self.evidence.pitch[h] } else { &self.evidence.other };
                let own = f64::from(sums[start]);
                let heard = if h < hypotheses { h as u32 } else { OTHER };
                let tight =
                    Content { score: strict[h].0 + pause - own + inside, until: strict[h].1, heard };
                let talk =
                    Content { score: relaxed[h].0 + loose - own + inside, until: relaxed[h].1, heard };
                loose_contents[h] = talk;
                contents[h] = if talk.score - self.costs.talk > tight.score {
                    Content { score: talk.score - self.costs.talk, ..talk }
                } else {
                    tight
                };
            }
            self.relax(j, k, &alive, &contents, &loose_contents);
        }
    }

    fn relax(&mut self, j: usize, k: usize, alive: &[usize], contents: &[Content], loose: &[Content]) {
        let n = self.notes.len();
        let top = top_two(contents);
        let top_loose = top_two(loose);
        let last = k == self.boundaries.len();
        for &s in alive {
            let score = self.score[j][s];
            let written = (s < n).then_some(s);
            let choose = |contents: &[Content], top: &[Content; 2]| match written {
                Some(m) => self.as_written(m, contents, top),
                None => top[0],
            };
            let relaxed = choose(loose, &top_loose);
            let after = if s < n { Some(s) } else { (s > n).then(|| s - n - 1) };
            let back = |c: Content, restart| Back {
                from_boundary: j as u32,
                from_state: s as u32,
                until: c.until,
                heard: c.heard,
                restart,
            };
            if last {
                let left = n - after.map_or(0, |a| a + 1);
                let stop = if left == 0 { 0.0 } else { 5.0 + 0.8 * (left as f64).min(15.0) };
                let total = score + relaxed.score - stop;
                if total > self.end.0 {
                    self.end = (total, back(relaxed, false));
                }
                continue;
            }
            let content = choose(contents, &top);
            let onset = self.onset(k);
            let here = score + content.score + onset;
            // Go on, perhaps leaving notes out.
            let next = after.map_or(0, |a| a + 1);
            let mut skipped = 0.0;
            for m in next..(next + 5).min(n) {
                if m > next {
                    skipped += self.price_of_leaving_out(m - 1);
                }
                let timing = match written {
                    Some(w) => self.timing(w, m, self.frames[k] - self.frames[j]),
                    None => -1.2,
                };
                let unheard = if content.heard as i32 + self.evidence.lowest == self.notes[m].midi
                    && self.frames[k] < content.until as usize + 4
                    && self.boundaries[k].llr < self.costs.split
                {
                    self.costs.unheard_split
                } else {
                    0.0
                };
                self.offer(k, m, here - skipped + timing - unheard, back(content, false));
            }
            // Something that is not written.
            let extra = after.map_or(n, |a| n + 1 + a);
            self.offer(k, extra, here - self.costs.extra, back(content, false));
            // Stop and go back: pausing first makes it likelier.
            if let Some(a) = after {
                let pause = (self.frames[k].saturating_sub(relaxed.until as usize)) as f64 * self.evidence.hop.0;
                let halt = if pause > 0.4 { 0.0 } else { -1.5 };
                let total = score + relaxed.score + halt;
                if total > self.hub[k][a].0 {
                    self.hub[k][a] = (total, back(relaxed, false));
                }
            }
        }
    }

    /// The best content for a written note: at its pitch, or at another for the price of a wrong note.
    fn as_written(&self, m: usize, contents: &[Content], top: &[Content; 2]) -> Content {
        let h = self.notes[m].midi - self.evidence.lowest;
        let right = usize::try_from(h).ok().and_then(|h| contents.get(h)).copied().unwrap_or(NO_CONTENT);
        let mut wrong = if top[0].heard == right.heard { top[1] } else { top[0] };
        wrong.score -= self.costs.wrong;
        if right.score >= wrong.score { right } else { wrong }
    }

    fn price_of_leaving_out(&self, m: usize) -> f64 {
        if m > 0 && self.notes[m].midi == self.notes[m - 1].midi {
            self.costs.merged
        } else {
            self.costs.missing
        }
    }

    /// Log-likelihood of the inter-onset interval from note `a` to note `b` (in frames) at the local tempo.
    /// Notes between may have been left out together with their time.
    fn timing(&self, a: usize, b: usize, frames: usize) -> f64 {
        let seconds = frames as f64 * self.evidence.hop.0;
        let beat = 0.5 * (self.tempo.at[a] + self.tempo.at[b]);
        let full = (self.notes[b].start - self.notes[a].start) * beat;
        let mut best = self.interval(seconds / full);
        if b > a + 1 {
            let closed = full - self.notes[a + 1..b].iter().map(|n| n.length).sum::<f64>() * beat;
            best = best.max(self.interval(seconds / closed) - 1.0);
        }
        best
    }

    fn interval(&self, ratio: f64) -> f64 {
        let x = ratio.ln() / self.costs.timing_scale;
        -2.0 * (1.0 + x * x / 3.0).ln()
    }

    fn trace(self) -> Reading {
        let n = self.notes.len();
        let mut steps = Vec::new();
        let mut back = self.end.1;
        let mut to_restart;
        while back.from_boundary != u32::MAX {
            let (k, s) = (back.from_boundary as usize, back.from_state as usize);
            let before = self.back[k][s];
            to_restart = before.restart;
            let kind = if s < n {
                StepKind::Written { note: s, restart: to_restart }
            } else {
                StepKind::Extra { after: (s > n).then(|| s - n - 1) }
            };
            steps.push(Step {
                kind,
                boundary: k,
                from: self.frames[k],
                to: back.until as usize,
                semitone: (back.heard < OTHER).then(|| self.evidence.lowest + back.heard as i32),
            });
            back = before;
        }
        steps.reverse();
        Reading { steps, score: self.end.0 }
    }
}

fn top_two(contents: &[Content]) -> [Content; 2] {
    let mut top = [NO_CONTENT; 2];
    for &c in contents {
        if c.score > top[0].score {
            top = [c, top[0]];
        } else if c.score > top[1].score {
            top[1] = c;
        }
    }
    top
}
