//! `fingertape jot`: free playing becomes a draft melody to edit.

use super::shared::choices::InstrumentName;
use super::shared::exit_codes::Ending;
use super::shared::failure::{self, Failure};
use super::shared::same_place::same_place;
use super::shared::shown::Shown as _;
use super::shared::{melody_file, print, ranges, write_file};
use clap::Args;
use fingertape::decode;
use fingertape::formats;
use fingertape::jot::{Draft, JotSettings, KEY_GUESSED, commented_toml, draft_from_listening};
use fingertape::notation::{Instrument, Key, Metre};
use fingertape::pipeline;
use fingertape::recording_quality::{self, Unjudgeable};
use fingertape::samples::Samples;
use fingertape::units::{A4_ISO16, Hertz};
use std::path::{Path, PathBuf};

/// The arguments of `jot`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct JotArguments {
    /// Listen to a recording instead of the microphone
    #[arg(long, value_name = "FILE")]
    from: Option<PathBuf>,
    /// The instrument that plays
    #[arg(long, value_enum, ignore_case = true)]
    instrument: InstrumentName,
    /// The tempo, in beats per minute, 20 to 300 (in 6/8 of eighths): as near as the player knows it
    #[arg(long, value_name = "BEATS", allow_negative_numbers = true, value_parser = ranges::bpm)]
    bpm: f64,
    /// The metre
    #[arg(long, value_name = "METRE", default_value = "4/4", value_parser = metre)]
    metre: Metre,
    /// The key, such as D, Bb or Em [default: a guess from the notes]
    #[arg(long, value_name = "KEY")]
    key: Option<Key>,
    /// How many beats stand before the first full bar
    #[arg(long, value_name = "BEATS", default_value_t = 0)]
    pickup: u32,
    /// The pitch of A4, in hertz, 390 to 470
    #[arg(long, value_name = "HERTZ", allow_negative_numbers = true, value_parser = ranges::a4,
          default_value_t = A4_ISO16.0)]
    a4: f64,
    /// The title of the melody
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,
    /// Write the draft to this file instead of the screen: a name that ends in .toml
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replace a file that is there already
    #[arg(long, requires = "output")]
    force: bool,
    /// Live: keep the recording as a WAV file too, to check it later
    #[arg(long, value_name = "FILE", conflicts_with = "from")]
    pub(super) keep: Option<PathBuf>,
    /// Live: print no line that is redrawn (for screen readers; chosen by itself where the output is not a terminal)
    #[arg(long, conflicts_with = "from")]
    pub(super) plain: bool,
    /// Live: the microphone, by its name [default: the system's choice]
    #[arg(long, value_name = "NAME", conflicts_with = "from")]
    pub(super) input: Option<String>,
    /// Live: stop after so many seconds without a note
    #[arg(long, value_name = "SECONDS", default_value_t = 8.0, allow_negative_numbers = true,
          value_parser = ranges::patience, conflicts_with = "from")]
    pub(super) stop_after: f64,
}

const AFTER_HELP: &str = "\
Play the tune that you found, by itself and with a steady beat. The draft has its notes and rests in
bars, to be read, played and changed: it is what was heard, and where that was not sure a comment
says so, with bar and beat. The first note stands on beat 1 unless --pickup says otherwise.

Examples:
  fingertape jot --instrument violin --bpm 80 --metre 4/4
  fingertape jot --from my-tune.m4a --instrument violin --bpm 80 --key D --output draft.toml
  fingertape jot --from my-tune.wav --instrument cello --bpm 92 --metre 3/4 --pickup 1

Exit codes:
  0  a draft was made
  1  no draft: silent, too quiet, too noisy, or no note in it
  2  a file or a microphone that cannot be used, a file that is there already, or a wrong argument";

fn metre(text: &str) -> Result<Metre, String> {
    let metre: Metre = text.parse().map_err(|error: fingertape::notation::MetreError| error.to_string())?;
    if metre.unit > 16 { Err("the lower number is at most 16".to_owned()) } else { Ok(metre) }
}

