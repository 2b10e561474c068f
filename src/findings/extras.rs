//! Which of the sounds beside the melody are extra notes.

use super::note_verdict::MOMENT;
use super::played::PlayedNote;
use super::report::ExtraFinding;
use crate::align::{StepKind, WrittenNote};

/// A sound shorter than this is a slip of the bow, not a note, in seconds.
const SHORTEST_EXTRA: f64 = 0.065;
/// So is one shorter than this that is also shorter than this share of the player's short notes (a fifth of them are
/// shorter still): the bow catches another string, or a metronome clicks.
const BRUSH: f64 = 0.16;
const BRUSH_SHARE: f64 = 0.36;
/// A sound this far below the written notes is ringing, the room or another child, in dB;
const FAINT: f32 = 15.0;
/// before the first note one that far.
const FAINT_AT_FIRST: f32 = 6.7;
/// An onset with less evidence (log odds) is not held against the player, unless the pitch itself tells of it.
const DOUBTFUL_ONSET: f64 = 1.5;
/// It does where it is further than this from the pitches before and after, in semitones, and holds still,
const ANOTHER_PITCH: f64 = 0.7;
/// in a sound no further than this below the written notes, in dB.
const PLAIN: f32 = 10.0;
/// A sound that ends so long before the first note of the melody, or begins so long after its last one, is beside the
/// melody: a child tries a string, or plays on when it is done. In seconds.
const BESIDE: f64 = 0.5;
/// A sound that wanders by more than this (half its interquartile range, in cents) is talk.
const WANDERING: f64 = 30.0;

/// A sound shorter than this with so much silence on either side of it may be somebody who counts the rest, in seconds:
const COUNTED: f64 = 0.35;
const ALONE: f64 = 0.1;
/// what wanders by more than this (cents) then is a voice, and so is
const VOICE_WANDERS: f64 = 15.0;
/// what is so many semitones above all notes of the melody as they were played, or this much below.
const ABOVE_ALL: f64 = 5.0;
const BELOW_ALL: f64 = 7.0;

/// Extra notes: only what clearly is one. A sound that is too short, too faint or too restless to be a bowed
/// note is not held against the player.
pub(super) fn extra_notes(played: &[PlayedNote], notes: &[WrittenNote]) -> Vec<ExtraFinding> {
    let written = |p: &&PlayedNote| p.is_written();
    let usual = usual_level(played);
    let mut lengths: Vec<f64> = played.iter().filter(written).map(|p| p.offset.0 - p.onset.0).collect();
    lengths.sort_by(f64::total_cmp);
    let short = lengths.get(lengths.len() / 5).copied().unwrap_or(0.0);
    let shortest = SHORTEST_EXTRA.max(BRUSH.min(BRUSH_SHARE * short));
    let first = played.iter().position(|p| written(&p)).unwrap_or(0);
    let pitches = || played.iter().filter(written).filter_map(PlayedNote::pitch);
    let reach = (
        pitches().fold(f64::INFINITY, f64::min) - BELOW_ALL,
        pitches().fold(f64::NEG_INFINITY, f64::max) + ABOVE_ALL,
    );
    let clearly = |k: usize| {
        let p = &played[k];
        // Before the first note somebody may talk; what is a note there must be beyond doubt.
        let (faint, wandering) =
            if k < first { (FAINT_AT_FIRST, WANDERING / 3.0) } else { (FAINT, WANDERING) };
        p.offset.0 - p.onset.0 >= shortest
            && p.body_db > usual - faint
            && p.voiced > 0.6
            && p.spread < wandering
            && !is_a_moment_an_octave_away(played, k)
            && !may_be_a_voice(played, k, reach)
            && (p.onset_llr > DOUBTFUL_ONSET || (p.body_db > usual - PLAIN && at_its_own_pitch(played, k)))
    };
    let begins = played.iter().find(written).map_or(f64::NEG_INFINITY, |p| p.onset.0);
    // Whoever stops before the last note may have played something else instead.
    let ends = match played.iter().rfind(written).map(|p| (p.kind, p.offset.0)) {
        Some((StepKind::Written { note, .. }, offset)) if note + 1 == notes.len() => offset,
        _ => f64::INFINITY,
    };
    let beside = |k: usize| played[k].offset.0 < begins - BESIDE || played[k].onset.0 > ends + BESIDE;
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
        .filter(|&k| clearly(k) && !abandoned(k) && !beside(k))
        .filter_map(|k| match played[k].kind {
            StepKind::Extra { after } => Some(ExtraFinding {
                onset_s: played[k].onset.0,
                offset_s: played[k].offset.0,
                played_midi: played[k].pitch()?,
                after_index: after.map(|n| notes[n].event),
            }),
            StepKind::Written { .. } => None,
        })
        .collect()
}

