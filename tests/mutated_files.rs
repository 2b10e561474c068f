//! No file makes the decoder panic, hang or fill the memory: every whole file in
//! `audio-fixtures/formats/` is damaged in many ways, and each must become a take or an error in
//! bounded time.

use fingertape::decode::read_take_bytes;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// A small generator with a fixed seed (Knuth's MMIX constants), so that a failure can be repeated.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % limit.max(1)
    }
}

/// One way to damage a file.
fn damage(file: &[u8], way: usize, dice: &mut Dice) -> Vec<u8> {
    let mut bytes = file.to_vec();
    let header = bytes.len().min(600);
    match way % 7 {
        0 => bytes.truncate(dice.below(file.len())),
        1 => (0..1 + dice.below(8)).for_each(|_| bytes[dice.below(file.len())] ^= 1 << dice.below(8)),
        2 => (0..1 + dice.below(4)).for_each(|_| bytes[dice.below(header)] = dice.below(256) as u8),
        3 => {
            let at = dice.below(header.saturating_sub(4));
            bytes[at..at + 4].fill([0, 0x7f, 0x80, 0xff][dice.below(4)]);
        }
        4 => {
            let (at, count) = (dice.below(file.len()), 1 + dice.below(64));
            bytes.drain(at..(at + count).min(file.len()));
        }
        5 => {
            let (at, from) = (dice.below(file.len()), dice.below(file.len()));
            let piece = file[from..(from + 64).min(file.len())].to_vec();
            bytes.splice(at..at, piece);
        }
        _ => {
            let (at, count) = (dice.below(file.len()), 1 + dice.below(200));
            let end = (at + count).min(file.len());
            bytes[at..end].iter_mut().for_each(|byte| *byte = dice.below(256) as u8);
        }
    }
    bytes
}

#[test]
fn damaged_files_become_takes_or_errors_in_bounded_time() {
    static PANICS: AtomicUsize = AtomicUsize::new(0);
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        PANICS.fetch_add(1, Ordering::Relaxed);
        usual(info);
    }));
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/formats");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files.retain(|path| path.extension().is_some_and(|extension| extension != "txt"));
    assert!(files.len() >= 20, "only {} whole files", files.len());
    let (mut taken, mut refused) = (0, 0);
    for path in &files {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let file = std::fs::read(path).unwrap();
        let whole = read_take_bytes(&name, file.clone()).unwrap();
        assert!(whole.remarks.is_empty(), "{name}: {:?}", whole.remarks);
        let mut dice = Dice(file.len() as u64);
        for way in 0..35 {
            let bytes = damage(&file, way, &mut dice);
            let began = Instant::now();
            match read_take_bytes(&name, bytes) {
                Ok(take) => {
                    assert!(take.samples.mono.iter().all(|sample| sample.is_finite()), "{name}, way {way}");
                    taken += 1;
                }
                Err(_) => refused += 1,
            }
            let elapsed = began.elapsed();
            assert!(elapsed < Duration::from_secs(10), "{name}, way {way}: {elapsed:?}");
        }
    }
    drop(std::panic::take_hook());
    assert!(taken > 100 && refused > 50, "{taken} taken, {refused} refused");
    assert_eq!(PANICS.load(Ordering::Relaxed), 0, "a decoder panicked inside");
}
