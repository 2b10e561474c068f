//! Samples become a level and a word for it.

use crate::units::SampleRate;

/// How loud a stretch of sound was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// The loudest 100 ms, in dB below full scale (0 = a full-scale square wave), −120 for nothing.
    pub loudest_db: f64,
    /// The highest sample, in dB below full scale, −120 for nothing.
    pub peak_db: f64,
    /// Samples at full scale.
    pub clipped: u64,
}

/// A level as a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LevelWord {
    /// Nothing, or only the converter's own hiss.
    Silent,
    /// Too soft to hear the notes well.
    Quiet,
    /// Good.
    Good,
    /// At or near full scale: loud notes will be cut off.
    TooLoud,
}

/// The loudest 100 ms below this is no sound, in dB: the hiss of a cheap 16-bit input is about −75 (common
/// practice), a quiet room in front of a laptop −70 to −60.
const SILENT_BELOW: f64 = -62.0;
/// Softer than this is quiet, in dB: a room's own noise is then less than 20 dB below the notes.
const QUIET_BELOW: f64 = -44.0;
/// A peak above this leaves no room for a louder note, in dB.
const LOUD_ABOVE: f64 = -1.0;
/// Samples from this on are at full scale.
const FULL_SCALE: f32 = 0.999;

impl Level {
    /// The level as a word.
    pub fn word(&self) -> LevelWord {
        match self {
            level if level.clipped > 0 || level.peak_db > LOUD_ABOVE => LevelWord::TooLoud,
            level if level.loudest_db < SILENT_BELOW => LevelWord::Silent,
            level if level.loudest_db < QUIET_BELOW => LevelWord::Quiet,
            _ => LevelWord::Good,
        }
    }
}

impl LevelWord {
    /// `silent`, `quiet`, `good` or `too loud`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Silent => "silent",
            Self::Quiet => "quiet",
            Self::Good => "good",
            Self::TooLoud => "too loud",
        }
    }
}

/// Measures the level of a stretch of sound, chunk by chunk. Any chunking gives the same level, and a recorder's
/// constant offset none.
#[derive(Debug, Clone)]
pub struct LevelMeter {
    block: usize,
    sum: f64,
    squares: f64,
    filled: usize,
    loudest: f64,
    peak: f32,
    clipped: u64,
}

impl LevelMeter {
    /// A meter at the start of a stretch.
    pub fn new(rate: SampleRate) -> Self {
        let block = (rate.hertz() / 10.0).ceil().max(1.0) as usize;
        Self { block, sum: 0.0, squares: 0.0, filled: 0, loudest: 0.0, peak: 0.0, clipped: 0 }
    }

    /// The next samples, full scale ±1.
    pub fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            self.sum += f64::from(sample);
            self.squares += f64::from(sample).powi(2);
            self.peak = self.peak.max(sample.abs());
            self.clipped += u64::from(sample.abs() >= FULL_SCALE);
            self.filled += 1;
            if self.filled == self.block {
                self.loudest = self.loudest.max(self.power());
                (self.sum, self.squares, self.filled) = (0.0, 0.0, 0);
            }
        }
    }

    /// The power of the block so far, about its mean.
    fn power(&self) -> f64 {
        let count = self.filled as f64;
        (self.squares / count - (self.sum / count).powi(2)).max(0.0)
    }

    /// The level of everything that was pushed.
    pub fn level(&self) -> Level {
        let rest = if self.filled > 0 && self.loudest == 0.0 { self.power() } else { 0.0 };
        let decibels = |power: f64| 10.0 * power.max(1e-12).log10();
        Level {
            loudest_db: decibels(self.loudest.max(rest)),
            peak_db: decibels(f64::from(self.peak).powi(2)),
            clipped: self.clipped,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(amplitude: f32, chunk: usize) -> Level {
        let mut meter = LevelMeter::new(SampleRate(8000));
        let samples: Vec<f32> = (0..8000).map(|n| amplitude * (n as f32 * 0.3).sin()).collect();
        samples.chunks(chunk).for_each(|samples| meter.push(samples));
        meter.level()
    }

    #[test]
    fn a_sine_is_3_db_below_its_peak_whatever_the_chunks() {
        for chunk in [1, 37, 800, 8000] {
            let level = level(0.1, chunk);
            assert!((level.loudest_db + 23.01).abs() < 0.05, "{level:?}");
            assert!((level.peak_db + 20.0).abs() < 0.05, "{level:?}");
        }
    }

    #[test]
    fn a_constant_offset_is_no_sound() {
        let offset = |amplitude: f32| {
            let mut meter = LevelMeter::new(SampleRate(8000));
            let samples: Vec<f32> = (0..7900).map(|n| 0.05 + amplitude * (n as f32 * 0.3).sin()).collect();
            meter.push(&samples);
            meter.level()
        };
        assert_eq!(offset(0.0).word(), LevelWord::Silent);
        assert!((offset(0.01).loudest_db + 43.01).abs() < 0.1, "{:?}", offset(0.01));
    }

    #[test]
    fn each_word_has_its_level() {
        assert_eq!(level(0.0, 100).word(), LevelWord::Silent);
        assert_eq!(level(0.0005, 100).word(), LevelWord::Silent);
        assert_eq!(level(0.004, 100).word(), LevelWord::Quiet);
        assert_eq!(level(0.1, 100).word(), LevelWord::Good);
        assert_eq!(level(0.95, 100).word(), LevelWord::TooLoud);
        assert_eq!(level(1.0, 100).word(), LevelWord::TooLoud);
        assert_eq!(LevelMeter::new(SampleRate(8000)).level().loudest_db, -120.0);
    }
}
