//! The log odds that a note begins: networks that read the sound around a candidate.
//!
//! Each goes over the strip ([`Surroundings`](super::Surroundings)) with three convolutions in time, narrows what they find,
//! and joins it with the candidate's cues; several of them, trained from other random starts, are averaged. They were
//! trained on real single notes assembled into takes with known truth (`tests/training/train_sound_networks.py`), as they
//! are and through rooms, microphones and hands that nobody recorded, on the half of the recordings that no reported figure
//! uses, and hold 51,000 numbers in all (`onset_networks.bin`).
//!
//! Convolutions for onsets: Schlüter and Böck, "Improved musical onset detection with convolutional neural networks", ICASSP
//! 2014 (cited from memory); theirs read a spectrogram, these what the wave, its shape and its level do.

use super::boundaries::Features;
use super::onset_model::LIMIT;
use super::surroundings::{CHANNELS, FRAMES, Strip};
use std::sync::LazyLock;

/// Cues of a candidate that are read.
const CUES: usize = 40;
/// How many networks are averaged.
const NETWORKS: usize = 4;
/// Frames that a convolution reaches over.
const TAPS: usize = 5;
/// Channels after each convolution, after narrowing, and where everything is joined.
const HIDDEN: usize = 24;
const NARROW: usize = 8;
const JOINED: usize = 32;
/// Frames that are left after two convolutions by every other frame.
const LEFT: usize = FRAMES.div_ceil(2).div_ceil(2);

static WEIGHTS: &[u8] = include_bytes!("onset_networks.bin");

/// Log odds (natural logarithm) that a note begins at a candidate with this sound around it and these cues, clamped to ±6.
pub fn log_odds(strip: &Strip, cues: &Features) -> f64 {
    static ALL: LazyLock<Vec<Network>> = LazyLock::new(|| {
        let mut weights = Weights(WEIGHTS);
        (0..NETWORKS).map(|_| Network::read(&mut weights)).collect()
    });
    let mut read = [0.0; CUES];
    for (cue, value) in read.iter_mut().zip(cues.values) {
        *cue = value as f32;
    }
    let said: f32 = ALL.iter().map(|network| network.log_odds(strip, &read)).sum();
    (f64::from(said) / NETWORKS as f64).clamp(-LIMIT, LIMIT)
}

/// One network.
struct Network {
    first: Convolution<CHANNELS, HIDDEN>,
    second: Convolution<HIDDEN, HIDDEN>,
    third: Convolution<HIDDEN, HIDDEN>,
    narrow: Sum<HIDDEN, NARROW>,
    joined: Sum<{ LEFT * NARROW }, JOINED>,
    of_cues: Sum<CUES, JOINED>,
    last: Sum<JOINED, 1>,
}

impl Network {
    fn read(weights: &mut Weights) -> Self {
        Self {
            first: Convolution::read(weights),
            second: Convolution::read(weights),
            third: Convolution::read(weights),
            narrow: Sum::read(weights),
            joined: Sum::read(weights),
            of_cues: Sum::read(weights),
            last: Sum::read(weights),
        }
    }

    fn log_odds(&self, strip: &Strip, cues: &[f32; CUES]) -> f32 {
        let found = self.third.every(2, &self.second.every(2, &self.first.every(1, strip)));
        let mut all = [0.0; LEFT * NARROW];
        for (narrow, wide) in all.chunks_exact_mut(NARROW).zip(&found) {
            narrow.copy_from_slice(&positive(self.narrow.of(wide)));
        }
        let mut joined = self.joined.of(&all);
        for (unit, cues) in joined.iter_mut().zip(self.of_cues.of(cues)) {
            *unit += cues;
        }
        self.last.of(&positive(joined))[0]
    }
}

/// Weighted sums of so many values.
struct Sum<const IN: usize, const OUT: usize> {
    /// For each value in, its weight in each sum.
    weights: Vec<[f32; OUT]>,
    bias: [f32; OUT],
}

impl<const IN: usize, const OUT: usize> Sum<IN, OUT> {
    fn read(weights: &mut Weights) -> Self {
        Self { weights: weights.rows(IN), bias: weights.numbers() }
    }

    fn of(&self, values: &[f32; IN]) -> [f32; OUT] {
        let mut sums = self.bias;
        add(&mut sums, values, &self.weights);
        sums
    }
}

/// The positive part of weighted sums over several frames, as many before the middle one as after it or one more after it.
struct Convolution<const IN: usize, const OUT: usize> {
    /// For each frame that it reaches over, and each value of that, its weight in each sum.
    weights: Vec<[f32; OUT]>,
    bias: [f32; OUT],
}

impl<const IN: usize, const OUT: usize> Convolution<IN, OUT> {
    fn read(weights: &mut Weights) -> Self {
        Self { weights: weights.rows(TAPS * IN), bias: weights.numbers() }
    }

