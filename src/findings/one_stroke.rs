//! Sounds that the reading has beside a note and that the same bow stroke made: the octave that it whistles first, the
//! slide into the note, the place from which its finger is put right. The note begins where its stroke does, and nothing extra was played.

use super::played::PlayedNote;
use crate::align::WrittenNote;
use crate::notation::Instrument;
use crate::pitch::{Contour, Frame};
use crate::segment::Envelope;
use crate::units::{Hertz, Seconds};

/// Two sounds no further apart than this touch, in seconds.
const TOUCHING: f64 = 0.08;
/// On one stroke the level has no trough between them deeper than this, in dB,
const TROUGH: f32 = 4.0;
/// where another string sounds, which beats against it or begins to sound on its own, or where a finger creeps along the
/// string, than this,
const DEEPER_TROUGH: f32 = 8.0;
/// up to so many seconds into either,
const INTO: f64 = 0.05;
/// against the loudest moments of so many seconds on either side.
const SIDE: f64 = 0.1;
/// A stroke is at most so much louder in one of its sounds than in the next, in dB: what is softer still only rings, or is
/// another's.
const ONE_LEVEL: f32 = 8.0;
/// What comes before a note on its own stroke lasts at most so many seconds.
const LONGEST: f64 = 0.3;
/// A note sounds along with a string through more than this share of a sound.
const ALONG: f64 = 0.7;
/// A sound is an open string within so many semitones.
const OPEN: f64 = 0.5;
/// A whistle is so many semitones from the octave at most.
const OCTAVE: f64 = 0.5;
/// A light finger lets the third harmonic sound, so many semitones above.
const TWELFTH: f64 = 19.02;
/// A finger is late or lifted early by at most so many seconds,
const FINGER: f64 = 0.22;
/// and by this share of its note,
const FINGER_SHARE: f64 = 0.4;
/// and stops the string so many semitones above the open one.
const STOPPED: (f64, f64) = (0.6, 7.6);
/// A slide begins within so many semitones of the note,
const FURTHEST_SLIDE: f64 = 3.0;
/// goes on by less than this from frame to frame, in semitones,
const ONE_SLIDE: f64 = 0.6;
/// and fewer of its frames than this share
const RESTING: f64 = 0.5;
/// lie within so many semitones of its middle: a note that is slurred to the next rests on its own pitch.
const AT_REST: f64 = 0.15;

/// A finger that is put right within a stroke moves by so many semitones,
const PUT_RIGHT: (f64, f64) = (0.3, 1.3);
/// from frame to frame by less than this, where another finger would jump,
const CREEPS: f64 = 0.2;
/// from so many seconds before the sounds meet to as many after it,
const CREEPS_WITHIN: f64 = 0.12;
/// after a sound that lasts less than so many seconds.
const SEARCHES: f64 = 0.5;

/// What the sounds of a take are looked up in.
#[derive(Clone, Copy)]
pub(super) struct Take<'a> {
    pub instrument: Instrument,
    pub contour: &'a Contour,
    pub envelope: &'a Envelope,
    pub a4: Hertz,
}