/// Runs the command.
pub fn run(arguments: &JotArguments) -> miette::Result<Ending> {
    let instrument = Instrument::from(arguments.instrument);
    is_pickup(arguments.pickup, arguments.metre)?;
    if let Some(output) = &arguments.output {
        let recording = arguments.from.as_ref().or(arguments.keep.as_ref());
        if let Some(recording) = recording {
            keep_the_recording(recording, output)?;
        }
        is_draft(output)?;
        melody_file::is_free(output, arguments.force)?;
    }
    let samples = match &arguments.from {
        Some(file) => {
            failure::is_there(file, "the recording")?;
            let take = decode::read_take(file).map_err(failure::unusable_take)?;
            print::remarks(&take.remarks);
            take.samples
        }
        None => live(arguments, instrument)?,
    };
    if let Some(why) = refusal(&samples) {
        print::plain(why)?;
        return Ok(Ending::Refused);
    }
    let settings = JotSettings {
        instrument,
        a4: Hertz(arguments.a4),
        bpm: arguments.bpm,
        metre: arguments.metre,
        key: arguments.key,
        pickup: arguments.pickup,
    };
    let mut draft = draft_from_listening(&pipeline::listen(&samples, Some(instrument)), &settings);
    if draft.heard.is_empty() {
        print::plain("No draft: no note was heard.\nPlay closer to the microphone, one note at a time.\n")?;
        return Ok(Ending::Refused);
    }
    draft.melody.title.clone_from(&arguments.title);
    let toml = commented_toml(&formats::write_toml(&draft.melody), &draft.remarks);
    match &arguments.output {
        Some(file) => {
            let written = write_file::whole(file, toml.as_bytes());
            if written.is_err() {
                // What was played live cannot be heard again: the player gets the draft all the same.
                print::plain(&toml)?;
            }
            written?;
            print::plain(&summary(&draft, file, arguments))?;
        }
        None => print::plain(&toml)?,
    }
    Ok(Ending::Done)
}

/// Why nothing can be heard in a recording.
fn refusal(samples: &Samples) -> Option<&'static str> {
    recording_quality::inspect(samples).unjudgeable.map(|why| match why {
        Unjudgeable::Silence => {
            "No draft: the recording is silent.\nCheck the microphone, and that it is allowed to listen.\n"
        }
        Unjudgeable::TooQuiet => "No draft: the recording is too quiet.\nPlay closer to the microphone.\n",
        Unjudgeable::TooNoisy => {
            "No draft: the recording is too noisy.\nFind a quieter room, or go closer.\n"
        }
    })
}

/// What was written, and what to look at.
fn summary(draft: &Draft, file: &Path, arguments: &JotArguments) -> String {
    let bars = draft.melody.bars().len();
    let notes = draft.heard.len();
    let count = |number: usize, one: &str| format!("{number} {one}{}", if number == 1 { "" } else { "s" });
    let mut text = format!("{}: {} in {}.\n", file.shown(), count(notes, "note"), count(bars, "bar"));
    if let Some(played) = draft.played_bpm.filter(|played| (played / arguments.bpm - 1.0).abs() > 0.05) {
        text.push_str(&format!(
            "You played at about {played:.0} beats a minute; the draft says {}.\n",
            arguments.bpm
        ));
    }
    for remark in &draft.remarks {
        text.push_str(&remark.text);
        if remark.code == KEY_GUESSED {
            text.push_str(" Add --force to replace this draft.");
        }
        text.push('\n');
    }
    text.push_str("Read it, play it, change it: it is a text file.\n");
    text
}

/// A draft has comments where the ear was not sure, which only TOML can hold.
fn is_draft(output: &Path) -> miette::Result<()> {
    if output.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml")) {
        return Ok(());
    }
    Err(Failure::new(
        format!("a draft is not written to {}", output.display()),
        "end the name in .toml; fingertape convert draft.toml draft.abc makes another format of it afterwards",
    )
    .into())
}

/// A pickup is shorter than a bar.
fn is_pickup(pickup: u32, metre: Metre) -> miette::Result<()> {
    if pickup < u32::from(metre.beats) {
        return Ok(());
    }
    let beats = if pickup == 1 { "1 beat" } else { &format!("{pickup} beats") };
    let what_to_do = match metre.beats {
        1 => format!("a pickup is shorter than a bar, and a bar of {metre} is one beat: leave out --pickup"),
        2 => "a pickup is shorter than a bar: 0 beats or 1".to_owned(),
        bar => format!("a pickup is shorter than a bar: 0 to {} beats", bar - 1),
    };
    Err(Failure::new(format!("a pickup of {beats} is no pickup in {metre}"), what_to_do).into())
}

/// The draft must not replace the recording that it was heard in.
fn keep_the_recording(recording: &Path, output: &Path) -> miette::Result<()> {
    if same_place(recording, output) {
        return Err(Failure::new(
            format!("{} is the recording", output.display()),
            "give the draft a name of its own, such as draft.toml",
        )
        .into());
    }
    Ok(())
}

#[cfg(feature = "microphone")]
fn live(arguments: &JotArguments, instrument: Instrument) -> miette::Result<Samples> {
    super::live::jot::listen(arguments, instrument)
}

#[cfg(not(feature = "microphone"))]
fn live(arguments: &JotArguments, _: Instrument) -> miette::Result<Samples> {
    let _ = (arguments.plain, &arguments.input, &arguments.keep, arguments.stop_after);
    Err(failure::no_microphone_built_in())
}
