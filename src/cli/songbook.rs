//! `fingertape songbook`: a folder of melodies becomes one book to print.

use super::shared::exit_codes::Ending;
use super::shared::failure::{Failure, said};
use super::shared::rule_sheet::is_rule_file;
use super::shared::settle_instrument::settle_from_the_file;
use super::shared::sheet_files::{SheetFile, write_pages};
use super::shared::sheet_options::SheetOptions;
use super::shared::shown::Shown as _;
use super::shared::{print, read_file};
use clap::Args;
use fingertape::class::{FoldedName, rubric_from_toml};
use fingertape::engrave::{Song, pages_from_songs};
use fingertape::formats::{self, ReadMelody};
use fingertape::notation::Melody;
use fingertape::remark::Remark;
use fingertape::report::words::harmless;
use std::fs;
use std::path::{Path, PathBuf};

/// The arguments of `songbook`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct SongbookArguments {
    /// The folder with the melodies (folders inside it are not opened)
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// The book: a name that ends in .pdf (a file of that name is replaced)
    #[arg(long, value_name = "BOOK")]
    output: PathBuf,
    /// What stands on the first page
    #[arg(long, value_name = "TEXT", default_value = "Songbook")]
    title: String,
    #[command(flatten)]
    look: SheetOptions,
}

const AFTER_HELP: &str = "\
Every melody of the folder is printed (.toml, .abc, .musicxml, .xml, .mxl), sorted by title, each
from a new page on, after a page of contents. A file that cannot be read as a melody is named, and
the rest is printed all the same; a rule file or a rubric among them is left out.

Examples:
  fingertape songbook our-tunes --output our-tunes.pdf --title \"Tunes of 4B\"
  fingertape songbook our-tunes --output our-tunes.pdf --names --paper a4

Exit codes:
  0  every melody is in the book
  1  the book was written, but a file could not be read as a melody; it is named
  2  no melody at all, a place that cannot be used, or a wrong argument";

/// Runs the command.
pub fn run(arguments: &SongbookArguments) -> miette::Result<Ending> {
    let is_pdf = arguments.output.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("pdf"));
    if !is_pdf {
        return Err(Failure::new(
            format!("{} is not the name of a PDF", arguments.output.display()),
            "a book is one PDF: end its name in .pdf",
        )
        .into());
    }
    let file = SheetFile::from_path(&arguments.output)?;
    let paths = melody_files(&arguments.folder)?;
    let mut songs = Vec::new();
    let mut left_out = Vec::new();
    let mut no_melodies = Vec::new();
    for path in &paths {
        let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        match formats::read_melody(path) {
            Ok(read) => {
                let (melody, remarks) = with_instrument(read);
                print::remarks(&remarks.into_iter().map(|one| named(&name, one)).collect::<Vec<_>>());
                songs.push((path, Song { name, melody }));
            }
            Err(_) if is_rule_file(path) => no_melodies.push((path, "rules")),
            Err(_) if is_rubric(path) => no_melodies.push((path, "a rubric")),
            Err(error) => left_out.push(harmless(&error.to_string())),
        }
    }
    if songs.is_empty() {
        let found = left_out.join("\n");
        let what = format!("there is no melody in {}", arguments.folder.display());
        let what = if found.is_empty() { what } else { format!("{what}:\n{found}") };
        let help = format!("melodies are {} files", formats::melody_endings());
        return Err(Failure::new(what, help).into());
    }
    songs.sort_by_cached_key(|(path, song)| (by_title(song), (*path).clone()));
    let count = songs.len();
    let songs: Vec<Song> = songs.into_iter().map(|(_, song)| song).collect();
    let engraved = pages_from_songs(&songs, &arguments.title, &arguments.look.settings());
    print::remarks(&engraved.remarks);
    let mut said = write_pages(&file, &engraved.pages, &arguments.title, 150.0)?;
    said.push_str(&format!("{count} {} in it.\n", if count == 1 { "melody is" } else { "melodies are" }));
    for (path, what) in no_melodies {
        said.push_str(&format!("{} holds {what}, not a melody.\n", path.shown()));
    }
    if !left_out.is_empty() {
        said.push_str(&format!("Not in it, because {} could not be read:\n", counted(left_out.len())));
        for line in &left_out {
            said.push_str(&format!("  {line}\n"));
        }
        said.push_str("Mend these files (fingertape sheet FILE --output sheet.pdf says more) and make the book again.\n");
    }
    print::plain(&said)?;
    Ok(if left_out.is_empty() { Ending::Done } else { Ending::Refused })
}

/// A larger file is no rubric.
const LARGEST_RUBRIC: u64 = 1 << 20;

/// Whether a file is a rubric without a flaw, and with a word in it.
fn is_rubric(path: &Path) -> bool {
    let text = read_file::within(path, LARGEST_RUBRIC).ok().and_then(|bytes| String::from_utf8(bytes).ok());
    text.is_some_and(|text| {
        let said = text.lines().any(|line| !line.trim().is_empty() && !line.trim_start().starts_with('#'));
        said && rubric_from_toml(&text).1.is_empty()
    })
}

/// What a book is sorted by: the title without case and accents, then as it is written.
fn by_title(song: &Song) -> (String, String) {
    let title = song.melody.title.as_ref().unwrap_or(&song.name);
    (FoldedName::new(title).text(), title.clone())
}

/// A melody that does not say who plays it gets the instrument that its notes clearly mean, so that its clef fits them.
fn with_instrument(read: ReadMelody) -> (Melody, Vec<Remark>) {
    let ReadMelody { melody, mut remarks } = read;
    if melody.instrument.is_some() {
        return (melody, remarks);
    }
    match settle_from_the_file(melody.clone()) {
        Ok(settled) => {
            remarks.extend(settled.remarks);
            (settled.melody, remarks)
        }
        // It is drawn in its own clef, or in the treble clef with a remark.
        Err(_) => (melody, remarks),
    }
}

fn named(file: &str, remark: Remark) -> Remark {
    Remark::new(&remark.code, format!("{file}: {}", remark.text))
}

fn counted(files: usize) -> String {
    if files == 1 { "this file".to_owned() } else { format!("these {files} files") }
}

/// The files of a folder that have the ending of a melody, by name.
fn melody_files(folder: &Path) -> miette::Result<Vec<PathBuf>> {
    let unreadable = |error: std::io::Error| {
        Failure::new(
            format!("the folder {} cannot be read: {}", folder.display(), said(&error)),
            "give the folder that the melodies are in",
        )
    };
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
        let known =
            path.extension().is_some_and(|ending| formats::is_melody_ending(&ending.to_string_lossy()));
        if known && !hidden && !path.is_dir() {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}
