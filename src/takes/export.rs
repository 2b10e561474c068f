//! The whole book as a copy: a folder, or one ZIP file.

use super::book::Book;
use super::error::TakesError;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Seek, Write};
use std::path::{Path, PathBuf};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// What was exported.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Exported {
    /// Takes.
    pub takes: usize,
    /// Files.
    pub files: usize,
}

impl Book {
    /// Copies every take to `to`: a ZIP file if the name ends in `.zip`, else a folder, which is made.
    /// Links are left out.
    ///
    /// # Errors
    /// [`TakesError::Taken`] where something is there already; [`TakesError::File`]. Nothing is left at `to` then: half an
    /// export is none.
    pub fn export(&self, to: &Path) -> Result<Exported, TakesError> {
        let is_zip = to.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("zip"));
        let empty_folder = !is_zip && fs::read_dir(to).is_ok_and(|mut entries| entries.next().is_none());
        if fs::symlink_metadata(to).is_ok() && !empty_folder {
            return Err(TakesError::Taken { path: to.to_owned() });
        }
        let (mut exported, mut files) = (Exported::default(), Vec::new());
        for melody in self.melodies()? {
            for take in melody.takes()? {
                exported.takes += 1;
                for file in take.files()? {
                    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
                    if fs::symlink_metadata(&file).is_ok_and(|found| found.is_file()) {
                        files.push((file, melody.name.clone(), name));
                    }
                }
            }
        }
        exported.files = files.len();
        if is_zip {
            zip_of(&files, to)?;
        } else {
            let made = !empty_folder;
            folder_of(&files, to).inspect_err(|_| take_back(&files, to, made))?;
        }
        Ok(exported)
    }
}

/// A file, its melody's folder and its name there.
type Item = (PathBuf, String, String);

fn folder_of(files: &[Item], to: &Path) -> Result<(), TakesError> {
    fs::create_dir_all(to).map_err(TakesError::file(to, "made"))?;
    for (file, melody, name) in files {
        let folder = to.join(melody);
        fs::create_dir_all(&folder).map_err(TakesError::file(&folder, "made"))?;
        let copy = folder.join(name);
        fs::copy(file, &copy).map_err(TakesError::file(&copy, "written"))?;
    }
    Ok(())
}

/// Removes what a failed export has copied, and the folder if it was made for that; what cannot be removed is left, because
/// the first error is the one that matters.
fn take_back(files: &[Item], to: &Path, made: bool) {
    for (_, melody, name) in files {
        let _ = fs::remove_file(to.join(melody).join(name));
    }
    for (_, melody, _) in files {
        // Only empty folders go; of several files in one the first takes it away.
        let _ = fs::remove_dir(to.join(melody));
    }
    if made {
        let _ = fs::remove_dir(to);
    }
}

fn zip_of(files: &[Item], to: &Path) -> Result<(), TakesError> {
    let written = TakesError::file(to, "written");
    let file = OpenOptions::new().write(true).create_new(true).open(to).map_err(written)?;
    let filled = fill(files, &file).and_then(|()| file.sync_all());
    filled.map_err(|error| {
        // Half an export is none; the file is ours, made just now.
        let _ = fs::remove_file(to);
        TakesError::file(to, "written")(error)
    })
}

fn fill(files: &[Item], into: impl Write + Seek) -> io::Result<()> {
    let mut until_error = UntilError::new(into);
    let filled = fill_zip(files, &mut until_error);
    until_error.error.map_or(filled, Err)
}

/// A writer that keeps its first error and takes everything after that for written. (A [`ZipWriter`] tries once more when it
/// is dropped, and prints the error itself if that fails.)
struct UntilError<W> {
    inner: W,
    error: Option<io::Error>,
    /// The place in the file, and its end, as they would be without the error.
    at: u64,
    end: u64,
}

impl<W> UntilError<W> {
    fn new(inner: W) -> Self {
        Self { inner, error: None, at: 0, end: 0 }
    }

    fn attempt<T>(&mut self, otherwise: T, attempt: impl FnOnce(&mut W) -> io::Result<T>) -> io::Result<T> {
        if self.error.is_none() {
            match attempt(&mut self.inner) {
                Err(error) if error.kind() != io::ErrorKind::Interrupted => self.error = Some(error),
                result => return result,
            }
        }
        Ok(otherwise)
    }
}

impl<W: Write> Write for UntilError<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.attempt(bytes.len(), |inner| inner.write(bytes))?;
        self.at += written as u64;
        self.end = self.end.max(self.at);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.attempt((), Write::flush)
    }
}

impl<W: Seek> Seek for UntilError<W> {
    fn seek(&mut self, to: io::SeekFrom) -> io::Result<u64> {
        let place = match to {
            io::SeekFrom::Start(place) => place,
            io::SeekFrom::Current(by) => self.at.saturating_add_signed(by),
            io::SeekFrom::End(by) => self.end.saturating_add_signed(by),
        };
        self.at = self.attempt(place, |inner| inner.seek(to))?;
        Ok(self.at)
    }
}

