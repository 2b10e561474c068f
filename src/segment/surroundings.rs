//! What sounds around a moment, as the onset network reads it: a strip of frames, each with the level, the pitch, how the
//! wave goes on and how its shape changes over several distances. A dip, a break or another shape says one thing when it
//! stands alone between two quiet stretches and another where the sound is restless anyway; the strip shows which.

use super::continuity::Continuity;
use super::envelope::Envelope;
use super::wave_shape::{Period, WINDOW, WaveShape};
use crate::pitch::Contour;
use crate::units::Seconds;

/// Numbers a frame.
pub const CHANNELS: usize = 17;
/// Frames on either side of the middle one.
pub const REACH: usize = 25;
/// Frames of a strip, one every hop of the contour (10 ms).
pub const FRAMES: usize = 2 * REACH + 1;
/// The channels of one strip, frame by frame.
pub type Strip = [[f32; CHANNELS]; FRAMES];

/// The first channels are levels,
const LEVELS: usize = 2;
/// then come how rough the sound is, whether it has a pitch, and that pitch,
const ROUGH: usize = 2;
const VOICED: usize = 3;
const PITCH: usize = 4;
/// then what the wave does.
const WAVE: usize = 5;

/// Windows whose periods are averaged, in seconds and at least in periods: short ones, which keep a moment apart from the
/// next, and those that [`WaveShape`] looks at.
const SHORT: (f64, f64) = (0.02, 2.5);
/// Frames from the moment to the middle of either short window; the sign of the wave counts at the marked one.
const SHORT_DISTANCES: [(usize, bool); 4] = [(2, false), (4, true), (7, false), (11, false)];
/// The same for the longer windows.
const LONG_DISTANCES: [usize; 2] = [4, 8];
/// Seconds on either side of a moment that [`Continuity`] leaves out.
const GUARD: f64 = 0.025;

/// Levels are counted from the highest of the strip, in units of so many dB, as far down as this.
const UNIT_DB: f32 = 10.0;
const FAINTEST: f32 = -4.0;
/// A pitch is counted from the median of the strip, in units of so many cents, as far as this.
const UNIT_CENTS: f32 = 40.0;
const FURTHEST_PITCH: f32 = 3.0;
/// What the wave does is counted twice, up to this.
const MOST: f32 = 1.5;
/// What stands where nothing can be said about the wave.
const UNKNOWN: f32 = -0.3;

/// The channels of every frame of a take.
#[derive(Debug, Clone)]
pub struct Surroundings {
    /// In the order of the constants above; levels in dB, pitch in cents from 440 Hz or NaN.
    frames: Vec<[f32; CHANNELS]>,
    goes_on: Vec<Option<f32>>,
    hop: Seconds,
}

impl Surroundings {
    /// Of a take, along its contour.
    pub fn new(
        contour: &Contour,
        envelope: &Envelope,
        continuity: Continuity<'_>,
        shape: &WaveShape<'_>,
    ) -> Self {
        let hop = contour.hop;
        let count = contour.frames.len();
        let short = shape.periods(count, SHORT);
        let long = shape.periods(count, WINDOW);
        let mut goes_on = vec![None; count];
        let mut frame = |k: usize| {
            let mut channels = [0.0; CHANNELS];
            let time = k as f64 * hop.0;
            let i = envelope.index(Seconds(time));
            for (channel, curve) in channels.iter_mut().zip([&envelope.level_db, &envelope.bowed_db]) {
                *channel = 0.5 * (curve[i] + curve[(i + 1).min(curve.len() - 1)]);
            }
            let here = &contour.frames[k];
            channels[ROUGH] = ((1.0 - here.clarity).clamp(0.0, 1.0) + 0.004).ln() / 2.0 + 1.0;
            channels[VOICED] = if here.pitch.is_some() { 1.0 } else { 0.0 };
            let near = shape.pitch(time);
            channels[PITCH] = near.map_or(f32::NAN, |hertz| (1200.0 * (hertz / 440.0).log2()) as f32);

            let mut place = WAVE;
            let mut say = |change: Option<f64>| {
                channels[place] = 2.0 * change.map_or(UNKNOWN, |c| (c as f32).clamp(-MOST, MOST));
                place += 1;
            };
            goes_on[k] = continuity.across(time, GUARD).map(|goes| goes.on);
            say(goes_on[k].map(|on| 1.0 - f64::from(on)));
            for (distance, signed) in SHORT_DISTANCES {
                let sides = both_sides(&short, k, distance);
                let found = sides.and_then(|(before, after)| shape.correlations(before, after));
                say(found.map(|(best, _)| 1.0 - best));
                say(sides.and_then(|(before, after)| before.balance(after)).map(|same| 1.0 - same));
                if signed {
                    // How much less it changes where the second stands on its head.
                    say(found.map(|(best, worst)| -best - worst));
                }
            }
            for distance in LONG_DISTANCES {
                let sides = both_sides(&long, k, distance);
                let found = sides.and_then(|(before, after)| shape.correlations(before, after));
                say(found.map(|(best, _)| 1.0 - best));
            }
            channels
        };
        let frames = (0..count).map(&mut frame).collect();
        Self { frames, goes_on, hop }
    }

