//! `fingertape string`: open strings from a recording or the microphone become readings and what to do.

use super::shared::choices::{FifthsName, InstrumentName};
use super::shared::exit_codes::Ending;
use super::shared::failure::{self, Failure};
use super::shared::{print, ranges};
use clap::{Args, ValueEnum};
use fingertape::decode;
use fingertape::notation::Instrument;
use fingertape::open_string::{FourStrings, OpenStrings, StringEar, Verdict};
use fingertape::report::{self, TextSettings};
use fingertape::units::{A4_ISO16, Hertz};
use std::path::PathBuf;

/// The arguments of `string`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct StringArguments {
    /// The open string to check, by its letter: G, D, A or E on a violin
    #[arg(value_name = "STRING", conflicts_with = "all")]
    string: Option<String>,
    /// Check all four strings, also against each other
    #[arg(long)]
    all: bool,
    /// The instrument
    #[arg(long, value_enum, ignore_case = true)]
    instrument: InstrumentName,
    /// Listen to a recording instead of the microphone
    #[arg(long, value_name = "FILE")]
    from: Option<PathBuf>,
    /// The pitch of A4, in hertz, 390 to 470
    #[arg(long, value_name = "HERTZ", allow_negative_numbers = true, value_parser = ranges::a4,
          default_value_t = A4_ISO16.0)]
    a4: f64,
    /// How the open strings follow from A: by equal temperament, or in pure fifths (bass: fourths), as strings are
    /// tuned by ear
    #[arg(long, value_enum, default_value_t = FifthsName::Equal)]
    fifths: FifthsName,
    /// What is printed at the end: words for people, or JSON for programs
    #[arg(long, value_enum, default_value_t = StringFormat::Text)]
    format: StringFormat,
    /// Live: print a new line for what is new instead of redrawing one line (for screen readers; chosen by itself
    /// where the output is not a terminal)
    #[arg(long, conflicts_with = "from")]
    pub(super) plain: bool,
    /// Live: the microphone, by its name [default: the system's choice]
    #[arg(long, value_name = "NAME", conflicts_with = "from")]
    pub(super) input: Option<String>,
    /// Live: stop after so many seconds without a sound; with --all, go on to the next string
    #[arg(long, value_name = "SECONDS", default_value_t = 20.0, allow_negative_numbers = true,
          value_parser = ranges::patience, conflicts_with = "from")]
    pub(super) stop_after: f64,
}

/// What is printed at the end.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum StringFormat {
    /// Words for people
    Text,
    /// One JSON object
    Json,
}

const AFTER_HELP: &str = "\
Bow the open string slowly, no finger down, with nobody else playing. Without --from the microphone
listens and shows what it hears, until Enter is pressed or nothing has sounded for a while.

Careful: a string under tension can snap. Turn only fine tuners by yourself, a little at a time,
and keep your face away from the strings. What takes more than that is for your teacher or
another grown-up.

Examples:
  fingertape string D --instrument violin
  fingertape string --all --instrument cello --fifths pure
  fingertape string D --instrument violin --from my-d-string.m4a
  fingertape string --all --instrument viola --a4 442 --from my-four-strings.wav --format json

Exit codes:
  0  a steady reading of the string, or of all four
  1  no steady reading: nothing, another string, a stopped note, an unsteady bow
  2  a file or a microphone that cannot be used, or a wrong argument";

/// Runs the command.
pub fn run(arguments: &StringArguments) -> miette::Result<Ending> {
    let instrument = Instrument::from(arguments.instrument);
    let asked = arguments.string.as_deref().map(|name| named(instrument, name)).transpose()?;
    if asked.is_none() && !arguments.all {
        let what = "the string is not named";
        let [one, two, three, four] = instrument.string_names();
        let help = format!(
            "give its letter, {one}, {two}, {three} or {four} on a {instrument}: fingertape string {one} --instrument \
             {instrument}; or --all for all four"
        );
        return Err(Failure::new(what, help).into());
    }
    let strings = OpenStrings { instrument, a4: Hertz(arguments.a4), fifths: arguments.fifths.into() };
    let heard = match &arguments.from {
        Some(file) => {
            failure::is_there(file, "the recording")?;
            let take = decode::read_take(file).map_err(failure::unusable_take)?;
            print::remarks(&take.remarks);
            let mut heard = FourStrings::new(strings);
            let mut ear = StringEar::new(take.samples.rate, instrument);
            for chunk in take.samples.mono.chunks(4096) {
                ear.push(chunk, &mut |moment| heard.hear(&moment));
            }
            ear.finish(&mut |moment| heard.hear(&moment));
            heard
        }
        None => live(arguments, strings, asked)?,
    };
    conclude(arguments, &heard, asked)
}

/// Prints what was heard.
fn conclude(
    arguments: &StringArguments,
    heard: &FourStrings,
    asked: Option<usize>,
) -> miette::Result<Ending> {
    let settings = TextSettings { bold: print::wants_bold(), ..TextSettings::default() };
    match (arguments.format, asked) {
        (StringFormat::Json, _) => print::plain(&report::string_json(heard, asked))?,
        (StringFormat::Text, Some(asked)) => {
            print::styled(&report::one_string_text(heard, asked, &settings))?;
        }
        (StringFormat::Text, None) => print::styled(&report::all_strings_text(heard, &settings))?,
    }
    let read = match asked {
        Some(asked) => matches!(heard.verdict(asked), Verdict::Read(reading) if reading.steady),
        None => heard.readings().iter().all(|reading| reading.is_some_and(|r| r.steady)),
    };
    Ok(if read { Ending::Done } else { Ending::Refused })
}

fn named(instrument: Instrument, name: &str) -> miette::Result<usize> {
    OpenStrings::named(instrument, name).ok_or_else(|| {
        let names = instrument.string_names();
        let text: String = name.chars().filter(|letter| !letter.is_control()).take(20).collect();
        Failure::new(
            format!("a {instrument} has no {text} string"),
            format!("its strings are {}, {}, {} and {}, low to high", names[0], names[1], names[2], names[3]),
        )
        .into()
    })
}

#[cfg(feature = "microphone")]
fn live(
    arguments: &StringArguments,
    strings: OpenStrings,
    asked: Option<usize>,
) -> miette::Result<FourStrings> {
    let quiet = arguments.format == StringFormat::Json;
    super::live::string::listen(arguments, strings, asked, quiet)
}

#[cfg(not(feature = "microphone"))]
fn live(arguments: &StringArguments, _: OpenStrings, _: Option<usize>) -> miette::Result<FourStrings> {
    let _ = (arguments.plain, &arguments.input, arguments.stop_after);
    Err(failure::no_microphone_built_in())
}
