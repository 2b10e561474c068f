//! `fingertape sheet`: a melody on paper, and blank sheets to write one on.

use super::shared::choices::InstrumentName;
use super::shared::exit_codes::Ending;
use super::shared::failure::{self, Failure};
use super::shared::rule_sheet::sheet_for;
use super::shared::settle_instrument::settle_instrument;
use super::shared::sheet_files::{SheetFile, write_pages};
use super::shared::sheet_options::SheetOptions;
use super::shared::worksheet::worksheet;
use super::shared::{print, ranges};
use clap::{ArgGroup, Args};
use fingertape::engrave::{Engraved, pages_from_melody, pages_from_worksheet};
use fingertape::formats;
use fingertape::notation::{Instrument, Keeping, Melody};
use fingertape::remark::Remark;
use std::path::{Path, PathBuf};

/// The arguments of `sheet`.
#[derive(Args)]
#[command(after_help = AFTER_HELP, group = ArgGroup::new("what").required(true))]
pub struct SheetArguments {
    /// The melody: .toml, .abc, .musicxml, .xml or .mxl
    #[arg(value_name = "MELODY", group = "what")]
    melody: Option<PathBuf>,
    /// A teacher's rule file instead of a melody: prints blank sheets to write on, one for each instrument
    #[arg(long, value_name = "RULES", group = "what")]
    rules: Option<PathBuf>,
    /// The tier, where the rule file has several
    #[arg(long, value_name = "NAME", conflicts_with = "melody")]
    tier: Option<String>,
    /// The instruments, joined by commas, each on a page of its own: blank sheets for these [default: all
    /// four], or the melody moved to each
    #[arg(long = "for", value_name = "INSTRUMENTS", value_enum, ignore_case = true, value_delimiter = ',')]
    instruments: Vec<InstrumentName>,
    /// On a blank sheet, bars to try things out in, above those of the melody [default: a line,
    /// where the paper has room]
    #[arg(long, value_name = "BARS", conflicts_with = "melody", value_parser = ranges::practice_bars)]
    practice_bars: Option<u32>,
    /// Where the sheet goes: a name that ends in .pdf, .svg or .png (a file of that name is replaced, and so are the
    /// numbered files of several pictures)
    #[arg(long, value_name = "FILE")]
    output: PathBuf,
    /// The instrument that plays the melody, which decides clef and fingers [default: as the melody says]
    #[arg(long, value_enum, ignore_case = true, conflicts_with = "rules")]
    instrument: Option<InstrumentName>,
    #[command(flatten)]
    look: SheetOptions,
    /// The pixels of a .png, to the inch, 40 to 600
    #[arg(long, value_name = "PIXELS", default_value_t = 150.0, allow_negative_numbers = true,
          value_parser = ranges::dpi)]
    dpi: f64,
}

const AFTER_HELP: &str = "\
Print the PDF at 100 % (\"actual size\"), so that the staff keeps its height. Everything is black on
white, made for any printer. A .png or .svg holds one page: where a melody needs more, the files are
numbered, tune-1.png, tune-2.png, and replace files of these names.

A blank sheet has a line for the name, what the rule file asks, the notes to choose from with finger
and string, bars to try things out in, and the bars of the melody with the given notes in place. A
class set for four instruments is one PDF.

Examples:
  fingertape sheet my-melody.toml --output my-melody.pdf
  fingertape sheet my-melody.toml --output my-melody.pdf --names --fingers --strings
  fingertape sheet my-melody.abc --instrument viola --output my-melody.png --paper a4
  fingertape sheet my-melody.musicxml --output my-melody.svg --staff-size adult
  fingertape sheet my-melody.toml --for viola,cello --output for-two-friends.pdf
  fingertape sheet --rules rules.toml --for violin,viola,cello,bass --output class-set.pdf
  fingertape sheet --rules rules-in-tiers.toml --tier further --output further.pdf

Exit codes:
  0  the sheet was written
  2  a melody, a rule file or a place that cannot be used, or a wrong argument";

/// What to do about a melody in the place of rules, and the other way round.
const MELODY_HERE: &str = "leave out --rules to print it: fingertape sheet MELODY --output sheet.pdf";
const RULES_HERE: &str = "give the written melody (.toml, .abc, .musicxml, .xml or .mxl), or a rule file with --rules: fingertape sheet \
                          --rules RULES --output sheets.pdf";

/// Runs the command.
pub fn run(arguments: &SheetArguments) -> miette::Result<Ending> {
    let file = SheetFile::from_path(&arguments.output)?;
    match (&arguments.melody, &arguments.rules) {
        (_, Some(rules)) => blank_sheets(arguments, rules, &file),
        (Some(melody), None) => melody_sheets(arguments, melody, &file),
        (None, None) => {
            Err(Failure::new("there is nothing to print", "name a melody, or --rules FILE").into())
        }
    }
}

