//! A zip archive from a text that holds its files one after the other, so that a fuzzer can write into
//! them without knowing about checksums.

use std::io::Write;

/// A line that begins a file of the archive: this, its name, a line feed.
const FILE: &str = "--- ";

/// The archive, its files packed; `None` where no line begins a file.
pub fn archive_of(text: &[u8]) -> Option<Vec<u8>> {
    let text = String::from_utf8_lossy(text);
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    let mut begun = false;
    for line in text.split_inclusive('\n') {
        match line.strip_prefix(FILE) {
            // A name that is there already is no second file.
            Some(name) if archive.start_file(name.trim_end(), options).is_ok() => begun = true,
            Some(_) => {}
            None if begun => archive.write_all(line.as_bytes()).ok()?,
            None => {}
        }
    }
    let bytes = archive.finish().ok()?.into_inner();
    begun.then_some(bytes)
}
