//! When each step of a reading begins and ends: by the level, and moved to where the sound around says.

use crate::align::Reading;
use crate::pitch::Contour;
use crate::segment::{Boundary, Envelope, NoteSpan, offset_shift, onset_shift};
use crate::units::Seconds;

/// How onsets and offsets are timed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimedBy {
    /// The level, and moved to where the sound around says that they are.
    Sound,
    /// The level alone: what the models that move them are trained on.
    Level,
}

/// When a note begins and ends, in seconds, and the level of its body in dB below full scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct NoteTimes {
    pub onset: f64,
    pub offset: f64,
    pub body_db: f32,
}

/// Level below the body at which a note counts as begun, in dB.
const ONSET_BELOW_BODY: f32 = 12.0;
/// The same before a pause: what the room adds to the fall takes away a little less.
const OFFSET_BELOW_BODY: f32 = 8.5;
/// Takes whose fastest fall is slower than the first were made in a room, those with one faster than the second in
/// none to speak of, in dB per second.
const ROOMY: f64 = 185.0;
const DRY: f64 = 220.0;
/// A bow stops within this time, in seconds.
const LONGEST_STOP: f64 = 0.05;
/// How long before the middle of a change the new note comes within 12 dB of its body, in seconds: changes on one
/// bow take 20 to 60 ms (measured on takes with known truth).
const BEHIND: f64 = 0.020;
/// A note ends at most so long after the next one has begun, in seconds: what a slow bow change needs.
const BEYOND: f64 = 0.06;
/// A note keeps at least this share of its length by the level.
const LEAST_LEFT: f64 = 0.5;
/// A boundary further away says nothing of an onset, in seconds.
const NEAREST: f64 = 0.15;

/// Times each step of a reading, which counts these boundaries.
pub(super) fn note_times(
    reading: &Reading,
    contour: &Contour,
    envelope: &Envelope,
    boundaries: &[Boundary],
    by: TimedBy,
) -> Vec<NoteTimes> {
    let hop = contour.hop.0;
    let end = contour.frames.len() as f64 * hop;
    let starts: Vec<f64> = reading.steps.iter().map(|step| step.from as f64 * hop).collect();
    let mut stops = Vec::new();
    let mut times: Vec<NoteTimes> = Vec::new();
    for (k, step) in reading.steps.iter().enumerate() {
        let next = reading.steps.get(k + 1);
        let (from, next_from) = (starts[k], starts.get(k + 1).copied().unwrap_or(end));
        let to = (step.to as f64 * hop).min(next_from).max(from + 2.0 * hop);
        let body_db = body(&envelope.level_db, envelope, from, to);
        let fresh_db = body(&envelope.fresh_db, envelope, from, to);
        let contiguous = next.is_some_and(|n| n.from <= step.to + 3);
        let earliest = if k == 0 { from - 0.08 } else { from - 0.06 };
        let onset = onset(envelope, earliest, from, to, body_db);
        let offset = offset(envelope, onset, (to, next_from), (body_db, fresh_db), contiguous);
        times.push(NoteTimes { onset, offset, body_db });
        stops.push(to);
    }
    if by == TimedBy::Level {
        return times;
    }
    (0..times.len())
        .map(|k| {
            let NoteTimes { onset, offset, body_db } = times[k];
            let next_onset = times.get(k + 1).map(|next| next.onset);
            let shift = offset_shift(envelope, contour, &NoteSpan { onset, offset, next_onset });
            let latest = next_onset.map_or(end, |next| next + BEYOND);
            let moved = moved(onset, boundaries, stops[k] - 2.0 * hop);
            let least = (LEAST_LEFT * (offset - onset)).max(hop);
            NoteTimes { onset: moved, offset: within(offset + shift, moved + least, latest), body_db }
        })
        .collect()
}

/// The level that the loudest fifth of a note exceeds.
fn body(curve: &[f32], envelope: &Envelope, from: f64, to: f64) -> f32 {
    envelope.percentile_between(curve, Seconds(from), Seconds(to), 80)
}

