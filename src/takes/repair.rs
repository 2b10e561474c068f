//! A WAV file that was cut off while it grew gets lengths that fit the bytes that are there.
//!
//! RIFF: Microsoft and IBM, "Multimedia Programming Interface and Data Specifications 1.0" (1991).

use super::error::TakesError;
use crate::units::Seconds;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;

/// What is in a WAV file after it was looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repaired {
    /// How long its sound is now.
    pub duration: Seconds,
    /// Whether its lengths had to be changed.
    pub changed: bool,
}

/// Chunks that are looked at before the sound.
const MOST_CHUNKS: usize = 16;

/// Makes the lengths in a WAV file fit the bytes that are there: of the sound, every whole frame counts.
/// Only eight bytes of the header are ever written, in place, so that a full disk does not matter.
///
/// # Errors
/// [`TakesError::Damaged`] where there is no header to repair (the file ended before the sound began),
/// [`TakesError::Growing`], [`TakesError::Link`], [`TakesError::File`].
pub fn repair_wav(path: &Path) -> Result<Repaired, TakesError> {
    if fs::symlink_metadata(path).map_err(TakesError::file(path, "read"))?.is_symlink() {
        return Err(TakesError::Link { path: path.to_owned() });
    }
    let mut file =
        OpenOptions::new().read(true).write(true).open(path).map_err(TakesError::file(path, "repaired"))?;
    if matches!(file.try_lock(), Err(fs::TryLockError::WouldBlock)) {
        return Err(TakesError::Growing { path: path.to_owned() });
    }
    match repair(&mut file) {
        Ok(Some(repaired)) => Ok(repaired),
        Ok(None) => Err(TakesError::Damaged {
            path: path.to_owned(),
            why: "it ends before its sound begins, so there is nothing in it to keep".to_owned(),
        }),
        Err(error) => Err(TakesError::file(path, "repaired")(error)),
    }
}

fn repair(file: &mut File) -> io::Result<Option<Repaired>> {
    let length = file.metadata()?.len();
    let mut head = [0; 12];
    if length < 12 {
        return Ok(None);
    }
    file.read_exact(&mut head)?;
    if &head[..4] != b"RIFF" || &head[8..] != b"WAVE" {
        return Ok(None);
    }
    let (mut at, mut format) = (12, None);
    for _ in 0..MOST_CHUNKS {
        if at + 8 > length {
            break;
        }
        file.seek(SeekFrom::Start(at))?;
        let mut chunk = [0; 8];
        file.read_exact(&mut chunk)?;
        let said = u32_at(&chunk, 4);
        match &chunk[..4] {
            b"fmt " if at + 24 <= length => {
                let mut fields = [0; 16];
                file.read_exact(&mut fields)?;
                format = Some((u32_at(&fields, 4), u16::from_le_bytes([fields[12], fields[13]])));
            }
            b"data" => {
                let Some((rate, frame)) = format.filter(|&(rate, frame)| rate > 0 && frame > 0) else {
                    return Ok(None);
                };
                let there = u32::try_from(length - at - 8).unwrap_or(u32::MAX);
                let whole = there - there % u32::from(frame);
                let riff = u32::try_from(at + u64::from(whole)).unwrap_or(u32::MAX);
                let changed = said != whole || u32_at(&head, 4) != riff;
                if changed {
                    file.seek(SeekFrom::Start(at + 4))?;
                    file.write_all(&whole.to_le_bytes())?;
                    file.seek(SeekFrom::Start(4))?;
                    file.write_all(&riff.to_le_bytes())?;
                    file.sync_all()?;
                }
                let seconds = f64::from(whole) / f64::from(frame) / f64::from(rate);
                return Ok((whole > 0).then_some(Repaired { duration: Seconds(seconds), changed }));
            }
            _ => {}
        }
        at += 8 + u64::from(said) + u64::from(said % 2);
    }
    Ok(None)
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A WAV file as the recording writes it: one channel, 24 bits, 8000 Hz.
    fn wav(samples: usize) -> Vec<u8> {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 8000,
            bits_per_sample: 24,
            sample_format: hound::SampleFormat::Int,
        };
        let mut bytes = io::Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
        for sample in 0..samples {
            writer.write_sample(sample as i32).unwrap();
        }
        writer.finalize().unwrap();
        bytes.into_inner()
    }

    fn repaired(bytes: &[u8]) -> (Result<Repaired, TakesError>, Vec<u8>) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("take-001.wav");
        fs::write(&path, bytes).unwrap();
        let result = repair_wav(&path);
        (result, fs::read(&path).unwrap())
    }

    #[test]
    fn a_whole_file_stays_as_it_is() {
        let bytes = wav(8000);
        let (result, after) = repaired(&bytes);
        assert_eq!(result.unwrap(), Repaired { duration: Seconds(1.0), changed: false });
        assert_eq!(after, bytes);
    }

    #[test]
    fn sound_beyond_what_the_header_says_is_won_back() {
        let mut bytes = wav(4000);
        // Another 4000 samples and half of one, written before the crash and after the last save.
        bytes.extend(std::iter::repeat_n(7, 12_000 + 2));
        let (result, after) = repaired(&bytes);
        assert_eq!(result.unwrap(), Repaired { duration: Seconds(1.0), changed: true });
        let reader = hound::WavReader::new(io::Cursor::new(after)).unwrap();
        assert_eq!(reader.len(), 8000);
    }

    #[test]
    fn a_file_that_ends_before_its_sound_is_said_to() {
        let bytes = wav(0);
        for cut in [0, 3, 11, 20, bytes.len()] {
            let (result, after) = repaired(&bytes[..cut]);
            assert!(matches!(result, Err(TakesError::Damaged { .. })), "{cut}");
            assert_eq!(after.len(), cut);
        }
    }

    proptest! {
        #[test]
        fn a_file_cut_anywhere_reads_up_to_the_cut(cut in 0usize..3000) {
            let bytes = wav(900);
            let start = bytes.len() - 2700;
            let (result, after) = repaired(&bytes[..cut.min(bytes.len())]);
            if cut >= start + 3 {
                let whole = (cut.min(bytes.len()) - start) / 3;
                prop_assert!((result.unwrap().duration.0 - whole as f64 / 8000.0).abs() < 1e-9);
                let mut reader = hound::WavReader::new(io::Cursor::new(after)).unwrap();
                let read: Vec<i32> = reader.samples().map(Result::unwrap).collect();
                prop_assert_eq!(read, (0..whole as i32).collect::<Vec<_>>());
            } else {
                prop_assert!(result.is_err());
            }
        }

        #[test]
        fn any_bytes_give_an_answer(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            let mut whole = b"RIFF\0\0\0\0WAVE".to_vec();
            whole.extend(bytes);
            let (_, after) = repaired(&whole);
            prop_assert_eq!(after.len(), whole.len());
        }
    }
}
