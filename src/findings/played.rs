//! Each step of a reading as a played note: onset, offset and pitch, measured.

use crate::align::{Reading, StepKind};
use crate::pitch::Contour;
use crate::segment::{Boundary, Envelope, onset_shift};
use crate::units::{Hertz, Seconds};

/// A note as it was played.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayedNote {
    /// Which written note it stands for, or that it is extra.
    pub kind: StepKind,
    /// The moment the level of the new note by itself comes within 12 dB of its body.
    pub onset: Seconds,
    /// The moment the bow stops driving it.
    pub offset: Seconds,
    /// Median pitch over all its voiced frames (MIDI number at the report's A), where there are any.
    pub midi: Option<f64>,
    /// Its pitch over the steady part, where one is long enough.
    pub steady: Option<SteadyPitch>,
    /// Half the interquartile range of its pitch over all voiced frames, in cents.
    pub spread: f64,
    /// Level of its body in dB below full scale.
    pub body_db: f32,
    /// Share of its frames that have a pitch, 0 to 1.
    pub voiced: f64,
    /// Log odds of its onset, melody unseen.
    pub onset_llr: f64,
}

/// How onsets are timed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Onsets {
    /// By the level, and moved to where the cues around say that the onset is.
    Learned,
    /// By the level alone: what the model that moves them is trained on.
    ByLevel,
}

/// Pitch over the steady part of a note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SteadyPitch {
    /// Median, as a MIDI number with decimals.
    pub midi: f64,
    /// Half the interquartile range, in cents.
    pub spread: f64,
    /// How long the steady part is, in seconds.
    pub seconds: f64,
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
/// A boundary further away says nothing of an onset, in seconds.
const NEAREST: f64 = 0.15;
/// Share of the note at each end that is not steady.
const EDGE: f64 = 0.15;
/// At least this much of the beginning is not steady, in seconds.
const ATTACK: f64 = 0.06;
/// The least steady part that a value is given for, in seconds.
const LEAST_STEADY: f64 = 0.08;
/// At most this much of either end is left out, in seconds.
const LONGEST_ATTACK: f64 = 0.15;
/// One cycle of vibrato, in seconds (students: 5 to 6 cycles a second).
const VIBRATO_CYCLE: f64 = 0.18;
/// Faster glides than this are not steady, in cents per second.
const FASTEST_GLIDE: f64 = 60.0;
/// A glide is measured over this many frames on either side.
const GLIDE_REACH: usize = 4;
/// Less clear frames are not steady.
const LEAST_CLARITY: f32 = 0.80;

/// Measures each step of a reading, which counts these boundaries.
pub fn played_notes(
    reading: &Reading,
    contour: &Contour,
    envelope: &Envelope,
    boundaries: &[Boundary],
    onsets: Onsets,
    a4: Hertz,
) -> Vec<PlayedNote> {
    let hop = contour.hop.0;
    (0..reading.steps.len())
        .map(|k| {
            let step = &reading.steps[k];
            let next = reading.steps.get(k + 1);
            let from = step.from as f64 * hop;
            let next_from = next.map_or(contour.frames.len() as f64 * hop, |s| s.from as f64 * hop);
            let to = (step.to as f64 * hop).min(next_from).max(from + 2.0 * hop);
            let body_db = body(&envelope.level_db, envelope, from, to);
            let fresh_db = body(&envelope.fresh_db, envelope, from, to);
            let contiguous = next.is_some_and(|n| n.from <= step.to + 3);
            let earliest = match k.checked_sub(1).map(|p| &reading.steps[p]) {
                Some(_) => from - 0.06,
                None => from - 0.08,
            };
            let by_level = onset(envelope, earliest, from, to, body_db);
            let onset = match onsets {
                Onsets::Learned => moved(by_level, boundaries, to - 2.0 * hop),
                Onsets::ByLevel => by_level,
            };
            let offset = offset(envelope, onset, (to, next_from), (body_db, fresh_db), contiguous);
            let frames =
                &contour.frames[frame(contour, onset)..frame(contour, offset).max(frame(contour, onset) + 1)];
            let mut pitches: Vec<f64> = frames.iter().filter_map(|f| f.pitch.map(|p| p.midi(a4).0)).collect();
            let voiced = pitches.len() as f64 / frames.len() as f64;
            pitches.sort_by(f64::total_cmp);
            PlayedNote {
                kind: step.kind,
                onset: Seconds(onset),
                offset: Seconds(offset),
                midi: middle(&pitches),
                spread: match (quantile(&pitches, 0.25), quantile(&pitches, 0.75)) {
                    (Some(a), Some(b)) => (b - a) * 50.0,
                    _ => f64::INFINITY,
                },
                steady: steady(contour, onset, offset, a4, middle(&pitches)),
                body_db,
                voiced,
                onset_llr: boundaries.get(step.boundary).map_or(0.0, |b| b.llr),
            }
        })
        .collect()
}

