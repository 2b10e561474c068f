//! Reading along allocates nothing once the take has begun, held with an allocator that counts.

use allocation_counter::measure;
use fingertape::formats::read_melody;
use fingertape::live::LiveReader;
use fingertape::units::{A4_ISO16, Seconds};
use std::path::Path;

#[test]
fn reading_along_neither_allocates_nor_frees() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let melody = read_melody(&folder.join("melody.toml")).expect("a melody").melody;
    let samples = fingertape::decode::read_take(&folder.join("take.flac")).expect("a take").samples;
    let instrument = melody.instrument.expect("an instrument");
    let mut reader = LiveReader::new(&melody, instrument, 88.0, A4_ISO16, samples.rate, Seconds(0.5));
    let (mut readings, mut named) = (0, 0);
    let counted = measure(|| {
        for chunk in samples.mono.chunks(160) {
            reader.push(chunk, |now| {
                readings += 1;
                named += u32::from(now.sounding.is_some());
            });
        }
    });
    assert!(readings > 2000 && named > 1000, "{readings} readings, {named} with a note");
    assert_eq!((counted.count_total, counted.count_current, counted.bytes_total), (0, 0, 0));
}