/// From the deepest trough around the boundary forward: the first moment within 12 dB of the body. Where the level
/// never gets that low (a slur, a bow change that the room fills up) the new note has come up behind the old one.
fn onset(envelope: &Envelope, earliest: f64, from: f64, to: f64, body_db: f32) -> f64 {
    let until = (from + 0.12).min(from + (to - from) * 0.5);
    let (trough_db, trough) = envelope.trough(Seconds(earliest.max(0.0)), Seconds(until));
    let threshold = body_db - ONSET_BELOW_BODY;
    let behind = (from - BEHIND).max(0.0);
    if trough_db >= threshold {
        return behind;
    }
    let level = &envelope.level_db;
    let rises = (envelope.index(trough)..envelope.index(Seconds(to))).find(|k| level[k + 1] >= threshold);
    rises.map_or(behind, |k| {
        let share = f64::from((threshold - level[k]) / (level[k + 1] - level[k]).max(1e-3)).clamp(0.0, 1.0);
        (k as f64 + share) * envelope.hop.0
    })
}

/// The onset by the level, moved to where the cues of the nearest boundary say it is; at the latest `latest`.
fn moved(by_level: f64, boundaries: &[Boundary], latest: f64) -> f64 {
    let away = |b: &Boundary| (b.time.0 - by_level).abs();
    match boundaries.iter().min_by(|a, b| away(a).total_cmp(&away(b))) {
        Some(near) if away(near) < NEAREST => (by_level
            + onset_shift(&near.features, near.time.0 - by_level))
        .min(latest.max(by_level))
        .max(0.0),
        _ => by_level,
    }
}

/// A moment, no earlier than one limit and, where that allows it, no later than the other.
fn within(time: f64, earliest: f64, latest: f64) -> f64 {
    time.min(latest).max(earliest)
}

