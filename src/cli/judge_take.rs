//! A take in the book becomes a report, in the same steps as `check`, and the report its files.

use super::book_place::failed;
use super::check::{self, JudgeRequest};
use fingertape::findings::Report;
use fingertape::report::{self, TextSettings};
use fingertape::takes::{About, Take};
use fingertape::units::Millimetres;

/// Judges a take of the book with what was asked for when it was recorded.
pub fn judge_take(take: &Take, about: &About) -> miette::Result<Report> {
    let melody = take.melody().map_err(failed)?;
    let stem = melody.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let asked = JudgeRequest {
        take: take.wav(),
        melody,
        instrument: about.instrument,
        a4: about.a4_hz,
        fifths: about.fifths,
        bpm: Some(about.bpm),
    };
    let mut report = check::judge(&asked)?;
    // A melody without a title is called by its file; by the one that it came from, not by its copy here.
    if report.melody.title == stem {
        report.melody.title.clone_from(&about.melody);
    }
    report.take.remarks.extend(about.remarks.iter().cloned());
    Ok(report)
}

/// Writes the report beside the take, as JSON and as words for the player.
pub fn keep_report(take: &Take, report: &Report, string_length: Option<Millimetres>) -> miette::Result<()> {
    let words = report::for_child(report, &TextSettings { string_length, bold: false });
    take.write_report(&words, &report::json(report)).map_err(failed)
}
