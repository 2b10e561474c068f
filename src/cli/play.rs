//! `fingertape play`: a melody to listen to, aloud or as a WAV file.

use super::shared::choices::InstrumentName;
use super::shared::exit_codes::Ending;
use super::shared::failure::{self, Failure};
use super::shared::settle_instrument::settle_instrument;
use super::shared::shown::Shown as _;
use super::shared::{melody_file, print, ranges, write_file};
use clap::Args;
use fingertape::formats::{self, ReadMelody};
use fingertape::notation::{Instrument, Melody, as_f64};
use fingertape::report::words::harmless;
use fingertape::samples::Samples;
use fingertape::sound::{LineSettings, Passage, bowed_line};
use fingertape::units::{A4_ISO16, Hertz, SampleRate};
use std::io::Cursor;
use std::path::{Path, PathBuf};

/// The arguments of `play`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct PlayArguments {
    /// The written melody: TOML, ABC or MusicXML ('fingertape help check' shows how to write one)
    melody: PathBuf,
    /// Play slower: a part of the tempo, 0.25 to 1
    #[arg(long, value_name = "PART", allow_negative_numbers = true, value_parser = ranges::slower, default_value_t = 1.0)]
    slower: f64,
    /// The tempo, in beats per minute, 20 to 300 (in 6/8 of eighths) [default: as the melody says, else 80]
    #[arg(long, value_name = "BEATS", allow_negative_numbers = true, value_parser = ranges::bpm)]
    bpm: Option<f64>,
    /// The first bar to play, as numbered on the sheet [default: the beginning]
    #[arg(long, value_name = "BAR")]
    from_bar: Option<u32>,
    /// The last bar to play, as numbered on the sheet [default: the end]
    #[arg(long, value_name = "BAR")]
    to_bar: Option<u32>,
    /// Play it so many times without a break, 1 to 100
    #[arg(long = "loop", value_name = "TIMES", default_value_t = 1, value_parser = ranges::times)]
    times: u32,
    /// Count in one bar (the usual; --no-count-in leaves it out)
    #[arg(long, overrides_with = "no_count_in")]
    count_in: bool,
    /// Begin at once, without counting in
    #[arg(long)]
    no_count_in: bool,
    /// Click on every beat
    #[arg(long)]
    metronome: bool,
    /// The pitch of A4, in hertz, 390 to 470 [default: as the melody says, else 440]
    #[arg(long, value_name = "HERTZ", allow_negative_numbers = true, value_parser = ranges::a4)]
    a4: Option<f64>,
    /// How loud, 0 to 100: the peak, in percent of full scale
    #[arg(long, value_name = "PERCENT", default_value_t = 25, value_parser = ranges::volume)]
    volume: u8,
    /// The instrument, where the melody does not name it (or names another)
    #[arg(long, value_enum, ignore_case = true)]
    instrument: Option<InstrumentName>,
    /// Write a WAV file instead of playing aloud (a name that ends in .wav)
    #[arg(long, value_name = "FILE")]
    wav: Option<PathBuf>,
    /// Replace a WAV file that is there already
    #[arg(long, requires = "wav")]
    force: bool,
}

const AFTER_HELP: &str = "\
A bowed string of the program's own plays: every note exactly in tune (equal temperament) and
without vibrato, so that you can place your finger beside it. Ctrl-C stops it.

Headphones: turn them low before you put them on, and then up as far as you need. Loud sound
so close to the ear can harm it. At the usual volume the peaks are 12 dB below the loudest
that there is.

Examples:
  fingertape play my-melody.toml
  fingertape play my-melody.toml --slower 0.7 --from-bar 3 --to-bar 4 --loop 4
  fingertape play my-melody.toml --metronome --no-count-in --a4 442
  fingertape play my-melody.musicxml --wav listen.wav

Exit codes:
  0  played (or stopped by Ctrl-C), or written
  2  no loudspeaker, a file that cannot be used, or a wrong argument";

/// The tempo where nobody set one, as in `record`.
const USUAL_BPM: f64 = 80.0;
/// The rate of a WAV file.
const WAV_RATE: SampleRate = SampleRate(48_000);
/// Nothing longer is made, in seconds.
const LONGEST: f64 = 1800.0;

