//! The book: a folder of melodies, each a folder of takes.

use super::about::About;
use super::error::TakesError;
use super::hold::Hold;
use super::safe_name::safe_name;
use super::take::Take;
use std::fs::{self, DirBuilder, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

/// The highest number that was ever given to a take of a melody; kept so that the number of a deleted
/// take does not come back with another take behind it.
pub(super) const LAST_NUMBER: &str = "last-number.txt";

/// A take book. The folder need not exist until the first take.
#[derive(Debug, Clone)]
pub struct Book {
    folder: PathBuf,
}

/// A melody's folder in the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MelodyFolder {
    /// The folder's name, which is the melody's in [`safe_name`].
    pub name: String,
    pub(super) folder: PathBuf,
}

impl Book {
    /// The book in a folder.
    pub fn at(folder: &Path) -> Self {
        Self { folder: folder.to_owned() }
    }

    /// Its folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The melodies, in the order of their names; none where there is no book yet. Folders that cannot be looked into are
    /// not among them: see [`Book::unreadable`].
    ///
    /// # Errors
    /// [`TakesError::File`] where the book itself cannot be read.
    pub fn melodies(&self) -> Result<Vec<MelodyFolder>, TakesError> {
        let folders = self.folders()?.into_iter();
        // Somebody else's folder is not one of ours, even if it is empty.
        let ours = |melody: &MelodyFolder| {
            melody.takes().is_ok_and(|takes| !takes.is_empty() || melody.folder.join(LAST_NUMBER).is_file())
        };
        Ok(folders.filter(ours).collect())
    }

    /// The folders in the book that cannot be looked into, whosever they are.
    ///
    /// # Errors
    /// As [`Book::melodies`].
    pub fn unreadable(&self) -> Result<Vec<PathBuf>, TakesError> {
        let folders = self.folders()?.into_iter();
        Ok(folders.filter(|melody| melody.takes().is_err()).map(|melody| melody.folder).collect())
    }

    /// The folders whose names may be those of melodies, by name.
    fn folders(&self) -> Result<Vec<MelodyFolder>, TakesError> {
        let listed = match fs::read_dir(&self.folder) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            listed => listed.map_err(TakesError::file(&self.folder, "read"))?,
        };
        let mut found = Vec::new();
        for entry in listed {
            let entry = entry.map_err(TakesError::file(&self.folder, "read"))?;
            // The kind of the entry itself: a link to a folder is not one of ours.
            let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
            let name = entry.file_name().to_string_lossy().into_owned();
            if is_folder && safe_name(&name) == name {
                found.push(MelodyFolder { name, folder: entry.path() });
            }
        }
        found.sort_by(|a, b| a.name.cmp(&b.name));
        Ok(found)
    }

    /// The melody of that name, which may also be the name of its file.
    ///
    /// # Errors
    /// [`TakesError::NotThere`], [`TakesError::File`].
    pub fn melody(&self, name: &str) -> Result<MelodyFolder, TakesError> {
        let stem = Path::new(name).file_stem().unwrap_or_default().to_string_lossy().into_owned();
        self.called(name, &[&safe_name(name), &safe_name(&stem)])
    }

    /// The melody of exactly that name, as it is listed.
    ///
    /// # Errors
    /// As [`Book::melody`].
    pub fn melody_listed_as(&self, name: &str) -> Result<MelodyFolder, TakesError> {
        self.called(name, &[name])
    }

    fn called(&self, name: &str, wanted: &[&str]) -> Result<MelodyFolder, TakesError> {
        let melodies = self.melodies()?;
        let found = wanted.iter().find_map(|wanted| melodies.iter().find(|melody| melody.name == *wanted));
        found.cloned().ok_or_else(|| TakesError::NotThere {
            what: format!("melody called {name}"),
            book: self.folder.clone(),
        })
    }

    /// Begins a new take of a melody: gives it the next number and writes the melody, byte for byte,
    /// and what is known about the take beside the place of its recording. The recording itself
    /// ([`Take::wav`]) is for the caller to make; nobody else gets that number.
    ///
    /// # Errors
    /// [`TakesError::File`], [`TakesError::Link`]; nothing is left behind then but the number.
    pub fn begin(&self, about: &About, ending: Option<&str>, melody: &[u8]) -> Result<Take, TakesError> {
        self.begin_held(about, ending, melody).map(|(take, _)| take)
    }

    /// As [`Book::begin`]; and the take is held from its first file on, until the hold is dropped: see [`Hold`].
    ///
    /// # Errors
    /// As [`Book::begin`].
    pub fn begin_held(
        &self,
        about: &About,
        ending: Option<&str>,
        melody: &[u8],
    ) -> Result<(Take, Hold), TakesError> {
        make_folder(&self.folder)?;
        let folder = self.folder.join(safe_name(&about.melody));
        // The book itself may be reached over a link that its owner made; what is in it may not.
        if fs::symlink_metadata(&folder).is_ok_and(|found| found.is_symlink()) {
            return Err(TakesError::Link { path: folder });
        }
        make_folder(&folder)?;
        let melody_folder = MelodyFolder { name: safe_name(&about.melody), folder: folder.clone() };
        let mut number = melody_folder.last_number()?.saturating_add(1);
        loop {
            let take = Take::new(&folder, number);
            let place = take.about_json();
            match OpenOptions::new().read(true).write(true).create_new(true).open(&place) {
                // Another program took the number first.
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => number += 1,
                made => {
                    // This file is held until there is the melody to be held, and only then replaced.
                    let first = Hold::of(made.map_err(TakesError::file(&place, "written"))?);
                    let begun = take
                        .write(&folder.join(LAST_NUMBER), format!("{number}\n").as_bytes())
                        .and_then(|()| take.write(&take.melody_with_ending(ending), melody))
                        .and_then(|()| {
                            let hold = take.hold();
                            drop(first);
                            take.write_about(about).map(|()| hold)
                        });
                    return match begun {
                        Ok(hold) => Ok((take, hold)),
                        Err(error) => {
                            for file in take.files().unwrap_or_default() {
                                // The first error is the one that matters.
                                let _ = fs::remove_file(file);
                            }
                            Err(error)
                        }
                    };
                }
            }
        }
    }
}

