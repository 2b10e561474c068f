//! Level over time, in a fine grid, from samples.

use crate::samples::Samples;
use crate::units::{Hertz, Seconds};

/// Level in dB below full scale every 5 ms, value `k` centred at `k · hop`.
#[derive(Debug, Clone)]
pub struct Envelope {
    /// Time from one value to the next.
    pub hop: Seconds,
    /// Level of the whole sound above `lowest`, −120 for silence.
    pub level_db: Vec<f32>,
    /// Level above 2.5 kHz, where bow noise lives, −120 for silence.
    pub bright_db: Vec<f32>,
    /// Level of what is new: the level without what the room (or the string) still gives back of the sound before.
    /// A bow change that the room fills up shows here.
    pub fresh_db: Vec<f32>,
    /// Level of the sound without what rings, line by line of its spectrum (see `pitch::without_ringing`), like `level_db`.
    pub bowed_db: Vec<f32>,
    /// How fast the sound dies away in this take when it does so fastest, in dB per second (negative).
    pub decay: f64,
}

/// The level given to digital silence.
pub const FLOOR_DB: f32 = -120.0;

const HOP: f64 = 0.005;

impl Envelope {
    /// Measures the level. `lowest` is the lowest fundamental to expect (hertz): what lies clearly below
    /// (rumble, hum) is filtered out, and the window holds at least one of its periods so that the level
    /// of a steady tone is steady. Until [`with_bowed`](Self::with_bowed), `bowed_db` is `level_db`.
    pub fn from_samples(samples: &Samples, lowest: Hertz) -> Self {
        let rate = samples.rate.hertz();
        let (low_cut, body_window) = of_lowest(lowest, rate);
        let offset = samples.offset();
        let mut sound: Vec<f32> = samples.mono.iter().map(|&one| (f64::from(one) - offset) as f32).collect();
        HighPass::new(low_cut, rate).run(&mut sound);
        let level_db = level(&sound, rate, body_window);
        HighPass::new(2500.0_f64.min(0.35 * rate), rate).run(&mut sound);
        let decay = fastest_decay(&level_db);
        Self {
            hop: Seconds(HOP),
            bright_db: level(&sound, rate, 0.010),
            fresh_db: fresh(&level_db, decay),
            bowed_db: level_db.clone(),
            decay,
            level_db,
        }
    }

    /// With the level of the same take without what rings. (A step of its own, so that one copy of a long take in memory is
    /// enough.)
    pub fn with_bowed(mut self, bowed: Samples, lowest: Hertz) -> Self {
        let rate = bowed.rate.hertz();
        let (low_cut, body_window) = of_lowest(lowest, rate);
        let mut sound = bowed.mono;
        HighPass::new(low_cut, rate).run(&mut sound);
        self.bowed_db = level(&sound, rate, body_window);
        self
    }

    /// The index of the value nearest to a time, inside the envelope.
    pub fn index(&self, time: Seconds) -> usize {
        ((time.0 / self.hop.0).round().max(0.0) as usize).min(self.level_db.len().saturating_sub(1))
    }

    /// The level that so many percent of a curve's values between two times stay below; where the second time lies before
    /// the first, the value there.
    pub fn percentile_between(&self, curve: &[f32], from: Seconds, to: Seconds, percent: usize) -> f32 {
        let (a, b) = (self.index(from), self.index(to));
        let mut values = curve[a..=b.max(a)].to_vec();
        values.sort_by(f32::total_cmp);
        values[values.len() * percent / 100]
    }

    /// The highest level between two times; the floor where there is none.
    pub fn peak(&self, from: Seconds, to: Seconds) -> f32 {
        self.range(from, to).iter().copied().fold(FLOOR_DB, f32::max)
    }

    /// The lowest level between two times and where it is.
    pub fn trough(&self, from: Seconds, to: Seconds) -> (f32, Seconds) {
        let first = self.index(from);
        let mut best = (f32::INFINITY, from);
        for (k, &db) in self.range(from, to).iter().enumerate() {
            if db < best.0 {
                best = (db, Seconds((first + k) as f64 * self.hop.0));
            }
        }
        if best.0.is_finite() { best } else { (FLOOR_DB, from) }
    }