fn frame(contour: &Contour, time: f64) -> usize {
    ((time / contour.hop.0).round().max(0.0) as usize).min(contour.frames.len().saturating_sub(1))
}

fn middle(sorted: &[f64]) -> Option<f64> {
    quantile(sorted, 0.5)
}

/// The quantile of sorted values, neighbours interpolated.
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let at = last as f64 * share;
    let (a, b) = (sorted[at.floor() as usize], sorted[at.ceil() as usize]);
    Some(a + (b - a) * (at - at.floor()))
}

/// The level that the loudest fifth of a note exceeds.
fn body(levels: &[f32], envelope: &Envelope, from: f64, to: f64) -> f32 {
    let (a, b) = (envelope.index(Seconds(from)), envelope.index(Seconds(to)));
    let mut values = levels[a..=b.max(a)].to_vec();
    values.sort_by(f32::total_cmp);
    values.get(values.len() * 4 / 5).copied().unwrap_or(-120.0)
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
    let hop = envelope.hop.0;
    let mut k = envelope.index(trough);
    while k + 1 < envelope.level_db.len() && (k as f64) * hop < to {
        let (a, b) = (envelope.level_db[k], envelope.level_db[k + 1]);
        if b >= threshold {
            let share = f64::from((threshold - a) / (b - a).max(1e-3)).clamp(0.0, 1.0);
            return (k as f64 + share) * hop;
        }
        k += 1;
    }
    behind
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
    let mut k = if contiguous {
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
    while k > 0 && k as f64 * hop > onset && fresh[k] < threshold {
        k -= 1;
    }
    let last = (k as f64 * hop).max(onset + hop);
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

/// The steady part: away from both ends, clear, not gliding. Vibrato and wobble are averaged over one cycle
/// before anything is judged, since the mean is the pitch that listeners hear (Brown and Vaughn, "Pitch center of
/// stringed instrument vibrato tones", JASA 1996); a glide is what is left of movement after that.
fn steady(contour: &Contour, onset: f64, offset: f64, a4: Hertz, around: Option<f64>) -> Option<SteadyPitch> {
    let around = around?;
    let length = offset - onset;
    let from = onset + (EDGE * length).clamp(ATTACK.min(0.3 * length), LONGEST_ATTACK);
    let to = offset - (EDGE * length).clamp(0.02, LONGEST_ATTACK);
    let hop = contour.hop.0;
    if to <= from {
        return None;
    }
    let kept: Vec<f64> = contour.frames[frame(contour, from)..=frame(contour, to)]
        .iter()
        .filter(|f| f.clarity >= LEAST_CLARITY)
        .filter_map(|f| f.pitch.map(|p| p.midi(a4).0))
        .filter(|midi| (midi - around).abs() < 1.0)
        .collect();
    if (kept.len() as f64) * hop < LEAST_STEADY - 1e-9 {
        return None;
    }
    let cycle = (VIBRATO_CYCLE / hop) as usize;
    let mut level: Vec<f64> =
        kept.windows(cycle.min(kept.len())).map(|w| w.iter().sum::<f64>() / w.len() as f64).collect();
    if level.len() > 2 * GLIDE_REACH {
        let still: Vec<f64> = (0..level.len())
            .filter(|&k| {
                let (a, b) = (k.saturating_sub(GLIDE_REACH), (k + GLIDE_REACH).min(level.len() - 1));
                (level[b] - level[a]).abs() * 100.0 / ((b - a) as f64 * hop) < FASTEST_GLIDE
            })
            .map(|k| level[k])
            .collect();
        if still.len() * 3 > level.len() {
            level = still;
        }
    } else {
        // Shorter than a cycle and a bit: no averages to compare, so the frames themselves.
        level = kept.clone();
    }
    level.sort_by(f64::total_cmp);
    let mut sorted = kept.clone();
    sorted.sort_by(f64::total_cmp);
    Some(SteadyPitch {
        midi: middle(&level)?,
        spread: (quantile(&sorted, 0.75)? - quantile(&sorted, 0.25)?) * 50.0,
        seconds: kept.len() as f64 * hop,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Frame;
    use crate::segment::Features;

    /// The level of digital silence.
    const FLOOR_DB: f32 = -120.0;

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

    const A4: Hertz = Hertz(440.0);
    const HOP: f64 = 0.01;

    /// Frames of 10 ms at these pitches (MIDI numbers), all clear.
    fn frames(pitches: impl Iterator<Item = f64>) -> Contour {
        let frame = |(k, midi): (usize, f64)| Frame {
            time: Seconds(k as f64 * HOP),
            pitch: Some(Hertz(440.0 * ((midi - 69.0) / 12.0).exp2())),
            clarity: 0.95,
            level_db: -20.0,
            candidates: Default::default(),
            harmonic_db: -20.0,
            noise_db: -60.0,
        };
        Contour { hop: Seconds(HOP), frames: pitches.enumerate().map(frame).collect() }
    }

    fn steady_of(contour: &Contour, onset: f64, offset: f64, around: f64) -> Option<SteadyPitch> {
        steady(contour, onset, offset, A4, Some(around))
    }

    #[test]
    fn the_steady_part_leaves_out_15_percent_of_either_end_at_least_60_ms_and_at_most_150() {
        let held = frames(std::iter::repeat_n(62.1, 500));
        // Onset, offset, and how many frames are left.
        for (onset, offset, left) in [(0.5, 1.5, 71), (0.5, 3.5, 271), (0.5, 0.9, 29), (0.5, 0.7, 12)] {
            let found = steady_of(&held, onset, offset, 62.0).unwrap();
            assert!((found.midi - 62.1).abs() < 1e-9 && found.spread < 1e-9, "{found:?}");
            assert!((found.seconds - f64::from(left) * HOP).abs() < 0.5 * HOP + 1e-9, "{left}: {found:?}");
        }
    }

    #[test]
    fn a_note_with_less_than_80_ms_of_steady_pitch_gets_none() {
        let held = frames(std::iter::repeat_n(62.0, 500));
        assert!(steady_of(&held, 0.5, 0.66, 62.0).is_some_and(|s| s.seconds >= LEAST_STEADY));
        assert_eq!(steady_of(&held, 0.5, 0.58, 62.0), None);
        assert_eq!(steady(&held, 0.5, 1.5, A4, None), None);
        // Another note's frames are not this note's.
        assert_eq!(steady_of(&held, 0.5, 1.5, 63.0), None);
        let mut rough = held.clone();
        for frame in &mut rough.frames {
            frame.clarity = 0.79;
        }
        assert_eq!(steady_of(&rough, 0.5, 1.5, 62.0), None);
    }

    #[test]
    fn vibrato_counts_as_its_middle_wherever_it_is_cut() {
        // 5.5 cycles a second, 20 cents to either side.
        let vibrato =
            frames((0..500).map(|k| 62.0 + 0.2 * (std::f64::consts::TAU * 5.5 * k as f64 * HOP).sin()));
        for cut in 0..18 {
            let onset = 0.5 + f64::from(cut) * HOP;
            let found = steady_of(&vibrato, onset, onset + 0.9, 62.0).unwrap();
            assert!((found.midi - 62.0).abs() < 0.015, "{cut}: {found:?}");
            assert!(found.spread > 10.0, "{found:?}");
        }
    }

    #[test]
    fn a_slide_into_a_note_is_left_out_and_a_note_that_slides_all_along_is_its_middle() {
        // Up by 60 cents within 0.4 s, then held for 0.8.
        let slid = frames((0..500).map(|k| 62.0 + 0.6 * ((k as f64 * HOP - 0.5) / 0.4).clamp(0.0, 1.0)));
        let found = steady_of(&slid, 0.5, 1.7, 62.5).unwrap();
        assert!((found.midi - 62.6).abs() < 0.01, "{found:?}");
        let sliding = frames((0..500).map(|k| 62.0 + 0.8 * (k as f64 * HOP - 0.5)));
        let found = steady_of(&sliding, 0.5, 1.5, 62.4).unwrap();
        assert!((found.midi - 62.4).abs() < 0.02, "{found:?}");
    }

    /// An envelope of 5 ms from a level at each moment; nothing of it is the room's, in a room of this decay.
    fn envelope(decay: f64, level: impl Fn(f64) -> f32) -> Envelope {
        let level_db: Vec<f32> = (0..800).map(|k| level(f64::from(k) * 0.005)).collect();
        Envelope {
            hop: Seconds(0.005),
            bright_db: vec![FLOOR_DB; level_db.len()],
            fresh_db: level_db.clone(),
            level_db,
            decay,
        }
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
}