/// Runs the command.
pub fn run(arguments: &PlayArguments) -> miette::Result<Ending> {
    let path = &arguments.melody;
    failure::is_there(path, "the melody")?;
    if let Some(wav) = &arguments.wav {
        is_wav(wav)?;
        melody_file::may_write(wav, path, arguments.force)?;
    }
    let read = formats::read_melody_for(path, arguments.instrument.map(Instrument::from));
    let ReadMelody { melody, remarks } = read.map_err(|error| {
        failure::unusable_melody(error, path, "give the written melody: fingertape play MELODY")
    })?;
    print::remarks(&remarks);
    let settled = settle_instrument(melody)?;
    print::remarks(&settled.remarks);
    let melody = settled.melody;
    let passage = passage(&melody, arguments)?;
    let settings = LineSettings {
        instrument: settled.instrument,
        bpm: arguments.bpm.or(melody.bpm).unwrap_or(USUAL_BPM) * arguments.slower,
        beat: melody.metre.beat(),
        a4: arguments.a4.map(Hertz).or(melody.a4).unwrap_or(A4_ISO16),
        volume: f32::from(arguments.volume) / 100.0,
        count_in: arguments.count_in || !arguments.no_count_in,
        metronome: arguments.metronome,
        times: arguments.times,
    };
    not_endless(&passage, &settings)?;
    match &arguments.wav {
        Some(wav) => {
            let sound = bowed_line(&passage, &settings, WAV_RATE);
            write_file::whole(wav, &wav_bytes(&sound)?)?;
            let seconds = sound.mono.len() as f64 / sound.rate.hertz();
            let text =
                format!("{}: {seconds:.1} s, {}.\n", wav.shown(), what(&melody, &passage, &settings, path));
            print::plain(&text)?;
            Ok(Ending::Done)
        }
        None => aloud(&passage, &settings, &what(&melody, &passage, &settings, path)),
    }
}

fn passage(melody: &Melody, arguments: &PlayArguments) -> miette::Result<Passage> {
    Passage::new(melody, arguments.from_bar, arguments.to_bar).ok_or_else(|| {
        let numbers = melody.bars().iter().map(|bar| bar.number).collect::<Vec<_>>();
        let (first, last) = (numbers.iter().min().unwrap_or(&1), numbers.iter().max().unwrap_or(&1));
        let what = match (arguments.from_bar, arguments.to_bar) {
            (Some(from), Some(to)) if from > to => format!("bar {to} comes before bar {from}"),
            (Some(from), _) if from > *last => format!("there is no bar {from}"),
            _ => "there are no such bars".to_owned(),
        };
        let pickup = if *first == 0 { "; 0 is the pickup" } else { "" };
        Failure::new(what, format!("this melody has the bars {first} to {last}{pickup}")).into()
    })
}

fn not_endless(passage: &Passage, settings: &LineSettings) -> miette::Result<()> {
    let once = as_f64(passage.length / settings.beat) * 60.0 / settings.bpm;
    let all = once * f64::from(settings.times);
    if all <= LONGEST {
        return Ok(());
    }
    Err(Failure::new(
        format!("that would last {:.0} minutes", all / 60.0),
        "play fewer bars or fewer times: half an hour is the longest",
    )
    .into())
}

/// What is played, in words.
fn what(melody: &Melody, passage: &Passage, settings: &LineSettings, path: &Path) -> String {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let title = melody.title.as_deref().unwrap_or(&stem);
    let title = harmless(title);
    let bars = match passage.bars {
        (0, 0) => "the pickup".to_owned(),
        (0, last) => format!("the pickup to bar {last}"),
        (first, last) if first == last => format!("bar {first}"),
        (first, last) => format!("bars {first} to {last}"),
    };
    let times = if settings.times == 1 { String::new() } else { format!(", {} times", settings.times) };
    let bpm = (settings.bpm * 10.0).round() / 10.0;
    format!("{title} ({}), {bars}{times}, {bpm} beats a minute", settings.instrument)
}

/// A file says by its ending what it holds.
fn is_wav(path: &Path) -> miette::Result<()> {
    if path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("wav")) {
        return Ok(());
    }
    let what = format!("{} is not the name of a WAV file", path.display());
    Err(Failure::new(what, "only WAV files are written: end the name in .wav").into())
}

/// 16 bits, one channel.
fn wav_bytes(sound: &Samples) -> miette::Result<Vec<u8>> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: sound.rate.0,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let written = hound::WavWriter::new(&mut bytes, spec).and_then(|mut writer| {
        for sample in &sound.mono {
            writer.write_sample((sample * f32::from(i16::MAX)).round() as i16)?;
        }
        writer.finalize()
    });
    written
        .map_err(|error| Failure::new(format!("the WAV file cannot be made: {error}"), "play fewer bars"))?;
    Ok(bytes.into_inner())
}

#[cfg(feature = "microphone")]
fn aloud(passage: &Passage, settings: &LineSettings, what: &str) -> miette::Result<Ending> {
    super::live::play::play(passage, settings, what)
}

#[cfg(not(feature = "microphone"))]
fn aloud(_: &Passage, _: &LineSettings, _: &str) -> miette::Result<Ending> {
    Err(Failure::new("this fingertape was built without a loudspeaker", "write a file instead: --wav FILE")
        .into())
}