    /// How far the level falls somewhere between two moments, or up to `into` seconds beside them, below the softer of the
    /// loudest moments of `side` seconds before and after, in dB; negative where one of those is softer than all between.
    pub fn fall_between(&self, from: Seconds, to: Seconds, into: f64, side: f64) -> f32 {
        let trough = self.trough(Seconds(from.0 - into), Seconds(to.0 + into)).0;
        let before = self.peak(Seconds(from.0 - side), from);
        let after = self.peak(to, Seconds(to.0 + side));
        before.min(after) - trough
    }

    /// How much lower the fresh level gets within 45 ms of a time than it is on both sides within `reach`
    /// seconds, in dB, 0 or more.
    pub fn fresh_dip(&self, time: Seconds, reach: f64) -> f64 {
        self.dip(&self.fresh_db, time, reach)
    }

    /// The same of the level without what rings, which falls by 3 dB a tenth of a second after each onset.
    pub fn bowed_dip(&self, time: Seconds, reach: f64) -> f64 {
        self.dip(&self.bowed_db, time, reach)
    }

    fn dip(&self, level: &[f32], time: Seconds, reach: f64) -> f64 {
        let k = self.index(time);
        let near = &level[k.saturating_sub(9)..(k + 10).min(level.len())];
        let Some((at, &trough)) = near.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)) else {
            return 0.0;
        };
        let at = k.saturating_sub(9) + at;
        let far = (reach / self.hop.0) as usize;
        let peak = |values: &[f32]| values.iter().copied().fold(FLOOR_DB, f32::max);
        let before = peak(&level[at.saturating_sub(far)..at]);
        let after = peak(&level[at..(at + far).min(level.len())]);
        f64::from(before.min(after) - trough).max(0.0)
    }

    /// The values between two times (at least one, where there are any).
    pub fn range(&self, from: Seconds, to: Seconds) -> &[f32] {
        if self.level_db.is_empty() {
            return &[];
        }
        let a = self.index(from);
        let b = self.index(to).max(a);
        &self.level_db[a..=b]
    }

    /// The level that a share of the values (0 to 1) lies below, digital silence at both ends not counted; the floor where
    /// there is nothing else.
    pub fn percentile(&self, share: f64) -> f32 {
        let sorted = heard(&self.level_db);
        sorted.get((sorted.len().saturating_sub(1) as f64 * share) as usize).copied().unwrap_or(FLOOR_DB)
    }
}

/// What is rumble for a lowest fundamental, in hertz, and how long a window keeps a steady tone's level steady, in seconds.
fn of_lowest(lowest: Hertz, rate: f64) -> (f64, f64) {
    ((0.6 * lowest.0).min(0.4 * rate), (1.25 / lowest.0).max(0.015))
}

/// The values in order, without the digital silence before the first sound and after the last: a recorder may add as much
/// of it as it likes, and it says nothing of the room. Between sounds it does: it is what a rest is heard against.
fn heard(level: &[f32]) -> Vec<f32> {
    // The running sums leave traces up to here in digital silence; no microphone is as quiet.
    let sounds = |&db: &f32| db > FLOOR_DB + 15.0;
    let first = level.iter().position(sounds).unwrap_or(level.len());
    let end = level.iter().rposition(sounds).map_or(first, |last| last + 1);
    let mut sorted = level[first..end].to_vec();
    sorted.sort_by(f32::total_cmp);
    sorted
}

