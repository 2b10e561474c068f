//! No file makes a reader panic, hang or fill the memory: every whole file in `audio-fixtures/formats/`
//! is damaged in many ways, and each must become a take or an error in bounded time; and so is every input
//! that the fuzzer kept in `tests/fuzz/corpus/`, for every reader of foreign bytes or text.

#[path = "fuzz/readers/mod.rs"]
mod readers;

use fingertape::decode::read_take_bytes;
use proptest::prelude::*;
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

/// Beginnings that send a file to each of the readers.
const BEGINNINGS: [&[u8]; 14] = [
    b"RIFF\xff\xff\xff\xffWAVEfmt \x10\0\0\0",
    b"RF64\xff\xff\xff\xffWAVEds64",
    b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0\x40\x1f\0\0\x80\x3e\0\0\x02\0\x10\0data",
    b"FORM\0\0\x10\0AIFFCOMM\0\0\0\x12",
    b"FORM\0\0\x10\0AIFCCOMM",
    b"caff\0\x01\0\0desc\0\0\0\0\0\0\0\x20",
    b"fLaC\0\0\0\x22",
    b"OggS\0\x02",
    b"OggS\0\x02\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\x01\x13OpusHead\x01\x01",
    b"\0\0\0\x10ftypM4A \0\0\0\0\0\0\0\x6cmoov",
    b"\x1a\x45\xdf\xa3\x80\x18\x53\x80\x67",
    b"ID3\x04\0\0\0\0\0\x0a",
    b"\xff\xf1\x50\x80\x02\x1f\xfc",
    b"",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn any_bytes_become_a_take_or_an_error(
        beginning in 0..BEGINNINGS.len(),
        rest in prop::collection::vec(any::<u8>(), 0..600),
    ) {
        let mut bytes = BEGINNINGS[beginning].to_vec();
        bytes.extend(rest);
        if let Ok(take) = read_take_bytes("bytes", bytes) {
            prop_assert!(take.samples.mono.iter().all(|sample| sample.is_finite()));
            prop_assert!(!take.samples.mono.is_empty() && take.samples.rate.0 >= 4000);
        }
    }
}

/// A reader and the folder of `tests/fuzz/corpus/` that is its own.
type Reader = (&'static str, fn(&[u8]));

const READERS: [Reader; 8] = [
    ("abc", readers::abc),
    ("audio", readers::audio),
    ("class_tables", readers::class_tables),
    ("judged_samples", readers::judged_samples),
    ("kept_files", readers::kept_files),
    ("melody_toml", readers::melody_toml),
    ("musicxml", readers::musicxml),
    ("rules_and_rubric", readers::rules_and_rubric),
];

/// The inputs that the fuzzer kept for a reader, in the order of their names.
fn corpus(reader: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus").join(reader);
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read(path).unwrap()))
        .collect();
    files.sort();
    files
}

/// The reader of a name.
fn reader(name: &str) -> fn(&[u8]) {
    READERS.iter().find(|(known, _)| *known == name).unwrap_or_else(|| panic!("no reader is called {name}")).1
}

#[test]
fn whatever_once_broke_a_reader_gets_an_answer_from_it() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut count = 0;
    for entry in std::fs::read_dir(root.join("tests/formats/broken")).unwrap() {
        let path = entry.unwrap().path();
        let name = match path.extension().and_then(|ending| ending.to_str()) {
            Some("abc") => "abc",
            Some("toml") => "melody_toml",
            _ => "musicxml",
        };
        reader(name)(&std::fs::read(path).unwrap());
        count += 1;
    }
    for folder in std::fs::read_dir(root.join("tests/fuzz/found")).unwrap() {
        let folder = folder.unwrap().path();
        let name = folder.file_name().unwrap().to_string_lossy().into_owned();
        for entry in std::fs::read_dir(folder).unwrap() {
            reader(&name)(&std::fs::read(entry.unwrap().path()).unwrap());
            count += 1;
        }
    }
    assert!(count >= 10, "only {count} files");
}

/// How often each input that the fuzzer kept is damaged, and how many are damaged at most for one reader.
const DAMAGED: usize = 3;
const MOST_DAMAGED: usize = 600;

#[test]
fn whatever_the_fuzzer_kept_gets_an_answer_from_its_reader_whole_and_damaged() {
    for (name, read) in READERS {
        let inputs = corpus(name);
        assert!(inputs.len() >= 10, "only {} inputs for {name}", inputs.len());
        let answered = |file: &str, bytes: &[u8], way: Option<usize>| {
            let began = Instant::now();
            let result = std::panic::catch_unwind(|| read(bytes));
            assert!(result.is_ok(), "{name}: {file}, way {way:?}");
            assert!(began.elapsed() < Duration::from_secs(10), "{name}: {file}, way {way:?}");
        };
        inputs.iter().for_each(|(file, bytes)| answered(file, bytes, None));
        let mut dice = Dice(inputs.len() as u64);
        let every = (inputs.len() * DAMAGED).div_ceil(MOST_DAMAGED);
        for (file, bytes) in inputs.iter().step_by(every).filter(|(_, bytes)| bytes.len() > 4) {
            for way in 0..DAMAGED {
                let way = way + dice.below(7);
                answered(file, &damage(bytes, way, &mut dice), Some(way));
            }
        }
    }
}
