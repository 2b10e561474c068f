//! Sounds that the reading has beside a note and that the same bow stroke made: the octave that it whistles first, the
//! slide into the note. The note begins where its stroke does, and nothing extra was played.

use super::played::PlayedNote;
use crate::align::StepKind;
use crate::pitch::{Contour, Frame};
use crate::segment::Envelope;
use crate::units::{Hertz, Seconds};

/// Two sounds no further apart than this touch, in seconds.
const TOUCHING: f64 = 0.08;
/// On one stroke the level has no trough between them deeper than this, in dB,
const TROUGH: f32 = 4.0;
/// up to so many seconds into either,
const INTO: f64 = 0.05;
/// against the loudest moments of so many seconds on either side.
const SIDE: f64 = 0.1;
/// What comes before a note on its own stroke lasts at most so many seconds.
const LONGEST: f64 = 0.3;
/// A whistle is so many semitones from the octave at most.
const OCTAVE: f64 = 0.5;
/// A slide begins within so many semitones of the note,
const FURTHEST_SLIDE: f64 = 3.0;
/// goes on by less than this from frame to frame, in semitones,
const ONE_SLIDE: f64 = 0.6;
/// and fewer of its frames than this share
const RESTING: f64 = 0.5;
/// lie within so many semitones of its middle: a note that is slurred to the next rests on its own pitch.
const AT_REST: f64 = 0.15;

/// The sounds of a take, in order, with those that are the beginning of a written note's own stroke joined to it.
pub(super) fn joined(
    played: Vec<PlayedNote>,
    contour: &Contour,
    envelope: &Envelope,
    a4: Hertz,
) -> Vec<PlayedNote> {
    let mut joined: Vec<PlayedNote> = Vec::with_capacity(played.len());
    for mut note in played {
        let written = matches!(note.kind, StepKind::Written { .. });
        while let Some(before) = joined.last()
            && written
            && matches!(before.kind, StepKind::Extra { .. })
            && is_one_stroke(before, &note, contour, envelope, a4)
        {
            note.onset = before.onset;
            note.onset_llr = note.onset_llr.max(before.onset_llr);
            joined.pop();
        }
        joined.push(note);
    }
    joined
}

fn is_one_stroke(
    before: &PlayedNote,
    note: &PlayedNote,
    contour: &Contour,
    envelope: &Envelope,
    a4: Hertz,
) -> bool {
    let (Some(first), Some(own)) = (before.midi, note.pitch()) else { return false };
    let touching = (note.onset.0 - before.offset.0).abs() < TOUCHING;
    let brief = before.offset.0 - before.onset.0 < LONGEST;
    touching
        && brief
        && !has_a_trough(envelope, before.offset.0.min(note.onset.0), before.offset.0.max(note.onset.0))
        && ((first - own - 12.0).abs() < OCTAVE || slides(before, own, note.onset.0, contour, a4))
}

/// Whether the level falls between two moments that lie close together.
fn has_a_trough(envelope: &Envelope, from: f64, to: f64) -> bool {
    let trough = envelope.trough(Seconds(from - INTO), Seconds(to + INTO)).0;
    let before = envelope.peak(Seconds(from - SIDE), Seconds(from));
    let after = envelope.peak(Seconds(to), Seconds(to + SIDE));
    before.min(after) - trough > TROUGH
}