/// RMS in dB over two boxcars in a row (a triangle of twice the width), centred at each hop. Sums run along with the sound
/// and only those that a hop needs are kept, so that this costs the memory of one window.
fn level(x: &[f32], rate: f64, window: f64) -> Vec<f32> {
    let n = (x.len() as f64 / rate / HOP).floor() as usize + 1;
    let half = ((window * rate * 0.5).round() as usize).max(1);
    let around = |centre: usize| (centre.saturating_sub(half / 2), (centre + half - half / 2).min(x.len()));
    let hops: Vec<(usize, usize)> = (0..n)
        .map(|k| around((k as f64 * HOP * rate).round() as usize))
        .map(|(a, b)| (a.min(x.len()), b))
        .collect();
    // The running sum of the power, of which the second boxcar looks back by one window.
    let mut once = vec![0.0_f64; half + 1];
    let (mut summed, mut power) = (0, 0.0_f64);
    // The running sum of the first boxcar's means, at the ends of each hop's window.
    let (mut twice, mut from, mut to) = (0.0_f64, vec![0.0_f64; n], vec![0.0_f64; n]);
    let (mut next_from, mut next_to) = (0, 0);
    for k in 0..=x.len() {
        while next_from < n && hops[next_from].0 == k {
            from[next_from] = twice;
            next_from += 1;
        }
        while next_to < n && hops[next_to].1 == k {
            to[next_to] = twice;
            next_to += 1;
        }
        let (a, b) = around(k);
        while summed < b {
            power += f64::from(x[summed]) * f64::from(x[summed]);
            summed += 1;
            once[summed % (half + 1)] = power;
        }
        twice += if b > a { (once[b % (half + 1)] - once[a % (half + 1)]) / half as f64 } else { 0.0 };
    }
    let db = |k: usize| {
        let power = (to[k] - from[k]) / half as f64;
        if hops[k].1 > hops[k].0 && power > 1e-12 { (10.0 * power.log10()) as f32 } else { FLOOR_DB }
    };
    (0..n).map(db).collect()
}

/// The slope that only a fiftieth of all falling moments exceeds, over 60 ms, among moments loud enough to
/// fall from and still above the noise after. Between −60 (a hall) and −600 dB per second (no room at all).
fn fastest_decay(level: &[f32]) -> f64 {
    const HALF: usize = 6;
    let sorted = heard(level);
    let at = |share: f64| sorted.get((sorted.len() as f64 * share) as usize).copied().unwrap_or(FLOOR_DB);
    let (noise, loud) = (at(0.03), at(0.9));
    let mut slopes: Vec<f64> = level
        .windows(2 * HALF + 1)
        .filter(|w| w[0] > loud - 15.0 && w[2 * HALF] > noise + 6.0)
        .map(|w| f64::from(w[2 * HALF] - w[0]) / (2.0 * HALF as f64 * HOP))
        .collect();
    slopes.sort_by(f64::total_cmp);
    slopes.get(slopes.len() / 50).copied().unwrap_or(-600.0).clamp(-600.0, -60.0)
}

/// Power that the sound 20 ms before does not explain by dying away at `decay`; never less than 30 dB below
/// the level itself.
fn fresh(level: &[f32], decay: f64) -> Vec<f32> {
    const BACK: usize = 4;
    let power: Vec<f64> = level.iter().map(|&db| 10.0_f64.powf(f64::from(db) / 10.0)).collect();
    let kept = 10.0_f64.powf(decay * BACK as f64 * HOP / 10.0);
    (0..power.len())
        .map(|k| {
            let before = power[k.saturating_sub(BACK)];
            let new = (power[k] - kept * before).max(power[k] * 1e-3);
            if new > 1e-12 { (10.0 * new.log10()) as f32 } else { FLOOR_DB }
        })
        .collect()
}

/// Second-order Butterworth high-pass (bilinear transform), run forward and backward so that it moves
/// nothing in time.
struct HighPass {
    b: [f64; 3],
    a: [f64; 2],
}

impl HighPass {
    fn new(cut: f64, rate: f64) -> Self {
        let k = (std::f64::consts::PI * cut / rate).tan();
        let q = std::f64::consts::FRAC_1_SQRT_2;
        let norm = 1.0 / (1.0 + k / q + k * k);
        Self { b: [norm, -2.0 * norm, norm], a: [2.0 * (k * k - 1.0) * norm, (1.0 - k / q + k * k) * norm] }
    }

    fn run(&self, x: &mut [f32]) {
        self.pass(x.iter_mut());
        self.pass(x.iter_mut().rev());
    }

    fn pass<'a>(&self, x: impl Iterator<Item = &'a mut f32>) {
        let (mut z1, mut z2) = (0.0_f64, 0.0_f64);
        for sample in x {
            let v = f64::from(*sample);
            let y = self.b[0] * v + z1;
            z1 = self.b[1] * v - self.a[0] * y + z2;
            z2 = self.b[2] * v - self.a[1] * y;
            *sample = y as f32;
        }
    }
}