/// The sounds of a take, in order, with those that a written note's own stroke made joined to it: what comes before it, and
/// the octave that its bow whistles and does not leave again. Where most of a stroke is such an octave, nobody can say
/// whether the note or its octave was played.
pub(super) fn joined(
    played: Vec<PlayedNote>,
    notes: &[WrittenNote],
    tuning: f64,
    Take { instrument, contour, envelope, a4 }: Take<'_>,
) -> Vec<PlayedNote> {
    let touching = |a: &PlayedNote, b: &PlayedNote| (b.onset.0 - a.offset.0).abs() < TOUCHING;
    let one_stroke = |a: &PlayedNote, b: &PlayedNote, trough: f32| {
        let (from, to) = (a.offset.0.min(b.onset.0), a.offset.0.max(b.onset.0));
        envelope.fall_between(Seconds(from), Seconds(to), INTO, SIDE) <= trough
    };
    // The bow touched another string as well as the note's, or the finger was not down yet or no longer.
    let another_string = |sound: &PlayedNote, note: &PlayedNote| {
        note.pitch().is_some_and(|own| sound.share_beside(own, contour, a4) > ALONG)
            || is_without_its_finger(sound, note, instrument, tuning)
    };
    let mut joined: Vec<PlayedNote> = Vec::with_capacity(played.len());
    for mut note in played {
        while let Some(before) = joined.last()
            && note.is_written()
            && !before.is_written()
            && let (Some(first), Some(own)) = (before.midi, note.pitch())
            && touching(before, &note)
        {
            let brief = before.offset.0 - before.onset.0 < LONGEST;
            let begins = || {
                is_octave(first, own)
                    || (first - own - TWELFTH).abs() < OCTAVE
                    || slides(before, own, note.onset.0, contour, a4)
            };
            let one_bow = one_stroke(before, &note, TROUGH);
            let put_right = || {
                note.is_as_written(notes, tuning)
                    && before.offset.0 - before.onset.0 < SEARCHES.min(note.offset.0 - note.onset.0)
                    && (PUT_RIGHT.0..PUT_RIGHT.1).contains(&(first - own).abs())
                    && one_stroke(before, &note, DEEPER_TROUGH)
                    && creeps(0.5 * (before.offset.0 + note.onset.0), contour, a4)
            };
            let with_another_string =
                another_string(before, &note) && one_stroke(before, &note, DEEPER_TROUGH);
            let whistled_on = !with_another_string
                && one_bow
                && is_octave(own, first)
                && !note.is_as_written(notes, tuning);
            if !(with_another_string || whistled_on || (one_bow && brief && begins()) || put_right()) {
                break;
            }
            if whistled_on {
                note.steady = None;
                note.spread = f64::INFINITY;
            }
            note.onset = before.onset;
            note.onset_llr = note.onset_llr.max(before.onset_llr);
            joined.pop();
        }
        if let Some(before) = joined.last_mut()
            && !note.is_written()
            && before.is_as_written(notes, tuning)
            && let (Some(own), Some(then)) = (before.pitch(), note.midi)
            && touching(before, &note)
            && ((is_octave(then, own) && one_stroke(before, &note, TROUGH))
                || (another_string(&note, before) && one_stroke(before, &note, DEEPER_TROUGH)))
        {
            before.offset = note.offset;
        } else {
            joined.push(note);
        }
    }
    let slurred: Vec<bool> = joined
        .windows(2)
        .map(|two| {
            touching(&two[0], &two[1])
                && one_stroke(&two[0], &two[1], TROUGH)
                && (two[0].body_db - two[1].body_db).abs() < ONE_LEVEL
        })
        .collect();
    for k in 0..joined.len() {
        if joined[k].is_written() {
            let first = (0..k).rev().take_while(|&j| slurred[j] && !joined[j].is_written()).last();
            let last =
                (k + 1..joined.len()).take_while(|&j| slurred[j - 1] && !joined[j].is_written()).last();
            joined[k].bow_from = first.map_or(joined[k].onset, |j| joined[j].onset);
            joined[k].bow_until = last.map_or(joined[k].offset, |j| joined[j].offset);
        }
    }
    joined
}

/// Whether a sound is the open string below a stopped note, for a moment before its finger is down or after it was lifted.
fn is_without_its_finger(sound: &PlayedNote, note: &PlayedNote, instrument: Instrument, tuning: f64) -> bool {
    let (Some(midi), Some(own)) = (sound.midi, note.pitch()) else { return false };
    let lasts = |sound: &PlayedNote| sound.offset.0 - sound.onset.0;
    let open = |&open: &i32| (midi - tuning - f64::from(open)).abs() < OPEN;
    lasts(sound) < FINGER.min(FINGER_SHARE * lasts(note))
        && instrument.open_strings().iter().any(open)
        && (STOPPED.0..STOPPED.1).contains(&(own - midi))
}

/// Whether a pitch is an octave above another, as a whistle is.
fn is_octave(high: f64, low: f64) -> bool {
    (high - low - 12.0).abs() < OCTAVE
}

/// Whether the pitch goes on without a gap or a jump around a moment, as it does where a finger creeps along the string.
fn creeps(at: f64, contour: &Contour, a4: Hertz) -> bool {
    let around = contour.between(Seconds(at - CREEPS_WITHIN), Seconds(at + CREEPS_WITHIN));
    let pitches = pitches(around, a4);
    !pitches.is_empty()
        && pitches.len() == around.len()
        && pitches.windows(2).all(|two| (two[1] - two[0]).abs() < CREEPS)
}

/// The pitches of those frames that have one, as MIDI numbers.
fn pitches(frames: &[Frame], a4: Hertz) -> Vec<f64> {
    frames.iter().filter_map(|frame| frame.pitch.map(|pitch| pitch.midi(a4).0)).collect()
}

