//! Moments at which a note may begin, each with the evidence for it.
//!
//! Many weak cues together tell an onset on a bowed string, where no single one suffices (Bello et al.,
//! "A tutorial on onset detection in music signals", IEEE TSAP 2005, on soft onsets): a change of pitch,
//! a dip of the level, a rise of the level, a break of the wave's phase, another shape of the wave, a dip
//! of clarity, a burst of bow noise. Small networks make the log odds of an onset of them and of what
//! sounds around.

use super::continuity::Continuity;
use super::envelope::Envelope;
use super::plucked::{PLUCKED, is_plucked};
use super::surroundings::Surroundings;
use super::wave_shape::WaveShape;
use super::whistles::whistles;
use super::{onset_model, onset_networks};
use crate::pitch::Contour;
use crate::units::Seconds;
use std::ops::Range;

/// A moment at which a note may begin.
#[derive(Debug, Clone, PartialEq)]
pub struct Boundary {
    /// When.
    pub time: Seconds,
    /// Log odds that a note begins around here, from the sound alone (natural logarithm, clamped to ±6).
    pub llr: f64,
    /// Whether it is the likeliest candidate within 80 ms: one onset shows in every candidate around it.
    pub leads: bool,
    /// The cues behind it.
    pub features: Features,
}

/// The cues at a moment, each about 0 for "nothing happens" and about 1 for "it clearly does".
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Features {
    /// The values, in the order of [`Features::NAMES`].
    pub values: [f64; Features::NAMES.len()],
}

impl Default for Features {
    fn default() -> Self {
        Self { values: [0.0; Features::NAMES.len()] }
    }
}

impl Features {
    /// What each value is.
    pub const NAMES: [&'static str; 40] = [
        "pitch_change",
        "pitch_change_small",
        "wobble",
        "dip_near",
        "dip_far",
        "dip_sharp",
        "level_rise",
        "level_step",
        "break_8ms",
        "break_25ms",
        "break_50ms",
        "no_phase",
        "noise_rise",
        "clarity_dip",
        "bright_burst",
        "bright_change",
        "voiced_before",
        "voiced_after",
        "quiet_after",
        "rise_from_silence",
        "falling_before",
        "falling_after",
        "break_along_25ms",
        "break_along_50ms",
        "wobble_around",
        "unrest_around",
        "fresh_dip_near",
        "fresh_dip_far",
        "room",
        "shape_15ms",
        "shape_50ms",
        "shape_80ms",
        "shape_anyway",
        "no_shape",
        "shape_turned",
        "shape_loudest",
        "shape_balance",
        "shape_long",
        "bowed_dip_near",
        "bowed_dip_far",
    ];

    /// The difference between the pitches before and after, in semitones (at most 1.5); 0 where there is none of either.
    pub fn pitch_change(&self) -> f64 {
        self.values[0]
    }
}

/// Two candidates closer than this are one, in seconds.
const MERGE: f64 = 0.035;
/// Candidates closer than this speak of the same onset, in seconds.
pub const SAME_ONSET: f64 = 0.08;
/// A sound begins where the level of so many seconds is higher than that of as many before,
const STEP_REACH: f64 = 0.05;
/// by so many dB.
const STEP_UP: f32 = 12.0;
/// and begins at the last moment at which the step is within so many dB of its highest.
const STEP_NEARLY: f32 = 3.0;
/// What is softer than this is silence, in dB below full scale.
const STEP_FROM: f32 = -100.0;
/// A take is quiet for this share of its time at least,
const QUIET_SHARE: f64 = 0.05;
/// and its silence is so many dB below what is loud in it; where it never pauses the softest moments are bow changes.
const SILENCE_BELOW: f32 = 20.0;
/// A trough ends where the level comes so many dB above that silence.
const ABOVE_SILENCE: f32 = 8.0;
/// Stretches of time in which a candidate has neighbours: each up to so many seconds away. Candidates lie on a grid of
/// 5 ms; the edges lie between its steps, so that rounding decides nothing.
const NEIGHBOURS: [f64; 3] = [0.0475, 0.1025, 0.1825];

