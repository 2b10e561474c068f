//! `fingertape takes`: what is in the take book; what improved; recover, delete, export, erase.

use super::shared::book_place::{self, failed};
use super::shared::choices::ReportFormat;
use super::shared::exit_codes::Ending;
use super::shared::failure::Failure;
use super::shared::shown::Shown as _;
use super::shared::{kept_take, print, ranges};
use clap::Args;
use fingertape::findings::{NoteVerdict, Outcome, Report};
use fingertape::remark::Remark;
use fingertape::report::{self, words::harmless};
use fingertape::takes::{About, Book, MelodyFolder, State, Take, TakesError, repair_wav};
use fingertape::units::Millimetres;
use serde::Serialize;
use std::fmt::Write as _;
use std::io::{IsTerminal, Write as _};
use std::path::PathBuf;

/// The arguments of `takes`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct TakesArguments {
    /// The melody to look at, by its name in the list (or the name of its file)
    #[arg(conflicts_with_all = ["recover", "delete", "export", "erase_everything"])]
    melody: Option<String>,
    /// The take book's folder [default: $FINGERTAPE_BOOK, else fingertape-takes in your home folder]
    #[arg(long, value_name = "FOLDER")]
    book: Option<PathBuf>,
    /// Find takes whose recording was cut off (the program was killed, the battery went empty), bring
    /// them in order, and judge them
    #[arg(long)]
    recover: bool,
    /// Delete one take for good, such as my-melody/3
    #[arg(long, value_name = "MELODY/NUMBER", conflicts_with = "recover")]
    delete: Option<String>,
    /// Copy every take to a new folder, or to one ZIP file if the name ends in .zip
    #[arg(long, value_name = "FOLDER_OR_ZIP", conflicts_with_all = ["recover", "delete"])]
    export: Option<PathBuf>,
    /// Delete every take of every melody for good
    #[arg(long, conflicts_with_all = ["recover", "delete", "export"])]
    erase_everything: bool,
    /// Do not ask before deleting
    #[arg(long)]
    yes: bool,
    /// How the list is printed: words for people, or JSON for programs
    #[arg(long, value_enum, default_value_t = ReportFormat::Text,
          conflicts_with_all = ["recover", "delete", "export", "erase_everything"])]
    format: ReportFormat,
}

const AFTER_HELP: &str = "\
Each melody has a folder in the take book, and each take a few plain files in it, such as
take-003.wav (the recording), take-003.melody.toml (the melody as it was then), the report as
take-003.report.html, take-003.report.txt and take-003.report.json, and take-003.about.json (when it
was recorded, and how). You may copy them.
Deleted is deleted: there is no waste bin. Only files that fingertape made are ever deleted, and
none of a take that is being recorded.

Examples:
  fingertape takes
  fingertape takes my-melody
  fingertape takes --format json
  fingertape takes --recover
  fingertape takes --delete my-melody/3
  fingertape takes --export my-takes.zip
  fingertape takes --erase-everything --yes

Exit codes:
  0  done
  1  nothing was deleted, because you did not say yes; or a take could not be recovered
  2  no such take or melody, or a file or folder that cannot be used";

/// Runs the command.
pub fn run(arguments: &TakesArguments) -> miette::Result<Ending> {
    let book = book_place::book(arguments.book.as_deref())?;
    left_aside(&book)?;
    if arguments.recover {
        return recover(&book);
    }
    if let Some(which) = &arguments.delete {
        return delete(&book, which, arguments.yes);
    }
    if let Some(to) = &arguments.export {
        let exported = book.export(to).map_err(failed)?;
        print::styled(&format!("{} copied to {}.\n", amount(exported.takes, "take"), to.shown()))?;
        return Ok(Ending::Done);
    }
    if arguments.erase_everything {
        return erase(&book, arguments.yes);
    }
    let named = arguments.melody.as_ref().map(|name| book.melody(name).map_err(failed)).transpose()?;
    match (arguments.format, named) {
        (ReportFormat::Json, Some(melody)) => as_json(&[melody]),
        (ReportFormat::Json, None) => as_json(&book.melodies().map_err(failed)?),
        (ReportFormat::Text, Some(melody)) => one_melody(&melody),
        (ReportFormat::Text, None) => all_melodies(&book),
    }
}

