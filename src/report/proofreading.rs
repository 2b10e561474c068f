//! A melody beside its rule sheet, as words for its writer and as JSON.

use super::settings::TextSettings;
use super::words;
use crate::notation::as_f64;
use crate::remark::Remark;
use crate::rules::{Breach, InstrumentSheet, Proofreading};
use serde_json::{Value, json};
use std::fmt::Write;

/// What was found, and of what.
#[derive(Debug, Clone, Copy)]
pub struct ProofreadingReport<'a> {
    /// The title of the melody, or the name of its file.
    pub melody: &'a str,
    /// The sheet of the melody's instrument.
    pub sheet: &'a InstrumentSheet,
    /// What was found.
    pub found: &'a Proofreading,
    /// What should be known about how the files were read.
    pub remarks: &'a [Remark],
}

/// The report for the writer of the melody: what to change, place by place, then what is as the sheet
/// asks. It ends with a line feed.
pub fn proofreading_text(report: &ProofreadingReport, settings: &TextSettings) -> String {
    let ProofreadingReport { melody, sheet, found, remarks } = *report;
    let mut text = String::new();
    let heading =
        |text: &str| if settings.bold { format!("\u{1b}[1m{text}\u{1b}[0m") } else { text.to_owned() };
    let _ = writeln!(text, "{}", heading(&format!("{} ({})", words::harmless(melody), sheet.instrument)));
    let _ = writeln!(text, "The rule sheet: {}\n", sheet_name(sheet));
    let kept: Vec<String> = found.kept.iter().map(|(_, about)| (*about).to_owned()).collect();
    match found.breaches.len() {
        0 => {
            let _ = writeln!(text, "{}", heading("Nothing to change"));
            if !kept.is_empty() {
                let _ = writeln!(text, "All is as the sheet asks: {}.", words::list(&kept));
            }
            text.push_str("The rest is yours. Now play it.\n");
        }
        count => {
            let title = format!("{} to change", words::count(count, "thing", "things"));
            let _ = writeln!(text, "{}", heading(&title));
            for breach in &found.breaches {
                let _ = writeln!(text, "- {}", breach.sentence());
            }
            if !kept.is_empty() {
                let _ = writeln!(text, "\nAs the sheet asks already: {}.", words::list(&kept));
            }
        }
    }
    if !remarks.is_empty() {
        text.push('\n');
        for remark in remarks {
            let _ = writeln!(text, "Note: {}", words::harmless(&remark.text));
        }
    }
    text
}

fn sheet_name(sheet: &InstrumentSheet) -> String {
    let title = sheet.title.as_deref().map_or_else(|| "without a title".to_owned(), words::harmless);
    match &sheet.tier {
        Some(tier) => format!("{title}, {}", words::harmless(tier)),
        None => title,
    }
}

/// The same for programs, as one JSON object that ends with a line feed.
///
/// - `sheet`: `title`, `tier` (or `null`), `asks` (the sentences of the worksheet);
/// - `outcome`: `as-asked` or `to-change`;
/// - `breaches`, in the order of the text: `rule` (the word of the rule file), `bar` and `beat` (`null` if
///   it is about the whole melody or the whole bar; beats count from 1), `what`, `to_do`, and `says`, the
///   sentence of the text;
/// - `kept`: the words of the rules that are kept;
/// - `remarks`: `code` and `text`.
pub fn proofreading_json(report: &ProofreadingReport) -> String {
    let ProofreadingReport { melody, sheet, found, remarks } = *report;
    let breach = |breach: &Breach| {
        json!({
            "rule": breach.rule,
            "bar": breach.bar,
            "beat": breach.beat.map(as_f64),
            "what": breach.what,
            "to_do": breach.to_do,
            "says": breach.sentence(),
        })
    };
    let value = json!({
        "proofreading_version": 1,
        "melody": melody,
        "instrument": sheet.instrument.to_string(),
        "sheet": { "title": sheet.title, "tier": sheet.tier, "asks": sheet.sentences },
        "outcome": if found.breaches.is_empty() { "as-asked" } else { "to-change" },
        "breaches": found.breaches.iter().map(breach).collect::<Vec<Value>>(),
        "kept": found.kept.iter().map(|(word, _)| *word).collect::<Vec<_>>(),
        "remarks": remarks,
    });
    format!("{value:#}\n")
}