/// Finds every moment at which a note may begin, in order of time. Aims at missing none: most of what
/// it returns is no onset, and its `llr` says so.
pub fn boundaries_from_sound(
    contour: &Contour,
    envelope: &Envelope,
    continuity: Continuity<'_>,
    shape: &WaveShape<'_>,
) -> Vec<Boundary> {
    let surroundings = Surroundings::new(contour, envelope, continuity, shape);
    let silence_db = envelope.percentile(QUIET_SHARE).min(envelope.percentile(0.9) - SILENCE_BELOW);
    let ear = Ear { contour, envelope, continuity, shape, silence_db };
    let mut found: Vec<(f64, f64)> = Vec::new(); // time, weight of the claim on the exact place
    ear.pitch_changes(&mut found);
    ear.voicing_starts(&mut found);
    found.extend(steps_up(envelope).into_iter().map(|time| (time, 2.0)));
    ear.troughs(&mut found);
    ear.phase_breaks(surroundings.goes_on(), &mut found);
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let times = merge(&found);
    let features: Vec<Features> = times.iter().map(|&time| ear.features(time)).collect();
    let alone: Vec<f64> = features.iter().map(onset_model::alone).collect();
    let mut boundaries: Vec<Boundary> = features
        .into_iter()
        .enumerate()
        .map(|(k, features)| {
            let time = Seconds(times[k]);
            let by_cues = onset_model::among(&features, alone[k], &neighbours(&times, &alone, k));
            let by_sound = onset_networks::log_odds(&surroundings.around(time), &features);
            let plucked = if is_plucked(contour, envelope, time.0) { PLUCKED } else { f64::MIN };
            Boundary { time, llr: (0.5 * (by_cues + by_sound)).max(plucked), leads: true, features }
        })
        .collect();
    for Range { start, end } in whistles(contour, envelope) {
        let hop = contour.hop.0;
        let (from, to) = (start as f64 * hop - WHISTLE_EDGE, end as f64 * hop + WHISTLE_EDGE);
        for boundary in boundaries.iter_mut().filter(|b| (from..to).contains(&b.time.0)) {
            boundary.llr = boundary.llr.min(WHISTLE);
        }
    }
    for k in 0..boundaries.len() {
        let near = |i: &usize| (boundaries[*i].time.0 - boundaries[k].time.0).abs() < SAME_ONSET;
        let before = (0..k).rev().take_while(near).any(|i| boundaries[i].llr >= boundaries[k].llr);
        let after = (k + 1..boundaries.len()).take_while(near).any(|i| boundaries[i].llr > boundaries[k].llr);
        boundaries[k].leads = !before && !after;
    }
    boundaries
}

/// For each stretch of [`NEIGHBOURS`] after candidate `k` and, then, before it: the greatest log odds in it of the
/// candidates by themselves.
fn neighbours(times: &[f64], alone: &[f64], k: usize) -> [f64; onset_model::AROUND] {
    let mut most = [onset_model::NOBODY; onset_model::AROUND];
    let near = |i: &usize| (times[*i] - times[k]).abs() < NEIGHBOURS[NEIGHBOURS.len() - 1];
    for i in (0..k).rev().take_while(near).chain((k + 1..times.len()).take_while(near)) {
        let away = times[i] - times[k];
        let stretch = NEIGHBOURS.partition_point(|&edge| edge <= away.abs());
        let at = stretch + if away < 0.0 { NEIGHBOURS.len() } else { 0 };
        most[at] = most[at].max(alone[i]);
    }
    most
}

/// Joins candidates that lie within [`MERGE`] of the strongest claim among them.
fn merge(found: &[(f64, f64)]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..found.len()).collect();
    order.sort_by(|&a, &b| found[b].1.total_cmp(&found[a].1).then(a.cmp(&b)));
    let mut kept: Vec<f64> = Vec::new();
    for k in order {
        if kept.iter().all(|t| (t - found[k].0).abs() >= MERGE) {
            kept.push(found[k].0);
        }
    }
    kept.sort_by(f64::total_cmp);
    kept
}

