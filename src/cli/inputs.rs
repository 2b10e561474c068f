//! `fingertape inputs`: which microphones there are, and what each of them hears.

use super::live::recording::{Message, Microphone};
use super::shared::choices::ReportFormat;
use super::shared::exit_codes::Ending;
use super::shared::failure::no_microphone;
use super::shared::print;
use clap::Args;
use fingertape::capture::{self, CaptureError, Input, Wish};
use fingertape::live::{Level, LevelMeter};
use serde::Serialize;
use std::fmt::Write as _;
use std::time::Duration;

/// The arguments of `inputs`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct InputsArguments {
    /// Open each microphone for a second and say how loud it hears the room
    #[arg(long)]
    levels: bool,
    /// What is printed: words for people, or JSON for programs
    #[arg(long, value_enum, default_value_t = ReportFormat::Text)]
    format: ReportFormat,
}

const AFTER_HELP: &str = "\
The microphone with a star is the one that the system would choose. One that is in the list may
still refuse to open: another program may have it, or the system's settings may forbid it;
--levels finds out. Make a sound while it listens.

Levels are in dB below full scale, of the loudest 100 ms:
  silent    below -62: it hears nothing, or is switched off
  quiet     below -44: come nearer to it
  good
  too loud  peaks within 1 dB of full scale: go further away, or turn its level down

Examples:
  fingertape inputs
  fingertape inputs --levels
  fingertape record my-melody.toml --input \"USB Microphone\"

Exit codes:
  0  listed
  2  there is no microphone at all, or a wrong argument";

/// A microphone for programs.
#[derive(Serialize)]
struct Listed {
    name: String,
    id: String,
    default: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    level: Option<Heard>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cannot_be_opened: Option<String>,
}

/// What a microphone heard.
#[derive(Serialize)]
struct Heard {
    loudest_db: f64,
    peak_db: f64,
    word: &'static str,
}

/// How long each microphone is heard, and how long it may take until something comes.
const LISTEN: f64 = 1.0;
const NOTHING_AFTER: Duration = Duration::from_secs(2);

/// Runs the command.
pub fn run(arguments: &InputsArguments) -> miette::Result<Ending> {
    let inputs = capture::inputs().map_err(no_microphone)?;
    let listed: Vec<Listed> = inputs.into_iter().map(|input| listed(input, arguments.levels)).collect();
    match arguments.format {
        ReportFormat::Json => {
            let object = serde_json::json!({ "inputs": listed });
            let mut text =
                serde_json::to_string_pretty(&object).expect("words and numbers, which JSON can say");
            text.push('\n');
            print::plain(&text)?;
        }
        ReportFormat::Text => print::styled(&as_text(&listed, arguments.levels))?,
    }
    Ok(Ending::Done)
}

fn listed(input: Input, levels: bool) -> Listed {
    let mut listed = Listed {
        name: input.name,
        id: input.id,
        default: input.is_default,
        level: None,
        cannot_be_opened: None,
    };
    if levels {
        match level(&listed.id) {
            Ok(level) => {
                let tenth = |value: f64| (value * 10.0).round() / 10.0;
                listed.level = Some(Heard {
                    loudest_db: tenth(level.loudest_db),
                    peak_db: tenth(level.peak_db),
                    word: level.word().as_str(),
                });
            }
            Err(CaptureError::CannotOpen { why, .. }) => listed.cannot_be_opened = Some(why),
            Err(error) => listed.cannot_be_opened = Some(error.to_string()),
        }
    }
    listed
}

/// Listens to one microphone for a second of its own time.
fn level(id: &str) -> Result<Level, CaptureError> {
    let microphone = Microphone::open(&Wish { input: Some(id.to_owned()), rate: None })?;
    let mut meter = LevelMeter::new(microphone.rate());
    let mut left = (LISTEN * microphone.rate().hertz()) as usize;
    while left > 0 {
        match microphone.next(NOTHING_AFTER) {
            Some(Message::Samples(samples)) => {
                let count = left.min(samples.len());
                meter.push(&samples[..count]);
                left -= count;
            }
            Some(Message::Trouble(error)) if error.listening_continues() => {
                if let CaptureError::Stalled { .. } = error {
                    return Err(error);
                }
            }
            Some(Message::Trouble(error)) => return Err(error),
            None => return Err(CaptureError::Stalled { seconds: NOTHING_AFTER.as_secs_f64() }),
        }
    }
    Ok(meter.level())
}

fn as_text(listed: &[Listed], levels: bool) -> String {
    let mut text = String::new();
    for one in listed {
        let _ = writeln!(text, "{} {}", if one.default { "*" } else { " " }, one.name);
        if one.id != one.name {
            let _ = writeln!(text, "      its exact name: {}", one.id);
        }
        if let Some(level) = &one.level {
            let _ = writeln!(text, "      {} ({:.0} dB)", level.word, level.loudest_db);
        }
        if let Some(why) = &one.cannot_be_opened {
            let _ = writeln!(text, "      is there but cannot be opened: {why}");
        }
    }
    if listed.iter().any(|one| one.default) {
        text.push_str("\n* the system's own choice\n");
    }
    if !levels {
        text.push_str("\nHow much each of them hears: fingertape inputs --levels\n");
    }
    text
}