#[cfg(test)]
impl Envelope {
    /// So many seconds of a level, by the second; nothing of it rings, and there is no bow noise in it.
    pub(crate) fn of_levels(seconds: f64, decay: f64, level: impl Fn(f64) -> f32) -> Self {
        let count = (seconds / HOP).round() as usize;
        let level_db: Vec<f32> = (0..count).map(|k| level(k as f64 * HOP)).collect();
        Self {
            hop: Seconds(HOP),
            bright_db: vec![FLOOR_DB; count],
            fresh_db: level_db.clone(),
            bowed_db: level_db.clone(),
            level_db,
            decay,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;
    use approx::assert_abs_diff_eq;

    fn tone(hz: f64, seconds: f64) -> Samples {
        let rate = 44_100.0;
        let mono = (0..(seconds * rate) as usize)
            .map(|k| (std::f64::consts::TAU * hz * k as f64 / rate).sin() as f32 * 0.5)
            .collect();
        Samples { mono, rate: SampleRate(44_100) }
    }

    #[test]
    fn the_level_falls_below_the_softer_side() {
        // −20 dB, −26 dB from 1 s on, and 40 dB softer within 20 ms of 1 s.
        let level = |time: f64| match time {
            _ if (time - 1.0).abs() < 0.022 => -60.0,
            _ if time < 1.0 => -20.0,
            _ => -26.0,
        };
        let envelope = Envelope::of_levels(2.0, -100.0, level);
        let fall = |from, to, into| envelope.fall_between(Seconds(from), Seconds(to), into, 0.1);
        assert_eq!(fall(1.0, 1.0, 0.0), 34.0);
        assert_eq!(fall(0.95, 1.05, 0.0), 34.0);
        assert_eq!([fall(1.04, 1.04, 0.05), fall(1.04, 1.04, 0.0)], [34.0, 0.0]);
        assert_eq!(fall(0.5, 0.5, 0.05), 0.0);
    }

    #[test]
    fn a_sine_of_half_scale_has_its_textbook_level() {
        // RMS of 0.5·sin is 0.5/√2 = 0.35355, that is −9.03 dB.
        let envelope = Envelope::from_samples(&tone(440.0, 1.0), Hertz(190.0));
        assert_abs_diff_eq!(envelope.level_db[100], -9.03, epsilon = 0.1);
    }

    #[test]
    fn a_low_bass_tone_has_a_steady_level() {
        let envelope = Envelope::from_samples(&tone(41.2, 1.0), Hertz(40.0));
        let middle = &envelope.level_db[40..160];
        let spread =
            middle.iter().fold(f32::MIN, |a, &b| a.max(b)) - middle.iter().fold(f32::MAX, |a, &b| a.min(b));
        assert!(spread < 1.0, "{spread}");
    }

    #[test]
    fn digital_silence_says_nothing_of_the_room() {
        let mut samples = tone(440.0, 1.0);
        samples.mono.iter_mut().skip(30_000).for_each(|one| *one *= 1e-3);
        let plain = Envelope::from_samples(&samples, Hertz(190.0));
        samples.mono.splice(0..0, vec![0.0; 44_100]);
        samples.mono.resize(5 * 44_100, 0.0);
        let padded = Envelope::from_samples(&samples, Hertz(190.0));
        for share in [0.1, 0.9] {
            assert_abs_diff_eq!(plain.percentile(share), padded.percentile(share), epsilon = 0.5);
        }
    }

    #[test]
    fn a_dip_of_what_is_bowed_shows_under_a_steady_level() {
        let samples = tone(440.0, 1.0);
        let mut bowed = samples.clone();
        bowed.mono[20_000..24_000].fill(0.0);
        let envelope = Envelope::from_samples(&samples, Hertz(190.0)).with_bowed(bowed, Hertz(190.0));
        let dips = |time| (envelope.fresh_dip(Seconds(time), 0.2), envelope.bowed_dip(Seconds(time), 0.2));
        let (fresh, bowed) = dips(0.5);
        assert!(fresh < 1.0 && bowed > 40.0, "{fresh} and {bowed}");
        let (fresh, bowed) = dips(0.25);
        assert!(fresh < 1.0 && bowed < 1.0, "{fresh} and {bowed}");
    }

    #[test]
    fn silence_lies_on_the_floor() {
        let envelope = Envelope::from_samples(
            &Samples { mono: vec![0.0; 4410], rate: SampleRate(44_100) },
            Hertz(190.0),
        );
        assert!(envelope.level_db.iter().all(|&db| db == FLOOR_DB));
    }
}
