//! The real-time promise of the hand-over, held with an allocator that counts: the very function that
//! runs in the audio callback neither allocates nor frees, whatever the format, and whether or not the
//! queue is full.
#![cfg(feature = "microphone")]

use allocation_counter::measure;
use fingertape::capture::{Giver, hand_over};
use std::hint::black_box;

#[test]
fn the_callback_neither_allocates_nor_frees() {
    let float: Vec<f32> = (0..4096).map(|n| (n as f32 * 0.01).sin()).collect();
    let short: Vec<i16> = float.iter().map(|sample| (sample * 30_000.0) as i16).collect();
    let byte: Vec<u8> = short.iter().map(|sample| (sample / 256 + 128) as u8).collect();
    let long: Vec<i32> = short.iter().map(|sample| i32::from(*sample) << 16).collect();
    let blocks = [0, 1, 2, 300, 480, 512, 1024, 4096];
    for channels in [1, 2, 6] {
        for capacity in [1, 100, 1 << 16] {
            let (mut giver, mut taker) = hand_over(capacity, channels);
            let mut into = vec![0.0; 1000];
            let call = |giver: &mut Giver| {
                for block in blocks {
                    giver.give(&float[..block]);
                    giver.give(&short[..block]);
                    giver.give(&byte[..block]);
                    giver.give(&long[..block]);
                }
            };
            let counted = measure(|| {
                for _ in 0..20 {
                    call(&mut giver);
                    taker.take(&mut into);
                }
            });
            assert_eq!(
                (counted.count_total, counted.count_current, counted.bytes_total),
                (0, 0, 0),
                "{channels} channels, {capacity} samples"
            );
        }
    }
}

#[test]
fn the_counting_allocator_counts() {
    let counted = measure(|| drop(black_box(vec![0u8; 100])));
    assert_eq!(counted.count_total, 1);
    let kept = black_box(vec![0u8; 100]);
    assert_eq!(measure(move || drop(kept)).count_current, -1);
}