/// Says which folders of the book nobody can look into.
fn left_aside(book: &Book) -> miette::Result<()> {
    for folder in book.unreadable().map_err(failed)? {
        let text = format!("{} cannot be looked into; what is in it is left aside.", folder.display());
        print::remarks(&[Remark::new("unreadable-folder", text)]);
    }
    Ok(())
}

/// A melody for programs.
#[derive(Serialize)]
struct ListedMelody {
    melody: String,
    takes: Vec<ListedTake>,
}

/// A take for programs. What is not known is null.
#[derive(Serialize)]
struct ListedTake {
    number: u32,
    recorded: Option<String>,
    outcome: Option<Outcome>,
    right_notes: Option<usize>,
    written_notes: Option<usize>,
    recording: String,
}

fn as_json(melodies: &[MelodyFolder]) -> miette::Result<Ending> {
    let mut listed = Vec::new();
    for melody in melodies {
        let takes = melody.takes().map_err(failed)?;
        let takes = takes.iter().map(|take| {
            let report = take.report().ok().flatten();
            let judged = report.as_ref().filter(|report| report.outcome == Outcome::Judged);
            let right = |report: &Report| {
                report.notes.iter().filter(|note| note.verdict == NoteVerdict::Right).count()
            };
            ListedTake {
                number: take.number,
                recorded: take.about().ok().map(|about| about.recorded),
                outcome: report.as_ref().map(|report| report.outcome),
                right_notes: judged.map(right),
                written_notes: judged.map(|report| report.notes.len()),
                recording: take.wav().display().to_string(),
            }
        });
        listed.push(ListedMelody { melody: melody.name.clone(), takes: takes.collect() });
    }
    let object = serde_json::json!({ "melodies": listed });
    let mut text = serde_json::to_string_pretty(&object).expect("words and numbers, which JSON can say");
    text.push('\n');
    print::plain(&text)?;
    Ok(Ending::Done)
}

fn all_melodies(book: &Book) -> miette::Result<Ending> {
    let melodies = book.melodies().map_err(failed)?;
    let mut text = String::new();
    for melody in &melodies {
        let takes = melody.takes().map_err(failed)?;
        if takes.is_empty() {
            continue;
        }
        let _ = writeln!(text, "{}  ({})", melody.name, amount(takes.len(), "take"));
        for take in &takes {
            let _ = writeln!(text, "{}", line(take));
        }
    }
    if text.is_empty() {
        text = format!(
            "There are no takes yet in {}.\nRecord the first: fingertape record my-melody.toml\n",
            book.folder().shown()
        );
    } else {
        let _ = writeln!(text, "\nThe take book: {}", book.folder().shown());
        text.push_str("What improved, bar by bar: fingertape takes MELODY\n");
    }
    print::styled(&text)?;
    Ok(Ending::Done)
}

fn one_melody(melody: &MelodyFolder) -> miette::Result<Ending> {
    let takes = melody.takes().map_err(failed)?;
    let mut text = format!("{}\n", melody.name);
    let mut reports: Vec<(u32, Report)> = Vec::new();
    for take in &takes {
        let _ = writeln!(text, "{}", line(take));
        if let Ok(Some(report)) = take.report() {
            reports.push((take.number, report));
        }
    }
    // Only takes of the melody as it is in the newest judged take stand side by side.
    if let Some((_, newest)) = reports.last().cloned() {
        reports.retain(|(_, report)| report::same_melody(report, &newest));
        let table = report::progress(&reports);
        if !table.is_empty() {
            let _ = write!(text, "\n{table}");
        }
    }
    if takes.iter().any(|take| take.state() == State::CutOff) {
        text.push_str("\nA take without a report was cut off: fingertape takes --recover\n");
    }
    print::styled(&text)?;
    Ok(Ending::Done)
}

/// `  take 3   2026-11-25 18:40   14 of 16 notes right`.
fn line(take: &Take) -> String {
    let recorded = take.about().map_or_else(|_| "no date".to_owned(), |about| harmless(&about.recorded));
    let outcome = match take.report() {
        Ok(Some(report)) => report::right_notes(&report),
        Ok(None) => "cut off, not judged".to_owned(),
        Err(error) => harmless(&error.to_string()),
    };
    format!("  take {:<4} {recorded:<18} {outcome}", take.number)
}

