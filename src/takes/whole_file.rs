//! A file that is either wholly there or not at all: written beside its place, then renamed into it.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// How the name of a file begins that is not whole yet.
pub(super) const HALF_WRITTEN: &str = ".fingertape.";

/// Writes `bytes` to `path`, replacing a file of that name only once every byte is on the disk; who may read and write it
/// stays as it was. Devices, pipes and the program's own outputs (`/dev/stdout`) are written in place. A link is followed,
/// not replaced, also to a file that is not there yet.
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
        Ok(found) => {
            if let Some(written) = to_own_output(&found, bytes) {
                return written;
            }
            fs::canonicalize(path)?
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => end_of_links(path),
        Err(_) => path.to_owned(),
    };
    let before = fs::metadata(&place).ok().filter(|_| !private).map(|found| found.permissions());
    let beside = beside(&place);
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    if private || before.is_some() {
        // Nobody else sees it before it is known who may.
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    }
    let result = options
        .open(&beside)
        .and_then(|mut file| {
            file.write_all(bytes)?;
            if let Some(before) = before {
                file.set_permissions(before)?;
            }
            file.sync_all()
        })
        .and_then(|()| fs::rename(&beside, &place));
    if result.is_err() {
        // The half-written neighbour is ours; the error that matters is the first one.
        let _ = fs::remove_file(&beside);
    }
    result
}

/// Most links that lead to each other; the usual bound of Linux (`path_resolution(7)`).
const MOST_LINKS: usize = 40;

/// Where a link leads at last to a file that is not there yet; the path itself where it is no link.
fn end_of_links(path: &Path) -> PathBuf {
    let mut place = path.to_owned();
    for _ in 0..MOST_LINKS {
        match fs::read_link(&place) {
            // What a link says counts from its own folder.
            Ok(to) => place = place.parent().map_or_else(|| to.clone(), |folder| folder.join(&to)),
            Err(_) => break,
        }
    }
    place
}

/// Where the program's own standard output or error goes to this file, the bytes go there too, behind what was printed: a
/// file put in its place would take what is printed afterwards with it.
#[cfg(unix)]
fn to_own_output(file: &fs::Metadata, bytes: &[u8]) -> Option<io::Result<()>> {
    use std::os::fd::AsFd;
    use std::os::unix::fs::MetadataExt;
    let is_it = |output: &dyn AsFd| {
        let output = output.as_fd().try_clone_to_owned().and_then(|output| File::from(output).metadata());
        output.is_ok_and(|output| (output.dev(), output.ino()) == (file.dev(), file.ino()))
    };
    let write = |mut output: Box<dyn Write>| output.write_all(bytes).and_then(|()| output.flush());
    if is_it(&io::stdout()) {
        return Some(write(Box::new(io::stdout().lock())));
    }
    is_it(&io::stderr()).then(|| write(Box::new(io::stderr().lock())))
}

#[cfg(not(unix))]
fn to_own_output(_: &fs::Metadata, _: &[u8]) -> Option<io::Result<()>> {
    None
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
    fn who_may_read_a_file_stays_as_it_was() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.html");
        for mode in [0o600, 0o444, 0o660, 0o644] {
            fs::write(&path, b"old").unwrap();
            fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
            write_whole(&path, b"new").unwrap();
            assert_eq!(fs::read(&path).unwrap(), b"new");
            assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, mode);
            fs::remove_file(&path).unwrap();
        }
        // What is for the owner only is so whatever was there.
        fs::write(&path, b"old").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
        write_whole_private(&path, b"new").unwrap();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_to_a_file_that_is_not_there_yet_is_followed_too() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("in")).unwrap();
        std::os::unix::fs::symlink("in/second", at("first")).unwrap();
        std::os::unix::fs::symlink("real.json", at("in/second")).unwrap();
        write_whole(&at("first"), b"new").unwrap();
        assert_eq!(fs::read(at("in/real.json")).unwrap(), b"new");
        assert!(fs::symlink_metadata(at("first")).unwrap().is_symlink());
        assert!(fs::symlink_metadata(at("in/second")).unwrap().is_symlink());
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
