//! The bytes of a text file that people wrote, with a bound: whatever is longer is no such file.

use super::error::{Fault, FormatError, FormatErrorKind};
use crate::remark::said_of_a_file;
use std::fs::File;
use std::io::Read as _;
use std::path::Path;

/// The name of the file without its folder, and its bytes: one more than `most` if it is longer than that,
/// so that the reader of the bytes can refuse it.
///
/// # Errors
/// [`FormatErrorKind::Unreadable`] where the file cannot be opened or read.
pub(super) fn bytes_from_file(path: &Path, most: u64) -> Result<(String, Vec<u8>), FormatError> {
    let name = path.file_name().map_or_else(|| path.to_string_lossy(), |name| name.to_string_lossy());
    let unreadable = |what: String| {
        let help = "Check the name and the folder, and that the file may be read.";
        Fault::new(FormatErrorKind::Unreadable, what, help).in_file(&name, "")
    };
    if path.is_dir() {
        let help = "Give the file itself, with its ending: FOLDER/my-melody.toml.";
        return Err(Fault::new(FormatErrorKind::Unreadable, "this seems to be a folder, not a file", help)
            .in_file(&name, ""));
    }
    let file = File::open(path)
        .map_err(|error| unreadable(format!("cannot open the file: {}", said_of_a_file(&error))))?;
    let mut bytes = Vec::new();
    file.take(most + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| unreadable(format!("cannot read the file: {}", said_of_a_file(&error))))?;
    Ok((name.into_owned(), bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_called_a_folder() {
        let folder = tempfile::tempdir().expect("a folder");
        let error = bytes_from_file(folder.path(), 100).unwrap_err();
        assert!(error.to_string().contains("this seems to be a folder"), "{error}");
    }
}
