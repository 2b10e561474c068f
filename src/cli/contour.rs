//! `fingertape contour`: the pitch that the program hears, as a table.

use super::shared::choices::InstrumentName;
use super::shared::exit_codes::Ending;
use super::shared::{failure, print, progress};
use clap::{Args, ValueEnum};
use fingertape::notation::Instrument;
use fingertape::pitch::{self, Contour, TrackerSettings};
use fingertape::{decode, report};
use std::path::PathBuf;

/// The arguments of `contour`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct ContourArguments {
    /// The recording: WAV, MP3, M4A, FLAC, Ogg, WebM and most of what a phone makes
    take: PathBuf,
    /// The instrument that plays; without it the ear is open for all four
    #[arg(long, value_enum, ignore_case = true)]
    instrument: Option<InstrumentName>,
    /// The form of the table
    #[arg(long, value_enum, default_value_t = TableFormat::Csv)]
    format: TableFormat,
}

/// A form of table.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum TableFormat {
    /// Comma-separated values
    Csv,
}

const AFTER_HELP: &str = "\
Columns:
  time_s   the centre of the frame, in seconds from the start of the take, every 0.01 s
  hz       the pitch in hertz; empty where nothing with a pitch sounds
  clarity  how periodic the sound is, 0 to 1

Examples:
  fingertape contour my-take.wav --instrument cello
  fingertape contour my-take.wav --format csv > what-was-heard.csv";

/// Runs the command.
pub fn run(arguments: &ContourArguments) -> miette::Result<Ending> {
    failure::is_there(&arguments.take, "the recording")?;
    let take = progress::while_working("Reading the recording", || decode::read_take(&arguments.take));
    let take = take.map_err(failure::unusable_take)?;
    print::remarks(&take.remarks);
    let instrument = arguments.instrument.map(Instrument::from);
    let settings = TrackerSettings::for_instrument(take.samples.rate, instrument);
    let contour: Contour =
        progress::while_working("Listening to the take", || pitch::contour(&take.samples, settings));
    match arguments.format {
        TableFormat::Csv => print::plain(&report::contour_csv(&contour))?,
    }
    Ok(Ending::Done)
}
