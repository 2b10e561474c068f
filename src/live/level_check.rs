//! The level check before a take: it waits for the player to begin, and then listens for as long as it was asked to.

use super::level::{Level, LevelMeter, LevelWord};
use crate::units::{SampleRate, Seconds};

/// So long the check waits for a first sound, in seconds: time to read what to do and to lift the bow.
const PATIENCE: f64 = 6.0;
/// A sound has begun where 100 ms are louder than the softest 100 ms by this, in dB.
const RISE: f64 = 12.0;

/// A level check, pushed samples. Any chunking gives the same level after the same sample.
pub(super) struct LevelCheck {
    rate: SampleRate,
    /// Everything that was heard.
    all: LevelMeter,
    /// The 100 ms at hand, and how many of their samples are still to come.
    block: LevelMeter,
    block_left: usize,
    softest_db: f64,
    /// Samples until it ends: at first of the patience, then of the check.
    left: u64,
    length: u64,
    begun: bool,
}

impl LevelCheck {
    pub(super) fn new(rate: SampleRate, length: Seconds) -> Self {
        let length = (length.0 * rate.hertz()) as u64;
        Self {
            rate,
            all: LevelMeter::new(rate),
            block: LevelMeter::new(rate),
            block_left: Self::block(rate),
            softest_db: 0.0,
            left: (PATIENCE * rate.hertz()) as u64,
            length,
            begun: false,
        }
    }

    fn block(rate: SampleRate) -> usize {
        (rate.0 / 10).max(1) as usize
    }

    /// Takes up to all of `samples`; how many it took, and the level once it is over.
    pub(super) fn push(&mut self, samples: &[f32]) -> (usize, Option<Level>) {
        let left = usize::try_from(self.left).unwrap_or(usize::MAX);
        let count = samples.len().min(left).min(self.block_left);
        self.all.push(&samples[..count]);
        self.block.push(&samples[..count]);
        self.left -= count as u64;
        self.block_left -= count;
        if self.block_left == 0 {
            self.end_of_block();
        }
        match self.left {
            0 if self.begun => (count, Some(self.all.level())),
            0 => {
                // Nothing came; what is there is listened to all the same.
                (self.begun, self.left) = (true, self.length);
                (count, None)
            }
            _ => (count, None),
        }
    }

    fn end_of_block(&mut self) {
        let level = self.block.level();
        self.block = LevelMeter::new(self.rate);
        self.block_left = Self::block(self.rate);
        self.softest_db = self.softest_db.min(level.loudest_db);
        let loud = matches!(level.word(), LevelWord::Good | LevelWord::TooLoud);
        let rises = level.word() != LevelWord::Silent && level.loudest_db > self.softest_db + RISE;
        if !self.begun && (loud || rises) {
            // The block in which it began counts.
            self.begun = true;
            self.left = self.length.saturating_sub(Self::block(self.rate) as u64).max(1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate(8000);

    /// When the check ends, in seconds, and the word for its level.
    fn check(sound: impl Fn(usize) -> f32, chunk: usize) -> (f64, LevelWord) {
        let mut check = LevelCheck::new(RATE, Seconds(2.0));
        let samples: Vec<f32> = (0..80_000).map(sound).collect();
        let mut heard = 0;
        for chunk in samples.chunks(chunk) {
            let mut chunk = chunk;
            while !chunk.is_empty() {
                let (count, level) = check.push(chunk);
                heard += count;
                if let Some(level) = level {
                    return (heard as f64 / RATE.hertz(), level.word());
                }
                chunk = &chunk[count..];
            }
        }
        panic!("it never ended");
    }

    fn tone(amplitude: f32) -> impl Fn(usize) -> f32 {
        move |n| amplitude * (n as f32 * 0.3).sin()
    }

    #[test]
    fn who_plays_at_once_is_done_after_two_seconds() {
        for chunk in [1, 77, 800, 80_000] {
            assert_eq!(check(tone(0.1), chunk), (2.0, LevelWord::Good), "{chunk}");
        }
    }

    #[test]
    fn the_check_waits_for_who_is_not_ready() {
        // Silence for three seconds, then a soft note over a softer room.
        let late = |n: usize| if n < 24_000 { tone(0.001)(n) } else { tone(0.008)(n) };
        for chunk in [1, 480, 80_000] {
            assert_eq!(check(late, chunk), (5.0, LevelWord::Quiet), "{chunk}");
        }
    }

    #[test]
    fn nobody_is_waited_for_for_ever() {
        assert_eq!(check(|_| 0.0, 480), (8.0, LevelWord::Silent));
        assert_eq!(check(tone(0.004), 480), (8.0, LevelWord::Quiet));
    }
}
