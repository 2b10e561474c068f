//! A file that is either wholly there or not at all: written beside its place, then renamed into it.

use super::failure::Failure;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Writes `bytes` to `path`, replacing a file of that name only once every byte is on the disk.
/// Devices and pipes are written in place. A link is followed, not replaced.
pub fn whole(path: &Path, bytes: &[u8]) -> miette::Result<()> {
    write(path, bytes).map_err(|error| {
        let what_to_do = match error.kind() {
            io::ErrorKind::NotFound => "make the folder first, or choose another place",
            io::ErrorKind::PermissionDenied => "choose a folder that you may write to",
            io::ErrorKind::IsADirectory => "this is a folder: give a file name inside it",
            _ => "check the disk, or choose another place",
        };
        Failure::new(format!("{} cannot be written: {error}", path.display()), what_to_do).into()
    })
}

fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let place = match fs::metadata(path) {
        Ok(found) if found.is_dir() => return Err(io::ErrorKind::IsADirectory.into()),
        Ok(found) if !found.is_file() => return File::create(path)?.write_all(bytes),
        Ok(_) => fs::canonicalize(path)?,
        Err(_) => path.to_owned(),
    };
    let beside = beside(&place);
    let result = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(&beside)
        .and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()))
        .and_then(|()| fs::rename(&beside, &place));
    if result.is_err() {
        // The half-written neighbour is ours; the error that matters is the first one.
        let _ = fs::remove_file(&beside);
    }
    result
}

/// A name in the same folder that no other run of the program uses.
fn beside(place: &Path) -> PathBuf {
    let mut name = std::ffi::OsString::from(".");
    name.push(place.file_name().unwrap_or_default());
    name.push(format!(".{}.part", std::process::id()));
    place.with_file_name(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_leaves_no_neighbour() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.json");
        whole(&path, b"a long first report").unwrap();
        whole(&path, b"short").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"short");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_missing_folder_and_a_folder_are_errors_with_advice() {
        let folder = tempfile::tempdir().unwrap();
        let missing = whole(&folder.path().join("no/report.json"), b"x").unwrap_err();
        assert!(format!("{missing:?}").contains("make the folder first"), "{missing:?}");
        let taken = whole(folder.path(), b"x").unwrap_err();
        assert!(format!("{taken:?}").contains("file name inside it"), "{taken:?}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_followed_and_stays_a_link() {
        let folder = tempfile::tempdir().unwrap();
        let (real, link) = (folder.path().join("real.json"), folder.path().join("link.json"));
        fs::write(&real, b"old").unwrap();
        std::os::unix::fs::symlink(&real, &link).unwrap();
        whole(&link, b"new").unwrap();
        assert_eq!(fs::read(&real).unwrap(), b"new");
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    }
}