/// Where the note ends: the last moment near the level of its body, what the room gives back not counted.
fn offset(
    envelope: &Envelope,
    onset: f64,
    (to, next_from): (f64, f64),
    (level_db, fresh_db): (f32, f32),
    contiguous: bool,
) -> f64 {
    let hop = envelope.hop.0;
    let fresh = &envelope.fresh_db;
    let threshold = fresh_db - if contiguous { ONSET_BELOW_BODY } else { OFFSET_BELOW_BODY };
    let trough = if contiguous {
        // The next note follows at once: up to the trough between them, or to where it begins.
        let a = envelope.index(Seconds((next_from - 0.05).max(onset)));
        let b = envelope.index(Seconds(next_from + 0.05));
        let trough = (a..=b.max(a)).min_by(|&i, &j| fresh[i].total_cmp(&fresh[j])).unwrap_or(a);
        if fresh[trough] >= threshold {
            return next_from;
        }
        trough
    } else {
        // Where the next note is near, it may have begun a little before the reading says so.
        let last = envelope.index(Seconds(next_from.min(to + 0.15)));
        let a = envelope.index(Seconds((next_from - 0.05).max(onset))).min(last);
        (a..=last).min_by(|&i, &j| fresh[i].total_cmp(&fresh[j])).unwrap_or(last)
    };
    let first = (onset / hop) as usize;
    let last = (first..=trough).rev().find(|&k| fresh[k] >= threshold).unwrap_or(first);
    let last = (last as f64 * hop).max(onset + hop);
    // Without a room the bow's own stopping is as fast as anything in the take, so the fresh level hides it.
    let dry = ((-envelope.decay - ROOMY) / (DRY - ROOMY)).clamp(0.0, 1.0);
    if dry == 0.0 {
        return last;
    }
    let until = envelope.index(Seconds(last + LONGEST_STOP)).min(envelope.index(Seconds(next_from)));
    let mut own = envelope.index(Seconds(last));
    while own < until && envelope.level_db[own + 1] >= level_db - ONSET_BELOW_BODY {
        own += 1;
    }
    last + dry * ((own as f64 * hop) - last).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::align::{Step, StepKind};
    use crate::pitch::Frame;
    use crate::segment::Features;
    use crate::units::Hertz;
    use approx::assert_abs_diff_eq;

    fn boundary(time: f64) -> Boundary {
        Boundary { time: Seconds(time), llr: 3.0, leads: true, features: Features::default() }
    }

    #[test]
    fn an_onset_is_moved_by_its_nearest_boundary_and_by_none_that_is_far() {
        let moved_by = |times: &[f64]| {
            let boundaries: Vec<Boundary> = times.iter().copied().map(boundary).collect();
            moved(2.0, &boundaries, 2.5) - 2.0
        };
        assert_eq!((moved_by(&[]), moved_by(&[1.8, 2.2])), (0.0, 0.0));
        assert_eq!(moved(0.15, &[boundary(0.0)], 1.0), 0.15, "150 ms are far");
        for (times, nearest) in [([1.9, 2.05], 0.05), ([1.9, 2.2], -0.1)] {
            let shift = onset_shift(&Features::default(), nearest);
            assert!((moved_by(&times) - shift).abs() < 1e-9, "{shift}");
        }
    }

    #[test]
    fn an_onset_stays_within_the_note_and_the_take() {
        for away in [-0.1, -0.05, 0.0, 0.05, 0.1] {
            let shift = onset_shift(&Features::default(), away);
            assert!(moved(2.0, &[boundary(2.0 + away)], 2.001) <= 2.001, "{shift}");
            assert!(moved(0.01, &[boundary(0.01 + away)], 1.0) >= 0.0, "{shift}");
            let late = moved(2.0, &[boundary(2.0 + away)], 1.0);
            assert!((late - (2.0 + shift).min(2.0)).abs() < 1e-9, "{late}");
        }
    }

    /// An envelope of 5 ms from a level at each moment; nothing of it is the room's, in a room of this decay.
    fn envelope(decay: f64, level: impl Fn(f64) -> f32) -> Envelope {
        Envelope::of_levels(4.0, decay, level)
    }

    #[test]
    fn an_onset_is_where_the_level_comes_within_12_db_of_the_body() {
        // Silence, then up by 1 dB each 5 ms from 0.5 s on, to −20 dB.
        let rising = envelope(-60.0, |time| (-80.0 + 200.0 * (time - 0.5).max(0.0) as f32).min(-20.0));
        let found = onset(&rising, 0.5, 0.7, 2.0, -20.0);
        assert!((found - 0.74).abs() < 1e-6, "{found}");
        // A level that never falls so far: the new note came up behind the old one.
        let flat = envelope(-60.0, |_| -20.0);
        assert!((onset(&flat, 0.64, 0.7, 2.0, -20.0) - 0.68).abs() < 1e-9);
        // What lies later than half of a short note, or 120 ms, is not its onset.
        let late = envelope(-60.0, |time| if time > 0.84 && time < 0.9 { -60.0 } else { -20.0 });
        assert!((onset(&late, 0.64, 0.7, 2.0, -20.0) - 0.68).abs() < 1e-9);
        let short = envelope(-60.0, |time| if time > 0.77 && time < 0.8 { -60.0 } else { -20.0 });
        assert!((onset(&short, 0.64, 0.7, 0.8, -20.0) - 0.68).abs() < 1e-9);
        assert!(onset(&short, 0.64, 0.7, 2.0, -20.0) > 0.79);
        // What comes up only after the note is another one.
        let after = envelope(-60.0, |time| if time < 0.9 { -60.0 } else { -20.0 });
        assert!((onset(&after, 0.64, 0.7, 0.89, -20.0) - 0.68).abs() < 1e-9);
        assert!((onset(&after, 0.64, 0.7, 0.95, -20.0) - 0.9).abs() < 0.006);
    }

    #[test]
    fn an_offset_before_a_pause_is_the_last_moment_within_8_5_db_of_the_body() {
        // Held at −20 dB up to 1 s, then down by 1 dB each 5 ms.
        let falling = |time: f64| -20.0 - 200.0 * (time - 1.0).max(0.0) as f32;
        let room = envelope(-100.0, falling);
        let found = offset(&room, 0.3, (1.1, 2.5), (-20.0, -20.0), false);
        assert!((found - 1.04).abs() < 1e-6, "{found}");
        // In a dry take the bow stops as fast as anything in it: by the level itself, 12 dB below the body.
        let dry = envelope(-300.0, falling);
        let found = offset(&dry, 0.3, (1.1, 2.5), (-20.0, -20.0), false);
        assert!((found - 1.06).abs() < 1e-6, "{found}");
        // Half-way between the two kinds of take, half-way between the two moments.
        let between = envelope(-0.5 * (ROOMY + DRY), falling);
        let found = offset(&between, 0.3, (1.1, 2.5), (-20.0, -20.0), false);
        assert!((found - 1.05).abs() < 1e-6, "{found}");
    }

    #[test]
    fn an_offset_before_the_next_note_is_at_the_trough_between_them_or_where_that_begins() {
        let dip = |depth: f32| {
            envelope(-100.0, move |time| if (time - 1.0).abs() < 0.0201 { -20.0 - depth } else { -20.0 })
        };
        let touching = |depth: f32| offset(&dip(depth), 0.3, (1.0, 1.0), (-20.0, -20.0), true);
        assert!((touching(20.0) - 0.975).abs() < 1e-6, "{}", touching(20.0));
        assert!((touching(11.0) - 1.0).abs() < 1e-9, "{}", touching(11.0));
        // A trough further than 50 ms from where the next one begins belongs to something else.
        let elsewhere = envelope(-100.0, |time| if (time - 0.9).abs() < 0.02 { -60.0 } else { -20.0 });
        assert!((offset(&elsewhere, 0.3, (1.0, 1.0), (-20.0, -20.0), true) - 1.0).abs() < 1e-9);
    }

    /// Four seconds of D4 in frames of 10 ms, as clear as this.
    fn contour(clarity: impl Fn(u32) -> f32) -> Contour {
        let frame = |k: u32| Frame {
            time: Seconds(f64::from(k) * 0.01),
            pitch: Some(Hertz(293.66)),
            clarity: clarity(k),
            level_db: -20.0,
            candidates: Default::default(),
            harmonic_db: -20.0,
            noise_db: -60.0,
            second: None,
        };
        Contour { hop: Seconds(0.01), frames: (0..400).map(frame).collect() }
    }

    /// A step from frame to frame of 10 ms.
    fn step(note: usize, from: usize, to: usize) -> Step {
        Step {
            kind: StepKind::Written { note, restart: false },
            boundary: note,
            from,
            to,
            semitone: Some(62),
        }
    }

    #[test]
    fn the_body_of_a_note_is_what_its_loudest_fifth_exceeds() {
        // 0.5 to 1 s, from −70 dB to −20 by half a decibel each 5 ms: the fifth of them that is loudest is above −30.
        let rising = envelope(-60.0, |time| -70.0 + 100.0 * (time - 0.5) as f32);
        let found = body(&rising.level_db, &rising, 0.5, 1.0);
        assert!((found + 30.0).abs() < 0.6, "{found}");
        assert_eq!(body(&rising.level_db, &rising, 0.8, 0.7), rising.level_db[160], "one moment at least");
    }

    /// Two notes at −20 dB, from 0.5 s to 1.5 and from 1.5 to 2.5 with 30 dB between them, in a take of 4 s.
    fn two_notes_sound() -> (Envelope, Contour) {
        let sound = envelope(-150.0, |time| match time {
            _ if (time - 1.5).abs() < 0.02 => -50.0,
            _ if (0.5..2.5).contains(&time) => -20.0,
            _ => -80.0,
        });
        (sound, contour(|k| if (50..250).contains(&k) { 0.95 } else { 0.1 }))
    }

    fn two_notes(by: TimedBy) -> Vec<NoteTimes> {
        let (sound, contour) = two_notes_sound();
        let reading = Reading { steps: vec![step(0, 50, 149), step(1, 150, 250)], score: 0.0 };
        note_times(&reading, &contour, &sound, &[boundary(0.5), boundary(1.5)], by)
    }

    #[test]
    fn by_the_level_a_note_lasts_from_its_rise_to_its_fall() {
        let times = two_notes(TimedBy::Level);
        for (time, (onset, offset)) in times.iter().zip([(0.5, 1.48), (1.52, 2.5)]) {
            assert!((time.onset - onset).abs() < 0.011 && (time.offset - offset).abs() < 0.011, "{time:?}");
            assert_eq!(time.body_db, -20.0);
        }
    }

    #[test]
    fn a_note_reaches_the_next_one_unless_the_reading_has_a_pause_of_more_than_three_frames_between() {
        // One sound without end, read as a second of note and another one three or four frames later.
        let sound = envelope(-150.0, |_| -20.0);
        let ends = |next: usize| {
            let reading = Reading { steps: vec![step(0, 0, 100), step(1, next, 200)], score: 0.0 };
            note_times(&reading, &contour(|_| 0.95), &sound, &[], TimedBy::Level)[0].offset
        };
        assert!((ends(103) - 1.03).abs() < 1e-9, "{}", ends(103));
        assert!((ends(104) - 0.99).abs() < 0.006, "{}", ends(104));
    }

    #[test]
    fn a_note_read_as_a_moment_has_the_level_of_two_frames() {
        // A ramp of a decibel in 10 ms, −20 dB at half a second: 1.6 dB more at 0.516 s.
        let rising = envelope(-150.0, |time| -70.0 + 100.0 * time as f32);
        let reading = Reading { steps: vec![step(0, 50, 50), step(1, 100, 150)], score: 0.0 };
        let body = note_times(&reading, &contour(|_| 0.95), &rising, &[], TimedBy::Level)[0].body_db;
        assert!((body + 18.3).abs() < 0.4, "{body}");
    }

    #[test]
    fn the_sound_moves_a_note_a_little() {
        let (level, sound) = (two_notes(TimedBy::Level), two_notes(TimedBy::Sound));
        for (before, after) in level.iter().zip(&sound) {
            assert_ne!(before, after);
            assert!((before.onset - after.onset).abs() <= 0.06 && (before.offset - after.offset).abs() < 0.1);
        }
        assert!(sound[0].offset <= level[1].onset + BEYOND);
    }

    #[test]
    fn a_moved_offset_leaves_half_of_the_note_before_it_keeps_off_the_next_one() {
        assert_eq!(within(1.3, 1.1, 1.4), 1.3);
        assert_eq!(within(1.0, 1.1, 1.4), 1.1);
        assert_eq!(within(1.5, 1.1, 1.4), 1.4);
        assert_eq!(within(1.2, 1.5, 1.4), 1.5);
        // A brief note whose sound dies away after it: by the level it lasts up to where it has fallen by 8.5 dB.
        let sound = envelope(-60.0, |time| match time {
            _ if time < 0.5 => -80.0,
            _ if time < 0.58 => -20.0,
            _ => -20.0 - 30.0 * (time - 0.58) as f32,
        });
        let contour = contour(|_| 0.6);
        let reading = Reading { steps: vec![step(0, 50, 80)], score: 0.0 };
        let times = |by| note_times(&reading, &contour, &sound, &[boundary(0.5)], by)[0];
        let (level, moved) = (times(TimedBy::Level), times(TimedBy::Sound));
        assert!(
            moved.offset - moved.onset >= LEAST_LEFT * (level.offset - level.onset) - 1e-9,
            "{level:?} {moved:?}"
        );
    }

    #[test]
    fn a_reading_without_steps_has_no_times() {
        let nothing = Contour { hop: Seconds(0.01), frames: Vec::new() };
        assert!(
            note_times(&Reading::default(), &nothing, &envelope(-60.0, |_| -80.0), &[], TimedBy::Sound)
                .is_empty()
        );
    }

    #[test]
    fn between_two_values_of_the_level_an_onset_lies_where_their_line_crosses_the_threshold() {
        // From −80 dB at 0.435 s to −20 at 0.44: −32 after four fifths of the 5 ms.
        let sudden = envelope(-60.0, |time| if time < 0.4375 { -80.0 } else { -20.0 });
        assert_abs_diff_eq!(onset(&sudden, 0.42, 0.5, 1.0, -20.0), 0.439, epsilon = 1e-6);
    }

    #[test]
    fn the_first_onset_may_lie_80_ms_before_its_boundary_and_a_later_one_60() {
        // The trough before either note ends 62.5 ms before its boundary. Where none is found the note is 20 ms early.
        let sound = envelope(-60.0, |time| match time {
            _ if time < 0.4375 => -80.0,
            _ if (1.4225..1.4375).contains(&time) => -80.0,
            _ => -20.0,
        });
        let reading = Reading { steps: vec![step(0, 50, 149), step(1, 150, 250)], score: 0.0 };
        let times = note_times(&reading, &contour(|_| 0.9), &sound, &[], TimedBy::Level);
        assert_abs_diff_eq!(times[0].onset, 0.439, epsilon = 1e-6);
        assert_abs_diff_eq!(times[1].onset, 1.48, epsilon = 1e-9);
    }

    #[test]
    fn an_offset_before_a_near_pause_is_before_the_trough_of_the_last_50_ms() {
        // The next note is read to begin at 1 s and has begun at 0.98, after silence from 0.965 on.
        let early = envelope(-60.0, |time| if (0.9625..0.9775).contains(&time) { -60.0 } else { -20.0 });
        assert_abs_diff_eq!(offset(&early, 0.3, (0.9, 1.0), (-20.0, -20.0), false), 0.96, epsilon = 1e-9);
    }

    #[test]
    fn a_note_that_never_comes_near_its_body_lasts_5_ms() {
        let quiet = envelope(-60.0, |_| -60.0);
        assert_abs_diff_eq!(offset(&quiet, 0.3, (0.4, 2.5), (-20.0, -20.0), false), 0.305, epsilon = 1e-9);
    }

    #[test]
    fn in_a_dry_take_a_bow_stops_within_50_ms_and_before_the_next_note() {
        // What is new ends at 1 s and the level goes on.
        let held = envelope(-300.0, |_| -20.0);
        let fresh_db = envelope(-300.0, |time| if time < 1.0025 { -20.0 } else { -60.0 }).fresh_db;
        let sound = Envelope { fresh_db, ..held };
        let found = |next_from: f64| offset(&sound, 0.3, (1.0, next_from), (-20.0, -20.0), false);
        assert_abs_diff_eq!(found(2.5), 1.05, epsilon = 1e-9);
        assert_abs_diff_eq!(found(1.03), 1.03, epsilon = 1e-9);
    }

    #[test]
    fn an_offset_is_moved_by_as_much_as_the_sound_around_it_says() {
        let (level, sound) = (two_notes(TimedBy::Level), two_notes(TimedBy::Sound));
        let (envelope, contour) = two_notes_sound();
        for (k, next_onset) in [(0, Some(level[1].onset)), (1, None)] {
            let NoteTimes { onset, offset, .. } = level[k];
            let shift = offset_shift(&envelope, &contour, &NoteSpan { onset, offset, next_onset });
            assert!(shift.abs() > 1e-4 && shift.abs() < 0.05, "{shift}");
            assert_abs_diff_eq!(sound[k].offset, offset + shift, epsilon = 1e-9);
        }
    }

    /// One note from 0.5 s on, as long as this, read to be so long: by the level, and moved by a boundary 140 ms later
    /// whose cues move it far.
    fn brief_note(seconds: f64, read_frames: usize) -> (NoteTimes, NoteTimes) {
        let end = 0.5 + seconds + 0.0025;
        let sound = envelope(-60.0, |time| if (0.4975..end).contains(&time) { -20.0 } else { -80.0 });
        let contour = contour(|k| if (50..56).contains(&k) { 0.9 } else { 0.1 });
        let reading = Reading { steps: vec![step(0, 50, 50 + read_frames)], score: 0.0 };
        let late =
            Boundary { features: Features { values: [1.0; Features::NAMES.len()] }, ..boundary(0.639) };
        let times = |by| note_times(&reading, &contour, &sound, std::slice::from_ref(&late), by)[0];
        (times(TimedBy::Level), times(TimedBy::Sound))
    }

    #[test]
    fn an_onset_is_moved_no_nearer_than_20_ms_to_the_end_of_the_reading() {
        // Read to last from 0.5 to 0.53 s.
        let (level, moved) = brief_note(0.06, 3);
        assert_abs_diff_eq!(level.onset, 0.499, epsilon = 1e-6);
        assert_abs_diff_eq!(moved.onset, 0.51, epsilon = 1e-9);
    }

    #[test]
    fn an_offset_is_at_least_half_a_length_after_an_onset_that_was_moved_towards_it() {
        let (level, moved) = brief_note(0.06, 8);
        assert_abs_diff_eq!(level.offset - level.onset, 0.061, epsilon = 1e-6);
        assert_abs_diff_eq!(moved.offset - moved.onset, 0.0305, epsilon = 1e-6);
    }
}
