//! The report as a page to look at: the options, and the files, wherever a take is judged.

use super::choices::PaperName;
use super::failure::Failure;
use super::sheet_files::{SheetFile, write_pages};
use super::{ranges, write_file};
use clap::Args;
use fingertape::engrave::Paper;
use fingertape::page::{self, PageContent, PageSettings};
use fingertape::units::Millimetres;
use std::path::{Path, PathBuf};

/// The options that ask for a page.
#[derive(Args)]
pub struct PageOptions {
    /// Also write the report as a page to look at: a .html for a browser, which needs no other file and has the
    /// recording's sound in it, a .pdf to print, or a .png or .svg picture of each page, numbered where there are several
    /// (x.png: x-1.png, x-2.png); files of these names are replaced. May be given several times (with --detail, every
    /// number too)
    #[arg(long, value_name = "FILE")]
    page: Vec<PathBuf>,
    /// Leave the sound out of a .html page, to send it without the recording
    #[arg(long, requires = "page")]
    no_sound: bool,
    /// The paper of a .pdf page and of pictures
    #[arg(long, value_enum, ignore_case = true, default_value = "letter", requires = "page")]
    paper: PaperName,
    /// The pixels of a .png, to the inch, 40 to 600
    #[arg(long, value_name = "PIXELS", default_value = "150", value_parser = ranges::dpi, requires = "page")]
    dpi: f64,
}

/// A page that is to be written.
#[derive(Debug)]
pub struct PageFile {
    path: PathBuf,
    /// What is drawn on paper; none for a page for a browser.
    drawn: Option<Drawn>,
}

#[derive(Debug)]
struct Drawn {
    file: SheetFile,
    paper: Paper,
    dpi: f64,
}

impl PageOptions {
    /// The files asked for.
    pub fn files(&self) -> miette::Result<Vec<PageFile>> {
        self.page.iter().map(|path| PageFile::new(path, self.paper.into(), self.dpi)).collect()
    }

    /// How the pages are to be.
    pub fn settings(&self, detail: bool, string_length: Option<Millimetres>) -> PageSettings {
        PageSettings { detail, sound: !self.no_sound, string_length }
    }
}

impl PageFile {
    /// A file whose ending says what it is; `paper` and `dpi` (pixels to the inch) are for what is drawn on paper.
    pub fn new(path: &Path, paper: Paper, dpi: f64) -> miette::Result<Self> {
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
        let drawn = match ending.as_deref() {
            Some("html" | "htm") => None,
            Some("pdf" | "png" | "svg") => Some(Drawn { file: SheetFile::from_path(path)?, paper, dpi }),
            _ => {
                return Err(Failure::new(
                    format!("{} does not say which kind of page it is to be", path.display()),
                    "end the name in .html (for a browser), .pdf (to print), or .png or .svg (a picture)",
                )
                .into());
            }
        };
        Ok(Self { path: path.to_owned(), drawn })
    }

    /// Where it goes.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes it.
    pub fn write(&self, content: &PageContent<'_>, settings: &PageSettings) -> miette::Result<()> {
        match &self.drawn {
            None => write_file::whole(&self.path, page::html(content, settings).as_bytes()),
            Some(Drawn { file, paper, dpi }) => {
                let drawn = page::pages_from_report(content, settings, *paper);
                write_pages(file, &drawn.pages, &content.report.melody.title, *dpi).map(drop)
            }
        }
    }
}
