//! How much memory the takes that are heard at the same time may need. A take that finds too little left waits its turn;
//! how long a take really is shows only while it is decoded, so it is first tried as a short one.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

/// Bytes for everything that is being heard. With the program itself, the reports of a thousand takes and what the pages
/// need it stays below 400 MB.
pub const FOR_ALL_TAKES: usize = 288 << 20;

/// Bytes for each sample of a take, over all channels: four as it is read, four as one channel, and the contour, which is
/// a tenth of that at 44.1 kHz (measured: 9 to 10 at 44.1 and 48 kHz, 6 at 96 kHz in stereo).
const FOR_A_SAMPLE: usize = 10;

/// Bytes for a take however short: windows, transforms, the grid of the aligner (measured: 4 MB).
const FOR_A_TAKE: usize = 6 << 20;

/// The samples that a take is first given, over all channels: half a minute at 48 kHz.
const FIRST: usize = 1_500_000;

/// The most samples that a take may have, over all channels: five minutes at 48 kHz in stereo or at 96 kHz in mono, four
/// minutes at 96 kHz in stereo.
pub const MOST_SAMPLES: usize = 29_000_000;

/// The numbers of samples a take is tried with, one after the other.
pub fn steps() -> impl Iterator<Item = usize> {
    std::iter::successors(Some(FIRST), |&step| (step < MOST_SAMPLES).then(|| (4 * step).min(MOST_SAMPLES)))
}

/// The memory for all takes. Who came first is served first, so that a long take is not kept waiting by short ones.
#[derive(Debug)]
pub struct Memory {
    queue: Mutex<Queue>,
    changed: Condvar,
}

#[derive(Debug)]
struct Queue {
    free: usize,
    next_number: u64,
    serving: u64,
}

/// A part of the memory, given back when it is dropped.
#[derive(Debug)]
pub struct Share<'a> {
    memory: &'a Memory,
    bytes: usize,
}

impl Memory {
    /// So many bytes.
    pub fn new(bytes: usize) -> Self {
        Self { queue: Mutex::new(Queue { free: bytes, next_number: 0, serving: 0 }), changed: Condvar::new() }
    }

    /// Waits until there is room for a take of so many samples. Whoever holds a share must give it back before asking for
    /// another, else two could wait for each other.
    pub fn share_for(&self, samples: usize) -> Share<'_> {
        let mut queue = self.queue();
        let bytes = FOR_A_TAKE + samples * FOR_A_SAMPLE;
        let number = queue.next_number;
        queue.next_number += 1;
        while queue.serving != number || queue.free < bytes {
            queue = self.changed.wait(queue).unwrap_or_else(PoisonError::into_inner);
        }
        queue.free -= bytes;
        queue.serving += 1;
        self.changed.notify_all();
        Share { memory: self, bytes }
    }

    // The numbers in the queue are whole at every moment, also where a thread panicked.
    fn queue(&self) -> MutexGuard<'_, Queue> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Share<'_> {
    fn drop(&mut self) {
        self.memory.queue().free += self.bytes;
        self.memory.changed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::thread;

    #[test]
    fn the_longest_take_alone_fits() {
        assert_eq!(steps().collect::<Vec<_>>(), [1_500_000, 6_000_000, 24_000_000, MOST_SAMPLES]);
        const { assert!(FOR_A_TAKE + MOST_SAMPLES * FOR_A_SAMPLE <= FOR_ALL_TAKES) };
        drop(Memory::new(FOR_ALL_TAKES).share_for(MOST_SAMPLES));
    }

    #[test]
    fn never_more_is_given_than_there_is_and_everybody_is_served() {
        let memory = Memory::new(10 * FOR_A_TAKE);
        let (given, served) = (AtomicUsize::new(0), AtomicUsize::new(0));
        thread::scope(|scope| {
            for number in 0..24 {
                let (memory, given, served) = (&memory, &given, &served);
                scope.spawn(move || {
                    for round in 0..20 {
                        let samples = FOR_A_TAKE / FOR_A_SAMPLE * ((number + round) % 9);
                        let share = memory.share_for(samples);
                        let now = given.fetch_add(share.bytes, Ordering::SeqCst) + share.bytes;
                        assert!(now <= 10 * FOR_A_TAKE, "{now}");
                        given.fetch_sub(share.bytes, Ordering::SeqCst);
                        served.fetch_add(1, Ordering::SeqCst);
                    }
                });
            }
        });
        assert_eq!(served.into_inner(), 24 * 20);
        assert_eq!(memory.queue().free, 10 * FOR_A_TAKE);
    }
}
