//! `fingertape move`: the same tune for another instrument.

use super::shared::choices::InstrumentName;
use super::shared::exit_codes::Ending;
use super::shared::settle_instrument::settle_instrument;
use super::shared::shown::Shown as _;
use super::shared::{failure, melody_file, print};
use clap::Args;
use fingertape::formats::{self, ReadMelody, WrittenFormat};
use fingertape::notation::{Instrument, Keeping};
use std::path::PathBuf;

/// The arguments of `move`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct MoveArguments {
    /// The written melody: TOML, ABC or MusicXML ('fingertape help check' shows how to write one)
    melody: PathBuf,
    /// The instrument that it is to be for
    #[arg(long, value_enum, ignore_case = true)]
    to: InstrumentName,
    /// Keep the fingers on the corresponding strings (lowest to lowest) instead of the names of the notes:
    /// one chart of fingers serves, and the key may be another
    #[arg(long)]
    same_fingers: bool,
    /// The instrument that the melody was for, where it does not say so
    #[arg(long, value_enum, ignore_case = true)]
    instrument: Option<InstrumentName>,
    /// Write to this file instead of the screen (.toml, .abc, .musicxml, .mxl or .mid)
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replace a file that is there already
    #[arg(long, requires = "output")]
    force: bool,
}

const AFTER_HELP: &str = "\
The tune stays as it is, note for note. It goes into the clef of the new instrument, by whole
octaves into first position, so that friends can play it together. What could not be kept is
said: another octave than usual, a note above first position, a printed finger that the other
hand does not have.

With --same-fingers the hand stays as it is, in another key: what lay on the D string of the
violin lies on the G string of the viola and of the cello, the third string from above on all
of them. The bass is tuned in fourths, so on it that works for one string at a time.

Examples:
  fingertape move my-melody.toml --to cello
  fingertape move my-melody.toml --to viola --same-fingers --output for-viola-2.toml
  fingertape move my-melody.musicxml --to bass --output for-bass-1.musicxml

Exit codes:
  0  moved; remarks, if there are any, say what could not be kept
  2  a melody that cannot be used, a file that is there already, or a wrong argument";

/// Runs the command.
pub fn run(arguments: &MoveArguments) -> miette::Result<Ending> {
    let path = &arguments.melody;
    failure::is_there(path, "the melody")?;
    let output = match &arguments.output {
        Some(output) => {
            let format = melody_file::format_of(output)?;
            melody_file::may_write(output, path, arguments.force)?;
            Some((output, format))
        }
        None => None,
    };
    let read = formats::read_melody_for(path, arguments.instrument.map(Instrument::from));
    let ReadMelody { melody, remarks } = read.map_err(|error| {
        failure::unusable_melody(
            error,
            path,
            "give the written melody: fingertape move MELODY --to INSTRUMENT",
        )
    })?;
    print::remarks(&remarks);
    let settled = settle_instrument(melody)?;
    print::remarks(&settled.remarks);
    let to = Instrument::from(arguments.to);
    let keeping = if arguments.same_fingers { Keeping::Fingers } else { Keeping::Names };
    let moved = settled.melody.moved_to(settled.instrument, to, keeping);
    match output {
        None => print::plain(&String::from_utf8_lossy(&WrittenFormat::Toml.write(&moved.melody)))?,
        Some((output, format)) => {
            melody_file::write(output, format, &moved.melody)?;
            let key = moved.melody.sheet.key();
            let how = match moved.semitones {
                0 => "sounding where it was".to_owned(),
                by if by % 12 == 0 => {
                    let octaves = by.abs() / 12;
                    let far =
                        if octaves == 1 { "an octave".to_owned() } else { format!("{octaves} octaves") };
                    format!("sounding {far} {}", if by > 0 { "higher" } else { "lower" })
                }
                by => format!("sounding {} semitones {}", by.abs(), if by > 0 { "higher" } else { "lower" }),
            };
            print::plain(&format!("{}: for {to}, in {key}, {how}.\n", output.shown()))?;
        }
    }
    print::remarks(&moved.remarks);
    Ok(Ending::Done)
}
