//! Takes are deleted for good: one, or the whole book. Only files that the book made are touched.

use super::book::{Book, LAST_NUMBER, MelodyFolder};
use super::error::TakesError;
use super::take::Take;
use super::whole_file::HALF_WRITTEN;
use std::fs;
use std::path::{Path, PathBuf};

/// What was deleted, and what was left because it is not the book's.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Deleted {
    /// Takes.
    pub takes: usize,
    /// Files of takes.
    pub files: usize,
    /// Files and folders in the book that fingertape did not put there; they are left.
    pub left: Vec<PathBuf>,
}

impl Take {
    /// Deletes every file of the take for good. Of a link, the link is deleted and not what it points to.
    /// Returns how many files there were.
    ///
    /// # Errors
    /// [`TakesError::Growing`] while it is being recorded; [`TakesError::File`]: the files before the one that is named are
    /// gone then.
    pub fn delete(&self) -> Result<usize, TakesError> {
        self.nobody_makes_it()?;
        let files = self.files()?;
        for file in &files {
            fs::remove_file(file).map_err(TakesError::file(file, "deleted"))?;
        }
        Ok(files.len())
    }
}

impl Book {
    /// Deletes every take of every melody for good, and the folders that are empty then.
    ///
    /// # Errors
    /// [`TakesError::Growing`] while one is being recorded: all are there still; [`TakesError::File`]: what was deleted
    /// before the file that is named is gone then.
    pub fn erase(&self) -> Result<Deleted, TakesError> {
        let melodies = self.melodies()?;
        for melody in &melodies {
            melody.takes()?.iter().try_for_each(Take::nobody_makes_it)?;
        }
        let mut deleted = Deleted::default();
        for melody in melodies {
            melody.erase(&mut deleted)?;
        }
        match fs::read_dir(self.folder()) {
            Ok(_) => {
                deleted.left.extend(entries(self.folder())?.into_iter().filter(|path| !is_folder(path)));
                // Folders that are left were counted by what is in them; an empty book goes.
                if entries(self.folder())?.is_empty() {
                    let _ = fs::remove_dir(self.folder());
                }
            }
            Err(_) => return Ok(deleted),
        }
        deleted.left.sort();
        Ok(deleted)
    }
}

impl MelodyFolder {
    fn erase(&self, deleted: &mut Deleted) -> Result<(), TakesError> {
        for take in self.takes()? {
            deleted.files += take.delete()?;
            deleted.takes += 1;
        }
        for path in entries(&self.folder)? {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            // A file that was half written when the program was killed.
            let half = name.ends_with(".part") && name.starts_with(HALF_WRITTEN);
            if name == LAST_NUMBER || half {
                fs::remove_file(&path).map_err(TakesError::file(&path, "deleted"))?;
            } else {
                deleted.left.push(path);
            }
        }
        if entries(&self.folder)?.is_empty() {
            fs::remove_dir(&self.folder).map_err(TakesError::file(&self.folder, "deleted"))?;
        }
        Ok(())
    }
}

fn entries(folder: &Path) -> Result<Vec<PathBuf>, TakesError> {
    let listed = fs::read_dir(folder).map_err(TakesError::file(folder, "read"))?;
    listed.map(|entry| entry.map(|one| one.path()).map_err(TakesError::file(folder, "read"))).collect()
}

fn is_folder(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok_and(|found| found.is_dir())
}

#[cfg(test)]
mod tests {
    use super::super::About;
    use super::*;

    fn about() -> About {
        serde_json::from_str(
            r#"{"recorded": "", "microphone": "", "melody": "m", "instrument": null, "a4_hz": null,
                "bpm": 90.0, "finished": true, "lost_ms": 0.0, "remarks": []}"#,
        )
        .unwrap()
    }

    #[test]
    fn an_erased_book_is_gone() {
        let home = tempfile::tempdir().unwrap();
        let book = Book::at(&home.path().join("book"));
        let take = book.begin(&about(), Some("toml"), b"x").unwrap();
        fs::write(take.wav(), b"sound").unwrap();
        fs::write(home.path().join("book/m/.fingertape.77-0.part"), b"half").unwrap();
        let deleted = book.erase().unwrap();
        assert_eq!((deleted.takes, deleted.files, deleted.left.len()), (1, 3, 0));
        assert!(!home.path().join("book").exists());
        assert_eq!(book.erase().unwrap(), Deleted::default());
    }

    #[test]
    fn what_the_book_did_not_make_is_left_and_named() {
        let home = tempfile::tempdir().unwrap();
        let book = Book::at(home.path());
        book.begin(&about(), None, b"x").unwrap();
        let (diary, photo) = (home.path().join("m/diary.txt"), home.path().join("photo.png"));
        fs::write(&diary, b"dear").unwrap();
        fs::write(&photo, b"me").unwrap();
        fs::create_dir(home.path().join("holiday-pictures")).unwrap();
        let deleted = book.erase().unwrap();
        assert_eq!(deleted.left, [diary.clone(), photo.clone()]);
        assert!(diary.exists() && photo.exists() && home.path().join("holiday-pictures").exists());
    }

    #[cfg(unix)]
    #[test]
    fn links_are_never_followed_out_of_the_book() {
        let home = tempfile::tempdir().unwrap();
        let outside = home.path().join("outside");
        fs::create_dir(&outside).unwrap();
        fs::write(outside.join("take-001.wav"), b"another child's").unwrap();
        let book = Book::at(&home.path().join("book"));
        let take = book.begin(&about(), None, b"x").unwrap();
        std::os::unix::fs::symlink(outside.join("take-001.wav"), take.wav()).unwrap();
        std::os::unix::fs::symlink(&outside, home.path().join("book/n")).unwrap();
        assert_eq!(take.delete().unwrap(), 3);
        book.erase().unwrap();
        assert_eq!(fs::read(outside.join("take-001.wav")).unwrap(), b"another child's");
    }
}