/// The instruments asked for, each once, in the order in which they were typed.
fn asked_for(arguments: &SheetArguments) -> Vec<Instrument> {
    let mut instruments: Vec<Instrument> = Vec::new();
    for name in &arguments.instruments {
        let instrument = Instrument::from(*name);
        if !instruments.contains(&instrument) {
            instruments.push(instrument);
        }
    }
    instruments
}

/// A sheet must not take the place of what it is made from.
fn not_itself(output: &Path, input: &Path, what: &str) -> miette::Result<()> {
    if output.canonicalize().is_ok_and(|one| input.canonicalize().is_ok_and(|two| one == two)) {
        return Err(Failure::new(
            format!("{} is {what} itself", output.display()),
            "give the sheet a name of its own, such as sheet.pdf",
        )
        .into());
    }
    Ok(())
}

fn blank_sheets(arguments: &SheetArguments, rules: &Path, file: &SheetFile) -> miette::Result<Ending> {
    failure::is_there(rules, "the rules")?;
    not_itself(&arguments.output, rules, "the rule file")?;
    let mut instruments = asked_for(arguments);
    if instruments.is_empty() {
        instruments = Instrument::ALL.to_vec();
    }
    let mut pages = Vec::new();
    let mut title = None;
    for instrument in instruments {
        let (_, sheet) = sheet_for(rules, arguments.tier.as_deref(), instrument, MELODY_HERE)?;
        let worksheet = worksheet(&sheet, arguments.practice_bars);
        let engraved = pages_from_worksheet(&worksheet, &arguments.look.settings());
        let remarks = sheet.remarks.into_iter().chain(engraved.remarks);
        print::remarks(&remarks.map(|remark| on(instrument, remark)).collect::<Vec<_>>());
        pages.extend(engraved.pages);
        title = sheet.title;
    }
    let title = title.unwrap_or_else(|| "A sheet to write on".to_owned());
    print::plain(&write_pages(file, &pages, &title, arguments.dpi)?)?;
    Ok(Ending::Done)
}

/// A remark that says on whose sheet.
fn on(instrument: Instrument, remark: Remark) -> Remark {
    // Some name it themselves.
    let named = remark.text.contains(&format!("the {instrument}"));
    let text = if named { remark.text.clone() } else { format!("{instrument}: {}", remark.text) };
    Remark::new(&remark.code, text)
}

fn melody_sheets(arguments: &SheetArguments, path: &Path, file: &SheetFile) -> miette::Result<Ending> {
    failure::is_there(path, "the melody")?;
    not_itself(&arguments.output, path, "the melody")?;
    let instruments = asked_for(arguments);
    let melody = read_melody(arguments, path, !instruments.is_empty())?;
    let settings = arguments.look.settings();
    let engraved = match melody.instrument.filter(|_| !instruments.is_empty()) {
        None => pages_from_melody(&melody, &settings),
        Some(from) => {
            let mut all = Engraved::default();
            for to in instruments {
                let moved = melody.moved_to(from, to, Keeping::Names);
                let one = pages_from_melody(&moved.melody, &settings);
                let remarks = moved.remarks.into_iter().chain(one.remarks);
                all.remarks.extend(remarks.map(|remark| on(to, remark)));
                all.pages.extend(one.pages);
            }
            all
        }
    };
    print::remarks(&engraved.remarks);
    let title = melody.title.as_deref().unwrap_or("A melody");
    print::plain(&write_pages(file, &engraved.pages, title, arguments.dpi)?)?;
    Ok(Ending::Done)
}

/// The melody, for the instrument that plays it; `known` where that must be known.
fn read_melody(arguments: &SheetArguments, path: &Path, known: bool) -> miette::Result<Melody> {
    let instrument = arguments.instrument.map(Instrument::from);
    let read = formats::read_melody_for(path, instrument)
        .map_err(|error| failure::unusable_melody(error, path, RULES_HERE))?;
    print::remarks(&read.remarks);
    let mut melody = read.melody;
    if let Some(instrument) = instrument {
        // Asked for by name, an instrument reads its own clef whatever the file has.
        melody.sheet.clef = Some(instrument.clef());
    }
    if melody.instrument.is_some() {
        return Ok(melody);
    }
    match settle_instrument(melody.clone()) {
        Ok(settled) => {
            print::remarks(&settled.remarks);
            Ok(settled.melody)
        }
        // Without an instrument the sheet can be drawn in its own clef, but has no fingers.
        Err(error) if known || arguments.look.needs_instrument() || melody.sheet.clef.is_none() => Err(error),
        Err(_) => Ok(melody),
    }
}
