//! The score inside a compressed MusicXML file (MusicXML 4.0, “Compressed .mxl files”): a zip archive
//! whose META-INF/container.xml names the root file.

use super::super::error::{Fault, FormatErrorKind};
use super::super::text_from_bytes::{LARGEST_TEXT, text_from_bytes};
use super::xml_within_bounds::within_bounds;
use std::io::{Cursor, Read};

/// The root file's text.
pub(crate) fn score_from_mxl(bytes: &[u8]) -> Result<String, Fault> {
    let damaged = |what: String| {
        let help = "Export the melody again, or save it as uncompressed .musicxml.";
        Fault::new(
            FormatErrorKind::Syntax,
            format!("no score could be read in this compressed file: {what}"),
            help,
        )
    };
    let broken = || damaged("it is damaged, or no .mxl file".to_owned());
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|_| broken())?;
    let root = match read_entry(&mut archive, "META-INF/container.xml") {
        Ok(container) => root_file(&text_from_bytes(&container)?),
        Err(_) => None,
    };
    let name = root.filter(|name| archive.index_for_name(name).is_some()).or_else(|| {
        // A name that is no text is not looked for.
        let mut names: Vec<String> = archive.file_names().flatten().map(Into::into).collect();
        names.sort_unstable();
        let score = |name: &String| {
            let lower = name.to_lowercase();
            (lower.ends_with(".xml") || lower.ends_with(".musicxml")) && !lower.starts_with("meta-inf/")
        };
        names.into_iter().find(score)
    });
    let name = name.ok_or_else(|| damaged("there is none in it".to_owned()))?;
    let bytes = read_entry(&mut archive, &name).map_err(|_| broken())?;
    if bytes.len() > LARGEST_TEXT {
        let message = "unpacked, the score is larger than a melody can be";
        return Err(Fault::new(FormatErrorKind::TooBig, message, "Is this the right file?"));
    }
    text_from_bytes(&bytes)
}

/// At most one byte more than the largest text, so that a small archive cannot fill the memory.
fn read_entry(archive: &mut zip::ZipArchive<Cursor<&[u8]>>, name: &str) -> Result<Vec<u8>, String> {
    let entry = archive.by_name(name).map_err(|error| error.to_string())?;
    let mut out = Vec::new();
    entry.take(LARGEST_TEXT as u64 + 1).read_to_end(&mut out).map_err(|error| error.to_string())?;
    Ok(out)
}

fn root_file(container: &str) -> Option<String> {
    within_bounds(container).ok()?;
    let options = roxmltree::ParsingOptions { allow_dtd: true, nodes_limit: 10_000, ..Default::default() };
    let document = roxmltree::Document::parse_with_options(container, options).ok()?;
    let mut files = document.descendants().filter(|node| node.tag_name().name() == "rootfile");
    let score =
        |node: &roxmltree::Node| node.attribute("media-type").is_none_or(|kind| kind.contains("musicxml"));
    let file = files.clone().find(score).or(files.next())?;
    file.attribute("full-path").map(str::to_owned)
}
