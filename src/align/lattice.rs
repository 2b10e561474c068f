//! The lattice that a reading is a path through: states are (boundary, what begins there), edges are whole
//! steps with their price. The decoder and the audit walk the same edges.

use super::content::{
    Choice, Content, Contents, NEVER, NO_CONTENT, NO_PITCH, SAME_ONSET, best_of_all, pause_or_talk,
};
use super::costs::Costs;
use super::tempo::LocalTempo;
use super::timing_table::TimingTable;
use super::written::WrittenNote;
use crate::segment::{Boundary, Evidence, softplus};

/// From a note the player goes on to one of so many next ones; further on it is a leap.
const LONGEST_STEP_ON: usize = 5;

/// A step that fits so many nats worse than its frames can be, one by one, is not looked at, nor a longer one from the
/// same boundary: other steps read them better.
const HOPELESS: f64 = 100.0;

/// Where an edge leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Target {
    /// State `.1` begins at boundary `.0`.
    State(usize, usize),
    /// The player has stopped at boundary `.0` after written note `.1` and will go back or leap on.
    Hub(usize, usize),
    /// The take ends.
    End,
}

/// One step with its price.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    pub state: usize,
    pub target: Target,
    pub price: f64,
    pub content: Content,
    /// For a written note: whether it is at its written pitch.
    pub right: bool,
}

/// The lattice. State `n` is written note `n`; state `N` an extra before the first note; `N + 1 + n` an
/// extra after note `n`.
pub(super) struct Lattice<'a> {
    pub notes: &'a [WrittenNote],
    pub boundaries: &'a [Boundary],
    pub evidence: &'a Evidence,
    costs: &'a Costs,
    /// Frame of each boundary, then the end of the take.
    pub frames: Vec<usize>,
    /// Pause or talk, whichever fits better, summed like `evidence.pause`.
    loose: Vec<f32>,
    /// The best that each frame can be, summed likewise.
    best: Vec<f64>,
    /// `spans[a][s]`: what is expected from the onset of note `a` to that of note `a + 1 + s`.
    spans: Vec<Vec<Span>>,
    /// Logarithm of the last note's length in seconds.
    last_length: f64,
    /// Frames of each written note that are too few for it: a brush of the bow.
    brush: Vec<u32>,
    timing: TimingTable,
}

/// Logarithms of expected inter-onset intervals in seconds.
struct Span {
    full: f64,
    /// If the notes between are left out together with their time.
    closed: Option<f64>,
}

impl<'a> Lattice<'a> {
    pub fn new(
        notes: &'a [WrittenNote],
        boundaries: &'a [Boundary],
        evidence: &'a Evidence,
        tempo: &LocalTempo,
        costs: &'a Costs,
    ) -> Self {
        let mut frames: Vec<usize> = boundaries.iter().map(|b| evidence.frame(b.time)).collect();
        frames.push(evidence.pause.len() - 1);
        let loose = pause_or_talk(evidence);
        let best = best_of_all(evidence, &loose);
        let span = |a: usize, b: usize| {
            let beat = 0.5 * (tempo.at[a] + tempo.at[b]);
            let full = notes[b].start - notes[a].start;
            let without: f64 = notes[a + 1..b].iter().map(|n| n.length).sum();
            let closed = (b > a + 1 && full > without).then(|| ((full - without) * beat).ln());
            Span { full: (full * beat).ln(), closed }
        };
        let spans = (0..notes.len())
            .map(|a| (a + 1..(a + 1 + LONGEST_STEP_ON).min(notes.len())).map(|b| span(a, b)).collect())
            .collect();
        let timing = TimingTable::new(costs.timing_scale);
        let last_length =
            notes.last().zip(tempo.at.last()).map_or(0.0, |(note, beat)| (note.length * beat).ln());
        let brush = notes
            .iter()
            .zip(&tempo.at)
            .map(|(note, beat)| (costs.brush_share * note.length * beat / evidence.hop.0) as u32)
            .collect();
        Self { notes, boundaries, evidence, costs, frames, loose, best, spans, last_length, brush, timing }
    }

    pub fn states(&self) -> usize {
        2 * self.notes.len() + 1
    }

    /// The written note that state `s` is, if it is one.
    pub fn written(&self, s: usize) -> Option<usize> {
        (s < self.notes.len()).then_some(s)
    }

