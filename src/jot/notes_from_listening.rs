//! What was heard becomes notes, no melody known: a segmental Viterbi over the boundaries, each segment one semitone
//! that sounds and then pauses. The prices are those of the scored decoder where both have them
//! (`align/costs.rs`): onsets passed over and taken, talk in a pause.

use crate::align::{Reading, Step, StepKind};
use crate::findings::{PlayedNote, TimedBy, played_notes};
use crate::notation::Instrument;
use crate::pipeline::Listening;
use crate::segment::{Evidence, softplus};
use crate::units::{Hertz, Seconds};

/// One note as it was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct JottedNote {
    /// When it begins.
    pub onset: Seconds,
    /// When the bow stops driving it.
    pub offset: Seconds,
    /// The nearest sounding MIDI number after the instrument's own tuning.
    pub midi: i32,
    /// How far it was from that, in cents.
    pub cents: f64,
    /// The log odds of its onset against the note before going on, from the sound alone.
    pub onset_llr: f64,
    /// The log odds of the likeliest onset inside it that was not taken.
    pub passed_llr: f64,
}

/// Weights of onset evidence, as in the scored decoder.
const ONSET: f64 = 0.85;
const IN_PAUSE: f64 = 0.68;
/// What a note is worth by itself, in nats: set on takes with known truth, where too few notes were heard without it.
const NOTE: f64 = 0.4;
/// Noise or talk in a pause.
const TALK: f64 = 6.0;
/// Sound before the first and after the last note, per frame: talk.
const TALK_FRAME: f32 = -0.45;
/// Segments are at most this long, in seconds.
const LONGEST: f64 = 12.0;
/// A note lasts at least this many frames.
const SHORTEST: usize = 6;
/// Candidates within this many frames of an onset speak of that onset.
const SAME_ONSET: usize = 8;
/// A note fainter than the others by this much is the room or a string that rings, in dB.
const FAINT: f32 = 20.0;
/// Before the first clear note somebody may talk: a fainter sound there is no note, in dB.
const FAINT_BEFORE: f32 = 8.0;
/// A note that wanders by more than this (half its interquartile range, in cents) is talk.
const WANDERING: f64 = 40.0;
/// The same before the first clear note.
const WANDERING_BEFORE: f64 = 12.0;
/// Shorter sounds are slips of the bow or a metronome, in seconds and as a share of a sixteenth note.
const BRIEF: f64 = 0.09;
const BRIEF_SHARE: f64 = 0.7;
const NEVER: f64 = f64::NEG_INFINITY;

/// The notes of a take in order of time. `tuning` is the instrument's own, in semitones from `a4`; `sixteenth` the
/// length of a sixteenth note in seconds at the set tempo: far shorter notes are dearer.
pub fn notes_from_listening(
    listening: &Listening,
    instrument: Instrument,
    a4: Hertz,
    tuning: f64,
    sixteenth: f64,
) -> Vec<JottedNote> {
    let (low, high) = (instrument.open_strings()[0] - 1, instrument.range().1.min(127));
    let evidence = Evidence::new(
        &listening.contour,
        &listening.envelope,
        &listening.boundaries,
        a4,
        tuning,
        (low, high),
    );
    if listening.boundaries.is_empty() || evidence.pause.len() < 2 {
        return Vec::new();
    }
    let reading = Decoder::new(listening, &evidence, sixteenth).read();
    let (contour, envelope) = (&listening.contour, &listening.envelope);
    let played =
        played_notes(&reading, contour, envelope, &listening.boundaries, TimedBy::Sound, (a4, tuning));
    let kept = clearly_notes(&played, BRIEF.max(BRIEF_SHARE * sixteenth));
    let jotted = reading.steps.iter().zip(&played).zip(kept).filter(|(_, kept)| *kept).filter_map(
        |((step, note), _)| {
            let measured = note.steady.map(|steady| steady.midi).or(note.midi)? - tuning;
            let midi = step
                .semitone
                .filter(|semitone| (measured - f64::from(*semitone)).abs() < 0.75)
                .unwrap_or(measured.round() as i32);
            let inside = |time: f64| time > note.onset.0 + 0.12 && time < note.offset.0 - 0.12;
            let passed = listening.boundaries.iter().filter(|boundary| inside(boundary.time.0));
            Some(JottedNote {
                onset: note.onset,
                offset: note.offset,
                midi,
                cents: 100.0 * (measured - f64::from(midi)),
                onset_llr: note.onset_llr,
                passed_llr: passed.map(|boundary| boundary.llr).fold(NEVER, f64::max),
            })
        },
    );
    jotted.collect()
}

/// Which of the sounds are notes: not too faint, too brief or too restless; before the first one that certainly is,
/// more is asked.
fn clearly_notes(played: &[PlayedNote], brief: f64) -> Vec<bool> {
    let mut bodies: Vec<f32> = played.iter().map(|note| note.body_db).collect();
    bodies.sort_by(f32::total_cmp);
    let usual = bodies.get(bodies.len() * 3 / 5).copied().unwrap_or(-120.0);
    let good = |note: &PlayedNote, faint: f32, wandering: f64| {
        note.offset.0 - note.onset.0 >= brief
            && note.body_db > usual - faint
            && note.voiced > 0.55
            && note.spread < wandering
    };
    let first = played.iter().position(|note| good(note, FAINT_BEFORE, WANDERING_BEFORE)).unwrap_or(0);
    (0..played.len()).map(|k| k >= first && good(&played[k], FAINT, WANDERING)).collect()
}