fn fill_zip(files: &[Item], into: impl Write + Seek) -> io::Result<()> {
    let mut zip = ZipWriter::new(into);
    for (file, melody, name) in files {
        // Sound hardly gets smaller, and words do.
        let method = match name.ends_with(".wav") {
            true => CompressionMethod::Stored,
            false => CompressionMethod::Deflated,
        };
        let options = SimpleFileOptions::default().compression_method(method).large_file(false);
        zip.start_file(format!("{melody}/{name}"), options)?;
        io::copy(&mut File::open(file)?, &mut zip)?;
    }
    zip.finish()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::About;
    use super::*;
    use crate::notation::Fifths;

    fn book(home: &Path) -> Book {
        let about = About {
            recorded: String::new(),
            microphone: String::new(),
            melody: "m".to_owned(),
            instrument: None,
            a4_hz: None,
            fifths: Fifths::Equal,
            string_length_mm: None,
            bpm: 90.0,
            finished: true,
            lost_ms: 0.0,
            remarks: Vec::new(),
        };
        let book = Book::at(&home.join("book"));
        let take = book.begin(&about, Some("toml"), b"bars").unwrap();
        fs::write(take.wav(), b"sound").unwrap();
        book
    }

    #[test]
    fn a_folder_gets_every_file_of_every_take() {
        let home = tempfile::tempdir().unwrap();
        let to = home.path().join("copy");
        assert_eq!(book(home.path()).export(&to).unwrap(), Exported { takes: 1, files: 3 });
        assert_eq!(fs::read(to.join("m/take-001.wav")).unwrap(), b"sound");
        assert_eq!(fs::read(to.join("m/take-001.melody.toml")).unwrap(), b"bars");
        assert!(to.join("m/take-001.about.json").is_file());
    }

    #[test]
    fn a_zip_file_holds_the_same() {
        let home = tempfile::tempdir().unwrap();
        let to = home.path().join("copy.ZIP");
        book(home.path()).export(&to).unwrap();
        let mut zip = zip::ZipArchive::new(File::open(&to).unwrap()).unwrap();
        assert_eq!(zip.len(), 3);
        let mut sound = String::new();
        io::Read::read_to_string(&mut zip.by_name("m/take-001.wav").unwrap(), &mut sound).unwrap();
        assert_eq!(sound, "sound");
    }

    #[test]
    fn a_failed_export_leaves_nothing_behind() {
        let home = tempfile::tempdir().unwrap();
        let book = book(home.path());
        // The last of the files cannot be copied: it is gone.
        let files: Vec<Item> = book
            .melody("m")
            .unwrap()
            .take(1)
            .unwrap()
            .files()
            .unwrap()
            .into_iter()
            .map(|file| {
                (file.clone(), "m".to_owned(), file.file_name().unwrap().to_string_lossy().into_owned())
            })
            .chain([(home.path().join("gone.wav"), "m".to_owned(), "take-002.wav".to_owned())])
            .collect();
        let to = home.path().join("copy");
        folder_of(&files, &to).inspect_err(|_| take_back(&files, &to, true)).unwrap_err();
        assert!(!to.exists());
        fs::create_dir(&to).unwrap();
        folder_of(&files, &to).inspect_err(|_| take_back(&files, &to, false)).unwrap_err();
        assert_eq!(fs::read_dir(&to).unwrap().count(), 0);
        let zip = home.path().join("copy.zip");
        zip_of(&files, &zip).unwrap_err();
        assert!(!zip.exists());
    }

    #[test]
    fn the_first_error_of_a_full_disk_is_the_one_that_is_told() {
        /// Takes so many bytes.
        struct Full(usize);
        impl Write for Full {
            fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
                self.0 = self.0.checked_sub(bytes.len()).ok_or(io::ErrorKind::StorageFull)?;
                Ok(bytes.len())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        impl Seek for Full {
            fn seek(&mut self, _: io::SeekFrom) -> io::Result<u64> {
                Ok(0)
            }
        }
        let home = tempfile::tempdir().unwrap();
        let take = book(home.path()).melody("m").unwrap().take(1).unwrap();
        let files = [(take.wav(), "m".to_owned(), "take-001.wav".to_owned())];
        for room in [0, 10, 60, 100] {
            let error = fill(&files, Full(room)).unwrap_err();
            assert_eq!(error.kind(), io::ErrorKind::StorageFull, "{room}: {error}");
        }
        fill(&files, Full(100_000)).unwrap();
    }

    #[test]
    fn nothing_that_is_there_is_written_over() {
        let home = tempfile::tempdir().unwrap();
        let book = book(home.path());
        let (zip, folder) = (home.path().join("a.zip"), home.path().join("full"));
        fs::write(&zip, b"mine").unwrap();
        fs::create_dir(&folder).unwrap();
        fs::write(folder.join("mine"), b"mine").unwrap();
        assert!(matches!(book.export(&zip), Err(TakesError::Taken { .. })));
        assert!(matches!(book.export(&folder), Err(TakesError::Taken { .. })));
        assert_eq!(fs::read(&zip).unwrap(), b"mine");
        fs::create_dir(home.path().join("empty")).unwrap();
        book.export(&home.path().join("empty")).unwrap();
    }
}