/// The level of the written notes' bodies, in dB below full scale: their median.
pub(super) fn usual_level(played: &[PlayedNote]) -> f32 {
    let mut bodies: Vec<f32> = played.iter().filter(|p| p.is_written()).map(|p| p.body_db).collect();
    bodies.sort_by(f32::total_cmp);
    bodies.get(bodies.len() / 2).copied().unwrap_or(-120.0)
}

/// Whether a sound holds a pitch that the sounds before and after it have not, nor an octave away: an octave is what the ear
/// mistakes when a note dies away.
fn at_its_own_pitch(played: &[PlayedNote], k: usize) -> bool {
    played[k].steady.is_some_and(|own| {
        own.spread < WANDERING / 2.0
            && octaves_to_neighbours(played, k, own.midi).all(|(_, semitones)| semitones > ANOTHER_PITCH)
    })
}

/// Whether a sound is no longer than a moment and as good as whole octaves from the one before or after it: so few periods,
/// of two notes that overlap, do not decide an octave.
fn is_a_moment_an_octave_away(played: &[PlayedNote], k: usize) -> bool {
    let own = &played[k];
    own.offset.0 - own.onset.0 < MOMENT
        && own.midi.is_some_and(|midi| {
            octaves_to_neighbours(played, k, midi)
                .any(|(octaves, semitones)| octaves != 0.0 && semitones < ANOTHER_PITCH)
        })
}

/// Whether a brief sound that stands alone between two others wanders as a voice does, or is out of the reach (MIDI numbers)
/// of whoever plays this melody.
fn may_be_a_voice(played: &[PlayedNote], k: usize, reach: (f64, f64)) -> bool {
    let own = &played[k];
    let alone = k.checked_sub(1).is_some_and(|j| own.onset.0 - played[j].offset.0 > ALONE)
        && played.get(k + 1).is_some_and(|next| next.onset.0 - own.offset.0 > ALONE);
    let far = own.pitch().is_some_and(|midi| midi < reach.0 || midi > reach.1);
    alone && own.offset.0 - own.onset.0 < COUNTED && (own.spread > VOICE_WANDERS || far)
}

