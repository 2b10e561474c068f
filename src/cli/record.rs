//! `fingertape record`: a take from the microphone into the take book, and its report.

use super::live::recording::{self, Microphone, Recorded, Why};
use super::live::stop::stop_on_ctrl_c;
use super::live::view::{LiveView, Look};
use super::shared::choices::ReportFormat;
use super::shared::exit_codes::Ending;
use super::shared::failure::{self, Failure};
use super::shared::player_options::PlayerOptions;
use super::shared::settle_instrument::settle_instrument;
use super::shared::shown::Shown as _;
use super::shared::{book_place, kept_take, print, ranges};
use clap::Args;
use fingertape::capture::Wish;
use fingertape::findings::Report;
use fingertape::formats;
use fingertape::live::{Ended, Session, SessionSettings};
use fingertape::loudspeaker::{self, Playing};
use fingertape::notation::Melody;
use fingertape::report::{self, TextSettings, words::harmless};
use fingertape::sound::{CountIn, count_in};
use fingertape::takes::{About, Take};
use fingertape::units::{A4_ISO16, Seconds};
use std::io::IsTerminal;
use std::path::PathBuf;

/// The arguments of `record`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct RecordArguments {
    /// The written melody: TOML, ABC or MusicXML ('fingertape help check' shows how to write one)
    melody: PathBuf,
    #[command(flatten)]
    player: PlayerOptions,
    /// The tempo to count in, in beats per minute, 20 to 300 (in 6/8 of eighths)
    /// [default: as the melody says, else 80]
    #[arg(long, value_name = "BEATS", allow_negative_numbers = true, value_parser = ranges::bpm)]
    bpm: Option<f64>,
    /// The microphone, by the name that 'fingertape inputs' shows [default: the system's choice]
    #[arg(long, value_name = "NAME")]
    input: Option<String>,
    /// The take book's folder [default: $FINGERTAPE_BOOK, else fingertape-takes in your home folder]
    #[arg(long, value_name = "FOLDER")]
    book: Option<PathBuf>,
    /// Count in on the screen only, without clicks
    #[arg(long)]
    silent_count: bool,
    /// How loud the clicks are, 0 to 100
    #[arg(long, value_name = "PERCENT", default_value_t = 20, value_parser = clap::value_parser!(u8).range(0..=100))]
    count_volume: u8,
    /// How long the level is checked before the count-in, in seconds, 0 to 10
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0, allow_negative_numbers = true,
          value_parser = ranges::level_check)]
    level_check: f64,
    /// Print lines instead of drawing, for a screen reader (chosen by itself where the output is not a terminal)
    #[arg(long)]
    plain: bool,
    /// What is printed at the end: words for people, or JSON for programs (then all else goes to the
    /// standard error)
    #[arg(long, value_enum, default_value_t = ReportFormat::Text)]
    format: ReportFormat,
    /// Print the teacher's report: a table, note by note, with units, thresholds and confidence
    #[arg(long)]
    detail: bool,
}

const AFTER_HELP: &str = "\
What happens: you play any long note while the level is checked, hear one bar of clicks, and play.
While you play you see where in the melody you are, which note sounds and how far it is from its
pitch. The take ends by itself after the last bar, or after a long silence; Ctrl-C ends it at once.
It is kept either way, and judged as 'fingertape check' would.

Headphones keep the clicks out of the recording. Turn them low before you put them on: loud sound
so close to the ear can harm it. Without headphones use --silent-count.

Each take is a few plain files in the take book: the recording as it grows (.wav), the melody as
you wrote it (.melody.toml), the report as a page for a browser, as words and as JSON, and when and
how it was recorded. No take is ever written over. 'fingertape takes' lists them, shows what
improved, and deletes them.

Examples:
  fingertape record my-melody.toml
  fingertape record my-melody.toml --silent-count --bpm 60
  fingertape record my-melody.abc --instrument viola --input \"USB Microphone\" --plain
  fingertape record my-melody.toml --format json > report.json

Exit codes:
  0  recorded and judged
  1  recorded and refused (silent, too quiet, too noisy, not this melody), or stopped before it
     began
  2  no microphone, no place to keep the take, a melody that cannot be used, or a wrong argument";

