//! Whether two names mean one file, which need not be there yet.

use std::path::{Path, PathBuf};

/// Whether what is written to one would replace the other. Devices and pipes are written one behind the other.
pub fn same_place(one: &Path, two: &Path) -> bool {
    let (one, two) = (place(one), place(two));
    one.is_some() && one == two
}

/// Where a file is or will be; `None` for what is no file, or in a folder that is not there.
fn place(path: &Path) -> Option<PathBuf> {
    if let Ok(found) = path.canonicalize() {
        return found.is_file().then_some(found);
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    Some(folder.unwrap_or(Path::new(".")).canonicalize().ok()?.join(path.file_name()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_names_of_one_place_are_the_same_before_there_is_a_file_and_after() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("in")).unwrap();
        let (one, two) = (folder.path().join("a.html"), folder.path().join("in/../a.html"));
        let other = folder.path().join("b.html");
        for _ in 0..2 {
            assert!(same_place(&one, &two));
            assert!(!same_place(&one, &other));
            std::fs::write(&one, b"x").unwrap();
        }
        assert!(same_place(Path::new("no-such.toml"), Path::new("./no-such.toml")));
        assert!(!same_place(&folder.path().join("no/a"), &folder.path().join("no/a")));
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_the_place_that_it_leads_to_and_a_device_is_no_place() {
        let folder = tempfile::tempdir().unwrap();
        let (real, link) = (folder.path().join("real"), folder.path().join("link"));
        std::fs::write(&real, b"x").unwrap();
        std::os::unix::fs::symlink(&real, &link).unwrap();
        assert!(same_place(&real, &link));
        assert!(!same_place(Path::new("/dev/null"), Path::new("/dev/null")));
    }
}
