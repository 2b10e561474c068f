//! What a teacher writes: rule files and rubrics.

use super::melodies::answered;
use fingertape::class::rubric_from_toml;
use fingertape::formats::{read_melody_bytes, read_rule_bytes};
use fingertape::notation::Instrument;
use fingertape::rules::{Complaint, RuleSheet, choose_tier, proofread};

/// A melody to hold against a rule sheet.
const MELODY: &[u8] =
    b"instrument = 'violin'\nbars = ['D4 q E4 F#4 G4', 'A4 h rest q A4 q', 'G4 q. F#4 e E4 h', 'D4 w']";

/// The first byte says which of the two it is: odd a rubric, else a rule file.
pub fn rules_and_rubric(bytes: &[u8]) {
    match bytes.split_first() {
        Some((which, rest)) if which % 2 == 1 => rubric(rest),
        Some((_, rest)) => rules(rest),
        None => rules(b""),
    }
}

fn rules(bytes: &[u8]) {
    const NAME: &str = "fuzzed.toml";
    let file = match read_rule_bytes(NAME, bytes) {
        Ok(file) => file,
        Err(error) => return answered(error, NAME, bytes),
    };
    let complained = |complaints: &[Complaint]| {
        for complaint in complaints {
            assert!(complaint.span.start <= complaint.span.end && complaint.span.end <= bytes.len() * 3);
            let error = file.complaint(complaint.span.clone(), &complaint.message, &complaint.help);
            assert!(error.line_column().is_some(), "{error}");
            answered(error, NAME, bytes);
        }
    };
    let mut tiers = vec![None];
    tiers.extend(file.tiers.iter().take(4).map(|tier| Some(tier.name.as_str())));
    let melody = read_melody_bytes("melody.toml", MELODY).expect("our own melody").melody;
    for tier in tiers {
        if let Some(name) = tier {
            assert_eq!(choose_tier(&file, tier), Ok(Some(name)));
        }
        let (sheet, complaints) = RuleSheet::from_file(&file, tier);
        complained(&complaints);
        for instrument in Instrument::ALL {
            let (own, complaints) = sheet.for_instrument(instrument);
            complained(&complaints);
            assert!(own.sentences.iter().chain(&own.to_print).all(|sentence| !sentence.trim().is_empty()));
            assert!(own.remarks.iter().all(|remark| !remark.text.is_empty()));
            let (melody, _) = melody.for_instrument(instrument);
            let found = proofread(&melody, &sheet, &own);
            assert!(format!("{found:?}").len() < 1 << 24);
        }
    }
}

fn rubric(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let (rubric, complaints) = rubric_from_toml(text);
    for complaint in &complaints {
        assert!(!complaint.place.is_empty() && !complaint.text.trim().is_empty(), "{complaint:?}");
    }
    if !complaints.is_empty() {
        return;
    }
    assert!(rubric.weights.iter().all(|weight| weight.is_finite() && *weight >= 0.0));
    assert!(rubric.weights.iter().sum::<f64>() > 0.0);
    let mut before = 0.0;
    for tenth in 0..=10 {
        let mark = rubric.mark(f64::from(tenth) / 10.0);
        assert!((0.0..=rubric.highest).contains(&mark), "{mark} of {}", rubric.highest);
        assert!(mark >= before, "a better take has a better mark");
        before = mark;
        // The word is that of the highest band that the mark reaches.
        let reached = rubric.bands.iter().filter(|band| band.from <= mark).map(|band| band.from);
        let highest = reached.fold(None, |most: Option<f64>, from| Some(most.map_or(from, |m| m.max(from))));
        let word = rubric.band(mark).map(str::to_owned);
        let at = rubric.bands.iter().find(|band| Some(&band.word) == word.as_ref()).map(|band| band.from);
        assert_eq!(at, highest, "{mark}");
    }
    for level in &rubric.levels {
        let thresholds = rubric.thresholds_for(&level.name, "");
        assert!((5.0..=50.0).contains(&thresholds.in_tune_cents), "{thresholds:?}");
        assert!((0.05..=1.0).contains(&thresholds.in_time_beats), "{thresholds:?}");
    }
}