    /// The last written note that was played when state `s` begins or, for a written one, ends.
    pub fn position(&self, s: usize) -> Option<usize> {
        let n = self.notes.len();
        if s < n { Some(s) } else { s.checked_sub(n + 1) }
    }

    fn extra_after(&self, position: Option<usize>) -> usize {
        position.map_or(self.notes.len(), |a| self.notes.len() + 1 + a)
    }

    fn onset(&self, k: usize) -> f64 {
        -self.costs.onset * softplus(-self.boundaries[k].llr)
    }

    /// The states that a take may begin with at boundary `k`, with their prices: before it, silence or talk.
    pub fn starts(&self, k: usize) -> impl Iterator<Item = (usize, f64)> {
        let f = self.frames[k];
        let before = f64::from(self.loose[f])
            + 0.6 * self.costs.onset * f64::from(self.evidence.inside[f])
            + self.onset(k);
        let notes = (0..self.notes.len()).map(move |m| {
            let each = 2.0 + self.costs.missing * m as f64;
            (m, before - if m == 0 { 0.0 } else { each.min(self.leap_by(m + 1)) })
        });
        notes.chain(std::iter::once((self.notes.len(), before - self.costs.extra)))
    }

    /// The price of going back to note `m` at boundary `k`.
    pub fn going_back(&self, k: usize, m: usize) -> f64 {
        let ease = match m {
            0 => 3.0,
            _ if self.notes[m].opens_bar => 2.0,
            _ => 0.0,
        };
        self.onset(k) - self.costs.restart + ease
    }

    /// The price of leaving many notes out: of going on by so many notes.
    fn leap_by(&self, notes: usize) -> f64 {
        self.costs.leap + self.costs.leap_note * notes as f64
    }

    /// The price of going on from note `a` to note `m`, many notes later, at boundary `k`.
    pub fn leaping(&self, k: usize, a: usize, m: usize) -> f64 {
        self.onset(k) - self.leap_by(m - a)
    }

    /// How much of that price falls away for each note less.
    pub fn leap_note(&self) -> f64 {
        self.costs.leap_note
    }

    /// Visits every edge that leaves one of the `alive` states at boundary `j`.
    pub fn edges_from(&self, j: usize, alive: &[usize], visit: &mut impl FnMut(Edge)) {
        let evidence = self.evidence;
        let start = self.frames[j];
        let mut contents = Contents::from(start, evidence, &self.loose, self.costs);
        let last = self.frames.len() - 1;
        for k in j + 1..=last {
            let end = self.frames[k];
            if end > contents.longest && k > j + 1 && k < last {
                // The end of the take is always tried, so that it can end in silence.
                continue;
            }
            // Where both ends speak of the same onset the weaker one does not count again.
            let twice = if end <= start + SAME_ONSET && k < last {
                self.boundaries[j].llr.min(self.boundaries[k].llr).max(0.0)
            } else {
                0.0
            };
            let Some((tight, loose)) = contents.until(end, twice) else { continue };
            if k > j + 1 && loose.top[0].score < self.best[end] - self.best[start] - HOPELESS {
                break;
            }
            let between = Between {
                k,
                start: start as u32,
                log_seconds: ((end - start) as f64 * evidence.hop.0).ln(),
                tight,
                loose,
            };
            for &s in alive {
                self.edges_between(s, &between, visit);
            }
        }
    }

