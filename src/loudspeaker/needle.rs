//! From finished samples to the buffers of the audio callback.
//!
//! The real-time promise: [`Needle::fill`] takes no lock, allocates nothing, frees nothing, does no input
//! or output, logs nothing and never waits. Its time is proportional to the samples that it fills.
//! `tests/loudspeaker_promise.rs` holds it to that with an allocator that counts.

use cpal::{FromSample, Sample};

/// Where in its samples a sound that is played once has come to.
pub struct Needle {
    mono: Vec<f32>,
    at: usize,
    channels: usize,
}

impl Needle {
    /// At the start of samples of one channel, to be played on `channels` (at least 1).
    pub fn new(mono: Vec<f32>, channels: usize) -> Self {
        Self { mono, at: 0, channels: channels.max(1) }
    }

    /// The next frames, interleaved, the same on every channel; silence after the end, and in an incomplete
    /// last frame.
    pub fn fill<T>(&mut self, interleaved: &mut [T])
    where
        T: Sample + FromSample<f32>,
    {
        let mut frames = interleaved.chunks_exact_mut(self.channels);
        for frame in &mut frames {
            let sample = self.mono.get(self.at).copied().unwrap_or(0.0);
            self.at = self.at.saturating_add(1);
            frame.fill(T::from_sample(sample));
        }
        frames.into_remainder().fill(T::EQUILIBRIUM);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_channel_gets_the_sound_once_and_then_silence() {
        let mut needle = Needle::new(vec![0.5, -0.5, 0.25], 2);
        let mut buffer = [9.0_f32; 5];
        needle.fill(&mut buffer);
        assert_eq!(buffer, [0.5, 0.5, -0.5, -0.5, 0.0]);
        let mut buffer = [9_i16; 4];
        needle.fill(&mut buffer);
        assert_eq!(buffer, [8192, 8192, 0, 0]);
        let mut buffer = [9_u8; 2];
        needle.fill(&mut buffer);
        assert_eq!(buffer, [128, 128]);
    }
}