    /// At every so many frames; beyond the ends everything is 0.
    fn every(&self, stride: usize, frames: &[[f32; IN]]) -> Vec<[f32; OUT]> {
        let count = frames.len().div_ceil(stride);
        // As many as the sums reach beyond the ends in all; the odd one is after the last frame.
        let before = ((count - 1) * stride + TAPS).saturating_sub(frames.len()) / 2;
        let at = |k: usize| {
            let mut sums = self.bias;
            for (tap, weights) in self.weights.chunks_exact(IN).enumerate() {
                let frame = (k * stride + tap).checked_sub(before).and_then(|frame| frames.get(frame));
                if let Some(values) = frame {
                    add(&mut sums, values, weights);
                }
            }
            positive(sums)
        };
        (0..count).map(at).collect()
    }
}

/// Adds each value times its weight in each sum.
fn add<const IN: usize, const OUT: usize>(sums: &mut [f32; OUT], values: &[f32; IN], weights: &[[f32; OUT]]) {
    for (value, weights) in values.iter().zip(weights) {
        // After a convolution about half of the values are 0.
        if *value != 0.0 {
            for (sum, weight) in sums.iter_mut().zip(weights) {
                *sum += value * weight;
            }
        }
    }
}

/// The positive part of each.
fn positive<const OUT: usize>(sums: [f32; OUT]) -> [f32; OUT] {
    sums.map(|sum| sum.max(0.0))
}

/// What is left of the file of weights: for each layer a 32-bit float, the weights as 16-bit integers in units of that, and
/// the biases as 32-bit floats; all little-endian.
struct Weights(&'static [u8]);

impl Weights {
    fn take<const BYTES: usize>(&mut self) -> [u8; BYTES] {
        let (first, rest) = self.0.split_first_chunk().expect("the file of weights is whole");
        self.0 = rest;
        *first
    }

    fn numbers<const OUT: usize>(&mut self) -> [f32; OUT] {
        std::array::from_fn(|_| f32::from_le_bytes(self.take()))
    }

    fn rows<const OUT: usize>(&mut self, count: usize) -> Vec<[f32; OUT]> {
        let [unit] = self.numbers();
        let mut row = || std::array::from_fn(|_| unit * f32::from(i16::from_le_bytes(self.take())));
        (0..count).map(|_| row()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    /// A strip and cues that the training script knows as well.
    fn pattern() -> (Strip, Features) {
        let value = |frame: usize, channel: usize| (0.1 * (frame * (channel + 1)) as f32).cos();
        let mut features = Features::default();
        for (k, cue) in features.values.iter_mut().enumerate() {
            *cue = 0.5 * (k as f64).cos();
        }
        (std::array::from_fn(|frame| std::array::from_fn(|channel| value(frame, channel))), features)
    }

    #[test]
    fn the_networks_were_trained_on_the_cues_that_there_are() {
        assert_eq!(CUES, Features::NAMES.len(), "train again: tests/training/train_sound_networks.py");
    }

    #[test]
    fn the_networks_say_what_the_training_script_says() {
        let mut weights = Weights(WEIGHTS);
        for _ in 0..NETWORKS {
            Network::read(&mut weights);
        }
        let [trained] = weights.numbers();
        assert!(weights.0.is_empty(), "{} bytes too many", weights.0.len());
        let (strip, features) = pattern();
        assert!(trained.abs() < 5.0 && trained.abs() > 0.1, "{trained} would prove little");
        assert_abs_diff_eq!(log_odds(&strip, &features), f64::from(trained), epsilon = 0.02);
    }

    #[test]
    fn a_convolution_worked_by_hand() {
        // The sum of five frames, one value each, less 3, positive part; and the middle frame alone.
        let both = Convolution::<1, 2> {
            weights: vec![[1.0, 0.0], [1.0, 0.0], [1.0, 1.0], [1.0, 0.0], [1.0, 0.0]],
            bias: [-3.0, 0.0],
        };
        let frames = [[1.0], [0.0], [2.0], [4.0], [0.0], [1.0]];
        let each = both.every(1, &frames);
        assert_eq!(each, [[0.0, 1.0], [4.0, 0.0], [4.0, 2.0], [4.0, 4.0], [4.0, 0.0], [2.0, 1.0]]);
        // Six frames by two: one is added before the first and two after the last.
        assert_eq!(both.every(2, &frames), [[4.0, 0.0], [4.0, 4.0], [2.0, 1.0]]);
    }

    proptest! {
        #[test]
        fn whatever_is_around_and_whatever_the_cues_say_no_onset_is_certain(
            values in proptest::collection::vec(-4.0..3.0_f32, FRAMES * CHANNELS),
            cues in proptest::collection::vec(-2.0..2.0_f64, CUES),
        ) {
            let strip = std::array::from_fn(|frame| std::array::from_fn(|c| values[frame * CHANNELS + c]));
            let said = log_odds(&strip, &Features { values: cues.try_into().unwrap() });
            prop_assert!(said.abs() <= LIMIT, "{said}");
        }
    }
}
