//! The report as a page to look at: the options, and the file, wherever a take is judged.

use super::check::Judged;
use super::write_file;
use clap::Args;
use fingertape::findings::Report;
use fingertape::page::{self, PageContent, PageSettings};
use fingertape::units::Millimetres;
use std::path::PathBuf;

/// The options that ask for a page.
#[derive(Args)]
pub struct PageOptions {
    /// Also write the report as a page for a browser: one HTML file that needs nothing else, with the recording's sound
    /// in it (with --detail, every number too)
    #[arg(long, value_name = "FILE.html")]
    pub page: Option<PathBuf>,
    /// Leave the sound out of the page, to send it without the recording
    #[arg(long, requires = "page")]
    pub no_sound: bool,
}

impl PageOptions {
    /// Writes the page, if one was asked for. `earlier` are earlier takes of the same melody with their numbers, oldest
    /// first.
    pub fn write(
        &self,
        judged: &Judged,
        earlier: &[(u32, Report)],
        number: Option<u32>,
        detail: bool,
        string_length: Option<Millimetres>,
    ) -> miette::Result<()> {
        let Some(file) = &self.page else { return Ok(()) };
        let content = PageContent {
            report: &judged.report,
            melody: &judged.melody,
            contour: Some(&judged.contour),
            samples: Some(&judged.samples),
            number,
            earlier,
        };
        let settings = PageSettings { detail, sound: !self.no_sound, string_length };
        write_file::whole(file, page::html(&content, &settings).as_bytes())
    }
}
