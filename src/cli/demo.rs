//! `fingertape demo`: the whole job on a take and a melody that come with the program.

use super::shared::exit_codes::Ending;
use super::shared::failure::{Failure, said};
use super::shared::judge::{JudgeRequest, judge};
use super::shared::shown::Shown as _;
use super::shared::{print, write_file};
use clap::Args;
use fingertape::engrave::{Paper, pdf_from_pages};
use fingertape::notation::Fifths;
use fingertape::page::{self, PageSettings};
use fingertape::report::{self, TextSettings};
use std::fs;
use std::path::{Path, PathBuf};

/// The take: viola-2 plays the melody with four mistakes planted in it (`demo-data/origin.txt`).
const TAKE: &[u8] = include_bytes!("../../demo-data/take.flac");
/// The melody.
const MELODY: &[u8] = include_bytes!("../../demo-data/melody.toml");

/// The arguments of `demo`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct DemoArguments {
    /// The folder for the take, the melody and the report; it is made if need be
    #[arg(long, value_name = "FOLDER", default_value = "fingertape-demo")]
    out: PathBuf,
    /// Replace files of these names that hold something else
    #[arg(long)]
    force: bool,
}

const AFTER_HELP: &str = "\
The folder gets take.flac (to listen to), melody.toml (the sheet), report.html (the report to look
at and to click on), report.pdf (the same to print) and report.json (the same for programs). Four
mistakes are planted in the take: a wrong note, a rest that is too short, a finger too low and a
slack string. Where a file of one of these names holds something else, it is left as it is and
the demo stops, unless --force says that it may be replaced.

Examples:
  fingertape demo
  fingertape demo --out somewhere-else";

/// Runs the command: the same steps as `check`, on files that it puts down first.
pub fn run(arguments: &DemoArguments) -> miette::Result<Ending> {
    let folder = &arguments.out;
    fs::create_dir_all(folder).map_err(|error| {
        Failure::new(
            format!("the folder {} cannot be made: {}", folder.display(), said(&error)),
            "choose another one that you may write to: fingertape demo --out FOLDER",
        )
    })?;
    let (take, melody) = (folder.join("take.flac"), folder.join("melody.toml"));
    let (page, print) = (folder.join("report.html"), folder.join("report.pdf"));
    let json = folder.join("report.json");
    if !arguments.force {
        keep_others([(&take, TAKE), (&melody, MELODY)])?;
        // Reports without the take that they would be about are not the demo's.
        if !(take.exists() && melody.exists())
            && let Some(other) = [&page, &print, &json].into_iter().find(|report| report.exists())
        {
            return Err(in_the_way(other));
        }
    }
    write_file::whole(&take, TAKE)?;
    write_file::whole(&melody, MELODY)?;
    let asked = JudgeRequest { take, melody, instrument: None, a4: None, fifths: Fifths::Equal, bpm: None };
    let judged = judge(&asked)?;
    let report = &judged.report;
    let (content, shown) = (judged.content(None, &[]), PageSettings::default());
    let html = page::html(&content, &shown);
    let pages = page::pages_from_report(&content, &shown, Paper::Letter).pages;
    let pdf = pdf_from_pages(&pages, &report.melody.title);
    let data = report::json(report);
    let files = [(&page, html.as_bytes()), (&print, &pdf[..]), (&json, data.as_bytes())];
    if !arguments.force {
        keep_others(files)?;
    }
    for (path, bytes) in files {
        write_file::whole(path, bytes)?;
    }
    let settings = TextSettings { bold: print::wants_bold(), ..TextSettings::default() };
    print::styled(&report::for_child(report, &settings))?;
    print::styled(&format!(
        "\nThat was a take that comes with the program, with four mistakes planted in it.\n\
         To look closer:\n\
         \u{20} {}\n      the recording: listen to it\n\
         \u{20} {}\n      the sheet\n\
         \u{20} {}\n      this report to look at: open it in a browser, and choose a note\n\
         \u{20} {}\n      the same to print\n\
         \u{20} {}\n      the same for programs\n\
         Your own: fingertape check TAKE --melody MELODY\n\
         The teacher's tables: the same with --detail\n",
        asked.take.shown(),
        asked.melody.shown(),
        page.shown(),
        print.shown(),
        json.shown(),
    ))?;
    Ok(Ending::of(report.outcome))
}

/// A file that is there already must hold what would be written.
fn keep_others<'a>(files: impl IntoIterator<Item = (&'a PathBuf, &'a [u8])>) -> miette::Result<()> {
    for (path, bytes) in files {
        // What cannot be read is something else; a link that leads nowhere is there too.
        if path.symlink_metadata().is_ok() && fs::read(path).map_or(true, |there| there != bytes) {
            return Err(in_the_way(path));
        }
    }
    Ok(())
}

fn in_the_way(path: &Path) -> miette::Report {
    Failure::new(
        format!("there is a file {} already, and it is not the demo's", path.display()),
        "choose another folder: fingertape demo --out FOLDER; or add --force to replace what is there",
    )
    .into()
}
