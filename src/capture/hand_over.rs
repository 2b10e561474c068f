//! The hand-over from the audio callback to the worker.
//!
//! The real-time promise: [`Giver::give`] takes no lock, allocates nothing, frees nothing, does no
//! input or output, logs nothing and never waits. Its time is proportional to the samples that it is
//! given. When the queue is full, the samples are lost, and counted; the time that they took is handed
//! over later as silence, so that everything after the gap keeps its place in time. After a gap one call may
//! fill the queue with silence, once: that much is copied besides, and nothing more.
//!
//! `tests/capture_promise.rs` holds it to that with an allocator that counts.

use cpal::{FromSample, Sample};
use ringbuf::traits::{Consumer, Observer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Samples that are converted at a time, on the stack.
const BLOCK: usize = 256;

/// The callback's end of the queue.
pub struct Giver {
    queue: HeapProd<f32>,
    channels: usize,
    /// Samples of silence that are owed for lost ones.
    owed: usize,
    counts: Arc<Counts>,
}

/// The worker's end of the queue.
pub struct Taker {
    queue: HeapCons<f32>,
    counts: Arc<Counts>,
}

#[derive(Default)]
struct Counts {
    given: AtomicU64,
    lost: AtomicU64,
}

/// A queue of `capacity` samples (at least 1) of one channel, fed with frames of `channels` (at least
/// 1) interleaved channels.
pub fn hand_over(capacity: usize, channels: usize) -> (Giver, Taker) {
    let (producer, consumer) = HeapRb::new(capacity.max(1)).split();
    let counts = Arc::<Counts>::default();
    let giver = Giver { queue: producer, channels: channels.max(1), owed: 0, counts: Arc::clone(&counts) };
    (giver, Taker { queue: consumer, counts })
}

impl Giver {
    /// Hands over interleaved frames of any sample format as one channel, the mean of all, at full
    /// scale ±1. Samples that are no numbers become 0; an incomplete last frame is left out.
    pub fn give<T>(&mut self, interleaved: &[T])
    where
        T: Copy,
        f32: FromSample<T>,
    {
        let share = 1.0 / self.channels as f32;
        let mut block = [0.0f32; BLOCK];
        let frames = interleaved.chunks_exact(self.channels);
        self.counts.given.fetch_add(frames.len() as u64, Ordering::Relaxed);
        self.repay();
        let mut filled = 0;
        for frame in frames {
            let sum: f32 = frame.iter().map(|&sample| f32::from_sample_(sample)).sum();
            block[filled] = if sum.is_finite() { sum * share } else { f32::EQUILIBRIUM };
            filled += 1;
            if filled == BLOCK {
                self.push(&block);
                filled = 0;
            }
        }
        self.push(&block[..filled]);
    }

    /// Pushes what fits; the rest is lost, and owed as silence. While silence is owed nothing fits.
    fn push(&mut self, samples: &[f32]) {
        let pushed = if self.owed == 0 { self.queue.push_slice(samples) } else { 0 };
        let lost = samples.len() - pushed;
        self.owed += lost;
        self.counts.lost.fetch_add(lost as u64, Ordering::Relaxed);
    }

    /// Pushes owed silence as far as there is room.
    fn repay(&mut self) {
        const SILENCE: [f32; BLOCK] = [0.0; BLOCK];
        while self.owed > 0 {
            let pushed = self.queue.push_slice(&SILENCE[..self.owed.min(BLOCK)]);
            self.owed -= pushed;
            if pushed == 0 {
                return;
            }
        }
    }
}

impl Taker {
    /// Takes up to `into.len()` samples, oldest first, and returns how many.
    pub fn take(&mut self, into: &mut [f32]) -> usize {
        self.queue.pop_slice(into)
    }

    /// Samples that wait in the queue.
    pub fn waiting(&self) -> usize {
        self.queue.occupied_len()
    }

    /// Samples (of one channel) that the callback was given so far, lost ones included.
    pub fn given(&self) -> u64 {
        self.counts.given.load(Ordering::Relaxed)
    }

    /// Samples that were lost so far because the queue was full.
    pub fn lost(&self) -> u64 {
        self.counts.lost.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn all(taker: &mut Taker) -> Vec<f32> {
        let mut out = vec![0.0; taker.waiting()];
        assert_eq!(taker.take(&mut out), out.len());
        out
    }

    #[test]
    fn channels_become_their_mean_and_every_format_full_scale_one() {
        let (mut giver, mut taker) = hand_over(100, 2);
        giver.give(&[1.0f32, 0.0, 0.5, 0.5, f32::NAN, 0.0, f32::INFINITY, 0.0]);
        assert_eq!(all(&mut taker), [0.5, 0.5, 0.0, 0.0]);
        let (mut giver, mut taker) = hand_over(100, 1);
        giver.give(&[i16::MIN, 0, 16_384]);
        giver.give(&[128u8, 0, 192]);
        giver.give(&[i32::MIN, 1 << 30]);
        giver.give(&[0.25f64]);
        assert_eq!(all(&mut taker), [-1.0, 0.0, 0.5, 0.0, -1.0, 0.5, -1.0, 0.5, 0.25]);
    }

    #[test]
    fn a_full_queue_loses_samples_counts_them_and_keeps_the_time() {
        let (mut giver, mut taker) = hand_over(4, 1);
        giver.give(&[1.0f32, 2.0, 3.0, 4.0, 5.0, 6.0]);
        assert_eq!((taker.given(), taker.lost()), (6, 2));
        assert_eq!(all(&mut taker), [1.0, 2.0, 3.0, 4.0]);
        // Two samples of silence stand for 5 and 6; then 7 and 8 are where they belong.
        giver.give(&[7.0f32, 8.0]);
        assert_eq!(all(&mut taker), [0.0, 0.0, 7.0, 8.0]);
        assert_eq!(taker.lost(), 2);
    }

    #[test]
    fn an_incomplete_frame_is_left_out() {
        let (mut giver, mut taker) = hand_over(10, 2);
        giver.give(&[0.5f32, 0.5, 1.0]);
        assert_eq!(all(&mut taker), [0.5]);
    }

    proptest! {
        #[test]
        fn every_sample_that_arrives_is_where_it_belongs(
            steps in prop::collection::vec((0usize..700, 0usize..700), 1..40),
            capacity in 1usize..900,
        ) {
            let (mut giver, mut taker) = hand_over(capacity, 1);
            let (mut sent, mut received) = (0usize, Vec::new());
            for (give, take) in steps {
                // Sample number n has the value n + 1; silence is 0.
                let samples: Vec<f32> = (sent..sent + give).map(|n| (n + 1) as f32).collect();
                giver.give(&samples);
                sent += give;
                let mut into = vec![0.0; take];
                let count = taker.take(&mut into);
                received.extend_from_slice(&into[..count]);
            }
            received.extend(all(&mut taker));
            let silent = received.iter().filter(|&&sample| sample == 0.0).count();
            prop_assert!(received.iter().enumerate().all(|(n, &sample)| sample == 0.0 || sample == (n + 1) as f32));
            prop_assert!(silent as u64 <= taker.lost());
            prop_assert_eq!(taker.given(), sent as u64);
            prop_assert!(received.len() as u64 + taker.lost() >= sent as u64);
        }
    }
}