/// Where the level steps up, with a pitch after it or (a harsh attack, two notes in one) without.
fn steps_up(envelope: &Envelope) -> Vec<f64> {
    let hop = envelope.hop.0;
    let step = |k: usize| {
        let t = k as f64 * hop;
        let before = envelope.peak(Seconds(t - STEP_REACH), Seconds(t - hop));
        envelope.peak(Seconds(t), Seconds(t + STEP_REACH)) - before.max(STEP_FROM)
    };
    let steps: Vec<f32> = (0..envelope.level_db.len()).map(step).collect();
    let runs = steps.chunk_by(|a, b| (*a > STEP_UP) == (*b > STEP_UP));
    let mut found = Vec::new();
    let mut start = 0;
    for run in runs {
        if run[0] > STEP_UP {
            // As long as the sound is only ahead, the step is as high as it gets.
            let top = run.iter().copied().fold(f32::MIN, f32::max);
            let last = run.iter().rposition(|&s| s > top - STEP_NEARLY).unwrap_or(0);
            found.push((start + last) as f64 * hop);
        }
        start += run.len();
    }
    found
}

/// Where a bow whistles the pitch leaps, which says nothing of an onset: the log odds are this at most,
const WHISTLE: f64 = -1.0;
/// up to so many seconds from either end.
const WHISTLE_EDGE: f64 = 0.04;

struct Ear<'a> {
    contour: &'a Contour,
    envelope: &'a Envelope,
    continuity: Continuity<'a>,
    shape: &'a WaveShape<'a>,
    silence_db: f32,
}

