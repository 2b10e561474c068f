//! The bytes of a file that may be anything, with a bound.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// All bytes of a file of at most `most`.
///
/// # Errors
/// What the system says; for a larger file that it is too large to be what was asked for.
pub fn within(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        return Err(io::Error::other(format!("it holds more than {most} bytes; is this the right file?")));
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_up_to_its_bound_and_not_beyond() {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), "12345").unwrap();
        assert_eq!(within(file.path(), 5).unwrap(), b"12345");
        let error = within(file.path(), 4).unwrap_err().to_string();
        assert!(error.contains("more than 4 bytes"), "{error}");
    }
}
