//! A file that is either wholly there or not at all, with errors for people.

use super::failure::{Failure, said};
use fingertape::takes::write_whole;
use std::io;
use std::path::Path;

/// Writes `bytes` to `path`, replacing a file of that name only once every byte is on the disk.
pub fn whole(path: &Path, bytes: &[u8]) -> miette::Result<()> {
    write_whole(path, bytes).map_err(|error| {
        let missing =
            path.parent().filter(|folder| error.kind() == io::ErrorKind::NotFound && !folder.exists());
        let what = match missing {
            Some(folder) => {
                format!("{} cannot be written: there is no folder {}", path.display(), folder.display())
            }
            None => format!("{} cannot be written: {}", path.display(), said(&error)),
        };
        let what_to_do = match error.kind() {
            io::ErrorKind::NotFound => "make the folder first, or choose another place",
            io::ErrorKind::PermissionDenied => "choose a folder that you may write to",
            io::ErrorKind::IsADirectory => "this is a folder: give a file name inside it",
            _ => "check the disk, or choose another place",
        };
        Failure::new(what, what_to_do).into()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn a_missing_folder_and_a_folder_are_errors_with_advice() {
        let folder = tempfile::tempdir().unwrap();
        let missing = whole(&folder.path().join("no/report.json"), b"x").unwrap_err();
        assert!(format!("{missing:?}").contains("make the folder first"), "{missing:?}");
        let taken = whole(folder.path(), b"x").unwrap_err();
        assert!(format!("{taken:?}").contains("file name inside it"), "{taken:?}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