/// The tempo that is counted where nobody set one: a slow walk (common practice for a first reading).
const USUAL_BPM: f64 = 80.0;
/// The peak of a click at volume 100, at full scale 1.
const LOUDEST_CLICK: f32 = 0.5;
/// A narrower terminal gets lines instead of a drawing.
const NARROWEST: u16 = 64;

/// Runs the command.
pub fn run(arguments: &RecordArguments) -> miette::Result<Ending> {
    let asked = arguments.player.instrument();
    failure::is_there(&arguments.melody, "the melody")?;
    // Read once: the melody may come out of a pipe, and its bytes are kept beside the take.
    let read = formats::melody_bytes(&arguments.melody).and_then(|(name, bytes)| {
        let read = formats::read_melody_bytes_for(&name, &bytes, asked)?;
        Ok((read, bytes))
    });
    let (read, bytes) = read.map_err(|error| {
        failure::unusable_melody(
            error,
            &arguments.melody,
            "give the written melody: fingertape record MELODY",
        )
    })?;
    let settled = settle_instrument(read.melody)?;
    let (melody, instrument) = (settled.melody, settled.instrument);
    let bpm = arguments.bpm.or(melody.bpm).unwrap_or(USUAL_BPM);
    let book = book_place::book(arguments.book.as_deref())?;
    let stop = stop_on_ctrl_c()?;

    let wish = Wish { input: arguments.input.clone(), rate: None };
    let microphone = Microphone::open(&wish).map_err(failure::no_microphone)?;
    let mut view = LiveView::new(&melody, instrument, look(arguments));
    let mut about = About {
        recorded: jiff::ZonedDateTime::now().strftime("%Y-%m-%d %H:%M").to_string(),
        microphone: microphone.name().to_owned(),
        melody: arguments.melody.file_stem().unwrap_or_default().to_string_lossy().into_owned(),
        instrument: asked,
        a4_hz: arguments.player.a4(),
        fifths: arguments.player.fifths(),
        string_length_mm: arguments.player.string_length(instrument).map(|length| length.0),
        bpm,
        finished: false,
        lost_ms: 0.0,
        remarks: Vec::new(),
    };
    let ending = arguments.melody.extension().map(|ending| ending.to_string_lossy().into_owned());
    // Held: until its report is written nobody deletes or recovers it.
    let (take, hold) = book.begin_held(&about, ending.as_deref(), &bytes).map_err(book_place::failed)?;
    let settings = SessionSettings {
        rate: microphone.rate(),
        instrument,
        bpm,
        a4: arguments.player.a4().or(melody.a4).unwrap_or(A4_ISO16),
        level_check: Seconds(arguments.level_check),
    };
    let session = Session::new(&melody, settings);
    let clicks = clicks(arguments, &session, bpm, &mut view);
    welcome(&mut view, arguments, &take, &melody, bpm, microphone.name());
    let recorded = recording::record(microphone, session, &take, &mut view, clicks, &stop);
    if !recorded.kept {
        drop(hold);
        return nothing_kept(&mut view, &take, recorded);
    }
    about.finished = true;
    about.lost_ms = recorded.lost_ms;
    about.remarks = recorded.remarks;
    // What is told about the take must not stop it from being judged.
    let noted = take.write_about(&about).map_err(book_place::failed);
    view.say(why_it_ended(&recorded.why));
    let judged = kept_take::judge_kept(&take, &about)?;
    // The player gets the report even where the takes before it cannot be read.
    let (earlier, unread) = match take.beside() {
        Ok(takes) => (kept_take::judged_before(&takes, &take, &judged.report), None),
        Err(error) => (Vec::new(), Some(error)),
    };
    let kept = kept_take::keep_report(&take, &judged, &earlier, arguments.player.string_length(instrument));
    tell(arguments, &earlier, &take, &judged.report, &mut view)?;
    if let Some(error) = unread {
        view.say(&format!("Note: what improved is not told, because {}.", harmless(&error.to_string())));
    }
    // The player gets the report even where its files could not be written.
    noted.and(kept).map_err(|error| {
        Failure::new(
            format!("the take is kept, and its report could not be: {error}"),
            "make room on the disk; then 'fingertape takes --recover' writes the report",
        )
    })?;
    Ok(Ending::of(judged.report.outcome))
}