/// Whether a sound goes over into the pitch of the note after it without resting on any of its own.
fn slides(sound: &PlayedNote, into: f64, until: f64, contour: &Contour, a4: Hertz) -> bool {
    let own = pitches(sound.frames(contour), a4);
    let end = Seconds(until.max(sound.offset.0) + INTO);
    let whole = pitches(contour.between(sound.onset, end), a4);
    let Some(middle) = sound.midi.filter(|midi| (midi - into).abs() < FURTHEST_SLIDE) else { return false };
    let resting = own.iter().filter(|&&midi| (midi - middle).abs() < AT_REST).count() as f64;
    resting < RESTING * own.len() as f64
        && whole.windows(2).all(|two| (two[1] - two[0]).abs() < ONE_SLIDE)
        && whole.last().is_some_and(|last| (last - into).abs() < ONE_SLIDE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::align::StepKind;
    use crate::findings::played::SteadyPitch;
    use crate::units::A4_ISO16;

    const EXTRA: StepKind = StepKind::Extra { after: None };
    const NOTE: StepKind = StepKind::Written { note: 0, restart: false };

    /// Two seconds with these pitches (MIDI numbers) and levels (dB) by the second.
    fn sound(pitch: impl Fn(f64) -> f64, level: impl Fn(f64) -> f32) -> (Contour, Envelope) {
        let hertz = |k: u32| Hertz(440.0 * ((pitch(f64::from(k) * 0.01) - 69.0) / 12.0).exp2());
        let contour = Contour::of_pitches((0..200).map(|k| Some(hertz(k))));
        (contour, Envelope::of_levels(2.0, -100.0, level))
    }

    /// What is left of sounds, each its kind, from when until when (in seconds), and at which MIDI pitch; the sheet is one
    /// note at 62.
    fn left(
        sounds: &[(StepKind, f64, f64, f64)],
        pitch: impl Fn(f64) -> f64,
        level: impl Fn(f64) -> f32,
    ) -> Vec<PlayedNote> {
        let (contour, envelope) = sound(pitch, level);
        let steady = |midi| Some(SteadyPitch { midi, spread: 2.0, seconds: 0.3 });
        let note = |&(kind, from, until, midi)| PlayedNote {
            midi: Some(midi),
            steady: steady(midi),
            ..PlayedNote::sounding(kind, from, until)
        };
        let take =
            Take { instrument: Instrument::Violin, contour: &contour, envelope: &envelope, a4: A4_ISO16 };
        joined(sounds.iter().map(note).collect(), &WrittenNote::one_bar(&[62]), 0.0, take)
    }

    /// Onsets of what is left of an extra sound of so many seconds that ends at 1 s, and of a note at 62 after it.
    fn onsets(length: f64, pitch: impl Fn(f64) -> f64, level: impl Fn(f64) -> f32) -> Vec<f64> {
        let before = (EXTRA, 1.0 - length, 1.0, pitch(1.0 - 0.5 * length));
        let left = left(&[before, (NOTE, 1.02, 1.8, 62.0)], pitch, level);
        assert_eq!(left.last().expect("the note").offset.0, 1.8);
        assert!(left.iter().all(|note| note.steady.is_some()));
        left.iter().map(|note| note.onset.0).collect()
    }

    /// The level of one stroke, and of two that meet at 1 s.
    fn one_bow(_: f64) -> f32 {
        -20.0
    }

    fn turned(time: f64) -> f32 {
        if (time - 1.0).abs() < 0.02 { -26.0 } else { -20.0 }
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
        assert_eq!(onsets(0.2, octave_first, one_bow), [0.8]);
        assert_eq!(onsets(0.35, octave_first, one_bow).len(), 2, "a note of its own");
        assert_eq!(onsets(0.2, octave_first, turned).len(), 2, "a bow of its own");
    }

    #[test]
    fn a_note_begins_with_the_slide_into_it() {
        assert_eq!(onsets(0.2, slide, one_bow), [0.8]);
        let lifted = |time: f64| one_bow(time) - if (time - 1.0).abs() < 0.02 { 10.0 } else { 0.0 };
        assert_eq!(onsets(0.2, slide, lifted).len(), 2, "a bow of its own");
        let slurred = |time: f64| if time < 0.98 { 60.0 } else { (60.0 + 50.0 * (time - 0.98)).min(62.0) };
        assert_eq!(onsets(0.2, slurred, one_bow).len(), 2, "a note of its own, slurred to the next");
        let leap = |time: f64| if time < 1.0 { slide(time) - 2.0 } else { 62.0 };
        assert_eq!(onsets(0.2, leap, one_bow).len(), 2, "it does not arrive");
    }

    #[test]
    fn a_note_begins_with_the_place_from_which_its_finger_was_put_right() {
        let from = |low: f64, seconds: f64| {
            move |time: f64| (low + (62.0 - low) * ((time - 1.0) / seconds + 0.5)).clamp(low, 62.0)
        };
        let found = |length: f64, low: f64, seconds: f64, level: fn(f64) -> f32| {
            let sounds = [(EXTRA, 1.0 - length, 1.0, low), (NOTE, 1.0, 1.8, 62.0)];
            left(&sounds, from(low, seconds), level).len()
        };
        assert_eq!(found(0.4, 61.0, 0.15, one_bow), 1);
        assert_eq!(found(0.4, 61.0, 0.15, turned), 1, "the level sags by 6 dB");
        assert_eq!(found(0.4, 61.0, 0.02, one_bow), 2, "another finger");
        assert_eq!(found(0.4, 60.5, 0.15, one_bow), 2, "too far for one finger");
        assert_eq!(found(0.6, 61.0, 0.15, one_bow), 2, "a note of its own");
        assert_eq!(found(0.4, 61.8, 0.15, turned), 2, "the same note twice");
    }

    /// The kinds, onsets and offsets of what is left, and whether its pitch is.
    fn told(left: &[PlayedNote]) -> Vec<(StepKind, f64, f64, bool)> {
        left.iter().map(|note| (note.kind, note.onset.0, note.offset.0, note.steady.is_some())).collect()
    }

    #[test]
    fn a_note_whose_bow_goes_over_into_its_octave_and_stays_there_ends_with_its_stroke() {
        let octave_last = |time: f64| if time < 1.0 { 62.0 } else { 74.0 };
        let sounds = |then| [(NOTE, 0.2, 1.0, 62.0), (EXTRA, 1.0, 1.5, then)];
        assert_eq!(told(&left(&sounds(74.2), octave_last, one_bow)), [(NOTE, 0.2, 1.5, true)]);
        assert_eq!(left(&sounds(74.2), octave_last, turned).len(), 2, "a bow of its own");
        assert_eq!(left(&sounds(69.0), octave_last, one_bow).len(), 2, "a fifth");
        assert_eq!(left(&sounds(50.0), octave_last, one_bow).len(), 2, "the octave below");
        let wrong = [(NOTE, 0.2, 1.0, 63.0), (EXTRA, 1.0, 1.5, 75.0)];
        assert_eq!(left(&wrong, octave_last, one_bow).len(), 2, "no note of the sheet");
        let apart = [(NOTE, 0.2, 1.0, 62.0), (EXTRA, 1.09, 1.5, 74.0)];
        assert_eq!(left(&apart, octave_last, one_bow).len(), 2, "a pause between them");
    }

    #[test]
    fn a_stroke_that_begins_with_its_note_and_whistles_for_most_of_its_length_has_no_pitch_to_judge() {
        let octave_last = |time: f64| if time < 1.0 { 62.0 } else { 74.0 };
        let sounds = |midi| [(EXTRA, 0.5, 1.0, midi - 12.0), (NOTE, 1.02, 1.9, midi)];
        let found = left(&sounds(74.0), octave_last, one_bow);
        assert_eq!(told(&found), [(NOTE, 0.5, 1.9, false)]);
        assert!(found[0].spread > 100.0, "its pitch is all over the place");
        assert_eq!(left(&sounds(74.0), octave_last, turned).len(), 2, "a bow of its own");
        assert_eq!(left(&sounds(62.0), octave_last, one_bow).len(), 2, "played as it is written");
    }

    #[test]
    fn a_sound_slurred_to_a_note_lends_it_its_stroke_unless_it_is_far_softer() {
        let slurred = |soft: f32| {
            let sounds = [(EXTRA, 0.5, 0.8, 60.0), (NOTE, 0.8, 1.4, 62.0), (EXTRA, 1.4, 1.8, 64.0)];
            let level = |time: f64| if (0.8..1.4).contains(&time) { -20.0 } else { -20.0 - soft };
            let (contour, envelope) = sound(|_| 62.0, one_bow);
            let played = sounds.map(|(kind, from, until, midi)| PlayedNote {
                midi: Some(midi),
                body_db: level(0.5 * (from + until)),
                ..PlayedNote::sounding(kind, from, until)
            });
            let take =
                Take { instrument: Instrument::Violin, contour: &contour, envelope: &envelope, a4: A4_ISO16 };
            let found = joined(played.into(), &WrittenNote::one_bar(&[62]), 0.0, take);
            (found[1].bow_from.0, found[1].bow_until.0)
        };
        assert_eq!(slurred(0.0), (0.5, 1.8));
        assert_eq!(slurred(7.0), (0.5, 1.8));
        assert_eq!(slurred(9.0), (0.8, 1.4));
    }

    #[test]
    fn what_touches_no_note_of_its_octave_stays() {
        let far = [(EXTRA, 0.5, 0.7, 74.0), (NOTE, 1.0, 1.8, 62.0), (EXTRA, 1.8, 1.9, 69.0)];
        let there = |&(kind, from, until, _): &(StepKind, f64, f64, f64)| (kind, from, until, true);
        assert_eq!(told(&left(&far, octave_first, one_bow)), far.iter().map(there).collect::<Vec<_>>());
        assert_eq!(left(&[], octave_first, one_bow), []);
    }
}
