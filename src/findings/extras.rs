//! Which of the sounds beside the melody are extra notes.

use super::played::PlayedNote;
use super::report::ExtraFinding;
use crate::align::{StepKind, WrittenNote};

/// A sound shorter than this is a slip of the bow, not a note, in seconds.
const SHORTEST_EXTRA: f64 = 0.065;
/// So is one shorter than this that is also shorter than this share of the player's short notes (a fifth of them are
/// shorter still): the bow catches another string, or a metronome clicks.
const BRUSH: f64 = 0.16;
const BRUSH_SHARE: f64 = 0.36;
/// A sound this far below the written notes is ringing or the room, in dB.
const FAINT: f32 = 20.0;
/// An onset with less evidence (log odds) is not held against the player.
const DOUBTFUL_ONSET: f64 = 1.5;
/// A sound that wanders by more than this (half its interquartile range, in cents) is talk.
const WANDERING: f64 = 30.0;

/// Extra notes: only what clearly is one. A sound that is too short, too faint or too restless to be a bowed
/// note is not held against the player.
pub(super) fn extra_notes(played: &[PlayedNote], notes: &[WrittenNote]) -> Vec<ExtraFinding> {
    let mut bodies: Vec<f32> =
        played.iter().filter(|p| matches!(p.kind, StepKind::Written { .. })).map(|p| p.body_db).collect();
    bodies.sort_by(f32::total_cmp);
    let usual = bodies.get(bodies.len() / 2).copied().unwrap_or(-120.0);
    let mut lengths: Vec<f64> = played
        .iter()
        .filter(|p| matches!(p.kind, StepKind::Written { .. }))
        .map(|p| p.offset.0 - p.onset.0)
        .collect();
    lengths.sort_by(f64::total_cmp);
    let short = lengths.get(lengths.len() / 5).copied().unwrap_or(0.0);
    let shortest = SHORTEST_EXTRA.max(BRUSH.min(BRUSH_SHARE * short));
    let first = played.iter().position(|p| matches!(p.kind, StepKind::Written { .. })).unwrap_or(0);
    let clearly = |k: usize| {
        let p = &played[k];
        // Before the first note somebody may talk; what is a note there must be beyond doubt.
        let (faint, wandering) = if k < first { (FAINT / 3.0, WANDERING / 3.0) } else { (FAINT, WANDERING) };
        p.offset.0 - p.onset.0 >= shortest
            && p.body_db > usual - faint
            && p.voiced > 0.6
            && p.spread < wandering
            && p.onset_llr > DOUBTFUL_ONSET
    };
    // What leads up to a return belongs to the abandoned attempt.
    let abandoned = |k: usize| {
        played[k..]
            .iter()
            .find_map(|p| match p.kind {
                StepKind::Written { restart, .. } => Some(restart),
                StepKind::Extra { .. } => None,
            })
            .unwrap_or(false)
    };
    (0..played.len())
        .filter(|&k| clearly(k) && !abandoned(k))
        .filter_map(|k| match played[k].kind {
            StepKind::Extra { after } => Some(ExtraFinding {
                onset_s: played[k].onset.0,
                offset_s: played[k].offset.0,
                played_midi: played[k].steady.map(|s| s.midi).or(played[k].midi)?,
                after_index: after.map(|n| notes[n].event),
            }),
            StepKind::Written { .. } => None,
        })
        .collect()
}
