//! The report as a page to look at: the options, and the files, wherever a take is judged.

use super::failure::Failure;
use super::sheet::PaperName;
use super::write_file;
use clap::Args;
use fingertape::engrave::{Paper, pdf_from_pages};
use fingertape::page::{self, PageContent, PageSettings};
use fingertape::units::Millimetres;
use std::path::{Path, PathBuf};

/// The options that ask for a page.
#[derive(Args)]
pub struct PageOptions {
    /// Also write the report as a page to look at: a .html for a browser, which needs no other file and has the
    /// recording's sound in it, or a .pdf to print; may be given twice (with --detail, every number too)
    #[arg(long, value_name = "FILE")]
    page: Vec<PathBuf>,
    /// Leave the sound out of a .html page, to send it without the recording
    #[arg(long, requires = "page")]
    no_sound: bool,
    /// The paper of a .pdf page
    #[arg(long, value_enum, ignore_case = true, default_value = "letter", requires = "page")]
    paper: PaperName,
}

/// A page that is to be written.
#[derive(Debug)]
pub struct PageFile {
    path: PathBuf,
    /// The paper; none for a page for a browser.
    paper: Option<Paper>,
}

impl PageOptions {
    /// The files asked for.
    pub fn files(&self) -> miette::Result<Vec<PageFile>> {
        self.page.iter().map(|path| PageFile::new(path, self.paper.into())).collect()
    }

    /// How the pages are to be.
    pub fn settings(&self, detail: bool, string_length: Option<Millimetres>) -> PageSettings {
        PageSettings { detail, sound: !self.no_sound, string_length }
    }
}

impl PageFile {
    /// A file whose ending says what it is; `paper` is for a PDF.
    pub fn new(path: &Path, paper: Paper) -> miette::Result<Self> {
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
        let paper = match ending.as_deref() {
            Some("html" | "htm") => None,
            Some("pdf") => Some(paper),
            _ => {
                return Err(Failure::new(
                    format!("{} does not say which kind of page it is to be", path.display()),
                    "end the name in .html (for a browser) or .pdf (to print)",
                )
                .into());
            }
        };
        Ok(Self { path: path.to_owned(), paper })
    }

    /// Where it goes.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes it.
    pub fn write(&self, content: &PageContent<'_>, settings: &PageSettings) -> miette::Result<()> {
        let bytes = match self.paper {
            None => page::html(content, settings).into_bytes(),
            Some(paper) => {
                let drawn = page::pages_from_report(content, settings, paper);
                pdf_from_pages(&drawn.pages, &content.report.melody.title)
            }
        };
        write_file::whole(&self.path, &bytes)
    }
}
