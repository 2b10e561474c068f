//! `fingertape sheet`: a melody on paper.

use super::arguments::InstrumentName;
use super::exit_codes::Ending;
use super::failure::{self, Failure};
use super::settle_instrument::settle_instrument;
use super::sheet_files::{SheetFile, write_pages};
use super::{print, ranges};
use clap::{Args, ValueEnum};
use fingertape::engrave::{
    Paper, STAFF_FOR_ADULTS_MM, STAFF_FOR_CHILDREN_MM, SheetSettings, pages_from_melody,
};
use fingertape::formats;
use fingertape::notation::Instrument;
use std::path::PathBuf;

/// The arguments of `sheet`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct SheetArguments {
    /// The melody: .toml, .abc, .musicxml, .xml or .mxl
    #[arg(value_name = "MELODY")]
    melody: PathBuf,
    /// Where the sheet goes: a name that ends in .pdf, .svg or .png (a file of that name is replaced)
    #[arg(long, value_name = "FILE")]
    output: PathBuf,
    /// The instrument that plays, which decides clef and fingers [default: as the melody says]
    #[arg(long, value_enum, ignore_case = true)]
    instrument: Option<InstrumentName>,
    #[command(flatten)]
    look: LookArguments,
    /// The pixels of a .png, to the inch
    #[arg(long, value_name = "PIXELS", default_value_t = 150.0, allow_negative_numbers = true,
          value_parser = ranges::dpi)]
    dpi: f64,
}

/// How sheets look: shared by every command that prints them.
#[derive(Args)]
pub struct LookArguments {
    /// Print the names of the notes under them
    #[arg(long)]
    names: bool,
    /// Print the fingers of first position under the notes (L low, H high, x stretched)
    #[arg(long)]
    fingers: bool,
    /// Print the strings under the notes
    #[arg(long)]
    strings: bool,
    /// The paper
    #[arg(long, value_enum, ignore_case = true, default_value = "letter")]
    paper: PaperName,
    /// The height of the staff: child (9.2 mm), adult (7 mm), or millimetres
    #[arg(long, value_name = "SIZE", default_value = "child", allow_negative_numbers = true, value_parser = staff_size)]
    staff_size: f64,
}

/// Paper as typed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum PaperName {
    /// 8.5 by 11 inches
    Letter,
    /// 210 by 297 mm
    A4,
}

fn staff_size(text: &str) -> Result<f64, String> {
    match text.to_ascii_lowercase().as_str() {
        "child" => Ok(STAFF_FOR_CHILDREN_MM),
        "adult" => Ok(STAFF_FOR_ADULTS_MM),
        other => ranges::staff_mm(other.trim_end_matches("mm").trim_end()),
    }
}

impl LookArguments {
    /// Whether something is asked for that is another on each instrument.
    fn needs_instrument(&self) -> bool {
        self.fingers || self.strings
    }

    /// What the engraver is told.
    pub fn settings(&self) -> SheetSettings {
        SheetSettings {
            paper: match self.paper {
                PaperName::Letter => Paper::Letter,
                PaperName::A4 => Paper::A4,
            },
            staff_mm: self.staff_size,
            names: self.names,
            fingers: self.fingers,
            strings: self.strings,
        }
    }
}

const AFTER_HELP: &str = "\
Print the PDF at 100 % (\"actual size\"), so that the staff keeps its height. Everything is black on
white, made for any printer. A .png or .svg holds one page: where a melody needs more, the files are
numbered, tune-1.png, tune-2.png.

Examples:
  fingertape sheet my-melody.toml --output my-melody.pdf
  fingertape sheet my-melody.toml --output my-melody.pdf --names --fingers --strings
  fingertape sheet my-melody.abc --instrument viola --output my-melody.png --paper a4
  fingertape sheet my-melody.musicxml --output my-melody.svg --staff-size adult

Exit codes:
  0  the sheet was written
  2  a melody or a place that cannot be used, or a wrong argument";

/// Runs the command.
pub fn run(arguments: &SheetArguments) -> miette::Result<Ending> {
    let file = SheetFile::from_path(&arguments.output)?;
    failure::is_there(&arguments.melody, "the melody")?;
    if arguments
        .output
        .canonicalize()
        .is_ok_and(|one| arguments.melody.canonicalize().is_ok_and(|two| one == two))
    {
        return Err(Failure::new(
            format!("{} is the melody itself", arguments.output.display()),
            "give the sheet a name of its own, such as sheet.pdf",
        )
        .into());
    }
    let instrument = arguments.instrument.map(Instrument::from);
    let read = formats::read_melody_for(&arguments.melody, instrument)
        .map_err(|error| failure::unusable_melody(error, &arguments.melody))?;
    let mut melody = read.melody;
    if let Some(instrument) = instrument {
        // Asked for by name, an instrument reads its own clef whatever the file has.
        melody.sheet.clef = Some(instrument.clef());
    }
    if melody.instrument.is_none() {
        match settle_instrument(melody.clone()) {
            Ok(settled) => {
                print::remarks(&settled.remarks);
                melody = settled.melody;
            }
            // Without an instrument the sheet can be drawn in its own clef, but has no fingers.
            Err(error) if arguments.look.needs_instrument() || melody.sheet.clef.is_none() => {
                return Err(error);
            }
            Err(_) => {}
        }
    }
    let engraved = pages_from_melody(&melody, &arguments.look.settings());
    print::remarks(&read.remarks);
    print::remarks(&engraved.remarks);
    let title = melody.title.as_deref().unwrap_or("A melody");
    print::plain(&write_pages(&file, &engraved.pages, title, arguments.dpi)?)?;
    Ok(Ending::Done)
}
