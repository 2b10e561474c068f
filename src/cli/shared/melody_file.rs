//! A melody is written to a new file, in the format that its name asks for.

use super::failure::Failure;
use super::{print, write_file};
use fingertape::formats::WrittenFormat;
use fingertape::notation::Melody;
use std::path::Path;

/// The format that the name of a file asks for.
pub fn format_of(path: &Path) -> miette::Result<WrittenFormat> {
    WrittenFormat::from_path(path).ok_or_else(|| {
        Failure::new(
            format!("the name {} does not say which format to write", path.display()),
            "let it end in .toml, .abc, .musicxml, .mxl or .mid",
        )
        .into()
    })
}

/// There must be nothing under that name, unless it may be replaced; the melody that is read is never
/// replaced.
pub fn may_write(path: &Path, read_from: &Path, force: bool) -> miette::Result<()> {
    let same = path.canonicalize().is_ok_and(|to| read_from.canonicalize().is_ok_and(|from| from == to));
    if same {
        return Err(Failure::new(
            format!("{} is the melody that is read", path.display()),
            "give the new file a name of its own; comments and repeat signs of the old one would be lost",
        )
        .into());
    }
    is_free(path, force)
}

/// A file that is there already is replaced only where that was asked for: it may have been changed by hand.
pub fn is_free(path: &Path, force: bool) -> miette::Result<()> {
    // A link that leads nowhere is there too.
    if !force && path.symlink_metadata().is_ok() {
        return Err(Failure::new(
            format!("there is a file {} already", path.display()),
            "choose another name, or add --force to replace it",
        )
        .into());
    }
    Ok(())
}

/// Writes the melody, whole or not at all, and says beside the output what the format cannot hold.
pub fn write(path: &Path, format: WrittenFormat, melody: &Melody) -> miette::Result<()> {
    write_file::whole(path, &format.write(melody))?;
    print::remarks(&format.cannot_hold(melody));
    Ok(())
}
