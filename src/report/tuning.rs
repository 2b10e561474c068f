//! What to tune, in words: one string by itself, or the whole instrument.

use super::intonation::RETUNE_CENTS;
use super::words;
use crate::findings::{MelodySummary, NoteFinding, NoteVerdict, Report, StringTuning};

/// Strings within this of each other, in cents, are off together: then it is the whole instrument.
const ALIKE_CENTS: f64 = 8.0;

/// What to tune. A string that is off says nothing about the player's fingers.
pub fn what_to_tune(report: &Report) -> Vec<String> {
    let mut lines = Vec::new();
    let strings = &report.tuning.strings;
    let whole = report.tuning.offset_cents.filter(|offset| offset.abs() > RETUNE_CENTS);
    let off = |string: &StringTuning| string.cents - belongs(report, string);
    let alike = |offset: f64| strings.iter().all(|string| (off(string) - offset).abs() <= ALIKE_CENTS);
    match whole.filter(|offset| alike(*offset)) {
        // No string was surely heard open: whether it is the strings or the hand cannot be known.
        Some(offset) if strings.is_empty() => lines.push(format!(
            "Everything sounds about {:.0} cents {}. That is most likely the tuning, so I allowed for it.",
            offset.abs(),
            flat_or_sharp(offset)
        )),
        Some(offset) if more_than_one_string(report) => lines.push(format!(
            "The whole instrument is tuned {} ({:.0} cents). I allowed for that: it is not your fingers.",
            flat_or_sharp(offset),
            offset.abs()
        )),
        _ => lines.extend(
            strings
                .iter()
                .filter(|string| off(string).abs() > RETUNE_CENTS)
                .map(|string| off_string(string, off(string))),
        ),
    }
    if !lines.is_empty() {
        lines.push(
            "Ask your teacher or another grown-up to tune it with you: small turns, and your face away from the \
             strings. (100 cents are one semitone.)"
                .to_owned(),
        );
    }
    lines
}

/// Where an open string belongs above equal temperament, in cents, in the fifths that it is tuned in.
fn belongs(report: &Report, string: &StringTuning) -> f64 {
    let &MelodySummary { instrument, fifths, .. } = &report.melody;
    let place = instrument.string_names().iter().position(|name| *name == string.string);
    place.map_or(0.0, |place| fifths.above_equal(instrument, place).0)
}

fn off_string(string: &StringTuning, cents: f64) -> String {
    format!(
        "The {} string is {}: open, it sounds {:.0} cents {}. That is the string, not your fingers.",
        words::harmless(&string.string),
        if cents < 0.0 { "too slack" } else { "too tight" },
        cents.abs(),
        flat_or_sharp(cents),
    )
}

/// Whether more than one string was surely heard: one string says nothing about the others.
fn more_than_one_string(report: &Report) -> bool {
    let instrument = report.melody.instrument;
    let right = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Right);
    let heard_open = |string: usize| {
        report.tuning.strings.iter().any(|tuning| tuning.string == instrument.string_names()[string])
    };
    let strings = |note: &NoteFinding| -> Vec<usize> {
        let places = instrument.fingerings(note.written_midi);
        let open = places.iter().find(|place| place.finger == 0 && heard_open(place.string));
        open.map_or_else(|| places.iter().map(|place| place.string).collect(), |place| vec![place.string])
    };
    let mut shared: Option<Vec<usize>> = None;
    for note in right {
        let here = strings(note);
        shared = Some(match shared {
            None => here,
            Some(so_far) => so_far.into_iter().filter(|string| here.contains(string)).collect(),
        });
    }
    shared.is_some_and(|shared| shared.is_empty())
}

/// The side of the pitch that a string or an instrument is off to.
pub fn flat_or_sharp(cents: f64) -> &'static str {
    if cents < 0.0 { "flat" } else { "sharp" }
}
