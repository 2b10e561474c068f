//! Chunks become a WAV file that is valid at every moment: the header is brought up to date every
//! second and everything is on the disk then, so that a crash, an empty battery or a pulled plug costs a
//! second and not the take.

use super::error::CaptureError;
use crate::units::{SampleRate, Seconds};
use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs::{File, OpenOptions};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

/// A take that is written as it grows: one channel, 24 bits.
pub struct TakeOnDisk {
    writer: WavWriter<BufWriter<File>>,
    /// The same file, to hand it to the disk.
    file: File,
    path: PathBuf,
    rate: SampleRate,
    written: u64,
    unsaved: u32,
}

/// Full scale of 24 bits.
const FULL_SCALE: f32 = 8_388_608.0;

impl TakeOnDisk {
    /// Begins a take in a new file.
    ///
    /// # Errors
    /// [`CaptureError::Disk`] where the file exists already (no take is ever overwritten) or cannot be
    /// made.
    pub fn create(path: &Path, rate: SampleRate) -> Result<Self, CaptureError> {
        let spec = WavSpec {
            channels: 1,
            sample_rate: rate.0,
            bits_per_sample: 24,
            sample_format: SampleFormat::Int,
        };
        let disk = |source| CaptureError::Disk { path: path.to_owned(), source };
        let file = OpenOptions::new().write(true).read(true).create_new(true).open(path).map_err(disk)?;
        // Who looks after takes that were cut off can tell by this that the take still grows. Where there are no
        // locks, it grows without.
        let _ = file.try_lock();
        let same = file.try_clone().map_err(disk)?;
        let writer = WavWriter::new(BufWriter::new(file), spec).map_err(io_error).map_err(disk)?;
        Ok(Self { writer, file: same, path: path.to_owned(), rate, written: 0, unsaved: 0 })
    }

    /// Adds samples at full scale ±1; what is beyond is cut off, and what is no number is silence.
    ///
    /// # Errors
    /// [`CaptureError::Disk`]; what was saved before stays readable.
    pub fn push(&mut self, samples: &[f32]) -> Result<(), CaptureError> {
        for &sample in samples {
            let value = (sample * FULL_SCALE).round().clamp(-FULL_SCALE, FULL_SCALE - 1.0);
            self.writer.write_sample(value as i32).map_err(|error| self.disk(error))?;
        }
        self.written += samples.len() as u64;
        self.unsaved = self.unsaved.saturating_add(u32::try_from(samples.len()).unwrap_or(u32::MAX));
        if self.unsaved >= self.rate.0 {
            self.save()?;
        }
        Ok(())
    }

    /// Brings the header up to date and hands everything to the disk.
    ///
    /// # Errors
    /// [`CaptureError::Disk`].
    pub fn save(&mut self) -> Result<(), CaptureError> {
        self.unsaved = 0;
        self.writer.flush().map_err(|error| self.disk(error))?;
        self.file.sync_data().map_err(|source| CaptureError::Disk { path: self.path.clone(), source })
    }

    /// How much was pushed.
    pub fn duration(&self) -> Seconds {
        Seconds(self.written as f64 / self.rate.hertz())
    }

    /// Ends the take and returns where it is.
    ///
    /// # Errors
    /// [`CaptureError::Disk`].
    pub fn finish(self) -> Result<PathBuf, CaptureError> {
        let Self { writer, file, path, .. } = self;
        match writer.finalize().map_err(io_error).and_then(|()| file.sync_all()) {
            Ok(()) => Ok(path),
            Err(source) => Err(CaptureError::Disk { path, source }),
        }
    }

    fn disk(&self, error: hound::Error) -> CaptureError {
        CaptureError::Disk { path: self.path.clone(), source: io_error(error) }
    }
}

fn io_error(error: hound::Error) -> io::Error {
    match error {
        hound::Error::IoError(error) => error,
        other => io::Error::other(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(path: &Path) -> Vec<f32> {
        let mut reader = hound::WavReader::open(path).unwrap();
        assert_eq!(reader.spec().sample_rate, 8000);
        reader.samples::<i32>().map(|sample| sample.unwrap() as f32 / FULL_SCALE).collect()
    }

    #[test]
    fn a_take_reads_back_as_it_was_pushed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("take.wav");
        let mut take = TakeOnDisk::create(&path, SampleRate(8000)).unwrap();
        let samples: Vec<f32> = (0..20_000).map(|n| (n as f32 * 0.01).sin()).collect();
        samples.chunks(480).for_each(|chunk| take.push(chunk).unwrap());
        assert_eq!(take.duration(), Seconds(2.5));
        take.push(&[f32::NAN, 2.0, -2.0]).unwrap();
        let read = read(&take.finish().unwrap());
        assert_eq!(read.len(), 20_003);
        for (a, b) in read.iter().zip(&samples) {
            assert!((a - b).abs() < 1.0 / 8_000_000.0);
        }
        assert_eq!(read[20_000..], [0.0, 1.0 - 1.0 / FULL_SCALE, -1.0]);
    }

    #[test]
    fn a_take_that_was_never_finished_is_readable_up_to_the_last_second() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("take.wav");
        let mut take = TakeOnDisk::create(&path, SampleRate(8000)).unwrap();
        for _ in 0..30 {
            take.push(&[0.25; 800]).unwrap();
        }
        // As a crash leaves it: nothing is finished and nothing is dropped.
        std::mem::forget(take);
        assert_eq!(read(&path), vec![0.25; 24_000]);
    }

    #[test]
    fn no_take_is_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("take.wav");
        std::fs::write(&path, b"precious").unwrap();
        let Err(error) = TakeOnDisk::create(&path, SampleRate(8000)) else { panic!("overwritten") };
        assert!(error.to_string().contains("take.wav"), "{error}");
        assert_eq!(std::fs::read(&path).unwrap(), b"precious");
    }
}
