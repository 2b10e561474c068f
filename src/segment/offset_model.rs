//! How far the end of a note is from where the level says: one network small enough to read (`offset_weights.rs`).
//!
//! Rooms and strings that ring on hide when the bow stopped. It was trained on real single notes assembled into takes
//! with known truth (`tests/training/train_offsets.py`), on the half of the recordings that no reported figure uses.

use super::envelope::Envelope;
use super::offset_weights::{CUES, FIRST, FIRST_BIAS, SECOND, SECOND_BIAS};
use crate::pitch::Contour;
use crate::units::Seconds;

/// A note as the level times it, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoteSpan {
    /// Its onset.
    pub onset: f64,
    /// Its offset.
    pub offset: f64,
    /// The onset of what follows, where something does.
    pub next_onset: Option<f64>,
}

/// Looks at the sound at so many moments around the offset…
const MOMENTS: usize = 12;
/// …the first of them so many seconds from it…
const FIRST_MOMENT: f64 = -0.2;
/// …and so many seconds from one to the next.
const STEP: f64 = 0.04;
/// An offset is moved by no more than this, in seconds.
const FURTHEST: f64 = 0.2;
/// A pause after a note counts up to this long, in seconds, and so does a note.
const LONGEST_PAUSE: f64 = 0.6;
const LONGEST_NOTE: f64 = 1.0;

/// What the network looks at, each value about −2.5 to 2.5: at each of twelve moments from 0.2 s before the offset to
/// 0.24 s after it the level and the level above 2.5 kHz against the note's own, in 20 dB, and the clarity of the pitch;
/// then how fast the room dies away (300 dB per second), the pause after the note and its length, in seconds.
pub fn offset_cues(envelope: &Envelope, contour: &Contour, note: &NoteSpan) -> [f64; CUES] {
    let (from, to) = (envelope.index(Seconds(note.onset)), envelope.index(Seconds(note.offset)));
    let usual = |levels: &[f32], share: usize| {
        let mut values = levels[from..=to.max(from)].to_vec();
        values.sort_by(f32::total_cmp);
        values[(values.len() * share / 100).min(values.len() - 1)]
    };
    let (body, bright) = (usual(&envelope.level_db, 80), usual(&envelope.bright_db, 50));
    let mut cues = [0.0; CUES];
    for moment in 0..MOMENTS {
        let time = Seconds((note.offset + FIRST_MOMENT + moment as f64 * STEP).max(0.0));
        let at = envelope.index(time);
        cues[moment] = f64::from((envelope.level_db[at] - body) / 20.0).clamp(-2.5, 1.0);
        cues[MOMENTS + moment] = f64::from((envelope.bright_db[at] - bright) / 20.0).clamp(-2.0, 2.0);
        let frame = ((time.0 / contour.hop.0).round() as usize).min(contour.frames.len().saturating_sub(1));
        cues[2 * MOMENTS + moment] = contour.frames.get(frame).map_or(0.0, |f| f64::from(f.clarity));
    }
    let pause = note.next_onset.map_or(LONGEST_PAUSE, |next| next - note.offset);
    cues[3 * MOMENTS..].copy_from_slice(&[
        envelope.decay / 300.0,
        pause.clamp(-0.2, LONGEST_PAUSE),
        (note.offset - note.onset).min(LONGEST_NOTE),
    ]);
    cues
}

/// How much later than the level says a note ends, in seconds, at most 0.2 either way.
pub fn offset_shift(envelope: &Envelope, contour: &Contour, note: &NoteSpan) -> f64 {
    let cues = offset_cues(envelope, contour, note);
    let shift: f64 = super::onset_model::hidden(&FIRST, &FIRST_BIAS, &cues)
        .zip(SECOND)
        .map(|(unit, weight)| weight * unit)
        .sum();
    (shift + SECOND_BIAS).clamp(-FURTHEST, FURTHEST)
}
