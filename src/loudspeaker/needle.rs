//! From finished samples to the buffers of the audio callback.
//!
//! The real-time promise: [`Needle::fill`] takes no lock, allocates nothing, frees nothing, does no input
//! or output, logs nothing and never waits. Its time is proportional to the samples that it fills. Two
//! atomic numbers, which never wait either, tell how far it has come and that it is to stop.
//! `tests/loudspeaker_promise.rs` holds it to that with an allocator that counts.

use cpal::{FromSample, Sample};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// Where in its samples a sound that is played once has come to.
pub struct Needle {
    mono: Vec<f32>,
    at: usize,
    channels: usize,
    /// How many frames have gone by since it was told to stop.
    stopping: Option<usize>,
    progress: Arc<Progress>,
}

/// What the callback and those who wait for it tell each other.
#[derive(Debug, Default)]
pub struct Progress {
    stop: AtomicBool,
    played: AtomicUsize,
    over: AtomicBool,
}

impl Progress {
    /// From now on the sound fades to silence.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Frames that were handed to the device so far, silence after the end included.
    pub fn played(&self) -> usize {
        self.played.load(Ordering::Relaxed)
    }

    /// Whether the whole sound, or its fading, was handed to the device.
    pub fn is_over(&self) -> bool {
        self.over.load(Ordering::Relaxed)
    }
}

/// Frames in which a sound that is stopped fades away, 20 ms at 48 kHz: without a crack.
const FADE: usize = 960;

impl Needle {
    /// At the start of samples of one channel, to be played on `channels` (at least 1).
    pub fn new(mono: Vec<f32>, channels: usize) -> Self {
        let progress = Arc::default();
        Self { mono, at: 0, channels: channels.max(1), stopping: None, progress }
    }

    /// How far it has come, and a way to stop it, for another thread.
    pub fn progress(&self) -> Arc<Progress> {
        Arc::clone(&self.progress)
    }

    /// The next frames, interleaved, the same on every channel; silence after the end, and in an incomplete
    /// last frame.
    pub fn fill<T>(&mut self, interleaved: &mut [T])
    where
        T: Sample + FromSample<f32>,
    {
        if self.stopping.is_none() && self.progress.stop.load(Ordering::Relaxed) {
            self.stopping = Some(0);
        }
        let mut frames = interleaved.chunks_exact_mut(self.channels);
        for frame in &mut frames {
            let mut sample = self.mono.get(self.at).copied().unwrap_or(0.0);
            if let Some(gone) = &mut self.stopping {
                *gone = (*gone + 1).min(FADE);
                sample *= (FADE - *gone) as f32 / FADE as f32;
            }
            self.at = self.at.saturating_add(1);
            frame.fill(T::from_sample(sample));
        }
        frames.into_remainder().fill(T::EQUILIBRIUM);
        self.progress.played.store(self.at, Ordering::Relaxed);
        if self.at >= self.mono.len() || self.stopping == Some(FADE) {
            self.progress.over.store(true, Ordering::Relaxed);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_channel_gets_the_sound_once_and_then_silence() {
        let mut needle = Needle::new(vec![0.5, -0.5, 0.25], 2);
        let progress = needle.progress();
        let mut buffer = [9.0_f32; 5];
        needle.fill(&mut buffer);
        assert_eq!(buffer, [0.5, 0.5, -0.5, -0.5, 0.0]);
        assert!((progress.played(), progress.is_over()) == (2, false));
        let mut buffer = [9_i16; 4];
        needle.fill(&mut buffer);
        assert_eq!(buffer, [8192, 8192, 0, 0]);
        assert!((progress.played(), progress.is_over()) == (4, true));
        let mut buffer = [9_u8; 2];
        needle.fill(&mut buffer);
        assert_eq!(buffer, [128, 128]);
    }

    #[test]
    fn a_sound_that_is_stopped_fades_without_a_crack() {
        let mut needle = Needle::new(vec![1.0; 10_000], 1);
        let mut buffer = [0.0_f32; 480];
        needle.fill(&mut buffer);
        needle.progress().stop();
        let mut heard = buffer.to_vec();
        for _ in 0..4 {
            needle.fill(&mut buffer);
            heard.extend(buffer);
        }
        assert!(heard.windows(2).all(|pair| pair[0] - pair[1] <= 1.01 / FADE as f32));
        assert_eq!((heard[479], heard[480 + FADE], heard[heard.len() - 1]), (1.0, 0.0, 0.0));
        assert!(needle.progress().is_over());
    }
}