fn look(arguments: &RecordArguments) -> Look {
    let wide = terminal_size::terminal_size().is_some_and(|(width, _)| width.0 >= NARROWEST);
    match arguments.format {
        ReportFormat::Json => Look::LinesAside,
        ReportFormat::Text if !arguments.plain && std::io::stdout().is_terminal() && wide => Look::Drawn,
        ReportFormat::Text => Look::Lines,
    }
}

/// The clicks, ready to be played; without a loudspeaker the count is silent.
fn clicks(arguments: &RecordArguments, session: &Session, bpm: f64, view: &mut LiveView) -> Option<Playing> {
    if arguments.silent_count || arguments.count_volume == 0 {
        return None;
    }
    let volume = f32::from(arguments.count_volume) / 100.0 * LOUDEST_CLICK;
    let settings = CountIn { bpm, beats: session.count_beats(), bar: session.bar_beats(), volume };
    match loudspeaker::open(|rate| count_in(&settings, rate)) {
        Ok(clicks) => Some(clicks),
        Err(error) => {
            view.say(&format!("Note: {error}. The count is on the screen only."));
            None
        }
    }
}

fn welcome(
    view: &mut LiveView,
    arguments: &RecordArguments,
    take: &Take,
    melody: &Melody,
    bpm: f64,
    microphone: &str,
) {
    let name = melody.title.as_deref().map_or_else(|| "this melody".to_owned(), harmless);
    view.say(&format!("Take {} of {name}, {bpm} beats a minute. Microphone: {microphone}.", take.number));
    if arguments.bpm.or(melody.bpm).is_none() {
        view.say("No tempo is set, so I count slowly; --bpm sets another.");
    }
    if !arguments.silent_count {
        view.say(
            "You will hear clicks. Use headphones, turned low before you put them on; without headphones use \
             --silent-count, or the clicks get into the take.",
        );
    }
    view.say("Ctrl-C ends the take; it is kept.");
    if arguments.level_check > 0.0 {
        view.say("Now play any long note, as loud as you are going to play.");
    }
}

fn nothing_kept(view: &mut LiveView, take: &Take, recorded: Recorded) -> miette::Result<Ending> {
    // Nothing was recorded, so the melody's copy is not a take.
    take.delete().map_err(book_place::failed)?;
    match recorded.why {
        Why::Trouble(error) => Err(failure::no_microphone(error)),
        _ => {
            view.say("Stopped before the first beat. Nothing was recorded, and nothing is kept.");
            Ok(Ending::Refused)
        }
    }
}

fn why_it_ended(why: &Why) -> &'static str {
    match why {
        Why::Ended(Ended::Finished) => "That was the end of the melody. The take is kept.",
        Why::Ended(Ended::LongSilence) => "It was silent for a while, so the take has ended. It is kept.",
        Why::Ended(Ended::NothingPlayed) => "I heard nothing to follow, so the take has ended. It is kept.",
        Why::Ended(Ended::Longest) => "A take can be ten minutes long; this one has ended. It is kept.",
        Why::Asked => "Stopped. The take is kept.",
        Why::Trouble(_) => "What was heard before that is kept.",
    }
}

fn tell(
    arguments: &RecordArguments,
    earlier: &[(u32, Report)],
    take: &Take,
    judged: &Report,
    view: &mut LiveView,
) -> miette::Result<()> {
    let settings = TextSettings {
        bold: print::wants_bold(),
        string_length: arguments.player.string_length(judged.melody.instrument),
    };
    let changed = earlier.last().map(|(number, before)| report::what_changed(before, *number, judged));
    match arguments.format {
        ReportFormat::Json => {
            print::plain(&report::json(judged))?;
            if let Some(changed) = changed {
                view.say(changed.trim_end());
            }
        }
        ReportFormat::Text => {
            print::styled("\n")?;
            let text = match arguments.detail {
                true => report::for_teacher(judged, &settings),
                false => report::for_child(judged, &settings),
            };
            print::styled(&text)?;
            if let Some(changed) = changed.filter(|changed| !changed.is_empty()) {
                print::styled(&format!("\n{changed}"))?;
            }
        }
    }
    view.say(&format!(
        "\nThe take: {}\nThe report to look at, and to click on: {}\nAll takes: fingertape takes",
        take.wav().shown(),
        take.report_page().shown()
    ));
    Ok(())
}