/// Whether a sound goes over into the pitch of the note after it without resting on any of its own.
fn slides(sound: &PlayedNote, into: f64, until: f64, contour: &Contour, a4: Hertz) -> bool {
    let frame = |time: f64| ((time / contour.hop.0).round().max(0.0) as usize).min(contour.frames.len());
    let pitches = |from: f64, to: f64| -> Vec<f64> {
        let (from, to) = (frame(from), frame(to));
        let midi = |f: &Frame| f.pitch.map(|pitch| pitch.midi(a4).0);
        contour.frames.get(from..to.max(from)).unwrap_or_default().iter().filter_map(midi).collect()
    };
    let own = pitches(sound.onset.0, sound.offset.0);
    let whole = pitches(sound.onset.0, until.max(sound.offset.0) + INTO);
    let Some(middle) = sound.midi.filter(|midi| (midi - into).abs() < FURTHEST_SLIDE) else { return false };
    let resting = own.iter().filter(|&&midi| (midi - middle).abs() < AT_REST).count() as f64;
    resting < RESTING * own.len() as f64
        && whole.windows(2).all(|two| (two[1] - two[0]).abs() < ONE_SLIDE)
        && whole.last().is_some_and(|last| (last - into).abs() < ONE_SLIDE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::A4_ISO16;

    const EXTRA: StepKind = StepKind::Extra { after: None };
    const NOTE: StepKind = StepKind::Written { note: 0, restart: false };

    /// Two seconds with these pitches (MIDI numbers) and levels (dB) by the second.
    fn sound(pitch: impl Fn(f64) -> f64, level: impl Fn(f64) -> f32) -> (Contour, Envelope) {
        let hertz = |k: u32| Hertz(440.0 * ((pitch(f64::from(k) * 0.01) - 69.0) / 12.0).exp2());
        let contour = Contour::of_pitches((0..200).map(|k| Some(hertz(k))));
        (contour, Envelope::of_levels(2.0, -100.0, level))
    }

    /// Onsets of what is left of an extra sound of so many seconds that ends at 1 s, and of a note at 62 after it.
    fn onsets(length: f64, pitch: impl Fn(f64) -> f64, level: impl Fn(f64) -> f32) -> Vec<f64> {
        let (contour, envelope) = sound(&pitch, level);
        let before = PlayedNote {
            midi: Some(pitch(1.0 - 0.5 * length)),
            ..PlayedNote::sounding(EXTRA, 1.0 - length, 1.0)
        };
        let note = PlayedNote { midi: Some(62.0), ..PlayedNote::sounding(NOTE, 1.02, 1.8) };
        let joined = joined(vec![before, note], &contour, &envelope, A4_ISO16);
        assert_eq!(joined.last().expect("the note").offset.0, 1.8);
        joined.iter().map(|note| note.onset.0).collect()
    }

    fn octave_first(time: f64) -> f64 {
        if time < 1.0 { 74.0 } else { 62.0 }
    }

    /// From 60.5 to 62 within 0.2 s.
    fn slide(time: f64) -> f64 {
        (60.5 + 7.5 * (time - 0.8)).clamp(60.5, 62.0)
    }

    #[test]
    fn a_note_begins_with_the_octave_that_its_bow_whistles_first() {
        assert_eq!(onsets(0.2, octave_first, |_| -20.0), [0.8]);
        assert_eq!(onsets(0.35, octave_first, |_| -20.0).len(), 2, "a note of its own");
        let turned = |time: f64| if (time - 1.0).abs() < 0.02 { -26.0 } else { -20.0 };
        assert_eq!(onsets(0.2, octave_first, turned).len(), 2, "a bow of its own");
    }

    #[test]
    fn a_note_begins_with_the_slide_into_it() {
        assert_eq!(onsets(0.2, slide, |_| -20.0), [0.8]);
        let turned = |time: f64| if (time - 1.0).abs() < 0.02 { -26.0 } else { -20.0 };
        assert_eq!(onsets(0.2, slide, turned).len(), 2, "a bow of its own");
        let slurred = |time: f64| if time < 0.98 { 60.0 } else { (60.0 + 50.0 * (time - 0.98)).min(62.0) };
        assert_eq!(onsets(0.2, slurred, |_| -20.0).len(), 2, "a note of its own, slurred to the next");
        let leap = |time: f64| if time < 1.0 { slide(time) - 2.0 } else { 62.0 };
        assert_eq!(onsets(0.2, leap, |_| -20.0).len(), 2, "it does not arrive");
    }

    #[test]
    fn what_comes_after_a_note_or_away_from_it_stays() {
        let (contour, envelope) = sound(octave_first, |_| -20.0);
        let at = |kind, midi, onset, offset| PlayedNote {
            midi: Some(midi),
            ..PlayedNote::sounding(kind, onset, offset)
        };
        let far = vec![at(EXTRA, 74.0, 0.5, 0.7), at(NOTE, 62.0, 1.0, 1.8), at(EXTRA, 74.0, 1.8, 1.9)];
        assert_eq!(joined(far.clone(), &contour, &envelope, A4_ISO16), far);
        assert_eq!(joined(Vec::new(), &contour, &envelope, A4_ISO16), []);
    }
}
