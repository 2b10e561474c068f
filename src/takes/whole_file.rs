//! A file that is either wholly there or not at all: written beside its place, then renamed into it.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// How the name of a file begins that is not whole yet.
pub(super) const HALF_WRITTEN: &str = ".fingertape.";

/// Writes `bytes` to `path`, replacing a file of that name only once every byte is on the disk.
/// Devices and pipes are written in place. A link is followed, not replaced.
///
/// # Errors
/// What the operating system says; the file that was there before is then still there, whole.
pub fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    write(path, bytes, false)
}

/// As [`write_whole`], for its owner's eyes only (on Unix).
///
/// # Errors
/// As [`write_whole`].
pub fn write_whole_private(path: &Path, bytes: &[u8]) -> io::Result<()> {
    write(path, bytes, true)
}

fn write(path: &Path, bytes: &[u8], private: bool) -> io::Result<()> {
    let place = match fs::metadata(path) {
        Ok(found) if found.is_dir() => return Err(io::ErrorKind::IsADirectory.into()),
        Ok(found) if !found.is_file() => return File::create(path)?.write_all(bytes),
        Ok(_) => fs::canonicalize(path)?,
        Err(_) => path.to_owned(),
    };
    let beside = beside(&place);
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    if private {
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    }
    #[cfg(not(unix))]
    let _ = private;
    let result = options
        .open(&beside)
        .and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()))
        .and_then(|()| fs::rename(&beside, &place));
    if result.is_err() {
        // The half-written neighbour is ours; the error that matters is the first one.
        let _ = fs::remove_file(&beside);
    }
    result
}

/// A name in the same folder that no other write uses: a short one, because the name of the file may be as long as names
/// can be.
fn beside(place: &Path) -> PathBuf {
    static WRITTEN: AtomicU64 = AtomicU64::new(0);
    let number = WRITTEN.fetch_add(1, Ordering::Relaxed);
    place.with_file_name(format!("{HALF_WRITTEN}{}-{number}.part", std::process::id()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_leaves_no_neighbour() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.json");
        write_whole(&path, b"a long first report").unwrap();
        write_whole(&path, b"short").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"short");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_name_may_be_as_long_as_names_can_be() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(format!("{}.json", "n".repeat(250)));
        write_whole(&path, b"report").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"report");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_followed_and_stays_a_link() {
        let folder = tempfile::tempdir().unwrap();
        let (real, link) = (folder.path().join("real.json"), folder.path().join("link.json"));
        fs::write(&real, b"old").unwrap();
        std::os::unix::fs::symlink(&real, &link).unwrap();
        write_whole(&link, b"new").unwrap();
        assert_eq!(fs::read(&real).unwrap(), b"new");
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    }
}
