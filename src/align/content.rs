//! What may sound from one boundary to a later one: at which pitch, up to when, and how well that fits.

use super::costs::Costs;
use crate::segment::Evidence;

/// Steps longer than this are not looked for, in seconds (notes tied over bars, a hesitation and a talk).
const LONGEST_STEP: f64 = 30.0;
/// A note lasts at least this many frames.
const SHORTEST_NOTE: usize = 6;
/// Candidates within this many frames of an onset speak of that onset: passing them over costs nothing.
pub(super) const SAME_ONSET: usize = 8;
/// Driven sound per frame before the first note, after the last one and before a restart, in nats: talk.
pub(super) const TALK_FRAME: f32 = -0.45;
/// No hypothesis: nothing sounded.
const NOTHING: u32 = u32::MAX;
/// Something without a definite pitch.
pub(super) const NO_PITCH: u32 = u32::MAX - 1;
/// The score of what cannot be.
pub(super) const NEVER: f64 = f64::NEG_INFINITY;

/// What a step contains: how well it fits, the frame up to which it sounds, the hypothesis that it sounds at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Content {
    pub score: f64,
    pub until: u32,
    pub heard: u32,
}

pub(super) const NO_CONTENT: Content = Content { score: NEVER, until: 0, heard: NOTHING };

/// Pause or talk, whichever fits better, summed like `Evidence::pause`.
pub(super) fn pause_or_talk(evidence: &Evidence) -> Vec<f32> {
    let mut sums = vec![0.0_f32; evidence.pause.len()];
    for f in 0..evidence.pause.len() - 1 {
        sums[f + 1] = sums[f] + (evidence.pause[f + 1] - evidence.pause[f]).max(TALK_FRAME);
    }
    sums
}

/// The best that each frame can be, whatever it is, summed like `Evidence::pause`: no step fits better.
pub(super) fn best_of_all(evidence: &Evidence, talk: &[f32]) -> Vec<f64> {
    let mut sums = vec![0.0; talk.len()];
    for f in 0..talk.len() - 1 {
        let of = |sums: &[f32]| sums[f + 1] - sums[f];
        let best =
            evidence.pitch.iter().map(|sums| of(sums)).fold(of(&evidence.other).max(of(talk)), f32::max);
        sums[f + 1] = sums[f] + f64::from(best);
    }
    sums
}

/// The contents of the steps that begin at one boundary, for one end after another.
pub(super) struct Contents<'a> {
    evidence: &'a Evidence,
    /// As [`pause_or_talk`] gives it.
    talk: &'a [f32],
    costs: &'a Costs,
    start: usize,
    /// The last frame that a step reaches, but for the one to the next boundary.
    pub longest: usize,
    /// The next frame to be looked at.
    frame: usize,
    /// Running best of (sounding − pausing) and its frame, per hypothesis.
    strict: Vec<(f64, u32)>,
    /// The same with talk in the pause.
    relaxed: Vec<(f64, u32)>,
    tight: Vec<Content>,
    loose: Vec<Content>,
}

impl<'a> Contents<'a> {
    /// Of the steps that begin at a frame.
    pub fn from(start: usize, evidence: &'a Evidence, talk: &'a [f32], costs: &'a Costs) -> Self {
        let hypotheses = evidence.pitch.len() + 1;
        Self {
            evidence,
            talk,
            costs,
            start,
            longest: start + (LONGEST_STEP / evidence.hop.0) as usize,
            frame: start + SHORTEST_NOTE,
            strict: vec![(NEVER, 0); hypotheses],
            relaxed: vec![(NEVER, 0); hypotheses],
            tight: vec![NO_CONTENT; hypotheses],
            loose: vec![NO_CONTENT; hypotheses],
        }
    }

    /// Sums of the evidence for a hypothesis; the last one is that of no definite pitch.
    fn sums(&self, hypothesis: usize) -> &'a [f32] {
        self.evidence.pitch.get(hypothesis).unwrap_or(&self.evidence.other)
    }

    /// The first frame after those that speak of the step's own onset.
    fn first_passed(&self) -> usize {
        (self.start + SAME_ONSET + 1).min(self.evidence.inside.len() - 1)
    }

    /// The contents that pause in silence and those that may pause in talk, of a step up to frame `end`, or nothing
    /// where it is too short for a note. Ends must rise. `twice` is onset evidence (log odds) that both ends count.
    pub fn until(&mut self, end: usize, twice: f64) -> Option<(Choice<'_>, Choice<'_>)> {
        let (evidence, costs) = (self.evidence, self.costs);
        let hypotheses = evidence.pitch.len();
        // Onsets passed over cost this much wherever they are, and that much more while the note sounds.
        let in_pause = costs.onset * costs.onset_in_pause;
        let in_note = costs.onset - in_pause;
        while self.frame <= end.min(self.longest) {
            let pause = f64::from(evidence.pause[self.frame]);
            let talk = f64::from(self.talk[self.frame]);
            // Up to here onsets are passed over; of the step's own onset none is.
            let sounding = self.frame.saturating_sub(SAME_ONSET).max(self.first_passed());
            let shift = in_note * f64::from(evidence.inside[sounding]);
            for h in 0..=hypotheses {
                let sound = f64::from(self.sums(h)[self.frame]) + shift;
                if sound - pause > self.strict[h].0 {
                    self.strict[h] = (sound - pause, self.frame as u32);
                }
                if sound - talk > self.relaxed[h].0 {
                    self.relaxed[h] = (sound - talk, self.frame as u32);
                }
            }
            self.frame += 1;
        }
        if end < self.start + SHORTEST_NOTE {
            return None;
        }
        let pause = f64::from(evidence.pause[end]);
        let talk = f64::from(self.talk[end]);
        let from = self.first_passed();
        let to = end.saturating_sub(SAME_ONSET).max(from);
        let passed = f64::from(evidence.inside[from]);
        let inside =
            in_pause * (f64::from(evidence.inside[to]) - passed) - in_note * passed - costs.onset * twice;
        for h in 0..=hypotheses {
            let own = f64::from(self.sums(h)[self.start]);
            let heard = if h < hypotheses { h as u32 } else { NO_PITCH };
            let content = |(best, until): (f64, u32), rest: f64| Content {
                score: best + rest - own + inside,
                until,
                heard,
            };
            let strict = content(self.strict[h], pause);
            let with_talk = content(self.relaxed[h], talk);
            self.loose[h] = with_talk;
            self.tight[h] = if with_talk.score - costs.talk > strict.score {
                Content { score: with_talk.score - costs.talk, ..with_talk }
            } else {
                strict
            };
        }
        Some((Choice::new(&self.tight), Choice::new(&self.loose)))
    }
}

/// The contents of a step by hypothesis, and the best two of them.
pub(super) struct Choice<'a> {
    pub contents: &'a [Content],
    pub top: [Content; 2],
}

impl<'a> Choice<'a> {
    fn new(contents: &'a [Content]) -> Self {
        let mut top = [NO_CONTENT; 2];
        for &c in contents {
            if c.score > top[0].score {
                top = [c, top[0]];
            } else if c.score > top[1].score {
                top[1] = c;
            }
        }
        Self { contents, top }
    }
}
