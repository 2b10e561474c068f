//! Every file that is broken in a known way is answered with its own clear message, or with what is
//! left of it and a remark. `audio-fixtures/broken/` is replayed as a whole: a file without an
//! expectation fails, and so does an expectation without a file.

use fingertape::decode::{DecodeError, ReadLimits, read_take, read_take_bytes, read_take_within};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// What must be said of a file.
enum Expected {
    /// It is refused, and the message holds these words.
    Refused(&'static [&'static str]),
    /// It is read: at least this many seconds, with exactly these remarks.
    Read(f64, &'static [&'static str]),
}
use Expected::{Read, Refused};

const EXPECTED: &[(&str, Expected)] = &[
    ("ac3.mkv", Refused(&["cannot be read here", "AC-3", "WebM/Matroska", "Convert it to WAV"])),
    ("ac3.mp4", Refused(&["cannot be read here", "AC-3", "MP4", "Convert it to WAV"])),
    ("amr-file.amr", Refused(&["cannot be read here", "AMR", "Convert it to WAV"])),
    ("amr-in-3gp.3gp", Refused(&["cannot be read here", "AMR narrow-band", "inside MP4"])),
    ("bits-13-of-nothing.wav", Read(0.25, &[])),
    ("bits-65535.wav", Refused(&["damaged beyond use", "each sample has 65535 bits", "near byte"])),
    ("channels-65535.wav", Refused(&["65535 channels", "export it again"])),
    ("channels-cancel.wav", Read(0.25, &["channels-cancel"])),
    ("codebooks-of-no-dimensions.ogg", Refused(&["damaged beyond use", "its sound makes no sense"])),
    ("contents-missing.m4a", Refused(&["damaged beyond use", "table of contents is missing", "near byte"])),
    ("eleven-minutes-in-few-bytes.flac", Read(600.0, &["too-long"])),
    ("empty.wav", Refused(&["is empty", "holds no bytes"])),
    ("frames-without-end.caf", Refused(&["damaged beyond use"])),
    ("gsm.wav", Refused(&["cannot be read here", "GSM 6.10", "inside WAV"])),
    ("he-aac.m4a", Read(1.0, &["he-aac-core"])),
    ("header-and-no-sound.wav", Refused(&["is empty", "a header and no sound"])),
    ("header-cut.flac", Refused(&["damaged beyond use", "breaks off in its header", "near byte 20"])),
    ("header-cut.ogg", Refused(&["damaged beyond use", "breaks off in its header", "near byte 60"])),
    ("header-cut.wav", Refused(&["damaged beyond use", "description is cut short", "near byte 20"])),
    ("header-cut.webm", Refused(&["damaged beyond use", "near byte 40"])),
    ("hole-in-the-middle.mp3", Read(0.1, &["truncated"])),
    ("lengths-never-written.wav", Read(0.25, &["unfinished-header"])),
    ("lengths-of-a-pipe.wav", Read(0.25, &[])),
    ("loud-start-without-count.mp3", Read(5.0, &[])),
    ("no-channels.wav", Refused(&["damaged beyond use", "no channels"])),
    ("no-numbers.wav", Read(0.25, &["no-numbers"])),
    ("one-channel-silent.wav", Read(0.25, &["one-channel-silent"])),
    (
        "packet-of-four-milliard-samples.caf",
        Refused(&["damaged beyond use", "one packet holds 4294967167 samples"]),
    ),
    ("page.mp3", Refused(&["not a recording", "a web page"])),
    ("picture.m4a", Refused(&["not a recording", "a picture (JPEG)"])),
    ("rate-1-hz.wav", Refused(&["1 samples a second", "export it again"])),
    ("rate-768-khz.wav", Refused(&["768000 samples a second", "export it again"])),
    ("rate-that-only-the-codec-says.caf", Refused(&["damaged beyond use", "one packet holds"])),
    ("score.mp3", Refused(&["not a recording", "MusicXML", "--melody"])),
    ("sound-cut.flac", Read(0.1, &["truncated"])),
    ("sound-cut.m4a", Read(0.1, &["truncated"])),
    ("sound-cut.mp3", Read(0.1, &["truncated"])),
    ("sound-cut.ogg", Read(0.03, &["truncated"])),
    ("sound-cut.opus", Read(0.05, &["truncated"])),
    ("sound-cut.wav", Read(0.12, &["truncated"])),
    ("sound-cut.webm", Read(0.03, &["truncated"])),
    ("sound-scrambled.m4a", Refused(&["damaged beyond use", "cannot be decoded", "at 0.00 s"])),
    ("speex.ogg", Refused(&["cannot be read here", "Speex"])),
    ("text.wav", Refused(&["not a recording", "a text file"])),
    ("two-joined.mp3", Read(0.5, &["joined-recordings"])),
    ("video-without-sound.mp4", Refused(&["no sound track", "MP4", "a picture track"])),
    ("video-without-sound.webm", Refused(&["no sound track", "WebM", "a picture track"])),
    ("zeros.wav", Refused(&["not a recording", "zero bytes"])),
];

