//! The real-time promise of the loudspeaker, held with an allocator that counts: the very function that
//! runs in the audio callback neither allocates nor frees, whatever the format, also after the sound's end.
#![cfg(feature = "microphone")]

use allocation_counter::measure;
use fingertape::loudspeaker::Needle;

#[test]
fn the_callback_neither_allocates_nor_frees() {
    for channels in [1, 2, 6] {
        let mut needle = Needle::new((0..5000).map(|n| (n as f32 * 0.01).sin()).collect(), channels);
        let progress = needle.progress();
        let (mut float, mut short) = (vec![0.0_f32; 4096], vec![0_i16; 4096]);
        let (mut byte, mut long) = (vec![0_u8; 4096], vec![0_i32; 4096]);
        let counted = measure(|| {
            for size in [0, 1, 7, 480, 4096] {
                needle.fill(&mut float[..size]);
                needle.fill(&mut short[..size]);
                needle.fill(&mut byte[..size]);
                needle.fill(&mut long[..size]);
            }
            progress.stop();
            needle.fill(&mut float);
        });
        assert_eq!(
            (counted.count_total, counted.count_current, counted.bytes_total),
            (0, 0, 0),
            "{channels}"
        );
    }
}

#[test]
fn the_counting_allocator_counts() {
    assert_eq!(measure(|| drop(std::hint::black_box(vec![0u8; 100]))).count_total, 1);
}