impl MelodyFolder {
    /// The takes, oldest first: every number that has any file.
    ///
    /// # Errors
    /// [`TakesError::File`].
    pub fn takes(&self) -> Result<Vec<Take>, TakesError> {
        Take::all_in(&self.folder)
    }

    /// The take of that number.
    ///
    /// # Errors
    /// [`TakesError::NotThere`], [`TakesError::File`].
    pub fn take(&self, number: u32) -> Result<Take, TakesError> {
        self.takes()?.into_iter().find(|take| take.number == number).ok_or_else(|| TakesError::NotThere {
            what: format!("take {number} of {}", self.name),
            book: self.folder.clone(),
        })
    }

    /// The highest number that was ever given, as far as anything tells it.
    fn last_number(&self) -> Result<u32, TakesError> {
        let written = fs::read_to_string(self.folder.join(LAST_NUMBER))
            .ok()
            .and_then(|text| text.trim().parse::<u32>().ok());
        let there = self.takes()?.last().map(|take| take.number);
        Ok(written.unwrap_or(0).max(there.unwrap_or(0)))
    }
}

/// Makes a folder that only its owner can look into; one that is there stays as it is. Links must have been
/// refused or allowed before.
fn make_folder(folder: &Path) -> Result<(), TakesError> {
    if folder.is_dir() {
        return Ok(());
    }
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder).map_err(TakesError::file(folder, "made"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Fifths;

    fn about(melody: &str) -> About {
        About {
            recorded: "2026-11-25 18:40".to_owned(),
            microphone: "none".to_owned(),
            melody: melody.to_owned(),
            instrument: None,
            a4_hz: None,
            fifths: Fifths::Equal,
            string_length_mm: None,
            bpm: 90.0,
            finished: false,
            lost_ms: 0.0,
            remarks: Vec::new(),
        }
    }

    #[test]
    fn a_melody_has_its_folder_and_its_takes_count_from_one() {
        let home = tempfile::tempdir().unwrap();
        let book = Book::at(&home.path().join("book"));
        assert_eq!(book.melodies().unwrap(), []);
        let first = book.begin(&about("my melody"), Some("toml"), b"bars = \"A4\"").unwrap();
        let second = book.begin(&about("my melody"), Some("abc"), b"X:1").unwrap();
        assert_eq!((first.number, second.number), (1, 2));
        assert!(first.melody().unwrap().ends_with("book/my-melody/take-001.melody.toml"));
        assert!(second.melody().unwrap().ends_with("take-002.melody.abc"));
        assert_eq!(first.about().unwrap(), about("my melody"));
        assert_eq!(book.melodies().unwrap()[0].name, "my-melody");
        assert_eq!(book.melody("my melody.toml").unwrap().takes().unwrap().len(), 2);
        assert!(matches!(book.melody("another"), Err(TakesError::NotThere { .. })));
        assert!(matches!(book.melody("my-melody").unwrap().take(3), Err(TakesError::NotThere { .. })));
    }

    #[test]
    fn a_number_is_never_given_twice() {
        let home = tempfile::tempdir().unwrap();
        let book = Book::at(home.path());
        for _ in 0..2 {
            book.begin(&about("m"), None, b"").unwrap();
        }
        for file in book.melody("m").unwrap().take(2).unwrap().files().unwrap() {
            fs::remove_file(file).unwrap();
        }
        assert_eq!(book.begin(&about("m"), None, b"").unwrap().number, 3);
        // Nor where the note of the last number is lost.
        fs::remove_file(home.path().join("m").join(LAST_NUMBER)).unwrap();
        assert_eq!(book.begin(&about("m"), None, b"").unwrap().number, 4);
    }

    #[test]
    fn what_is_deleted_is_called_exactly_as_it_is_listed() {
        let home = tempfile::tempdir().unwrap();
        let book = Book::at(home.path());
        book.begin(&about("rests"), None, b"").unwrap();
        assert_eq!(book.melody_listed_as("rests").unwrap().name, "rests");
        for other in ["another-book/rests", "rests.toml", "./rests", "rests ", ""] {
            assert!(matches!(book.melody_listed_as(other), Err(TakesError::NotThere { .. })), "{other}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_folder_that_cannot_be_looked_into_is_passed_over_and_named() {
        use std::os::unix::fs::PermissionsExt;
        let home = tempfile::tempdir().unwrap();
        let book = Book::at(home.path());
        let take = book.begin(&about("m"), None, b"").unwrap();
        let foreign = home.path().join("foreign");
        fs::create_dir(&foreign).unwrap();
        fs::set_permissions(&foreign, fs::Permissions::from_mode(0o000)).unwrap();
        if fs::read_dir(&foreign).is_ok() {
            // The superuser may look into everything.
            return;
        }
        assert_eq!(book.melodies().unwrap().len(), 1);
        assert_eq!(book.unreadable().unwrap(), std::slice::from_ref(&foreign));
        assert_eq!(take.beside().unwrap(), [take]);
        assert_eq!(book.erase().unwrap().takes, 1);
        assert!(foreign.exists());
    }

    #[cfg(unix)]
    #[test]
    fn only_the_owner_can_look_into_the_book() {
        use std::os::unix::fs::PermissionsExt;
        let home = tempfile::tempdir().unwrap();
        let book = Book::at(&home.path().join("book"));
        book.begin(&about("m"), None, b"").unwrap();
        for folder in [home.path().join("book"), home.path().join("book/m")] {
            assert_eq!(fs::metadata(folder).unwrap().permissions().mode() & 0o777, 0o700);
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_link_in_the_place_of_a_melody_is_refused_and_not_listed() {
        let home = tempfile::tempdir().unwrap();
        let outside = home.path().join("outside");
        fs::create_dir(&outside).unwrap();
        fs::create_dir(home.path().join("book")).unwrap();
        std::os::unix::fs::symlink(&outside, home.path().join("book/m")).unwrap();
        let book = Book::at(&home.path().join("book"));
        assert!(matches!(book.begin(&about("m"), None, b""), Err(TakesError::Link { .. })));
        assert_eq!(book.melodies().unwrap(), []);
        assert_eq!(fs::read_dir(&outside).unwrap().count(), 0);
    }
}
