//! The lattice that a reading is a path through: states are (boundary, what begins there), edges are whole
//! steps with their price. The decoder and the audit walk the same edges.

use super::content::{Choice, Content, Contents, NEVER, NO_CONTENT, NO_PITCH, SAME_ONSET, pause_or_talk};
use super::costs::Costs;
use super::tempo::LocalTempo;
use super::timing_table::TimingTable;
use super::written::WrittenNote;
use crate::segment::{Boundary, Evidence, softplus};

/// At most this many written notes are left out in one go.
const LONGEST_SKIP: usize = 5;
/// A take may begin with this note at the latest.
const LATEST_START: usize = 12;

/// Where an edge leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Target {
    /// State `.1` begins at boundary `.0`.
    State(usize, usize),
    /// The player has stopped at boundary `.0` after written note `.1` and will go back.
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
        let span = |a: usize, b: usize| {
            let beat = 0.5 * (tempo.at[a] + tempo.at[b]);
            let full = notes[b].start - notes[a].start;
            let without: f64 = notes[a + 1..b].iter().map(|n| n.length).sum();
            let closed = (b > a + 1 && full > without).then(|| ((full - without) * beat).ln());
            Span { full: (full * beat).ln(), closed }
        };
        let spans = (0..notes.len())
            .map(|a| (a + 1..(a + 1 + LONGEST_SKIP).min(notes.len())).map(|b| span(a, b)).collect())
            .collect();
        let timing = TimingTable::new(costs.timing_scale);
        let last_length =
            notes.last().zip(tempo.at.last()).map_or(0.0, |(note, beat)| (note.length * beat).ln());
        let brush = notes
            .iter()
            .zip(&tempo.at)
            .map(|(note, beat)| (costs.brush_share * note.length * beat / evidence.hop.0) as u32)
            .collect();
        Self { notes, boundaries, evidence, costs, frames, loose, spans, last_length, brush, timing }
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
        let notes = (0..self.notes.len().min(LATEST_START)).map(move |m| {
            let late = if m == 0 { 0.0 } else { 2.0 + self.costs.missing * m as f64 };
            (m, before - late)
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
            for m in next..(next + LONGEST_SKIP).min(self.notes.len()) {
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
    /// tempo. Notes between may have been left out together with their time.
    fn timing(&self, a: usize, b: usize, log_seconds: f64) -> f64 {
        let span = &self.spans[a][b - a - 1];
        let open = self.timing.at(log_seconds - span.full);
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
mod tests {
    use super::*;
    use crate::align::content::TALK_FRAME;
    use crate::segment::Features;
    use crate::units::Seconds;

    const BEAT: f64 = 0.5;

    fn notes(midi: &[i32]) -> Vec<WrittenNote> {
        let note = |(n, midi): (usize, &i32)| WrittenNote {
            event: n,
            midi: *midi,
            start: n as f64,
            length: 1.0,
            opens_bar: n == 2,
            bar: 1,
        };
        midi.iter().enumerate().map(note).collect()
    }

    fn boundaries(places: &[(f64, f64)]) -> Vec<Boundary> {
        let boundary = |&(time, llr): &(f64, f64)| Boundary {
            time: Seconds(time),
            llr,
            leads: true,
            features: Features::default(),
        };
        places.iter().map(boundary).collect()
    }

    /// Three seconds that fit semitone 60 perfectly, and nothing else at all.
    fn of_one_pitch() -> Evidence {
        let sums = |value: f32| (0..=300).map(|frame| value * frame as f32).collect::<Vec<f32>>();
        Evidence {
            hop: Seconds(0.01),
            lowest: 60,
            pitch: vec![sums(0.0), sums(-1.0), sums(-1.0)],
            other: sums(-0.8),
            pause: sums(-1.0),
            inside: sums(0.0),
        }
    }

    /// What is done with the lattice of some notes and boundaries over one pitch.
    fn with<T>(midi: &[i32], places: &[(f64, f64)], ask: impl FnOnce(&Lattice<'_>) -> T) -> T {
        let (notes, boundaries, evidence) = (notes(midi), boundaries(places), of_one_pitch());
        let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
        ask(&Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs))
    }

    /// The price of going on from written note 0 at boundary 0 to a state at boundary 1, heard rightly.
    fn first_step(lattice: &Lattice<'_>, state: usize) -> f64 {
        let mut found = NEVER;
        lattice.edges_from(0, &[0], &mut |edge: Edge| {
            if edge.target == Target::State(1, state) && edge.right {
                found = edge.price;
            }
        });
        found
    }

    /// The same over one pitch, for these notes and this second boundary.
    fn price(midi: &[i32], second: (f64, f64), state: usize) -> f64 {
        with(midi, &[(0.0, 6.0), second], |lattice| first_step(lattice, state))
    }

    #[test]
    fn a_second_note_of_one_pitch_left_out_is_one_long_bow_and_any_other_is_missing() {
        with(&[60, 60, 62], &[], |lattice| {
            let costs = Costs::default();
            let left_out = [0, 1, 2].map(|m| lattice.leaving_out(m));
            assert_eq!(left_out, [costs.missing, costs.merged, costs.missing]);
        });
    }

    #[test]
    fn an_interval_as_written_is_free_and_another_costs_by_its_ratio_either_way() {
        with(&[60, 62, 64], &[], |lattice| {
            let scale = Costs::default().timing_scale;
            assert_eq!(lattice.timing(0, 1, BEAT.ln()), 0.0);
            for ratio in [scale, -scale] {
                // Student's t with three degrees of freedom at one unit of scale.
                let wanted = -2.0 * (4.0_f64 / 3.0).ln();
                assert!((lattice.timing(0, 1, BEAT.ln() + ratio) - wanted).abs() < 0.02);
            }
            // With the note between left out: in its time, or for one nat more without it.
            assert_eq!(lattice.timing(0, 2, (2.0 * BEAT).ln()), 0.0);
            assert_eq!(lattice.timing(0, 2, BEAT.ln()), -1.0);
            // However long it takes, no more than the table's last.
            assert_eq!(lattice.timing(0, 1, 50.0), lattice.timing(0, 1, 60.0));
        });
    }

    #[test]
    fn what_was_heard_is_a_note_only_at_its_own_pitch() {
        with(&[60, 62], &[], |lattice| {
            let heard = |heard: u32| Content { score: 0.0, until: 10, heard };
            assert!(lattice.heard_is(heard(2), 62) && !lattice.heard_is(heard(2), 61));
            assert!(lattice.heard_is(heard(0), 60) && !lattice.heard_is(heard(0), 0));
            assert!(!lattice.heard_is(heard(NO_PITCH), 60) && !lattice.heard_is(NO_CONTENT, 60));
        });
    }

    #[test]
    fn a_note_that_goes_on_as_two_pays_where_no_onset_was_heard() {
        let costs = Costs::default();
        // Only the evidence of the onset and the extra price differ.
        let onset = |llr: f64| -costs.onset * softplus(-llr);
        let (above, below) = (costs.split + 0.1, costs.split - 0.1);
        let two = |llr: f64| price(&[60, 60], (0.5, llr), 1) - onset(llr);
        assert!((two(above) - two(below) - costs.unheard_split).abs() < 1e-9);
        // A note of another pitch has a beginning to be heard, and pays nothing.
        let other = |llr: f64| price(&[60, 62], (0.5, llr), 1) - onset(llr);
        assert!((other(above) - other(below)).abs() < 1e-9);
    }

    #[test]
    fn an_extra_note_is_cheapest_when_the_note_before_has_had_its_time() {
        let costs = Costs::default();
        let after_first = 2 + 1;
        let extra = |time: f64| price(&[60, 62], (time, 0.0), after_first);
        let onset = -costs.onset * softplus(0.0);
        assert!((extra(BEAT) - (onset - costs.extra)).abs() < 1e-6, "{}", extra(BEAT));
        assert!((extra(1.5 * BEAT) - extra(BEAT)) < -1.0);
        assert!((extra(4.0 * BEAT) - (onset - costs.extra - costs.before_extra)).abs() < 1e-6);
        // After the last note its written length tells when.
        let last = |time: f64| price(&[60], (time, 0.0), 2);
        assert!((last(BEAT) - (onset - costs.extra)).abs() < 1e-6, "{}", last(BEAT));
        assert!((last(4.0 * BEAT) - (onset - costs.extra - costs.before_extra)).abs() < 1e-6);
    }

    #[test]
    fn a_second_extra_note_in_a_row_costs_more_than_the_first() {
        let evidence = of_one_pitch();
        let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.0, 6.0), (BEAT, 0.0)]));
        let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
        let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
        let after_first = 2 + 1;
        let step = |from: usize, to: usize| {
            let mut found = NEVER;
            lattice.edges_from(0, &[from], &mut |edge: Edge| {
                if edge.target == Target::State(1, to) {
                    found = f64::max(found, edge.price);
                }
            });
            found
        };
        let (one, two) = (step(0, after_first), step(after_first, after_first));
        assert!((one - two - costs.extra_again).abs() < 1e-6, "{one} {two}");
    }

    #[test]
    fn a_note_that_sounds_for_less_than_a_quarter_of_its_length_is_brushed_and_pays() {
        // Two seconds to the next note, of which so many frames sound; a note of half a second.
        let sounding = |frames: usize| {
            let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.5, 6.0), (2.5, 6.0)]));
            let sums = |before: f32, after: f32| {
                let stops = 50 + frames;
                (0..=300_usize)
                    .map(move |f| before * f.min(stops) as f32 + after * f.saturating_sub(stops) as f32)
            };
            let evidence = Evidence {
                pitch: vec![sums(0.0, -1.0).collect(), sums(-1.0, -1.0).collect()],
                other: sums(-0.8, -1.0).collect(),
                pause: sums(-1.0, 0.0).collect(),
                ..of_one_pitch()
            };
            let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
            first_step(&Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs), 1)
        };
        // An eighth of a second: twelve frames are enough.
        assert!((sounding(12) - sounding(11) - Costs::default().brush).abs() < 1e-6);
        assert!((sounding(12) - sounding(50)).abs() < 1e-6);
    }

    #[test]
    fn a_player_goes_back_after_a_halt_and_sooner_after_a_stumble() {
        // The price of stopping after written note 0, which sounds for a second at its pitch or at another one, then
        // a silence of so many frames.
        let stopping = |silence: usize, right: bool| {
            let (notes, end) = (notes(&[60, 62]), 100 + silence);
            let boundaries = boundaries(&[(0.0, 6.0), (end as f64 * 0.01, 6.0)]);
            let sums = |before: f32, after: f32| {
                (0..=300_usize)
                    .map(move |f| before * f.min(100) as f32 + after * f.saturating_sub(100) as f32)
            };
            let (own, other) = if right { (0.0, -0.5) } else { (-0.5, 0.0) };
            let evidence = Evidence {
                pitch: vec![sums(own, -1.0).collect(), sums(other, -1.0).collect()],
                other: sums(-0.8, -1.0).collect(),
                pause: sums(-1.0, 0.0).collect(),
                ..of_one_pitch()
            };
            let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
            let mut found = NEVER;
            Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs).edges_from(0, &[0], &mut |edge| {
                if edge.target == Target::Hub(1, 0) && edge.right == right {
                    found = edge.price;
                }
            });
            found
        };
        let costs = Costs::default();
        assert!((stopping(21, true) - stopping(20, true) - costs.no_halt).abs() < 1e-6);
        assert_eq!(stopping(20, true), stopping(0, true));
        assert_eq!(stopping(21, true), stopping(150, true));
        assert!((stopping(50, false) - stopping(50, true) - (costs.stumbled - costs.wrong)).abs() < 1e-6);
    }

    /// All edges that leave a state at a boundary.
    fn edges(lattice: &Lattice<'_>, boundary: usize, state: usize) -> Vec<Edge> {
        let mut found = Vec::new();
        lattice.edges_from(boundary, &[state], &mut |edge: Edge| found.push(edge));
        found
    }

    /// The best price of going from a state at a boundary to a target.
    fn best(lattice: &Lattice<'_>, boundary: usize, state: usize, target: Target) -> f64 {
        let to = edges(lattice, boundary, state).into_iter().filter(|edge| edge.target == target);
        to.map(|edge| edge.price).fold(NEVER, f64::max)
    }

    #[test]
    fn stopping_before_the_end_of_the_sheet_costs_five_and_eight_tenths_for_each_note_left() {
        with(&[60; 20], &[(0.0, 6.0)], |lattice| {
            let stop = |state: usize| best(lattice, 0, state, Target::End);
            let after = |position: usize| 20 + 1 + position;
            assert!((stop(19) - stop(18) - 5.8).abs() < 1e-9);
            assert!((stop(18) - stop(16) - 1.6).abs() < 1e-9);
            // Fifteen notes left or more are all the same, before the first note as well.
            assert_eq!((stop(4), stop(3)), (stop(19) - 5.0 - 12.0, stop(4)));
            assert_eq!((stop(after(19)), stop(20)), (stop(19), stop(4)));
        });
    }

    #[test]
    fn notes_left_out_between_are_each_paid_for_and_going_on_after_an_extra_note_has_a_price_of_its_own() {
        let costs = Costs::default();
        with(&[60, 62, 62, 64], &[(0.0, 6.0), (BEAT, 6.0)], |lattice| {
            let onset = lattice.onset(1);
            // After an extra note (state 4 + 1 + 0 comes after note 0) time says nothing.
            let on = |to: usize| best(lattice, 0, 5, Target::State(1, to)) - onset;
            let all = [1, 2, 3].map(on);
            let wanted = [0.0, costs.missing, costs.missing + costs.merged];
            for (price, left_out) in all.iter().zip(wanted) {
                assert!((price + costs.after_extra + left_out).abs() < 1e-6, "{all:?}");
            }
        });
    }

    #[test]
    fn two_notes_of_one_pitch_with_a_pause_between_pay_nothing_for_an_onset_unheard() {
        // Half a second that sounds up to four or five frames before its end.
        let price = |silent: usize, llr: f64| {
            let (notes, boundaries) = (notes(&[60, 60]), boundaries(&[(0.0, 6.0), (BEAT, llr)]));
            let sums = |before: f32, after: f32| {
                let frames = 50 - silent;
                (0..=300_usize)
                    .map(move |f| before * f.min(frames) as f32 + after * f.saturating_sub(frames) as f32)
            };
            let evidence = Evidence {
                pitch: vec![sums(0.0, -1.0).collect()],
                pause: sums(-1.0, 0.0).collect(),
                ..of_one_pitch()
            };
            let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
            let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
            first_step(&lattice, 1) - lattice.onset(1)
        };
        let costs = Costs::default();
        let (above, below) = (costs.split + 0.1, costs.split - 0.1);
        assert!((price(3, above) - price(3, below) - costs.unheard_split).abs() < 1e-9);
        assert_eq!(price(4, above), price(4, below));
    }

    #[test]
    fn an_extra_note_comes_when_the_next_written_one_is_due_rests_counted() {
        // A note of one beat, a rest of two, the last note.
        let mut notes = notes(&[60, 62]);
        notes[1].start = 3.0;
        let boundaries = boundaries(&[(0.0, 6.0), (3.0 * BEAT, 0.0)]);
        let (tempo, costs) = (LocalTempo::steady(BEAT, 2), Costs::default());
        let evidence = of_one_pitch();
        let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
        let extra = best(&lattice, 0, 0, Target::State(1, 3));
        assert!((extra - (lattice.onset(1) - costs.extra)).abs() < 1e-6, "{extra}");
    }

    #[test]
    fn two_boundaries_of_one_onset_count_it_once_and_the_end_of_the_take_is_none() {
        let costs = Costs::default();
        // The price of the step between boundaries 1 and 2, so many frames apart, 100 frames before the end.
        let price = |frames: usize, llr: (f64, f64)| {
            let second = 2.0 + frames as f64 * 0.01;
            with(&[60, 62], &[(0.0, 6.0), (2.0, llr.0), (second, llr.1)], |lattice| {
                let to =
                    edges(lattice, 1, 0).into_iter().find(|e| e.target == Target::State(2, 1) && e.right);
                to.unwrap().price - lattice.onset(2)
            })
        };
        let apart = price(8, (-1.0, 4.0));
        assert!((apart - price(8, (3.0, 4.0)) - 3.0 * costs.onset).abs() < 1e-9, "the weaker one of two");
        assert!((apart - price(8, (5.0, 2.0)) - 2.0 * costs.onset).abs() < 1e-9);
        assert_eq!(price(9, (-1.0, 4.0)), price(9, (3.0, 4.0)));
        // The end of the take, seven frames after a boundary.
        let stop =
            |llr: f64| with(&[60], &[(0.0, 6.0), (2.93, llr)], |lattice| best(lattice, 1, 0, Target::End));
        assert!(stop(5.0) > NEVER);
        assert_eq!(stop(5.0), stop(-5.0));
    }

    #[test]
    fn what_came_before_a_step_is_not_in_its_price() {
        // Half of the take sounds at another pitch, which costs the written one fifty nats until then.
        let evidence = Evidence {
            pitch: vec![
                (0..=300_usize).map(|f| -0.5 * f.min(100) as f32).collect(),
                (0..=300_usize).map(|f| -0.5 * f.saturating_sub(100) as f32).collect(),
            ],
            ..of_one_pitch()
        };
        let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.0, 6.0), (1.0, 6.0), (1.5, 6.0)]));
        let (tempo, costs) = (LocalTempo::steady(BEAT, 2), Costs::default());
        let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
        let step = edges(&lattice, 1, 0).into_iter().find(|e| e.target == Target::State(2, 1) && e.right);
        assert!((step.unwrap().price - lattice.onset(2)).abs() < 1e-6);
    }

    #[test]
    fn talk_in_a_pause_has_a_price_once_and_then_so_much_for_a_frame() {
        // A second of note, then a second in which the bow seems to drive something: no pause.
        let price = |driven: f32| {
            let sums = |before: f32, after: f32| {
                (0..=300_usize)
                    .map(move |f| before * f.min(100) as f32 + after * f.saturating_sub(100) as f32)
            };
            let evidence = Evidence {
                pitch: vec![sums(0.0, -9.0).collect()],
                other: sums(-9.0, -9.0).collect(),
                pause: sums(-9.0, driven).collect(),
                ..of_one_pitch()
            };
            let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.0, 6.0), (2.0, 6.0)]));
            let (tempo, costs) = (LocalTempo::steady(2.0, 2), Costs::default());
            let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
            first_step(&lattice, 1) - lattice.onset(1)
        };
        let talk = -Costs::default().talk + 100.0 * f64::from(TALK_FRAME);
        assert!((price(-0.2) + 20.0).abs() < 1e-3, "{}", price(-0.2));
        assert!((price(-0.5) + 50.0).abs() < 1e-3, "{}", price(-0.5));
        assert!((price(-2.0) - talk).abs() < 1e-3, "{}", price(-2.0));
    }

    #[test]
    fn a_note_lasts_sixty_milliseconds_at_least() {
        assert_eq!(price(&[60, 62], (0.05, 0.0), 1), NEVER);
        assert!(price(&[60, 62], (0.06, 0.0), 1) > NEVER);
    }

    #[test]
    fn going_back_is_easier_to_the_beginning_and_to_the_start_of_a_bar() {
        with(&[60, 62, 64, 65], &[(0.0, 3.0)], |lattice| {
            let to = [0, 1, 2, 3].map(|m| lattice.going_back(0, m));
            assert!((to[0] - to[1] - 3.0).abs() < 1e-9 && (to[2] - to[1] - 2.0).abs() < 1e-9);
            assert_eq!(to[1], to[3]);
            assert!(
                (to[1] - (-Costs::default().onset * softplus(-3.0) - Costs::default().restart)).abs() < 1e-9
            );
        });
    }

    #[test]
    fn a_take_may_begin_with_talk_and_with_a_later_note_at_a_price() {
        let (notes, boundaries) = (notes(&[60, 62, 64]), boundaries(&[(0.5, 3.0)]));
        let mut evidence = of_one_pitch();
        evidence.inside = (0..=300).map(|frame| -0.02 * frame as f32).collect();
        let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
        let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
        let prices: Vec<(usize, f64)> = lattice.starts(0).collect();
        // Half a second of talk (cheaper here than a pause), six tenths of the onsets passed over, and the onset itself.
        let begun =
            50.0 * f64::from(TALK_FRAME) - 0.6 * costs.onset * 50.0 * 0.02 - costs.onset * softplus(-3.0);
        let wanted =
            [begun, begun - 2.0 - costs.missing, begun - 2.0 - 2.0 * costs.missing, begun - costs.extra];
        assert_eq!(prices.iter().map(|(state, _)| *state).collect::<Vec<_>>(), [0, 1, 2, 3]);
        for ((_, price), wanted) in prices.iter().zip(wanted) {
            assert!((price - wanted).abs() < 1e-3, "{prices:?} {wanted}");
        }
    }

    /// What it costs that a step of two seconds, which sounds for so many frames, passes over an onset at a frame.
    fn passed_over(at: usize, sounding: usize) -> f64 {
        let price = |weight: f32| {
            let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.0, 6.0), (2.0, 6.0)]));
            let sums = |value: &dyn Fn(usize) -> f32| {
                (0..=300).map(|f| (0..f).map(value).sum()).collect::<Vec<f32>>()
            };
            let evidence = Evidence {
                pitch: vec![
                    sums(&|f| if f < sounding { 0.0 } else { -1.0 }),
                    sums(&|_| -1.0),
                    sums(&|_| -1.0),
                ],
                pause: sums(&|f| if f < sounding { -1.0 } else { 0.0 }),
                inside: sums(&|f| if f == at { -weight } else { 0.0 }),
                ..of_one_pitch()
            };
            let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
            let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
            first_step(&lattice, 1)
        };
        price(0.5) - price(0.0)
    }

    #[test]
    fn an_onset_passed_over_costs_less_in_a_pause_and_nothing_within_80_ms_of_either_end() {
        let costs = Costs::default();
        let (in_note, in_pause) = (-0.5 * costs.onset, -0.5 * costs.onset * costs.onset_in_pause);
        for (at, sounding, wanted) in [
            (100, 200, in_note),
            (9, 200, in_note),
            (191, 200, in_note),
            (100, 50, in_pause),
            (191, 50, in_pause),
            (30, 50, in_note),
            (8, 200, 0.0),
            (2, 200, 0.0),
            (195, 50, 0.0),
            (250, 200, 0.0),
        ] {
            let found = passed_over(at, sounding);
            assert!((found - wanted).abs() < 1e-5, "{at} {sounding}: {found} {wanted}");
        }
    }

    #[test]
    fn a_step_reaches_fifteen_seconds_the_next_boundary_and_the_end_of_the_take() {
        let notes = notes(&[60, 62]);
        let boundaries = boundaries(&[(0.0, 3.0), (1.0, 3.0), (14.9, 3.0), (15.1, 3.0), (30.3, 3.0)]);
        let sums = |value: f32| (0..=3200).map(|frame| value * frame as f32).collect::<Vec<f32>>();
        let evidence = Evidence {
            pitch: vec![sums(0.0)],
            other: sums(-0.8),
            pause: sums(0.0),
            inside: sums(0.0),
            ..of_one_pitch()
        };
        let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
        let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
        let reached = |from: usize| {
            let mut found = std::collections::BTreeSet::new();
            lattice.edges_from(from, &[0], &mut |edge: Edge| {
                found.insert(match edge.target {
                    Target::State(k, _) | Target::Hub(k, _) => k,
                    Target::End => 99,
                });
            });
            found.into_iter().collect::<Vec<_>>()
        };
        assert_eq!(reached(0), [1, 2, 99]);
        assert_eq!(reached(1), [2, 3, 99]);
        assert_eq!(reached(3), [4, 99], "the next one, however far");
    }
}