/// How far the sounds before and after one are from a pitch: whole octaves, and the semitones that are left either way.
fn octaves_to_neighbours(played: &[PlayedNote], k: usize, midi: f64) -> impl Iterator<Item = (f64, f64)> {
    let neighbours = [k.checked_sub(1).map(|j| &played[j]), played.get(k + 1)];
    neighbours.into_iter().flatten().filter_map(PlayedNote::pitch).map(move |other| {
        let octaves = (other - midi) / 12.0;
        (octaves.round(), (octaves - octaves.round()).abs() * 12.0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::played::SteadyPitch;

    const WRITTEN: StepKind = StepKind::Written { note: 0, restart: false };
    const RETURNED: StepKind = StepKind::Written { note: 0, restart: true };
    const EXTRA: StepKind = StepKind::Extra { after: None };

    /// A note beyond doubt, from one moment on and so long, in seconds.
    fn sound(kind: StepKind, onset: f64, length: f64) -> PlayedNote {
        PlayedNote::sounding(kind, onset, onset + length)
    }

    /// Five written notes from 1 s on, then something. The middle one of their bodies is at −20 dB, and a fifth of them
    /// are shorter than 0.3 s times a factor.
    fn after_five(factor: f64, last: PlayedNote) -> Vec<PlayedNote> {
        let note = |(k, (length, body_db)): (u32, (f64, f32))| PlayedNote {
            body_db,
            ..sound(WRITTEN, 1.0 + f64::from(k), factor * length)
        };
        let written = [(0.5, -26.0), (0.2, -16.0), (1.0, -20.0), (0.3, -30.0), (0.5, -18.0)];
        (0..).zip(written).map(note).chain([last]).collect()
    }

    fn is_found(played: &[PlayedNote]) -> bool {
        !extra_notes(played, &[]).is_empty()
    }

    #[test]
    fn a_brief_sound_alone_in_a_rest_is_a_voice_where_it_wanders_or_is_out_of_reach() {
        let at = |midi: f64, spread: f64, note: PlayedNote| PlayedNote {
            midi: Some(midi),
            steady: Some(SteadyPitch { midi, spread, seconds: 0.2 }),
            spread,
            ..note
        };
        let found = |onset: f64, length: f64, midi: f64, spread: f64| {
            let extra = at(midi, spread, sound(EXTRA, onset, length));
            let played =
                [at(60.0, 3.0, sound(WRITTEN, 1.0, 0.6)), extra, at(67.0, 3.0, sound(WRITTEN, 3.0, 0.6))];
            is_found(&played)
        };
        assert!(found(2.0, 0.3, 64.0, 5.0), "a string caught in the rest");
        assert!(!found(2.0, 0.3, 64.0, 20.0) && found(2.0, 0.4, 64.0, 20.0));
        assert!(!found(2.0, 0.3, 73.0, 5.0) && found(2.0, 0.3, 71.0, 5.0));
        assert!(!found(2.0, 0.3, 52.0, 5.0) && found(2.0, 0.3, 54.0, 5.0));
        assert!(found(1.65, 0.3, 64.0, 20.0) && found(2.65, 0.3, 64.0, 20.0), "beside a note");
    }

    #[test]
    fn a_string_tried_half_a_second_before_the_melody_or_after_its_end_is_no_extra_note() {
        let note = |event| WrittenNote { event, midi: 60, start: 0.0, length: 1.0, opens_bar: true, bar: 1 };
        let found = |extra: PlayedNote, sheet: &[WrittenNote]| {
            let mut played = vec![sound(WRITTEN, 2.0, 0.6), sound(WRITTEN, 3.0, 0.6), extra];
            played.sort_by(|a, b| a.onset.0.total_cmp(&b.onset.0));
            !extra_notes(&played, sheet).is_empty()
        };
        let sheet = [note(0)];
        let before = |gap: f64| found(sound(EXTRA, 2.0 - gap - 0.6, 0.6), &sheet);
        let after = |gap: f64| found(sound(EXTRA, 3.6 + gap, 0.6), &sheet);
        assert_eq!([before(0.49), before(0.51), after(0.49), after(0.51)], [true, false, true, false]);
        // Where the sheet goes on, the player did something else.
        assert!(found(sound(EXTRA, 5.0, 0.6), &[note(0), note(1)]));
    }

    #[test]
    fn an_extra_note_lasts_36_percent_of_the_short_ones_at_most_160_ms_and_at_least_65() {
        // 36 % of 0.3, 0.6 (0.216, so 0.16) and 0.15 s (0.054, so 0.065).
        for (factor, shortest) in [(1.0, 0.108), (2.0, 0.16), (0.5, 0.065)] {
            let found = |length| is_found(&after_five(factor, sound(EXTRA, 8.0, length)));
            assert_eq!((found(shortest - 0.001), found(shortest + 0.001)), (false, true), "{shortest}");
        }
    }

    #[test]
    fn one_doubt_is_enough_against_an_extra_note() {
        let found = |last| is_found(&after_five(1.0, last));
        let extra = || sound(EXTRA, 8.0, 0.5);
        assert!(found(extra()));
        // 15 dB below the middle one of the five bodies.
        assert!(found(PlayedNote { body_db: -34.9, ..extra() }));
        assert!(!found(PlayedNote { body_db: -35.0, ..extra() }));
        assert!(found(PlayedNote { voiced: 0.61, ..extra() }));
        assert!(!found(PlayedNote { voiced: 0.6, ..extra() }));
        assert!(found(PlayedNote { spread: 29.9, ..extra() }));
        assert!(!found(PlayedNote { spread: 30.0, ..extra() }));
        assert!(found(PlayedNote { onset_llr: 1.6, ..extra() }));
        assert!(!found(PlayedNote { onset_llr: 1.5, ..extra() }));
    }

    #[test]
    fn a_steady_pitch_that_neither_neighbour_has_needs_no_sign_of_an_onset() {
        // The notes beside it are at 62.2.
        let held = |midi, spread| Some(SteadyPitch { midi, spread, seconds: 0.3 });
        let silent = |steady| PlayedNote { steady, onset_llr: -5.0, ..sound(EXTRA, 8.0, 0.5) };
        let found = |last| is_found(&after_five(1.0, last));
        assert!(found(silent(held(62.91, 14.9))));
        assert!(found(silent(held(61.49, 14.9))));
        assert!(!found(silent(held(62.89, 14.9))), "the pitch of the note before");
        assert!(!found(silent(held(62.91, 15.1))), "it wanders");
        assert!(!found(silent(None)), "never steady");
        assert!(!found(silent(held(74.3, 2.0))), "an octave above the note before");
        assert!(found(silent(held(69.2, 2.0))), "a fifth");
        assert!(found(PlayedNote { body_db: -29.9, ..silent(held(64.0, 2.0)) }));
        assert!(!found(PlayedNote { body_db: -30.1, ..silent(held(64.0, 2.0)) }), "soft: it may only ring");
        // The next note's pitch counts as well.
        let before_a_note = |midi| {
            let mut played = after_five(1.0, silent(held(62.95, 2.0)));
            played.push(PlayedNote { midi: Some(midi), ..sound(WRITTEN, 9.0, 0.5) });
            is_found(&played)
        };
        assert!(before_a_note(62.2));
        assert!(!before_a_note(63.0));
    }

    #[test]
    fn a_moment_does_not_decide_whether_an_extra_note_is_an_octave_away() {
        // The note before is at 62.2.
        let found = |midi, seconds| {
            is_found(&after_five(1.0, PlayedNote { midi: Some(midi), ..sound(EXTRA, 8.0, seconds) }))
        };
        assert_eq!((found(74.2, 0.19), found(74.2, 0.21)), (false, true));
        assert_eq!([50.2, 38.2, 73.51].map(|midi| found(midi, 0.19)), [false; 3]);
        assert_eq!([62.2, 73.49, 69.2].map(|midi| found(midi, 0.19)), [true; 3]);
        let before = |midi| {
            let extra = PlayedNote { midi: Some(57.0), ..sound(EXTRA, 8.0, 0.19) };
            let mut played = after_five(1.0, extra);
            played.push(PlayedNote { midi: Some(midi), ..sound(WRITTEN, 8.3, 0.5) });
            is_found(&played)
        };
        assert_eq!((before(69.0), before(67.0)), (false, true));
    }

    #[test]
    fn before_the_first_note_an_extra_one_may_be_less_faint_and_wander_a_third_as_much() {
        let found = |body_db, spread| {
            let mut played = after_five(1.0, sound(WRITTEN, 8.0, 0.5));
            played.insert(0, PlayedNote { body_db, spread, ..sound(EXTRA, 0.0, 0.5) });
            is_found(&played)
        };
        // The middle body is at −20 dB still. 6.7 dB below that, and 30 / 3 cents.
        assert_eq!((found(-26.6, 9.9), found(-26.7, 9.9), found(-26.6, 10.0)), (true, false, false));
    }

    #[test]
    fn a_take_without_a_written_note_holds_extra_ones_as_they_are_after_the_first() {
        assert!(is_found(&[PlayedNote { spread: 29.9, ..sound(EXTRA, 0.5, 0.1) }]));
    }

    #[test]
    fn what_leads_up_to_a_return_is_no_extra_note() {
        let found =
            |next| is_found(&[sound(WRITTEN, 0.0, 0.5), sound(EXTRA, 0.6, 0.5), sound(next, 1.2, 0.5)]);
        assert_eq!((found(WRITTEN), found(RETURNED)), (true, false));
    }

    #[test]
    fn an_extra_note_is_told_by_its_steady_pitch_and_the_event_before_it() {
        let note = |event| WrittenNote { event, midi: 62, start: 0.0, length: 1.0, opens_bar: false, bar: 1 };
        let steady = Some(SteadyPitch { midi: 62.4, spread: 2.0, seconds: 0.3 });
        let extra = sound(StepKind::Extra { after: Some(1) }, 2.0, 0.5);
        let settled = PlayedNote { steady, ..extra.clone() };
        let nowhere = PlayedNote { midi: None, ..extra.clone() };
        let told =
            |played_midi| ExtraFinding { onset_s: 2.0, offset_s: 2.5, played_midi, after_index: Some(3) };
        assert_eq!(
            extra_notes(&[sound(WRITTEN, 1.0, 0.5), extra, settled, nowhere], &[note(0), note(3)]),
            [told(62.2), told(62.4)]
        );
    }
}