struct Decoder<'a> {
    listening: &'a Listening,
    evidence: &'a Evidence,
    sixteenth: f64,
    frames: Vec<usize>,
    /// Pause or talk, whichever fits better, summed like `evidence.pause`.
    loose: Vec<f32>,
}

/// The segment before a boundary: where it begins, its semitone, the frame up to which it sounds.
#[derive(Clone, Copy)]
struct Back {
    from: usize,
    heard: usize,
    until: usize,
}

impl<'a> Decoder<'a> {
    fn new(listening: &'a Listening, evidence: &'a Evidence, sixteenth: f64) -> Self {
        let mut frames: Vec<usize> = listening.boundaries.iter().map(|b| evidence.frame(b.time)).collect();
        let end = evidence.pause.len() - 1;
        frames.push(end);
        let mut loose = vec![0.0_f32; end + 1];
        for f in 0..end {
            loose[f + 1] = loose[f] + (evidence.pause[f + 1] - evidence.pause[f]).max(TALK_FRAME);
        }
        Self { listening, evidence, sixteenth, frames, loose }
    }

    fn onset(&self, k: usize) -> f64 {
        -ONSET * softplus(-self.listening.boundaries[k].llr)
    }

    /// A segment much shorter than a sixteenth is hardly ever meant.
    fn brevity(&self, seconds: f64) -> f64 {
        let sixteenths = seconds / self.sixteenth;
        match sixteenths {
            n if n < 0.6 => 3.5,
            n if n < 1.4 => 1.8,
            n if n < 2.6 => 0.4,
            _ => 0.0,
        }
    }

    fn read(&self) -> Reading {
        let count = self.listening.boundaries.len();
        let nowhere = Back { from: usize::MAX, heard: 0, until: 0 };
        // The best way to each boundary as the start of a note, then to the end of the take.
        let mut best = vec![(NEVER, nowhere); count + 1];
        for j in 0..count {
            let start = self.frames[j];
            let before = f64::from(self.loose[start])
                + 0.6 * ONSET * f64::from(self.evidence.inside[start])
                + self.onset(j);
            if before > best[j].0 {
                best[j] = (before, nowhere);
            }
            let arrived = best[j].0;
            self.segments_from(j, &mut |k, heard, score, until| {
                let seconds = self.evidence.hop.0 * (self.frames[k] - start) as f64;
                let onset = if k < count { self.onset(k) } else { 0.0 };
                let total = arrived + score + onset + NOTE - self.brevity(seconds);
                if total > best[k].0 {
                    best[k] = (total, Back { from: j, heard, until });
                }
            });
        }
        self.trace(&best)
    }

    fn trace(&self, best: &[(f64, Back)]) -> Reading {
        let (score, mut back) = best[best.len() - 1];
        let mut steps = Vec::new();
        while back.from != usize::MAX {
            steps.push(Step {
                kind: StepKind::Extra { after: None },
                boundary: back.from,
                from: self.frames[back.from],
                to: back.until,
                semitone: Some(self.evidence.lowest + back.heard as i32),
            });
            back = best[back.from].1;
        }
        steps.reverse();
        Reading { steps, score }
    }

    /// Every segment that begins at boundary `j`: where the next one begins (the number of boundaries for the end of
    /// the take), its semitone, its score, and the frame up to which it sounds.
    fn segments_from(&self, j: usize, visit: &mut impl FnMut(usize, usize, f64, usize)) {
        let evidence = self.evidence;
        let (start, last) = (self.frames[j], self.frames.len() - 1);
        let longest = start + (LONGEST / evidence.hop.0) as usize;
        let semitones = evidence.pitch.len();
        let in_note = ONSET - IN_PAUSE;
        let mut strict = vec![(NEVER, 0_usize); semitones];
        let mut relaxed = vec![(NEVER, 0_usize); semitones];
        let mut frame = start + SHORTEST;
        for k in j + 1..=last {
            let end = self.frames[k];
            if end > longest && k > j + 1 && k < last {
                continue;
            }
            while frame <= end.min(longest) {
                let shift = in_note * f64::from(evidence.inside[frame.saturating_sub(SAME_ONSET)]);
                let (pause, talk) = (f64::from(evidence.pause[frame]), f64::from(self.loose[frame]));
                for h in 0..semitones {
                    let sound = f64::from(evidence.pitch[h][frame]) + shift;
                    if sound - pause > strict[h].0 {
                        strict[h] = (sound - pause, frame);
                    }
                    if sound - talk > relaxed[h].0 {
                        relaxed[h] = (sound - talk, frame);
                    }
                }
                frame += 1;
            }
            if end < start + SHORTEST {
                continue;
            }
            let (pause, talk) = (f64::from(evidence.pause[end]), f64::from(self.loose[end]));
            let from = (start + SAME_ONSET + 1).min(evidence.inside.len() - 1);
            let to = end.saturating_sub(SAME_ONSET).max(from);
            let passed = f64::from(evidence.inside[from]);
            let inside = IN_PAUSE * (f64::from(evidence.inside[to]) - passed) - in_note * passed;
            // After the last note anything may follow; between notes talk has its price.
            let talk_price = if k == last { 0.0 } else { TALK };
            for h in 0..semitones {
                let own = f64::from(evidence.pitch[h][start]);
                let tight = (strict[h].0 + pause, strict[h].1);
                let loose = (relaxed[h].0 + talk - talk_price, relaxed[h].1);
                let (score, until) = if loose.0 > tight.0 { loose } else { tight };
                if score > NEVER {
                    visit(k, h, score - own + inside, until);
                }
            }
        }
    }
}
