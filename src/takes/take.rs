//! One take: its number and the files that belong to it.

use super::about::About;
use super::error::TakesError;
use super::whole_file::write_whole;
use crate::findings::Report;
use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};

/// No report and no note on a take is larger than this many bytes: 32 MiB.
const LARGEST_JSON: u64 = 32 << 20;

/// A take of a melody, as files in the melody's folder.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Take {
    folder: PathBuf,
    /// Its number, from 1.
    pub number: u32,
}

/// What is there of a take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Recorded and judged.
    Judged,
    /// Recorded; there is no report, because the recording or the judging was cut off.
    CutOff,
}

impl Take {
    pub(super) fn new(folder: &Path, number: u32) -> Self {
        Self { folder: folder.to_owned(), number }
    }

    /// The takes in a melody's folder, oldest first: every number that has any file.
    pub(super) fn all_in(folder: &Path) -> Result<Vec<Self>, TakesError> {
        let mut numbers = Vec::new();
        let listed = fs::read_dir(folder).map_err(TakesError::file(folder, "read"))?;
        for entry in listed {
            let entry = entry.map_err(TakesError::file(folder, "read"))?;
            numbers.extend(Self::number_of(&entry.file_name().to_string_lossy()));
        }
        numbers.sort_unstable();
        numbers.dedup();
        Ok(numbers.into_iter().map(|number| Self::new(folder, number)).collect())
    }

    /// All takes of the same melody, this one among them, oldest first.
    ///
    /// # Errors
    /// [`TakesError::File`].
    pub fn beside(&self) -> Result<Vec<Self>, TakesError> {
        Self::all_in(&self.folder)
    }

    /// The number of the take that a file of a melody's folder belongs to; `None` for other files.
    pub(super) fn number_of(file_name: &str) -> Option<u32> {
        let (number, ending) = file_name.strip_prefix("take-")?.split_once('.')?;
        let known = ["wav", "about.json", "report.html", "report.json", "report.txt", "melody"]
            .contains(&ending)
            || ending.starts_with("melody.");
        let known =
            known && (3..=9).contains(&number.len()) && number.bytes().all(|byte| byte.is_ascii_digit());
        known.then(|| number.parse().ok())?.filter(|number| *number > 0)
    }

    /// `take-001` and so on.
    pub fn stem(&self) -> String {
        format!("take-{:03}", self.number)
    }

    /// The recording.
    pub fn wav(&self) -> PathBuf {
        self.file("wav")
    }

    /// The report as JSON.
    pub fn report_json(&self) -> PathBuf {
        self.file("report.json")
    }

    /// The report as words.
    pub fn report_text(&self) -> PathBuf {
        self.file("report.txt")
    }

    /// The report as a page for a browser.
    pub fn report_page(&self) -> PathBuf {
        self.file("report.html")
    }

    /// What is known about it besides its sound.
    pub fn about_json(&self) -> PathBuf {
        self.file("about.json")
    }

    /// Where the melody as it was then goes, byte for byte, with the ending that its file has.
    pub fn melody_with_ending(&self, ending: Option<&str>) -> PathBuf {
        self.file(&ending.map_or_else(|| "melody".to_owned(), |ending| format!("melody.{ending}")))
    }

    fn file(&self, ending: &str) -> PathBuf {
        self.folder.join(format!("{}.{ending}", self.stem()))
    }

    /// The melody as it was when the take was played.
    ///
    /// # Errors
    /// [`TakesError::NotThere`] where it was removed, [`TakesError::File`].
    pub fn melody(&self) -> Result<PathBuf, TakesError> {
        let start = format!("{}.melody", self.stem());
        self.files()?
            .into_iter()
            .find(|path| path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(&start)))
            .ok_or_else(|| TakesError::NotThere {
                what: format!("melody beside {}", self.wav().display()),
                book: self.folder.clone(),
            })
    }

    /// Every file of the take, in the order of their names.
    ///
    /// # Errors
    /// [`TakesError::File`].
    pub fn files(&self) -> Result<Vec<PathBuf>, TakesError> {
        let mut files = Vec::new();
        let listed = fs::read_dir(&self.folder).map_err(TakesError::file(&self.folder, "read"))?;
        for entry in listed {
            let entry = entry.map_err(TakesError::file(&self.folder, "read"))?;
            if Self::number_of(&entry.file_name().to_string_lossy()) == Some(self.number) {
                files.push(entry.path());
            }
        }
        files.sort();
        Ok(files)
    }

    /// Whether it was judged.
    pub fn state(&self) -> State {
        if self.report_json().is_file() { State::Judged } else { State::CutOff }
    }

    /// The report, if it was judged.
    ///
    /// # Errors
    /// [`TakesError::File`], or [`TakesError::Damaged`] where the file is no report.
    pub fn report(&self) -> Result<Option<Report>, TakesError> {
        match self.state() {
            State::CutOff => Ok(None),
            State::Judged => read_json(&self.report_json()).map(Some),
        }
    }

    /// What is known about it besides its sound.
    ///
    /// # Errors
    /// [`TakesError::File`] or [`TakesError::Damaged`].
    pub fn about(&self) -> Result<About, TakesError> {
        read_json(&self.about_json())
    }

    /// Writes what is known about it, whole or not at all.
    ///
    /// # Errors
    /// [`TakesError::File`].
    pub fn write_about(&self, about: &About) -> Result<(), TakesError> {
        self.write(&self.about_json(), about.to_json().as_bytes())
    }

    /// Writes the report as words, as a page and as JSON, in this order: a take counts as judged once its JSON is there.
    ///
    /// # Errors
    /// [`TakesError::File`].
    pub fn write_report(&self, text: &str, page: &str, json: &str) -> Result<(), TakesError> {
        self.write(&self.report_text(), text.as_bytes())?;
        self.write(&self.report_page(), page.as_bytes())?;
        self.write(&self.report_json(), json.as_bytes())
    }

    pub(super) fn write(&self, path: &Path, bytes: &[u8]) -> Result<(), TakesError> {
        // A link here would lead the writing out of the book.
        if fs::symlink_metadata(path).is_ok_and(|found| found.is_symlink()) {
            return Err(TakesError::Link { path: path.to_owned() });
        }
        write_whole(path, bytes).map_err(TakesError::file(path, "written"))
    }
}

fn read_json<T: serde::de::DeserializeOwned>(path: &Path) -> Result<T, TakesError> {
    let damaged = |why: String| TakesError::Damaged { path: path.to_owned(), why };
    let file = File::open(path).map_err(TakesError::file(path, "read"))?;
    let mut bytes = Vec::new();
    file.take(LARGEST_JSON + 1).read_to_end(&mut bytes).map_err(TakesError::file(path, "read"))?;
    if bytes.len() as u64 > LARGEST_JSON {
        return Err(damaged("it is larger than anything that is written there".to_owned()));
    }
    // What a reader of JSON says may hold words of the file.
    let harmless = |error: serde_json::Error| error.to_string().replace(char::is_control, "?");
    serde_json::from_slice(&bytes).map_err(|error| damaged(harmless(error)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_of_takes_have_a_number() {
        assert_eq!(Take::number_of("take-001.wav"), Some(1));
        assert_eq!(Take::number_of("take-001.melody.toml"), Some(1));
        assert_eq!(Take::number_of("take-1000.report.json"), Some(1000));
        for name in [
            "take-1.wav",
            "take-000.wav",
            "take-+01.wav",
            "take-001",
            "mine.wav",
            "take-001.mine.wav",
            ".fingertape.7-0.part",
        ] {
            assert_eq!(Take::number_of(name), None, "{name}");
        }
    }
}