    /// How well the wave goes on in phase across each frame ([`Goes::on`](super::Goes) with a guard of 25 ms), where that
    /// can be said.
    pub fn goes_on(&self) -> &[Option<f32>] {
        &self.goes_on
    }

    /// The strip around a time.
    pub fn around(&self, time: Seconds) -> Strip {
        let middle = (time.0 / self.hop.0 - 1e-6).round() as isize;
        let mut strip = [[f32::NAN; CHANNELS]; FRAMES];
        for (k, row) in strip.iter_mut().enumerate() {
            let frame = usize::try_from(middle + k as isize - REACH as isize).ok();
            match frame.and_then(|frame| self.frames.get(frame)) {
                Some(channels) => *row = *channels,
                None => {
                    (row[ROUGH], row[VOICED]) = (1.0, 0.0);
                    row[WAVE..].fill(2.0 * UNKNOWN);
                }
            }
        }
        for channel in 0..LEVELS {
            let top = strip.iter().map(|row| row[channel]).fold(f32::NEG_INFINITY, f32::max);
            for row in &mut strip {
                let below = (row[channel] - top) / UNIT_DB;
                row[channel] = if below.is_nan() { FAINTEST } else { below.clamp(FAINTEST, 0.0) };
            }
        }
        let mut pitches: Vec<f32> =
            strip.iter().map(|row| row[PITCH]).filter(|pitch| !pitch.is_nan()).collect();
        pitches.sort_by(f32::total_cmp);
        let usual = pitches.get(pitches.len() / 2).copied().unwrap_or(0.0);
        for row in &mut strip {
            let away = (row[PITCH] - usual) / UNIT_CENTS;
            row[PITCH] = if away.is_nan() { 0.0 } else { away.clamp(-FURTHEST_PITCH, FURTHEST_PITCH) };
        }
        strip
    }
}

/// The periods so many frames before and after a frame, where there are both.
fn both_sides(periods: &[Option<Period>], k: usize, distance: usize) -> Option<(&Period, &Period)> {
    let before = periods.get(k.checked_sub(distance)?)?.as_ref()?;
    Some((before, periods.get(k + distance)?.as_ref()?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::{TrackerSettings, contour};
    use crate::samples::Samples;
    use crate::units::{Hertz, SampleRate};
    use std::f64::consts::TAU;

    const RATE: f64 = 22_050.0;

    /// Two seconds of a tone of 294 Hz with eight harmonics, so loud; after one second it stands on its head if `turned`.
    fn tone(gain: f64, turned: bool) -> Samples {
        let wave = |k: usize| {
            let time = k as f64 / RATE;
            let sign = if turned && time > 1.0 { -1.0 } else { 1.0 };
            let harmonic = |l: i32| (TAU * 294.0 * time * f64::from(l)).sin() / f64::from(l);
            (sign * gain * (1..9).map(harmonic).sum::<f64>()) as f32
        };
        Samples { mono: (0..(2.0 * RATE) as usize).map(wave).collect(), rate: SampleRate(22_050) }
    }

    fn around(samples: &Samples, times: &[f64]) -> Vec<Strip> {
        let contour = contour(samples, TrackerSettings::for_instrument(samples.rate, None));
        let envelope = Envelope::from_samples(samples, Hertz(190.0));
        let shape = WaveShape::new(samples, &contour);
        let all = Surroundings::new(&contour, &envelope, Continuity::new(samples, &contour), &shape);
        times.iter().map(|time| all.around(Seconds(*time))).collect()
    }

    #[test]
    fn a_strip_does_not_depend_on_how_loud_the_take_is() {
        let (loud, soft) = (around(&tone(0.2, true), &[0.9]), around(&tone(0.02, true), &[0.9]));
        for (a, b) in loud[0].iter().flatten().zip(soft[0].iter().flatten()) {
            approx::assert_abs_diff_eq!(a, b, epsilon = 0.02);
        }
    }

    #[test]
    fn a_turned_wave_shows_where_it_turns_and_nowhere_else() {
        // After the phase and two distances of two numbers each.
        let turned = WAVE + 1 + 4;
        let [goes_on, turns]: [Strip; 2] = [false, true].map(|turned| around(&tone(0.2, turned), &[1.0])[0]);
        assert!(goes_on.iter().all(|row| row[turned] < -0.4), "{goes_on:?}");
        assert!(turns[REACH][turned] > 0.4, "{:?}", turns[REACH]);
        assert!(turns[0][turned] < -0.4 && turns[FRAMES - 1][turned] < -0.4);
    }

    #[test]
    fn beyond_the_ends_of_a_take_there_is_silence() {
        let strips = around(&tone(0.2, false), &[0.0, 1.99, -3.0, 30.0]);
        assert!(strips.iter().flatten().flatten().all(|value| value.is_finite()));
        let silent = |row: &[f32; CHANNELS]| row[0] == FAINTEST && row[VOICED] == 0.0;
        assert!(strips[0][..REACH].iter().all(silent) && !silent(&strips[0][REACH]));
        assert!(strips[1][REACH + 2..].iter().all(silent) && !silent(&strips[1][REACH - 1]));
        assert!(strips[2..].iter().flatten().all(silent));
    }
}
