//! A teacher's rule file from the disk, as one instrument reads it.

use super::failure::{self, Failure};
use fingertape::formats::{self, RuleFile};
use fingertape::notation::Instrument;
use fingertape::rules::{self, Complaint, InstrumentSheet, RuleSheet};
use std::io::Write as _;
use std::path::Path;

/// The sheet of one tier for one instrument; whatever is wrong with the file is told, all of it. `wanted` says what
/// belongs in the place of a melody.
pub fn sheet_for(
    path: &Path,
    tier: Option<&str>,
    instrument: Instrument,
    wanted: &str,
) -> miette::Result<(RuleSheet, InstrumentSheet)> {
    let file = formats::read_rule_file(path).map_err(failure::unusable_rules)?;
    let (all, complaints) = RuleSheet::from_file(&file, None);
    if !complaints.is_empty() && formats::read_melody(path).is_ok() {
        let what = format!("{} is a melody, not a rule file", path.display());
        return Err(Failure::new(what, wanted).into());
    }
    all_well(&file, complaints)?;
    let tier = rules::choose_tier(&file, tier).map_err(|names| wrong_tier(path, tier, &names))?;
    let rules = match tier {
        None => all,
        Some(_) => RuleSheet::from_file(&file, tier).0,
    };
    let (sheet, complaints) = rules.for_instrument(instrument);
    all_well(&file, complaints)?;
    Ok((rules, sheet))
}

/// Words of a rule file that a melody has too.
const OF_BOTH: [&str; 5] = ["title", "metre", "key", "bpm", "bars"];

/// Whether a file is a rule file without a flaw, and with a word that no melody has.
pub fn is_rule_file(path: &Path) -> bool {
    formats::read_rule_file(path).is_ok_and(|file| {
        let rules = !file.tiers.is_empty()
            || file.entries.iter().any(|entry| !OF_BOTH.contains(&entry.word.as_str()));
        rules && RuleSheet::from_file(&file, None).1.is_empty()
    })
}

/// Tells all complaints: the last one as the error, those before it beside the output.
fn all_well(file: &RuleFile, mut complaints: Vec<Complaint>) -> miette::Result<()> {
    let Some(last) = complaints.pop() else { return Ok(()) };
    let report = |complaint: Complaint| {
        failure::unusable_rules(file.complaint(complaint.span, &complaint.message, &complaint.help))
    };
    for complaint in complaints {
        // The last one is told in any case.
        let _ = writeln!(anstream::stderr(), "{:?}", report(complaint));
    }
    Err(report(last))
}

fn wrong_tier(path: &Path, asked: Option<&str>, names: &[&str]) -> miette::Report {
    let (what, to_do) = match (asked, names) {
        (Some(asked), []) => (
            format!("{} has no tiers, and {asked} was asked for", path.display()),
            "leave out --tier".to_owned(),
        ),
        (Some(asked), names) => (
            format!("{} has no tier {asked}", path.display()),
            format!("choose one: --tier {}", names.join(" or --tier ")),
        ),
        (None, names) => (
            format!("{} has {} tiers", path.display(), names.len()),
            format!("choose one: --tier {}", names.join(" or --tier ")),
        ),
    };
    Failure::new(what, to_do).into()
}