fn broken() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/broken")
}

#[test]
fn every_broken_file_is_answered_as_it_deserves() {
    let mut wrong = Vec::new();
    for (name, expected) in EXPECTED {
        let began = Instant::now();
        let answer = read_take(&broken().join(name));
        if began.elapsed() > Duration::from_secs(10) {
            wrong.push(format!("{name}: took {:?}", began.elapsed()));
        }
        match (answer, expected) {
            (Err(error), Refused(words)) => {
                let message = error.to_string();
                for word in words.iter().filter(|word| !message.contains(**word)) {
                    wrong.push(format!("{name}: {message:?} should say {word:?}"));
                }
                if !message.starts_with(name) {
                    wrong.push(format!("{name}: {message:?} should begin with the file's name"));
                }
            }
            (Ok(take), Read(seconds, codes)) => {
                let said: Vec<_> = take.remarks.iter().map(|remark| remark.code.as_str()).collect();
                let duration = take.samples.duration().0;
                if said != *codes || duration < *seconds {
                    wrong.push(format!("{name}: {duration} s with {said:?}, not {seconds} s with {codes:?}"));
                }
                if !take.samples.mono.iter().all(|sample| sample.is_finite()) {
                    wrong.push(format!("{name}: holds samples that are no numbers"));
                }
            }
            (Ok(take), Refused(_)) => {
                wrong.push(format!("{name}: read {} samples", take.samples.mono.len()));
            }
            (Err(error), Read(..)) => wrong.push(format!("{name}: refused: {error}")),
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_broken_file_has_an_expectation() {
    let files: BTreeSet<String> = std::fs::read_dir(broken())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name != "origin.txt")
        .collect();
    let expected: BTreeSet<String> = EXPECTED.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(files, expected);
}

#[test]
fn a_file_that_is_not_there_and_a_folder_are_told_apart() {
    let missing = read_take(Path::new("no/such/take.wav")).unwrap_err();
    assert!(matches!(missing, DecodeError::Unreadable { .. }));
    assert!(missing.to_string().contains("no/such/take.wav"), "{missing}");
    let folder = read_take(&broken()).unwrap_err();
    assert!(folder.to_string().contains("a folder"), "{folder}");
}

#[test]
fn a_wav_of_hours_is_read_up_to_ten_minutes() {
    // 8-bit mono at 8 kHz, 11 minutes.
    let mut file =
        b"RIFF\xff\xff\xff\xffWAVEfmt \x10\0\0\0\x01\0\x01\0\x40\x1f\0\0\x40\x1f\0\0\x01\0\x08\0data"
            .to_vec();
    let length = 8000 * 660u32;
    file.extend(length.to_le_bytes());
    file.resize(file.len() + length as usize, 128);
    let take = read_take_bytes("long.wav", file).unwrap();
    assert_eq!(take.samples.mono.len(), 8000 * 600);
    assert_eq!(take.remarks[0].code, "too-long");
}

#[test]
fn a_file_that_is_read_slower_than_allowed_is_given_up() {
    let take = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/all-right/take.flac");
    let limits = ReadLimits { patience: Some(Duration::ZERO), ..ReadLimits::default() };
    let error = read_take_within(&take, limits).unwrap_err();
    assert!(matches!(error, DecodeError::TooSlow { .. }), "{error}");
    assert!(error.to_string().starts_with("take.flac took too long to read"), "{error}");
    let limits = ReadLimits { patience: Some(Duration::from_secs(600)), ..ReadLimits::default() };
    assert_eq!(read_take_within(&take, limits).unwrap(), read_take(&take).unwrap());
}

#[test]
fn no_more_samples_are_read_than_allowed() {
    let take = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/all-right/take.flac");
    let limits = ReadLimits { most_samples: 16_000, ..ReadLimits::default() };
    let read = read_take_within(&take, limits).unwrap();
    assert_eq!(read.samples.mono.len(), 16_000);
    assert_eq!(read.remarks[0].code, "too-long");
}