    fn edges_between(&self, s: usize, between: &Between<'_>, visit: &mut impl FnMut(Edge)) {
        let k = between.k;
        if k == self.boundaries.len() {
            let left = self.notes.len() - self.position(s).map_or(0, |a| a + 1);
            let stop = if left == 0 { 0.0 } else { 5.0 + 0.8 * (left as f64).min(15.0) };
            for (content, right) in self.readings(s, between.start, &between.loose) {
                visit(Edge { state: s, target: Target::End, price: content.score - stop, content, right });
            }
            return;
        }
        let position = self.position(s);
        let onset = self.onset(k);
        for (content, right) in self.readings(s, between.start, &between.tight) {
            let here = content.score + onset;
            // Go on, perhaps leaving notes out.
            let next = position.map_or(0, |a| a + 1);
            let mut skipped = 0.0;
            for m in next..(next + LONGEST_STEP_ON).min(self.notes.len()) {
                if m > next {
                    skipped += self.leaving_out(m - 1);
                }
                let timing = match self.written(s) {
                    Some(w) => self.timing(w, m, between.log_seconds),
                    None => -self.costs.after_extra,
                };
                let unheard = if self.heard_is(content, self.notes[m].midi)
                    && self.frames[k] < content.until as usize + 4
                    && self.boundaries[k].llr < self.costs.split
                {
                    self.costs.unheard_split
                } else {
                    0.0
                };
                let price = here - skipped + timing - unheard;
                visit(Edge { state: s, target: Target::State(k, m), price, content, right });
            }
            // Something that is not written: most often put in when the note before has had its time.
            let target = Target::State(k, self.extra_after(position));
            let timing = match self.written(s) {
                Some(w) if w + 1 < self.notes.len() => self.timing(w, w + 1, between.log_seconds),
                Some(_) => self.timing.at(between.log_seconds - self.last_length),
                None => 0.0,
            };
            let timing = timing.max(-self.costs.before_extra);
            let timing = if self.written(s).is_none() { timing - self.costs.extra_again } else { timing };
            visit(Edge { state: s, target, price: here - self.costs.extra + timing, content, right });
        }
        // Stop and go back: pausing first makes it likelier.
        if let Some(a) = position {
            for (content, right) in self.readings(s, between.start, &between.loose) {
                let pause =
                    self.frames[k].saturating_sub(content.until as usize) as f64 * self.evidence.hop.0;
                let halt = if pause > self.costs.halt { 0.0 } else { -self.costs.no_halt };
                let stumbled = if right { 0.0 } else { self.costs.stumbled };
                let price = content.score + halt + stumbled;
                visit(Edge { state: s, target: Target::Hub(k, a), price, content, right });
            }
        }
    }

    fn heard_is(&self, content: Content, midi: i32) -> bool {
        content.heard < NO_PITCH && content.heard as i32 + self.evidence.lowest == midi
    }

    /// The ways to hear state `s`: a written note at its pitch and at the best other one (at the price of a
    /// wrong note), an extra at its best pitch.
    fn readings(
        &self,
        s: usize,
        start: u32,
        choice: &Choice<'_>,
    ) -> impl Iterator<Item = (Content, bool)> + use<> {
        let (contents, top) = (choice.contents, choice.top);
        let (first, second) = match self.written(s) {
            Some(m) => {
                let h = usize::try_from(self.notes[m].midi - self.evidence.lowest);
                let mut right = h.ok().and_then(|h| contents.get(h)).copied().unwrap_or(NO_CONTENT);
                let mut wrong = if top[0].heard == right.heard { top[1] } else { top[0] };
                wrong.score -= self.costs.wrong;
                for way in [&mut right, &mut wrong] {
                    if way.score > NEVER && way.until - start < self.brush[m] {
                        way.score -= self.costs.brush;
                    }
                }
                ((right, true), (wrong, false))
            }
            None => ((top[0], false), (NO_CONTENT, false)),
        };
        [first, second].into_iter().filter(|(c, _)| c.score > NEVER)
    }

    fn leaving_out(&self, m: usize) -> f64 {
        if m > 0 && self.notes[m].midi == self.notes[m - 1].midi {
            self.costs.merged
        } else {
            self.costs.missing
        }
    }

    /// Log-likelihood of an inter-onset interval (logarithm of seconds) from note `a` to note `b` at the local
    /// tempo, which costs only so much however late it is. Notes between may have been left out together with their time.
    fn timing(&self, a: usize, b: usize, log_seconds: f64) -> f64 {
        let span = &self.spans[a][b - a - 1];
        let late = if log_seconds > span.full { self.costs.late } else { f64::INFINITY };
        let open = self.timing.at(log_seconds - span.full).max(-late);
        match span.closed {
            Some(closed) => open.max(self.timing.at(log_seconds - closed) - 1.0),
            None => open,
        }
    }
}

/// What lies between two boundaries.
struct Between<'a> {
    /// The later boundary.
    k: usize,
    /// Frame of the earlier one.
    start: u32,
    /// Logarithm of the time between them in seconds.
    log_seconds: f64,
    /// Contents that pause in silence.
    tight: Choice<'a>,
    /// Contents that may pause in talk.
    loose: Choice<'a>,
}

#[cfg(test)]
mod tests;
