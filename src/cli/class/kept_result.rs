//! What was heard in a take, kept under the hash of everything that it depends on: the take's bytes, the melody, the
//! settings, and the program itself. One small file for each take, wholly there or not at all.

use crate::cli::shared::read_file;
use fingertape::findings::Report;
use fingertape::notation::Melody;
use fingertape::pipeline::JudgeSettings;
use fingertape::pitch::F0;
use fingertape::report;
use fingertape::takes::write_whole_private;
use fingertape::units::{A4_ISO16, Hertz, MidiPitch, Seconds};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// A kept result is at most this many bytes, 32 MiB; a larger file is none.
const LARGEST: u64 = 32 << 20;

/// What became of a take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kept {
    /// Its report, without names.
    Report(Box<Report>),
    /// Why there is none; the file is called `the file`.
    Failed(String),
}

/// What was heard in a take.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// What became of it.
    pub kept: Kept,
    /// Its fundamental, for the drawing; none where the take was not heard.
    pub f0: Option<F0>,
}

impl Heard {
    /// Nothing, and why.
    pub fn failed(why: String) -> Self {
        Self { kept: Kept::Failed(why), f0: None }
    }
}

/// A kept result as its file has it. A pitch is in hundredths of a semitone above MIDI note 0 at A4 = 440 Hz; 0 stands
/// where there was none.
#[derive(Serialize, Deserialize)]
struct InFile {
    #[serde(flatten)]
    kept: Kept,
    #[serde(default)]
    hop_ms: f64,
    #[serde(default)]
    pitches: Vec<u32>,
}

/// Where results are kept.
pub struct Keeper {
    folder: PathBuf,
    program: String,
}

impl Keeper {
    /// In a folder that is there.
    pub fn new(folder: PathBuf) -> Self {
        // Another build of the program may hear otherwise. Where the program cannot be read, its version has to do.
        let program = std::env::current_exe().and_then(|path| hash_of_file(&path));
        let program = program.unwrap_or_else(|_| env!("CARGO_PKG_VERSION").to_owned());
        Self { folder, program }
    }

    /// The name under which the result of this take is kept.
    pub fn key(&self, take: &str, melody: &Melody, settings: &JudgeSettings, longest_s: f64) -> String {
        let mut hash = Sha256::new();
        // Debug text names every field of both; it differs wherever they do.
        hash.update(format!("{}\n{take}\n{melody:?}\n{settings:?}\n{longest_s}\n", self.program));
        hex(&hash.finalize())
    }

    /// The result, where it is kept and whole.
    pub fn look_up(&self, key: &str) -> Option<Kept> {
        self.in_file(key).map(|found| found.kept)
    }

    /// The fundamental that was heard, where it is kept.
    pub fn look_up_f0(&self, key: &str) -> Option<F0> {
        let found = self.in_file(key).filter(|found| !found.pitches.is_empty())?;
        let hertz = |pitch: u32| (pitch > 0).then(|| MidiPitch(f64::from(pitch) / 100.0).hertz(A4_ISO16));
        Some(F0 {
            hop: Seconds(found.hop_ms / 1000.0),
            pitches: found.pitches.into_iter().map(hertz).collect(),
        })
    }

    fn in_file(&self, key: &str) -> Option<InFile> {
        serde_json::from_slice(&read_file::within(&self.place(key), LARGEST).ok()?).ok()
    }

    /// Keeps a result, and gives it back as it will be looked up: numbers rounded to what they can mean, so that it makes
    /// no difference whether it was kept.
    pub fn keep(&self, key: &str, heard: Heard) -> io::Result<Kept> {
        let hundredths =
            |pitch: &Option<Hertz>| pitch.map_or(0, |pitch| (pitch.midi(A4_ISO16).0 * 100.0).round() as u32);
        let (hop_ms, pitches) = heard.f0.as_ref().map_or((0.0, Vec::new()), |f0| {
            ((f0.hop.0 * 1e6).round() / 1000.0, f0.pitches.iter().map(hundredths).collect())
        });
        // The report's own writer rounds its numbers.
        let kept = match heard.kept {
            Kept::Report(report) => Kept::Report(Box::new(serde_json::from_str(&report::json(&report))?)),
            failed @ Kept::Failed(_) => failed,
        };
        let whole = InFile { kept, hop_ms, pitches };
        write_whole_private(&self.place(key), (serde_json::to_string(&whole)? + "\n").as_bytes())?;
        Ok(whole.kept)
    }

    /// Removes what is kept under other keys than these: takes that are gone, or were judged otherwise.
    pub fn forget_others(&self, keys: &[&str]) -> io::Result<()> {
        for entry in fs::read_dir(&self.folder)? {
            let entry = entry?;
            let name = entry.file_name().to_string_lossy().into_owned();
            let ours = name.strip_suffix(".json").filter(|key| is_key(key));
            if ours.is_some_and(|key| !keys.contains(&key)) {
                fs::remove_file(entry.path())?;
            }
        }
        Ok(())
    }

    fn place(&self, key: &str) -> PathBuf {
        self.folder.join(format!("{key}.json"))
    }
}

fn is_key(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// The SHA-256 of a file, piece by piece.
pub fn hash_of_file(path: &Path) -> io::Result<String> {
    let mut file = File::open(path)?;
    let mut hash = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(hex(&hash.finalize())),
            count => hash.update(&piece[..count]),
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_is_found_and_what_is_broken_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let keeper = Keeper::new(folder.path().to_owned());
        let key = "ab".repeat(32);
        assert_eq!(keeper.look_up(&key), None);
        let kept = keeper.keep(&key, Heard::failed("It is empty.".into())).unwrap();
        assert_eq!(keeper.look_up(&key), Some(kept.clone()));
        assert_eq!(keeper.look_up_f0(&key), None);
        let f0 = F0 { hop: Seconds(0.01), pitches: vec![None, Some(Hertz(440.0)), Some(Hertz(41.2))] };
        keeper.keep(&key, Heard { kept, f0: Some(f0) }).unwrap();
        let read = keeper.look_up_f0(&key).unwrap();
        assert_eq!((read.hop, read.pitches[0], read.pitches[1]), (Seconds(0.01), None, Some(Hertz(440.0))));
        assert!((read.pitches[2].unwrap().0 / 41.2 - 1.0).abs() < 1e-4);
        fs::write(folder.path().join(format!("{key}.json")), "{\"failed\": \"It is").unwrap();
        assert_eq!(keeper.look_up(&key), None);
        fs::write(folder.path().join("note.json"), "mine").unwrap();
        keeper.forget_others(&[]).unwrap();
        let left: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|one| one.unwrap().file_name()).collect();
        assert_eq!(left, ["note.json"], "a file that is not ours stays");
    }

    /// The test vector of FIPS 180-4 for `abc`.
    #[test]
    fn the_hash_is_that_of_the_standard() {
        let file = tempfile::NamedTempFile::new().unwrap();
        fs::write(file.path(), "abc").unwrap();
        let hash = hash_of_file(file.path()).unwrap();
        assert_eq!(hash, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
