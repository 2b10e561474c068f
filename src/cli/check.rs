//! `fingertape check`: a take against its melody becomes a report.

use super::exit_codes::Ending;
use super::failure::{self, Failure};
use super::player_options::PlayerOptions;
use super::report_page::PageOptions;
use super::settle_instrument::settle_instrument;
use super::{print, progress, ranges, write_file};
use clap::{Args, ValueEnum};
use fingertape::decode;
use fingertape::findings::Report;
use fingertape::formats::{self, ReadMelody};
use fingertape::notation::{Fifths, Instrument, Melody};
use fingertape::page::PageContent;
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::pitch::F0;
use fingertape::report::{self, TextSettings};
use fingertape::samples::Samples;
use fingertape::units::{A4_ISO16, Hertz};
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
    /// The tempo that was set, in beats per minute [default: as the melody says]
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

/// What is printed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ReportFormat {
    /// Words for people
    Text,
    /// One JSON object
    Json,
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

/// Two files and what is to be assumed about them.
pub struct JudgeRequest {
    /// The recording.
    pub take: PathBuf,
    /// The written melody.
    pub melody: PathBuf,
    /// The instrument, where asked for.
    pub instrument: Option<Instrument>,
    /// The pitch of A4, where asked for.
    pub a4: Option<Hertz>,
    /// How the open strings follow from A.
    pub fifths: Fifths,
    /// Beats per minute, where asked for.
    pub bpm: Option<f64>,
}

/// A judged take with what it was judged from.
pub struct Judged {
    /// The report.
    pub report: Report,
    /// The melody, its instrument settled.
    pub melody: Melody,
    /// The sound.
    pub samples: Samples,
    /// The fundamental over time.
    pub f0: F0,
}

impl Judged {
    /// What a page is made of: this take, its number in the take book where it has one, and earlier takes of the same
    /// melody with theirs, oldest first.
    pub fn content<'a>(&'a self, number: Option<u32>, earlier: &'a [(u32, Report)]) -> PageContent<'a> {
        PageContent {
            report: &self.report,
            melody: &self.melody,
            f0: Some(&self.f0),
            samples: Some(&self.samples),
            number,
            earlier,
            playing_test: None,
        }
    }
}

/// Reads both files, settles what neither says, and judges.
pub fn judge(asked: &JudgeRequest) -> miette::Result<Judged> {
    failure::is_there(&asked.take, "the recording")?;
    failure::is_there(&asked.melody, "the melody")?;
    let read = formats::read_melody_for(&asked.melody, asked.instrument);
    let ReadMelody { melody, mut remarks } =
        read.map_err(|error| failure::unusable_melody(error, &asked.melody))?;
    let settled = settle_instrument(melody)?;
    let melody = settled.melody;
    remarks.extend(settled.remarks);
    let take = progress::while_working("Reading the recording", || decode::read_take(&asked.take));
    let take = take.map_err(failure::unusable_take)?;
    remarks.extend(take.remarks);
    let settings = JudgeSettings {
        instrument: settled.instrument,
        a4: asked.a4.or(melody.a4).unwrap_or(A4_ISO16),
        fifths: asked.fifths,
        bpm: asked.bpm.or(melody.bpm),
        title: melody.title.clone().unwrap_or_else(|| file_stem(&asked.melody)),
        remarks,
    };
    let samples = take.samples;
    let (report, f0) = progress::while_working("Listening to the take", || {
        let listening = pipeline::listen(&samples, Some(settings.instrument));
        (pipeline::judge_listening(&samples, &listening, &melody, &settings), listening.contour.f0())
    });
    Ok(Judged { report, melody, samples, f0 })
}

fn file_stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
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
