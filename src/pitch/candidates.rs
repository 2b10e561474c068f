//! Period candidates from one window of samples.

use super::contour::{Candidate, Frame, MOST_CANDIDATES};
use super::periodicity::{Periodicity, is_peak, parabola};
use super::refine;
use super::settings::TrackerSettings;
use crate::units::{Hertz, Seconds};

/// A longer period must beat a shorter one by this much an octave: a window that repeats after T repeats
/// after 2T as well.
static OCTAVE_COST: std::sync::LazyLock<f32> =
    std::sync::LazyLock::new(|| super::path::tune("OCTAVE_COST", 0.07));
/// How much the lines' curve counts in a candidate's strength; the waveform's has the rest.
static LINES_SHARE: std::sync::LazyLock<f32> =
    std::sync::LazyLock::new(|| super::path::tune("LINES_SHARE", 0.4));
/// Peaks of the waveform's curve lower than this are no candidates.
static LOWEST_PEAK: std::sync::LazyLock<f32> =
    std::sync::LazyLock::new(|| super::path::tune("LOWEST_PEAK", 0.3));
/// A candidate this much weaker than the strongest is not measured in the middle of the window.
const NEARLY_AS_STRONG: f32 = 0.15;
/// Below this level nothing is looked for, in dB below full scale (a 16-bit file's dither is at −93).
const SILENCE_DB: f32 = -90.0;

/// Reads one window at a time.
pub(super) struct FrameReader {
    rate: f64,
    window: usize,
    shortest: usize,
    longest: usize,
    curves: Periodicity,
    /// What a candidate gains by its height over the lowest pitch, by lag.
    octave_gain: Vec<f32>,
}

impl FrameReader {
    pub(super) fn new(settings: &TrackerSettings) -> Self {
        let rate = settings.rate.hertz();
        let longest = (rate / settings.lowest.0).ceil() as usize + 1;
        let shortest = ((rate / settings.highest.0).floor() as usize).clamp(4, longest - 1);
        let window = ((settings.window.0 * rate) as usize).max(longest * 5 / 2) & !1;
        let octave_gain = (0..=longest)
            .map(|lag| (f64::from(*OCTAVE_COST) * (longest as f64 / lag.max(1) as f64).log2()) as f32)
            .collect();
        Self {
            rate,
            window,
            shortest,
            longest,
            curves: Periodicity::new(window, rate, settings.lowest.0),
            octave_gain,
        }
    }

    /// Samples in a window.
    pub(super) fn window(&self) -> usize {
        self.window
    }

    /// The frame of a window, without its time and without a decision about its pitch.
    pub(super) fn read(&mut self, samples: &[f32]) -> Frame {
        let energy = self.curves.measure(samples);
        let power = f64::from(energy) / self.window as f64;
        let level_db = level(power);
        let mut frame = Frame {
            time: Seconds(0.0),
            pitch: None,
            clarity: 0.0,
            level_db,
            candidates: [None; MOST_CANDIDATES],
            harmonic_db: -120.0,
            noise_db: level_db,
        };
        if level_db < SILENCE_DB {
            return frame;
        }
        let mut best = [(0usize, f32::NEG_INFINITY); MOST_CANDIDATES];
        let (waveform, lines) = (self.curves.waveform(), self.curves.lines());
        for lag in self.shortest..=self.longest.min(waveform.len() - 2) {
            if waveform[lag] < *LOWEST_PEAK || !is_peak(waveform, lag) {
                continue;
            }
            let vote = lines[lag - 1].max(lines[lag]).max(lines[lag + 1]);
            let (_, height) = parabola(waveform, lag);
            let strength = (1.0 - *LINES_SHARE) * height as f32 + *LINES_SHARE * vote + self.octave_gain[lag];
            insert(&mut best, (lag, strength));
        }
        // The octave's gain ranks the candidates; it must not lift noise over the threshold of voicing.
        let top = best[0];
        let gain = if top.0 > 0 { self.octave_gain[top.0] } else { 0.0 };
        for (slot, (lag, strength)) in frame.candidates.iter_mut().zip(best) {
            if lag == 0 {
                break;
            }
            let (mut period, height) = self.refined(lag);
            let look = refine::look(period, self.rate);
            if strength > top.1 - NEARLY_AS_STRONG && look < self.window * 4 / 5 {
                let start = (self.window - look) / 2;
                period = refine::period_in(&samples[start..start + look], period).unwrap_or(period);
            }
            *slot = Some(Candidate { pitch: Hertz(self.rate / period), strength: strength - gain });
            frame.clarity = frame.clarity.max(height as f32).min(1.0);
        }
        let share = f64::from(frame.clarity);
        frame.harmonic_db = level(share * power);
        frame.noise_db = level((1.0 - share) * power);
        frame
    }

    /// The period near a peak, from the peak at its largest usable multiple (which divides the error by
    /// that multiple), and the height at one period.
    fn refined(&self, lag: usize) -> (f64, f64) {
        let curve = self.curves.waveform();
        let (mut period, height) = parabola(curve, lag);
        let mut multiple = 2;
        while period * f64::from(multiple) < (curve.len() - 5) as f64 {
            let near = (period * f64::from(multiple)).round() as usize;
            let reach = 2.min(lag / 3);
            let Some(peak) = (near - reach..=near + reach).find(|&at| is_peak(curve, at)) else { break };
            let (at, far) = parabola(curve, peak);
            if far < 0.7 * height {
                break;
            }
            period = at / f64::from(multiple);
            multiple *= 2;
        }
        (period, height)
    }
}

/// Puts a peak in its place, strongest first; the weakest falls out.
fn insert(best: &mut [(usize, f32); MOST_CANDIDATES], mut new: (usize, f32)) {
    for slot in best {
        if new.1 > slot.1 {
            std::mem::swap(slot, &mut new);
        }
    }
}

/// Mean square in dB below full scale, not under −120.
fn level(power: f64) -> f32 {
    (10.0 * power.max(1e-12).log10()) as f32
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Instrument;
    use crate::pitch::contour;
    use crate::samples::Samples;
    use crate::units::SampleRate;

    #[test]
    fn a_sawtooth_has_its_pitch_within_a_cent() {
        let rate = 44_100;
        for (instrument, hz) in [
            (Instrument::Violin, 440.0),
            (Instrument::Bass, 41.2),
            (Instrument::Cello, 65.4),
            (Instrument::Violin, 1318.5),
        ] {
            let mono = (0..rate)
                .map(|i| {
                    let t = f64::from(i) / f64::from(rate);
                    (1..=12)
                        .map(|l| 0.1 / f64::from(l) * (std::f64::consts::TAU * hz * f64::from(l) * t).sin())
                        .sum::<f64>() as f32
                })
                .collect();
            let rate = SampleRate(rate as u32);
            let line =
                contour(&Samples { mono, rate }, TrackerSettings::for_instrument(rate, Some(instrument)));
            assert_eq!(line.frames.len(), 101);
            for frame in &line.frames[3..97] {
                let cents = frame
                    .pitch
                    .unwrap_or_else(|| panic!("no pitch at {:?} of {hz}", frame.time))
                    .cents_above(Hertz(hz))
                    .0;
                assert!(cents.abs() < 1.0, "{cents} c at {:?}", frame.time);
            }
        }
    }

    #[test]
    fn silence_has_no_pitch() {
        let rate = SampleRate(8000);
        let line =
            contour(&Samples { mono: vec![0.0; 8000], rate }, TrackerSettings::for_instrument(rate, None));
        assert!(line.frames.iter().all(|frame| frame.pitch.is_none()));
    }
}
