//! The truth about a case, in the words of the report: what was planted, and everything else right.

use super::{Case, Planted};
use fingertape::notation::{EventKind, Melody};
use serde::{Deserialize, Serialize};

/// What the report on a case must say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Expectation {
    /// The outcome; where it is not `judged` the rest is empty.
    pub outcome: String,
    /// The exit code of `check`.
    pub exit_code: i32,
    /// A measured pitch may be this far from the truth, in cents.
    pub cents_within: f64,
    /// Every written note.
    pub notes: Vec<ExpectedNote>,
    /// Every written rest.
    pub rests: Vec<ExpectedRest>,
    /// Sounding MIDI numbers of notes that are not on the sheet, with the event before.
    pub extra: Vec<(i32, usize)>,
    /// Returns: left at, resumed at.
    pub restarts: Vec<(usize, usize)>,
    /// Strings that are off: letter and cents.
    pub strings: Vec<(String, f64)>,
}

/// A written note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ExpectedNote {
    /// Index of the event.
    pub index: usize,
    /// The verdict.
    pub verdict: String,
    /// The sounding MIDI number that was played.
    pub played: Option<i32>,
    /// How far it was planted from its pitch, where it was.
    pub cents: Option<f64>,
}

/// A written rest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ExpectedRest {
    /// Index of the event.
    pub index: usize,
    /// The verdict.
    pub verdict: String,
}

/// The truth about a case.
pub fn expectation(case: &Case, melody: &Melody) -> Expectation {
    let mut expected = Expectation {
        outcome: case.outcome.to_owned(),
        exit_code: if case.outcome == "judged" { 0 } else { 1 },
        cents_within: 3.0,
        notes: Vec::new(),
        rests: Vec::new(),
        extra: Vec::new(),
        restarts: Vec::new(),
        strings: Vec::new(),
    };
    if case.outcome != "judged" {
        return expected;
    }
    for (index, event) in melody.events.iter().enumerate() {
        match event.kind {
            EventKind::Note { sounding, .. } => expected.notes.push(note(case, index, sounding)),
            EventKind::Rest => {
                expected.rests.push(ExpectedRest { index, verdict: rest(case, melody, index) })
            }
        }
    }
    for planted in &case.planted {
        match *planted {
            Planted::Extra { after, midi, .. } => expected.extra.push((midi, after)),
            Planted::Restart { left_at, resumed_at } => expected.restarts.push((left_at, resumed_at)),
            Planted::OpenString { midi, cents } => {
                let instrument = melody.instrument.expect("cases say their instrument");
                let string = instrument.open_strings().iter().position(|open| *open == midi);
                let letter = instrument.string_names()[string.expect("the pitch of an open string")];
                expected.strings.push((letter.to_owned(), cents));
            }
            _ => {}
        }
    }
    expected
}

fn note(case: &Case, index: usize, sounding: i32) -> ExpectedNote {
    let right = ExpectedNote { index, verdict: "right".to_owned(), played: Some(sounding), cents: None };
    let said = |verdict: &str, played| ExpectedNote { verdict: verdict.to_owned(), played, ..right.clone() };
    case.planted.iter().fold(right.clone(), |so_far, planted| match *planted {
        Planted::Wrong { index: at, midi } if at == index => said("wrong", Some(midi)),
        Planted::Missing { index: at } | Planted::Merged { index: at } if at == index => {
            said("missing", None)
        }
        Planted::Cents { index: at, cents } if at == index => ExpectedNote { cents: Some(cents), ..so_far },
        Planted::OpenString { midi, cents } if midi == sounding => {
            ExpectedNote { cents: Some(cents), ..so_far }
        }
        Planted::Octaves(octaves) => said("wrong", Some(sounding + 12 * octaves)),
        _ => so_far,
    })
}

fn rest(case: &Case, melody: &Melody, index: usize) -> String {
    let written = melody.events[index].length / melody.metre.beat();
    let written = *written.numer() as f64 / *written.denom() as f64;
    let verdict = case.planted.iter().find_map(|planted| match *planted {
        Planted::RestLasts { index: at, beats } if at == index => {
            Some(if beats < written { "rushed" } else { "stretched" })
        }
        Planted::RestFilled { index: at } if at == index => Some("filled"),
        _ => None,
    });
    verdict.unwrap_or("kept").to_owned()
}
