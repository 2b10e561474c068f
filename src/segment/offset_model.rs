//! How far the end of a note is from where the level says: one network small enough to read (`offset_weights.rs`).
//!
//! Rooms and strings that ring on hide when the bow stopped. It was trained on real single notes assembled into takes
//! with known truth (`tests/training/train_times.py`), on the half of the recordings that no reported figure uses.

use super::envelope::Envelope;
use super::network::network;
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
/// What [`offset_cues`] gives.
pub const OFFSET_CUES: usize = 3 * MOMENTS + 3;
/// An offset is moved by no more than this, in seconds.
const FURTHEST: f64 = 0.2;
/// A pause after a note counts up to this long, in seconds, and so does a note.
const LONGEST_PAUSE: f64 = 0.6;
const LONGEST_NOTE: f64 = 1.0;

/// What the network looks at, each value about −2.5 to 2.5: at each of twelve moments from 0.2 s before the offset to
/// 0.24 s after it the level and the level above 2.5 kHz against the note's own, in 20 dB, and the clarity of the pitch;
/// then how fast the room dies away (300 dB per second), the pause after the note and its length, in seconds.
pub fn offset_cues(envelope: &Envelope, contour: &Contour, note: &NoteSpan) -> [f64; OFFSET_CUES] {
    let usual = |curve: &[f32], percent| {
        envelope.percentile_between(curve, Seconds(note.onset), Seconds(note.offset), percent)
    };
    let (body, bright) = (usual(&envelope.level_db, 80), usual(&envelope.bright_db, 50));
    let mut cues = [0.0; OFFSET_CUES];
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
    let all = offset_cues(envelope, contour, note);
    let mut cues = [0.0; CUES];
    cues.copy_from_slice(&all[..CUES]);
    network((&FIRST, &FIRST_BIAS), (&SECOND, SECOND_BIAS), &cues).clamp(-FURTHEST, FURTHEST)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Frame;
    use crate::units::Hertz;
    use proptest::prelude::*;

    /// A level for each 5 ms and a clarity for each 10.
    fn sound(level: impl Fn(f64) -> f32, clarity: impl Fn(f64) -> f32) -> (Envelope, Contour) {
        let level_db: Vec<f32> = (0..600).map(|k| level(f64::from(k) * 0.005)).collect();
        let envelope = Envelope {
            hop: Seconds(0.005),
            bright_db: level_db.iter().map(|level| level - 15.0).collect(),
            fresh_db: level_db.clone(),
            bowed_db: level_db.clone(),
            level_db,
            decay: -150.0,
        };
        let frame = |k: u32| {
            let time = f64::from(k) * 0.01;
            Frame {
                time: Seconds(time),
                pitch: Some(Hertz(440.0)),
                clarity: clarity(time),
                level_db: -20.0,
                candidates: Default::default(),
                harmonic_db: -20.0,
                noise_db: -60.0,
                second: None,
            }
        };
        (envelope, Contour { hop: Seconds(0.01), frames: (0..300).map(frame).collect() })
    }

    /// Held at −20 dB up to 1 s, then down by 10 dB each 100 ms.
    fn dying_away() -> (Envelope, Contour) {
        sound(|time| -20.0 - 100.0 * (time - 1.0).max(0.0) as f32, |time| if time < 1.0 { 0.95 } else { 0.6 })
    }

    #[test]
    fn the_model_was_trained_on_the_cues_that_there_are() {
        assert_eq!(CUES, OFFSET_CUES, "train again: tests/training/train_times.py");
    }

    #[test]
    fn the_cues_are_the_sound_around_the_offset_against_the_note_itself() {
        let (envelope, contour) = dying_away();
        let note = NoteSpan { onset: 0.2, offset: 1.1, next_onset: Some(1.4) };
        let cues = offset_cues(&envelope, &contour, &note);
        // Moments from 0.9 s to 1.34: two of them before the fall, then 4 dB further down each.
        let fallen = |moment: usize| (0.9 + 0.04 * moment as f64 - 1.0).max(0.0) * 100.0;
        for moment in 0..MOMENTS {
            let wanted = (-fallen(moment) / 20.0).max(-2.5);
            assert!((cues[moment] - wanted).abs() < 0.03, "{moment}: {} {wanted}", cues[moment]);
            let bright = cues[MOMENTS + moment];
            assert!((bright - wanted.max(-2.0)).abs() < 0.03, "{moment}: {bright} {wanted}");
            let clear = cues[2 * MOMENTS + moment];
            assert_eq!(clear > 0.9, moment < 3, "{moment}: {clear}");
        }
        let rest = &cues[3 * MOMENTS..];
        for (cue, wanted) in rest.iter().zip([-0.5, 0.3, 0.9]) {
            assert!((cue - wanted).abs() < 1e-9, "{rest:?}");
        }
        let last = NoteSpan { next_onset: None, offset: 1.9, ..note };
        assert_eq!(offset_cues(&envelope, &contour, &last)[3 * MOMENTS + 1..], [0.6, 1.0]);
        let close = NoteSpan { next_onset: Some(0.5), ..note };
        assert_eq!(offset_cues(&envelope, &contour, &close)[3 * MOMENTS + 1], -0.2);
    }

    #[test]
    fn an_offset_in_the_sound_that_dies_away_is_moved_towards_where_the_bow_stopped() {
        let (envelope, contour) = dying_away();
        for offset in [1.12, 1.18, 1.25] {
            let shift = offset_shift(&envelope, &contour, &NoteSpan { onset: 0.2, offset, next_onset: None });
            let (before, after) = (offset - 1.0, (offset + shift - 1.0).abs());
            assert!(after < before - 0.03, "{offset}: {shift}");
        }
    }

    proptest! {
        #[test]
        fn no_offset_is_moved_far_wherever_it_lies(
            onset in 0.0..3.2_f64,
            length in 0.0..2.0_f64,
            pause in -0.5..2.0_f64,
            (high, low) in (-60.0..0.0_f32, -120.0..0.0_f32),
        ) {
            let (envelope, contour) = sound(
                |time| if time < onset + length { high } else { low },
                |time| if time < onset { 0.0 } else { 1.0 },
            );
            let note = NoteSpan { onset, offset: onset + length, next_onset: Some(onset + length + pause) };
            prop_assert!(offset_cues(&envelope, &contour, &note).iter().all(|cue| cue.abs() <= 2.5));
            prop_assert!(offset_shift(&envelope, &contour, &note).abs() <= FURTHEST);
        }
    }
}
