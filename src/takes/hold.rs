//! A take that is still being made is held, so that no other program deletes it or brings it in order meanwhile.
//!
//! The hold is a shared lock on the melody's copy, which is never written again (until it is there, on the file that takes
//! the number). On Windows an exclusive lock would keep its holder from reading the file a second time. The recording has a
//! lock of its own while it grows. Both go with the program, however it ends. Where a file system knows no locks, there are none.

use super::error::TakesError;
use super::take::Take;
use std::fs::{self, File, TryLockError};
use std::path::Path;

/// A take is left alone until this is dropped.
#[derive(Debug)]
#[must_use = "the take is held only as long as this is there"]
pub struct Hold(#[allow(dead_code, reason = "the lock is in the open file")] Option<File>);

impl Hold {
    /// Holds by a file that is open.
    pub(super) fn of(file: File) -> Self {
        Self(Some(file).filter(|file| file.try_lock_shared().is_ok()))
    }
}

impl Take {
    /// Holds the take: until the hold is dropped, [`Take::delete`] and [`Book::erase`](super::Book::erase) refuse.
    pub(super) fn hold(&self) -> Hold {
        let file = self.melody().ok().filter(|path| is_file(path)).and_then(|path| File::open(path).ok());
        file.map_or(Hold(None), Hold::of)
    }

    /// Nobody is making the take right now.
    ///
    /// # Errors
    /// [`TakesError::Growing`].
    pub fn nobody_makes_it(&self) -> Result<(), TakesError> {
        for path in
            self.melody().into_iter().chain([self.wav(), self.about_json()]).filter(|path| is_file(path))
        {
            let locked =
                File::open(&path).is_ok_and(|file| matches!(file.try_lock(), Err(TryLockError::WouldBlock)));
            if locked {
                return Err(TakesError::Growing { path: self.wav() });
            }
        }
        Ok(())
    }
}

/// A file of the book itself: a link leads out of it, and a pipe would have to be waited for.
fn is_file(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok_and(|found| found.is_file())
}

#[cfg(test)]
mod tests {
    use super::super::{About, Book};
    use super::*;

    fn about() -> About {
        serde_json::from_str(
            r#"{"recorded": "", "microphone": "", "melody": "m", "instrument": null, "a4_hz": null,
                "bpm": 90.0, "finished": false, "lost_ms": 0.0, "remarks": []}"#,
        )
        .unwrap()
    }

    #[test]
    fn a_take_that_is_held_is_not_deleted_and_its_book_is_not_erased() {
        let home = tempfile::tempdir().unwrap();
        let book = Book::at(home.path());
        let earlier = book.begin(&about(), Some("toml"), b"x").unwrap();
        let (take, hold) = book.begin_held(&about(), Some("toml"), b"x").unwrap();
        assert!(matches!(take.delete(), Err(TakesError::Growing { .. })));
        assert!(matches!(book.erase(), Err(TakesError::Growing { .. })));
        // Not even the takes before it.
        assert_eq!((earlier.files().unwrap().len(), take.files().unwrap().len()), (2, 2));
        assert_eq!(fs::read(take.melody().unwrap()).unwrap(), b"x");
        drop(hold);
        assert_eq!(take.delete().unwrap(), 2);
        assert_eq!(book.erase().unwrap().takes, 1);
    }

    #[test]
    fn a_recording_that_grows_is_not_deleted() {
        let home = tempfile::tempdir().unwrap();
        let take = Book::at(home.path()).begin(&about(), None, b"x").unwrap();
        let growing = File::create(take.wav()).unwrap();
        growing.try_lock().unwrap();
        assert!(matches!(take.delete(), Err(TakesError::Growing { .. })));
        drop(growing);
        assert_eq!(take.delete().unwrap(), 3);
    }
}
