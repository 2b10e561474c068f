//! `fingertape proofread`: a melody held against a teacher's rule sheet.

use super::shared::choices::{InstrumentName, ReportFormat};
use super::shared::exit_codes::Ending;
use super::shared::rule_sheet::sheet_for;
use super::shared::settle_instrument::settle_instrument;
use super::shared::{failure, print};
use clap::Args;
use fingertape::formats::{self, ReadMelody};
use fingertape::notation::Instrument;
use fingertape::report::{self, ProofreadingReport, TextSettings};
use fingertape::rules::{self, RULES};
use std::fmt::Write as _;
use std::path::PathBuf;

/// The arguments of `proofread`.
#[derive(Args)]
#[command(after_help = after_help())]
pub struct ProofreadArguments {
    /// The written melody: TOML, ABC or MusicXML ('fingertape help check' shows how to write one)
    melody: PathBuf,
    /// The teacher's rule file (TOML; its words are below)
    #[arg(long, value_name = "FILE")]
    rules: PathBuf,
    /// The tier, where the rule file has several
    #[arg(long, value_name = "NAME")]
    tier: Option<String>,
    /// The instrument, where the melody does not name it (or names another)
    #[arg(long, value_enum, ignore_case = true)]
    instrument: Option<InstrumentName>,
    /// What is printed: words for people, or JSON for programs
    #[arg(long, value_enum, default_value_t = ReportFormat::Text)]
    format: ReportFormat,
}

const BEFORE_WORDS: &str = "\
A rule file says what a melody should have. What it does not mention is the writer's to choose.
What stands between repeat signs is written once and counts once.
One file serves all four instruments, because notes are named by string:
  title = \"Four notes from D to G\"
  metre = \"4/4\"
  bars = 4
  key = \"D\"
  [[notes]]
  string = \"D\"
  notes = [\"D\", \"E\", \"F#\", \"G\"]
  [tier.further]
  bars = 8
  largest_leap = \"fifth\"

What a tier says takes the place of what stands above it. Fingers (fingers = [\"0\", \"1\", \"2 low\"])
are those of the violin; the others play the same note with a finger of their own. A note outside
the key has its finger's letter: low 1 on A is B flat, 2 on A is C sharp. For an instrument that has
no such string, say in the same [[notes]] what it takes:
  instead.viola = { string = \"C\", notes = [\"C\", \"D\"] }
  instead.cello = \"nothing\"

The words of a rule file, besides title and bpm:
";

const AFTER_WORDS: &str = "
Examples:
  fingertape proofread my-melody.toml --rules rules.toml
  fingertape proofread my-melody.toml --rules rules-in-tiers.toml --tier further --instrument cello
  fingertape proofread my-melody.musicxml --rules rules.toml --format json

Exit codes:
  0  the melody has all that the sheet asks for
  1  there is something to change
  2  a file that cannot be used, or a wrong argument";

fn after_help() -> String {
    let mut text = BEFORE_WORDS.to_owned();
    for rule in RULES {
        let _ = writeln!(text, "  {}", rule.typed);
    }
    text + AFTER_WORDS
}

/// What belongs where.
const BOTH: &str =
    "give the melody first, and the teacher's rules with --rules: fingertape proofread MELODY --rules RULES";

/// Runs the command.
pub fn run(arguments: &ProofreadArguments) -> miette::Result<Ending> {
    failure::is_there(&arguments.melody, "the melody")?;
    failure::is_there(&arguments.rules, "the rules")?;
    let asked = arguments.instrument.map(Instrument::from);
    let read = formats::read_melody_for(&arguments.melody, asked);
    let ReadMelody { melody, mut remarks } =
        read.map_err(|error| failure::unusable_melody(error, &arguments.melody, BOTH))?;
    let settled = settle_instrument(melody)?;
    remarks.extend(settled.remarks);
    let (rules, sheet) = sheet_for(&arguments.rules, arguments.tier.as_deref(), settled.instrument, BOTH)?;
    let found = rules::proofread(&settled.melody, &rules, &sheet);
    let stem = arguments.melody.file_stem().unwrap_or_default().to_string_lossy();
    let title = settled.melody.title.as_deref().unwrap_or(&stem);
    let report = ProofreadingReport { melody: title, sheet: &sheet, found: &found, remarks: &remarks };
    match arguments.format {
        ReportFormat::Json => print::plain(&report::proofreading_json(&report))?,
        ReportFormat::Text => {
            let settings = TextSettings { bold: print::wants_bold(), ..TextSettings::default() };
            print::styled(&report::proofreading_text(&report, &settings))?;
        }
    }
    Ok(if found.breaches.is_empty() { Ending::Done } else { Ending::Refused })
}