fn recover(book: &Book) -> miette::Result<Ending> {
    let (mut found, mut ending) = (0, Ending::Done);
    for melody in book.melodies().map_err(failed)? {
        let takes = melody.takes().map_err(failed)?;
        for take in takes.iter().filter(|take| take.state() == State::CutOff) {
            found += 1;
            let said = match recover_one(take, &takes) {
                Ok(said) => said,
                Err(error) => {
                    ending = Ending::Refused;
                    format!("{error}")
                }
            };
            print::styled(&format!("{}/{}: {said}\n", melody.name, take.number))?;
        }
    }
    if found == 0 {
        print::styled("No take was cut off: every recording has its report.\n")?;
    }
    Ok(ending)
}

/// `takes` are all takes of the melody.
fn recover_one(take: &Take, takes: &[Take]) -> miette::Result<String> {
    if take.nobody_makes_it().is_err() {
        return Ok("is being recorded right now, and left alone".to_owned());
    }
    if !take.wav().exists() {
        return Ok("nothing was recorded; --delete takes its other files away".to_owned());
    }
    let repaired = match repair_wav(&take.wav()) {
        Err(TakesError::Growing { .. }) => {
            return Ok("is being recorded right now, and left alone".to_owned());
        }
        repaired => repaired.map_err(failed)?,
    };
    let mut about = take.about().map_err(failed)?;
    if !about.finished {
        about.finished = true;
        about.remarks.push(Remark::new(
            "recovered",
            "The recording was cut off and brought in order later: what came after that is not in the take.",
        ));
        take.write_about(&about).map_err(failed)?;
    }
    let judged = kept_take::judge_kept(take, &about)?;
    let earlier = kept_take::judged_before(takes, take, &judged.report);
    kept_take::keep_report(take, &judged, &earlier, string_length(&about))?;
    let seconds = repaired.duration.0;
    Ok(format!(
        "recovered, {seconds:.1} s; {}. The report: {}",
        report::right_notes(&judged.report),
        take.report_page().shown()
    ))
}

/// The string length that was given when the take was recorded, if it is one.
fn string_length(about: &About) -> Option<Millimetres> {
    about.string_length_mm.filter(|length| ranges::STRING_LENGTHS.contains(length)).map(Millimetres)
}

fn delete(book: &Book, which: &str, yes: bool) -> miette::Result<Ending> {
    let parts = which.rsplit_once('/').and_then(|(name, number)| Some((name, number.parse::<u32>().ok()?)));
    let Some((name, number)) = parts else {
        return Err(Failure::new(
            format!("{which} names no take"),
            "write the melody, a slash (/) and the number: fingertape takes --delete my-melody/3",
        )
        .into());
    };
    // Exactly as it is listed: nobody deletes by a name that is only alike.
    let melody = book.melody_listed_as(name).map_err(failed)?;
    let take = melody.take(number).map_err(failed)?;
    if !yes && !agreed(&format!("Delete take {number} of {} for good?", melody.name))? {
        return Ok(Ending::Refused);
    }
    let files = take.delete().map_err(failed)?;
    print::styled(&format!("Take {number} of {} is deleted ({}).\n", melody.name, amount(files, "file")))?;
    Ok(Ending::Done)
}

fn erase(book: &Book, yes: bool) -> miette::Result<Ending> {
    let mut takes = 0;
    for melody in book.melodies().map_err(failed)? {
        takes += melody.takes().map_err(failed)?.len();
    }
    let question = format!("Delete all takes ({takes}) in {} for good?", book.folder().shown());
    if !yes && !agreed(&question)? {
        return Ok(Ending::Refused);
    }
    let deleted = book.erase().map_err(failed)?;
    let mut text = format!("{} deleted.\n", amount(deleted.takes, "take"));
    for path in deleted.left {
        let _ = writeln!(text, "Left, because fingertape did not make it: {}", path.shown());
    }
    print::styled(&text)?;
    Ok(Ending::Done)
}

/// Asks at the terminal; where there is none, nobody has said yes.
fn agreed(question: &str) -> miette::Result<bool> {
    if !std::io::stdin().is_terminal() {
        print::styled(&format!("{question} Nothing was deleted. To delete for good, add --yes.\n"))?;
        return Ok(false);
    }
    print::styled(&format!("{question} Type yes: "))?;
    let _ = std::io::stdout().flush();
    let mut answer = String::new();
    let read = std::io::stdin().read_line(&mut answer);
    let agreed = read.is_ok() && answer.trim().eq_ignore_ascii_case("yes");
    if !agreed {
        print::styled("Nothing was deleted.\n")?;
    }
    Ok(agreed)
}

/// `1 take`, `3 takes`.
fn amount(number: usize, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}
