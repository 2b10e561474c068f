//! A take in the book becomes a report, in the same steps as `check`, and the report its files.

use super::book_place::failed;
use super::judge::{JudgeRequest, Judged, judge};
use fingertape::findings::Report;
use fingertape::page::{self, PageSettings};
use fingertape::report::{self, TextSettings};
use fingertape::takes::{About, Take};
use fingertape::units::Millimetres;

/// Judges a take of the book with what was asked for when it was recorded.
pub fn judge_kept(take: &Take, about: &About) -> miette::Result<Judged> {
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
    let mut judged = judge(&asked)?;
    let report = &mut judged.report;
    // A melody without a title is called by its file; by the one that it came from, not by its copy here.
    if report.melody.title == stem {
        report.melody.title.clone_from(&about.melody);
    }
    report.take.remarks.extend(about.remarks.iter().cloned());
    Ok(judged)
}

/// The judged takes before `take` of the same melody, note for note, with their numbers, oldest first.
pub fn judged_before(takes: &[Take], take: &Take, report: &Report) -> Vec<(u32, Report)> {
    takes
        .iter()
        .filter(|earlier| earlier.number < take.number)
        // A report that cannot be read is passed over; `takes` says so.
        .filter_map(|earlier| Some((earlier.number, earlier.report().ok()??)))
        .filter(|(_, earlier)| report::same_melody(earlier, report))
        .collect()
}

/// Writes the report beside the take: as words for the player, as a page, and as JSON.
pub fn keep_report(
    take: &Take,
    judged: &Judged,
    earlier: &[(u32, Report)],
    string_length: Option<Millimetres>,
) -> miette::Result<()> {
    let words = report::for_child(&judged.report, &TextSettings { string_length, bold: false });
    let settings = PageSettings { string_length, ..PageSettings::default() };
    let page = page::html(&judged.content(Some(take.number), earlier), &settings);
    take.write_report(&words, &page, &report::json(&judged.report)).map_err(failed)
}
