//! Moments at which a note may begin, each with the evidence for it.
//!
//! Many weak cues together tell an onset on a bowed string, where no single one suffices (Bello et al.,
//! "A tutorial on onset detection in music signals", IEEE TSAP 2005, on soft onsets): a change of pitch,
//! a dip of the level, a rise of the level, a break of the wave's phase, a dip of clarity, a burst of
//! bow noise. They are combined by a logistic model into one log-likelihood ratio.

use super::continuity::Continuity;
use super::envelope::Envelope;
use super::onset_model;
use crate::pitch::Contour;
use crate::units::Seconds;

/// A moment at which a note may begin.
#[derive(Debug, Clone, PartialEq)]
pub struct Boundary {
    /// When.
    pub time: Seconds,
    /// Log odds that a note begins here, from the sound alone (natural logarithm, clamped to ±7).
    pub llr: f64,
    /// The cues behind it.
    pub features: Features,
}

/// The cues at a moment, each about 0 for "nothing happens" and about 1 for "it clearly does".
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Features {
    /// The values, in the order of [`Features::NAMES`].
    pub values: [f64; Features::NAMES.len()],
}

impl Features {
    /// What each value is.
    pub const NAMES: [&'static str; 12] = [
        "pitch_change",
        "level_dip",
        "level_rise",
        "phase_break",
        "clarity_dip",
        "bright_burst",
        "voiced_before",
        "voiced_after",
        "dip_and_break",
        "quiet_after",
        "pitch_change_small",
        "rise_from_silence",
    ];
}

/// Two candidates closer than this are one, in seconds.
const MERGE: f64 = 0.035;
/// Candidates closer than this cannot both be onsets, in seconds.
const RIVALS: f64 = 0.075;

/// Finds every moment at which a note may begin, in order of time. Aims at missing none: most of what
/// it returns is no onset, and its `llr` says so.
pub fn boundaries_from_sound(
    contour: &Contour,
    envelope: &Envelope,
    continuity: &Continuity,
) -> Vec<Boundary> {
    let ear = Ear { contour, envelope, continuity, noise_db: envelope.percentile(0.05) };
    let mut found: Vec<(f64, f64)> = Vec::new(); // time, weight of the claim on the exact place
    ear.pitch_changes(&mut found);
    ear.voicing_starts(&mut found);
    ear.troughs(&mut found);
    ear.phase_breaks(&mut found);
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut boundaries: Vec<Boundary> = merge(&found)
        .into_iter()
        .map(|time| {
            let features = ear.features(time);
            Boundary { time: Seconds(time), llr: onset_model::llr(&features), features }
        })
        .collect();
    compete(&mut boundaries);
    boundaries
}

/// One onset shows in every candidate around it, and only one of them is it: candidates within [`RIVALS`]
/// share the odds (each against all others and against no onset).
fn compete(boundaries: &mut [Boundary]) {
    let alone: Vec<(f64, f64)> = boundaries.iter().map(|b| (b.time.0, b.llr)).collect();
    for (k, boundary) in boundaries.iter_mut().enumerate() {
        let near = |i: &usize| (alone[*i].0 - alone[k].0).abs() < RIVALS;
        let before = (0..k).rev().take_while(near);
        let after = (k + 1..alone.len()).take_while(near);
        let rivals: f64 = before.chain(after).map(|i| alone[i].1.exp()).sum();
        boundary.llr -= rivals.ln_1p();
    }
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

struct Ear<'a> {
    contour: &'a Contour,
    envelope: &'a Envelope,
    continuity: &'a Continuity,
    noise_db: f32,
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
            if depth > 1.5 && after > self.noise_db + 8.0 {
                found.push((t, 1.0 + f64::from(depth.min(12.0)) / 12.0));
            }
        }
    }

    fn phase_breaks(&self, found: &mut Vec<(f64, f64)>) {
        let c = &self.continuity.at;
        for k in 1..c.len().saturating_sub(1) {
            let Some(here) = c[k] else { continue };
            let around = |i: usize| c[i].unwrap_or(1.0);
            if here < 0.75 && here <= around(k - 1) && here < around(k + 1) {
                found.push((k as f64 * self.contour.hop.0, 1.2 + f64::from(0.75 - here)));
            }
        }
    }

    fn features(&self, t: f64) -> Features {
        let (s, e) = (Seconds, self.envelope);
        let before = e.peak(s(t - 0.2), s(t - 0.01));
        let after = e.peak(s(t + 0.01), s(t + 0.16));
        let (trough, at) = e.trough(s(t - 0.045), s(t + 0.045));
        let dip = f64::from(before.min(after) - trough).max(0.0);
        let rise = f64::from(after - trough).max(0.0);
        let (m0, v0) = self.median(t - 0.10, t - 0.02);
        let (m1, v1) = self.median(t + 0.02, t + 0.10);
        let change = match (m0, m1) {
            (Some(a), Some(b)) => (b - a).abs(),
            _ => 0.0,
        };
        let k = self.frame(t);
        let near = k.saturating_sub(3)..(k + 4).min(self.contour.frames.len());
        let break_ = near
            .clone()
            .filter_map(|i| self.continuity.at[i])
            .map(|c| f64::from(1.0 - c).clamp(0.0, 1.0))
            .fold(0.0, f64::max);
        let clarity_here = near.map(|i| self.contour.frames[i].clarity).fold(1.0_f32, f32::min);
        let clarity_side = |a: usize, b: usize| {
            self.contour.frames[a.min(b)..b.min(self.contour.frames.len())]
                .iter()
                .map(|f| f.clarity)
                .fold(0.0_f32, f32::max)
        };
        let sides = clarity_side(k.saturating_sub(10), k.saturating_sub(3)).min(clarity_side(k + 4, k + 11));
        let clarity_dip = f64::from(sides - clarity_here).max(0.0);
        let (b0, b1) = (e.index(at).saturating_sub(5), (e.index(at) + 6).min(e.bright_db.len()));
        let burst = e.bright_db[b0..b1].iter().copied().fold(-120.0_f32, f32::max);
        let steady = e.bright_db[e.index(s(t + 0.08))].max(e.bright_db[e.index(s(t - 0.08))]);
        let burst = f64::from(burst - steady).clamp(0.0, 20.0);
        let dip_s = 1.0 - (-dip / 5.0).exp();
        Features {
            values: [
                (change / 100.0).min(1.0),
                dip_s,
                1.0 - (-rise / 8.0).exp(),
                break_,
                clarity_dip.min(1.0),
                burst / 20.0,
                v0,
                v1,
                dip_s * break_,
                f64::from((before - after).clamp(0.0, 20.0)) / 20.0,
                (change / 30.0).min(1.0),
                if v0 < 0.3 && v1 > 0.6 { (rise / 15.0).min(1.0) } else { 0.0 },
            ],
        }
    }
}
