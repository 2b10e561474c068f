//! `fingertape convert`: a melody in one format becomes a file in another.

use super::shared::choices::InstrumentName;
use super::shared::exit_codes::Ending;
use super::shared::shown::Shown as _;
use super::shared::{failure, melody_file, print};
use clap::Args;
use fingertape::formats::{self, ReadMelody};
use fingertape::notation::{EventKind, Instrument};
use std::path::PathBuf;

/// The arguments of `convert`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct ConvertArguments {
    /// The melody to read: TOML, ABC or MusicXML (.musicxml, .xml, .mxl)
    input: PathBuf,
    /// The file to write: its name ends in .toml, .abc, .musicxml, .xml, .mxl or .mid
    output: PathBuf,
    /// The instrument, where the melody does not name it (of several parts, its own is taken)
    #[arg(long, value_enum, ignore_case = true)]
    instrument: Option<InstrumentName>,
    /// Replace a file that is there already
    #[arg(long)]
    force: bool,
}

const AFTER_HELP: &str = "\
Notes, rests, bars, key, metre, tempo, fingers, title and composer go from format to format;
repeats are written out as they are played. What the new format cannot hold is said. MIDI
holds how the notes sound and is only ever written.

Examples:
  fingertape convert my-melody.toml to-print.musicxml
  fingertape convert my-melody.musicxml from-my-notation-program.toml
  fingertape convert my-melody.abc my-melody.mid --force

Exit codes:
  0  written
  2  a melody that cannot be used, a file that is there already, or a wrong argument";

/// Runs the command.
pub fn run(arguments: &ConvertArguments) -> miette::Result<Ending> {
    let (input, output) = (&arguments.input, &arguments.output);
    failure::is_there(input, "the melody")?;
    let format = melody_file::format_of(output)?;
    melody_file::may_write(output, input, arguments.force)?;
    let read = formats::read_melody_for(input, arguments.instrument.map(Instrument::from));
    let ReadMelody { melody, remarks } = read.map_err(|error| {
        failure::unusable_melody(
            error,
            input,
            "give the written melody first: fingertape convert MELODY NEW-FILE",
        )
    })?;
    print::remarks(&remarks);
    melody_file::write(output, format, &melody)?;
    let notes = melody.events.iter().filter(|event| event.kind != EventKind::Rest).count();
    let rests = melody.events.len() - notes;
    let count = |number: usize, one: &str| format!("{number} {one}{}", if number == 1 { "" } else { "s" });
    let (notes, rests, bars) =
        (count(notes, "note"), count(rests, "rest"), count(melody.bars().len(), "bar"));
    print::plain(&format!("{}: {notes} and {rests} in {bars}.\n", output.shown()))?;
    Ok(Ending::Done)
}
