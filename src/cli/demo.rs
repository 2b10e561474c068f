//! `fingertape demo`: the whole job on a take and a melody that come with the program.

use super::shared::exit_codes::Ending;
use super::shared::failure::{Failure, said};
use super::shared::judge::{JudgeRequest, judge};
use super::shared::report_page::PageFile;
use super::shared::{print, write_file};
use clap::Args;
use fingertape::engrave::Paper;
use fingertape::notation::Fifths;
use fingertape::page::PageSettings;
use fingertape::report::{self, TextSettings};
use std::fs;
use std::path::PathBuf;

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
}

const AFTER_HELP: &str = "\
The folder gets take.flac (to listen to), melody.toml (the sheet), report.html (the report to look
at and to click on), report.pdf (the same to print) and report.json (the same for programs). Four mistakes are planted in the take: a wrong note, a rest that is too short, a finger
too low and a slack string.

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
    write_file::whole(&take, TAKE)?;
    write_file::whole(&melody, MELODY)?;
    let asked = JudgeRequest { take, melody, instrument: None, a4: None, fifths: Fifths::Equal, bpm: None };
    let judged = judge(&asked)?;
    let report = &judged.report;
    let (page, print) = (folder.join("report.html"), folder.join("report.pdf"));
    for file in [&page, &print] {
        let file = PageFile::new(file, Paper::Letter, 150.0)?;
        file.write(&judged.content(None, &[]), &PageSettings::default())?;
    }
    let json = folder.join("report.json");
    write_file::whole(&json, report::json(report).as_bytes())?;
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
        asked.take.display(),
        asked.melody.display(),
        page.display(),
        print.display(),
        json.display(),
    ))?;
    Ok(Ending::of(report.outcome))
}
