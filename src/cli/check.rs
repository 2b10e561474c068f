//! `fingertape check`: a take against its melody becomes a report.

use super::shared::choices::ReportFormat;
use super::shared::exit_codes::Ending;
use super::shared::failure::Failure;
use super::shared::judge::{JudgeRequest, judge};
use super::shared::player_options::PlayerOptions;
use super::shared::report_page::{PageFile, PageOptions};
use super::shared::same_place::same_place;
use super::shared::{print, ranges, write_file};
use clap::Args;
use fingertape::report::{self, TextSettings};
use std::path::{Path, PathBuf};

/// The arguments of `check`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct CheckArguments {
    /// The recording: WAV, MP3, M4A, FLAC, Ogg, WebM and most of what a phone makes
    take: PathBuf,
    /// The written melody: a text file as shown below (.toml), ABC (.abc), or MusicXML (.musicxml,
    /// .xml, .mxl)
    #[arg(long, value_name = "FILE")]
    melody: PathBuf,
    #[command(flatten)]
    player: PlayerOptions,
    /// The tempo that was set, in beats per minute, 20 to 300 (in 6/8 of eighths)
    /// [default: as the melody says]
    #[arg(long, value_name = "BEATS", allow_negative_numbers = true, value_parser = ranges::bpm)]
    bpm: Option<f64>,
    /// What is printed: words for people, or JSON for programs
    #[arg(long, value_enum, default_value_t = ReportFormat::Text)]
    format: ReportFormat,
    /// Print the teacher's report: a table, note by note, with units, thresholds and confidence
    #[arg(long)]
    detail: bool,
    /// Also write the JSON report to this file
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    #[command(flatten)]
    page: PageOptions,
}

const AFTER_HELP: &str = "\
A melody as a text file, one line a bar: a note with its octave, then its length (w whole, h half,
q quarter, e eighth, s sixteenth; none means the same as before):
  instrument = \"violin\"
  metre = \"4/4\"
  key = \"D\"
  bpm = 100
  bars = \"\"\"
  D4 q   E4     F#4    G4
  A4 q   A4     B4     rest
  \"\"\"
q. is dotted, Bb4 B flat, Bn4 B natural, D4 h~ D4 q one tied note, D4 q/3 E4 F#4 a triplet in one
beat of 4/4; pickup = \"A4 q\" (above bars) stands before bar 1. bpm counts the notes of the metre's
lower number: in 6/8 eighths.

Examples:
  fingertape check my-take.m4a --melody my-melody.toml
  fingertape check my-take.wav --melody my-melody.musicxml --instrument viola --a4 442 --bpm 80
  fingertape check my-take.mp3 --melody my-melody.abc --detail --json report.json
  fingertape check my-take.flac --melody my-melody.toml --format json
  fingertape check my-take.wav --melody my-melody.toml --page report.html --page report.pdf

Exit codes:
  0  judged
  1  refused: silent, too quiet, too noisy, or not this melody; nothing is graded
  2  a file that cannot be used, or a wrong argument";

/// Runs the command.
pub fn run(arguments: &CheckArguments) -> miette::Result<Ending> {
    let asked = JudgeRequest {
        take: arguments.take.clone(),
        melody: arguments.melody.clone(),
        instrument: arguments.player.instrument(),
        a4: arguments.player.a4(),
        fifths: arguments.player.fifths(),
        bpm: arguments.bpm,
    };
    if let Some(file) = &arguments.json {
        keep_the_inputs("--json", file, &asked)?;
    }
    let pages = arguments.page.files()?;
    for page in &pages {
        keep_the_inputs("--page", page.path(), &asked)?;
    }
    one_place_each(arguments.json.as_deref(), &pages)?;
    let judged = judge(&asked)?;
    let report = &judged.report;
    let json = report::json(report);
    let written = arguments.json.as_ref().map_or(Ok(()), |file| write_file::whole(file, json.as_bytes()));
    let settings = TextSettings {
        string_length: arguments.player.string_length(report.melody.instrument),
        bold: print::wants_bold(),
    };
    let content = judged.content(None, &[]);
    let shown = arguments.page.settings(arguments.detail, settings.string_length);
    let drawn = pages.iter().try_for_each(|page| page.write(&content, &shown));
    match arguments.format {
        ReportFormat::Json => print::plain(&json)?,
        ReportFormat::Text if arguments.detail => print::styled(&report::for_teacher(report, &settings))?,
        ReportFormat::Text => print::styled(&report::for_child(report, &settings))?,
    }
    // The player gets the report even where its file could not be written.
    written?;
    drawn?;
    Ok(Ending::of(report.outcome))
}

/// What is written must not replace what was written just before.
fn one_place_each(json: Option<&Path>, pages: &[PageFile]) -> miette::Result<()> {
    let mut outputs: Vec<(&str, &Path)> = json.map(|file| ("--json", file)).into_iter().collect();
    for page in pages {
        let page = page.path();
        if let Some((option, file)) = outputs.iter().find(|(_, file)| same_place(file, page)) {
            return Err(Failure::new(
                format!("{option} {} and --page {} are one file", file.display(), page.display()),
                "give each its own name, such as report.json and report.html",
            )
            .into());
        }
        outputs.push(("--page", page));
    }
    Ok(())
}

/// The report must not replace the recording or the melody that it is about.
fn keep_the_inputs(option: &str, file: &Path, asked: &JudgeRequest) -> miette::Result<()> {
    let Ok(target) = file.canonicalize() else { return Ok(()) };
    for input in [&asked.take, &asked.melody] {
        if input.canonicalize().is_ok_and(|input| input == target) {
            return Err(Failure::new(
                format!("{option} {} would replace the file that is to be checked", file.display()),
                "give the report a name of its own, such as report.json or report.html",
            )
            .into());
        }
    }
    Ok(())
}