impl Ear<'_> {
    fn frame(&self, time: f64) -> usize {
        ((time / self.contour.hop.0).round().max(0.0) as usize)
            .min(self.contour.frames.len().saturating_sub(1))
    }

    /// Median pitch in cents (of MIDI·100) over a stretch and the share of it that is voiced.
    fn median(&self, from: f64, to: f64) -> (Option<f64>, f64) {
        if to < 0.0 || self.contour.frames.is_empty() {
            return (None, 0.0);
        }
        let (a, b) = (self.frame(from), self.frame(to));
        let mut cents: Vec<f64> = self.contour.frames[a..=b]
            .iter()
            .filter_map(|f| f.pitch.map(|p| 1200.0 * (p.0 / 440.0).log2()))
            .collect();
        let voiced = cents.len() as f64 / (b - a + 1) as f64;
        if cents.len() < 2 {
            return (None, voiced);
        }
        cents.sort_by(f64::total_cmp);
        (Some(cents[cents.len() / 2]), voiced)
    }

    fn change(&self, time: f64) -> f64 {
        match (self.median(time - 0.09, time - 0.02).0, self.median(time + 0.02, time + 0.09).0) {
            (Some(a), Some(b)) => (b - a).abs(),
            _ => 0.0,
        }
    }

    fn pitch_changes(&self, found: &mut Vec<(f64, f64)>) {
        let n = self.contour.frames.len();
        let change: Vec<f64> = (0..n).map(|k| self.change(k as f64 * self.contour.hop.0)).collect();
        let mut k = 0;
        while k < n {
            if change[k] < 45.0 {
                k += 1;
                continue;
            }
            // A run of change: its highest plateau's middle is the place.
            let mut end = k;
            while end + 1 < n && change[end + 1] >= 45.0 {
                end += 1;
            }
            let mut from = k;
            while from <= end {
                let to = (from + 12).min(end);
                let top = change[from..=to].iter().copied().fold(0.0, f64::max);
                let near: Vec<usize> = (from..=to).filter(|&i| change[i] > 0.85 * top).collect();
                let place = near[near.len() / 2];
                found.push((place as f64 * self.contour.hop.0, 3.0 + (top / 100.0).min(2.0)));
                from = to + 1;
            }
            k = end + 1;
        }
    }

    fn voicing_starts(&self, found: &mut Vec<(f64, f64)>) {
        let frames = &self.contour.frames;
        for k in 0..frames.len() {
            let starts = frames[k].pitch.is_some()
                && (k.saturating_sub(3)..k).all(|i| frames[i].pitch.is_none())
                && frames[k..(k + 4).min(frames.len())].iter().filter(|f| f.pitch.is_some()).count() >= 3;
            if starts {
                found.push((k as f64 * self.contour.hop.0, 2.5));
            }
        }
    }

    fn troughs(&self, found: &mut Vec<(f64, f64)>) {
        let level = &self.envelope.level_db;
        let hop = self.envelope.hop.0;
        let n = level.len();
        for k in 1..n.saturating_sub(1) {
            if !(level[k] < level[k - 1] && level[k] <= level[k + 1]) {
                continue;
            }
            let t = k as f64 * hop;
            // Lowest within 40 ms, and a real trough: both sides rise by 1.5 dB within 200 ms.
            if self.envelope.trough(Seconds(t - 0.04), Seconds(t + 0.04)).0 < level[k] {
                continue;
            }
            let before = self.envelope.peak(Seconds(t - 0.2), Seconds(t));
            let after = self.envelope.peak(Seconds(t), Seconds(t + 0.2));
            let depth = before.min(after) - level[k];
            if depth > 1.5 && after > self.silence_db + ABOVE_SILENCE {
                found.push((t, 1.0 + f64::from(depth.min(12.0)) / 12.0));
            }
        }
    }

    /// Where the wave goes on least; how well it does is given for each frame.
    fn phase_breaks(&self, on: &[Option<f32>], found: &mut Vec<(f64, f64)>) {
        let hop = self.contour.hop.0;
        for k in 1..on.len().saturating_sub(1) {
            let Some(here) = on[k] else { continue };
            let around = |i: usize| on[i].unwrap_or(1.0);
            if here < 0.8 && here <= around(k - 1) && here < around(k + 1) {
                found.push((k as f64 * hop, 1.2 + f64::from(0.8 - here)));
            }
        }
    }

    /// Mean level in dB over a stretch.
    fn mean_level(&self, from: f64, to: f64) -> f64 {
        let values = self.envelope.range(Seconds(from), Seconds(to));
        values.iter().map(|&v| f64::from(v)).sum::<f64>() / values.len().max(1) as f64
    }

    fn features(&self, t: f64) -> Features {
        let (s, e) = (Seconds, self.envelope);
        let (trough, at) = e.trough(s(t - 0.045), s(t + 0.045));
        let dip = |reach: f64| {
            let before = e.peak(s(at.0 - reach), s(at.0 - 0.005));
            let after = e.peak(s(at.0 + 0.005), s(at.0 + reach));
            (f64::from(before.min(after) - trough).max(0.0), before, after)
        };
        let (near, _, _) = dip(0.09);
        let (far, before, after) = dip(0.2);
        let rise = f64::from(after - trough).max(0.0);
        let sharp = 0.5
            * (self.mean_level(at.0 - 0.05, at.0 - 0.03) + self.mean_level(at.0 + 0.03, at.0 + 0.05))
            - self.mean_level(at.0 - 0.005, at.0 + 0.005);
        let (m0, v0) = self.median(t - 0.10, t - 0.02);
        let (m1, v1) = self.median(t + 0.02, t + 0.10);
        let change = match (m0, m1) {
            (Some(a), Some(b)) => (b - a).abs(),
            _ => 0.0,
        };
        let mut breaks = [0.0; 3];
        let mut along = [0.0; 3];
        let mut no_phase = 0.0;
        for (k, guard) in [0.008, 0.025, 0.05].into_iter().enumerate() {
            // The break may lie a little beside the candidate.
            let mut any = false;
            for beside in [-0.02, 0.0, 0.02] {
                if let Some(goes) = self.continuity.across(t + beside, guard) {
                    any = true;
                    breaks[k] = f64::max(breaks[k], f64::from(1.0 - goes.on).clamp(0.0, 1.5));
                    along[k] = f64::max(along[k], f64::from(1.0 - goes.on_along).clamp(0.0, 1.5));
                }
            }
            no_phase += if any { 0.0 } else { 1.0 / 3.0 };
        }
        let shapes = [0.015, 0.05, 0.08].map(|guard| self.shape.change(t, guard));
        let changed = |k: usize| shapes[k].map_or(0.0, |shape| shape.across);
        let anyway = shapes.iter().flatten().map(|shape| shape.anyway).fold(0.0, f64::max);
        let no_shape = shapes.iter().filter(|shape| shape.is_none()).count() as f64 / 3.0;
        let details = self.shape.details(t, 0.05);
        let frames = &self.contour.frames;
        let k = self.frame(t);
        let range = |a: isize, b: isize| {
            let a = (k as isize + a).clamp(0, frames.len() as isize) as usize;
            let b = (k as isize + b).clamp(0, frames.len() as isize) as usize;
            &frames[a..b.max(a)]
        };
        let rough = |frames: &[crate::pitch::Frame], pick: fn(f32, f32) -> f32| {
            frames.iter().map(|f| 1.0 - f.clarity).reduce(pick).unwrap_or(1.0)
        };
        let rough_here = rough(range(-3, 4), f32::max);
        let rough_sides = rough(range(-11, -3), f32::min).max(rough(range(4, 12), f32::min));
        let noise_rise = f64::from(((rough_here + 0.004) / (rough_sides + 0.004)).ln()).clamp(0.0, 5.0) / 5.0;
        let wobble = |a: isize, b: isize| {
            let near: Vec<f64> =
                range(a, b).iter().filter_map(|f| f.pitch.map(|p| 1200.0 * (p.0 / 440.0).log2())).collect();
            let top = near.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let low = near.iter().copied().fold(f64::INFINITY, f64::min);
            if near.len() > 3 { ((top - low) / 40.0).min(1.5) } else { 0.0 }
        };
        // How restless the level is around: its mean step over 30 ms.
        let unrest = |from: f64, to: f64| {
            let values = e.range(s(from), s(to));
            let steps = values.windows(7).map(|w| f64::from((w[6] - w[0]).abs()));
            (steps.sum::<f64>() / values.len().saturating_sub(6).max(1) as f64 / 4.0).min(1.5)
        };
        let bright = |from: f64, to: f64| {
            let (a, b) = (e.index(s(from)), e.index(s(to)));
            let values = &e.bright_db[a..=b.max(a)];
            values.iter().map(|&v| f64::from(v)).sum::<f64>() / values.len() as f64
        };
        let (b0, b1) = (e.index(at).saturating_sub(6), (e.index(at) + 7).min(e.bright_db.len()));
        let burst = f64::from(e.bright_db[b0..b1].iter().copied().fold(-120.0_f32, f32::max));
        let (bright_before, bright_after) = (bright(t - 0.1, t - 0.05), bright(t + 0.05, t + 0.1));
        let (level_before, level_after) =
            (self.mean_level(t - 0.1, t - 0.05), self.mean_level(t + 0.05, t + 0.1));
        let tilt = (bright_after - level_after) - (bright_before - level_before);
        let slope = |from: f64, to: f64| {
            (self.mean_level(to - 0.02, to) - self.mean_level(from, from + 0.02)) / (to - from)
        };
        Features {
            values: [
                (change / 100.0).min(1.5),
                (change / 30.0).min(1.0),
                wobble(-6, 7),
                1.0 - (-near / 4.0).exp(),
                1.0 - (-far / 6.0).exp(),
                (sharp / 8.0).clamp(-0.5, 2.0),
                1.0 - (-rise / 8.0).exp(),
                ((level_after - level_before).abs() / 12.0).min(1.5),
                breaks[0],
                breaks[1],
                breaks[2],
                no_phase,
                noise_rise,
                f64::from((rough_here - rough_sides).clamp(0.0, 1.0)),
                ((burst - bright_before.max(bright_after)) / 15.0).clamp(0.0, 1.5),
                (tilt.abs() / 10.0).min(1.5),
                v0,
                v1,
                f64::from((before - after).clamp(0.0, 20.0)) / 20.0,
                if v0 < 0.3 && v1 > 0.6 { (rise / 15.0).min(1.0) } else { 0.0 },
                (-slope(t - 0.15, t - 0.03) / 100.0).clamp(-1.0, 1.5),
                (-slope(t + 0.06, t + 0.18) / 100.0).clamp(-1.0, 1.5),
                along[1],
                along[2],
                0.5 * (wobble(-30, -9) + wobble(10, 31)),
                0.5 * (unrest(t - 0.3, t - 0.09) + unrest(t + 0.09, t + 0.3)),
                1.0 - (-e.fresh_dip(s(t), 0.09) / 8.0).exp(),
                1.0 - (-e.fresh_dip(s(t), 0.2) / 10.0).exp(),
                (-e.decay / 300.0).min(1.5),
                changed(0),
                changed(1),
                changed(2),
                anyway,
                no_shape,
                details.map_or(-1.0, |shape| shape.turned),
                details.map_or(0.0, |shape| shape.loudest),
                details.map_or(0.0, |shape| shape.balance),
                details.map_or(0.0, |shape| shape.long),
                1.0 - (-e.bowed_dip(s(t), 0.09) / 8.0).exp(),
                1.0 - (-e.bowed_dip(s(t), 0.2) / 10.0).exp(),
            ],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::onset_model::NOBODY;
    use super::*;
    use crate::samples::Samples;
    use crate::units::{Hertz, SampleRate};

    #[test]
    fn a_sound_without_a_pitch_begins_where_the_level_steps_up() {
        // Noise whose loudness is told at each moment, in dB.
        let starts = |decibels: fn(f64) -> f64| {
            let mut state = 1_u32;
            let noise = |k: usize| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let white = f64::from(state >> 8) / f64::from(1_u32 << 23) - 1.0;
                (white * (decibels(k as f64 / 8000.0) / 20.0 * std::f64::consts::LN_10).exp()) as f32
            };
            let samples = Samples { mono: (0..24_000).map(noise).collect(), rate: SampleRate(8000) };
            steps_up(&Envelope::from_samples(&samples, Hertz(190.0)))
        };
        let at = |found: Vec<f64>, expected: &[f64]| {
            let near = found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 0.03);
            assert!(near && found.len() == expected.len(), "{found:?} instead of {expected:?}");
        };
        at(starts(|t| if t < 1.0 { -200.0 } else { -20.0 }), &[1.0]);
        at(starts(|t| if t < 1.0 { -40.0 } else { -20.0 }), &[1.0]);
        at(starts(|t| if t < 1.0 { -29.0 } else { -20.0 }), &[]);
        at(starts(|t| if (1.0..1.2).contains(&t) { -60.0 } else { -20.0 }), &[1.2]);
        // A swell of 60 dB in 2 s.
        at(starts(|t| -80.0 + 30.0 * t.min(2.0)), &[]);
        // What is as soft as a microphone's own noise is no sound.
        at(starts(|t| if t < 1.0 { -200.0 } else { -95.0 }), &[]);
    }

    #[test]
    fn each_stretch_after_and_before_a_candidate_tells_its_likeliest_neighbour() {
        let times = [1.0, 1.06, 1.09, 1.15, 1.19, 1.35];
        let alone = [1.0, -2.0, 3.0, 0.5, 4.0, 5.0];
        let (after, before) = ([NOBODY, 3.0, 0.5], [NOBODY; 3]);
        assert_eq!(neighbours(&times, &alone, 0)[..3], after);
        assert_eq!(neighbours(&times, &alone, 0)[3..], before);
        assert_eq!(neighbours(&times, &alone, 3), [4.0, NOBODY, NOBODY, NOBODY, 3.0, 1.0]);
        assert_eq!(neighbours(&times, &alone, 5), [NOBODY, NOBODY, NOBODY, NOBODY, NOBODY, 4.0]);
        assert_eq!(neighbours(&[2.0], &[6.0], 0), [NOBODY; 6]);
        // A tenth of a second is as far anywhere in a take.
        for step in 0..3000 {
            let time = 0.005 * f64::from(step);
            let apart = [time, time + 0.1, time + 0.18];
            assert_eq!(neighbours(&apart, &[1.0, 2.0, 3.0], 0)[..3], [NOBODY, 2.0, 3.0], "{time}");
        }
    }
}
