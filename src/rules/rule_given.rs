//! Notes that are given stay.
//!
//! What: each note or rest that the teacher put on the sheet is in the melody at its bar and beat, with
//! its pitch and length.
//! Why: a given beginning gets a class going, and given notes let melodies be played together.
//! Example: the given A of the second bar has become a G.
//! ```toml
//! key = "D"
//! [[given]]
//! bar = 2
//! beat = 1
//! length = "q"
//! note = "0 on A"
//! ```
//! ```text
//! D4 q E4 F#4 G4
//! G4 q G4 F#4 E4
//! D4 h A4
//! ```
//! > Bar 2, beat 1: the sheet gives A as a quarter note here; you have G as a quarter note, so put the given note back.
//!
//! Source: common practice of class composing, no single source.

use super::breach::Breach;
use super::given_notes::GivenNote;
use super::rule::{Rule, RuleKind};
use super::sheet_for_instrument::InstrumentSheet;
use super::words;
use crate::notation::{Event, EventKind, Melody};

pub(super) const KIND: RuleKind = RuleKind {
    word: "given",
    about: "the given notes",
    typed: "[[given]]  bar = 1  beat = 1  length = \"q\"  note = 1  (or \"F#\", \"2 low on D\", \"rest\")",
    read: |_, _| Some(Box::new(GivenNotesStay)),
};

#[derive(Debug)]
struct GivenNotesStay;

impl Rule for GivenNotesStay {
    fn sentence(&self, sheet: &InstrumentSheet) -> Option<String> {
        (!sheet.given.is_empty()).then(|| "Keep the notes that are printed already.".to_owned())
    }

    fn breaches(&self, melody: &Melody, sheet: &InstrumentSheet) -> Vec<Breach> {
        sheet.given.iter().filter_map(|given| breach(given, melody, sheet)).collect()
    }
}

fn breach(given: &GivenNote, melody: &Melody, sheet: &InstrumentSheet) -> Option<Breach> {
    let here: Vec<&Event> =
        melody.events.iter().filter(|event| event.bar == given.bar && event.beat == given.beat).collect();
    let pitch = given.note.as_ref();
    let same = |event: &&Event| match (event.kind, pitch) {
        (EventKind::Note { sounding, .. }, Some(pitch)) => {
            event.length == given.length && sounding == pitch.sounding
        }
        (EventKind::Rest, None) => event.length == given.length,
        _ => false,
    };
    // A repeated bar is played more than once and printed once.
    if !here.is_empty() && here.iter().all(same) {
        return None;
    }
    let asked = match pitch {
        Some(pitch) => {
            format!("{} as {}", words::note(pitch.written), words::a_length(given.length, false))
        }
        None => words::a_length(given.length, true),
    };
    let what = format!("the sheet gives {asked} here");
    let mut where_on = String::new();
    let have = match here.iter().find(|event| !same(event)).map(|event| (event.kind, event.length)) {
        None => "nothing of yours begins here".to_owned(),
        Some((EventKind::Rest, length)) => format!("you have {}", words::a_length(length, true)),
        Some((EventKind::Note { written, sounding }, length)) => {
            let apart = pitch.map_or(0, |pitch| sounding - pitch.sounding);
            let mut note = words::note(written);
            if apart != 0 && apart % 12 == 0 {
                note = format!("a {} {note}", if apart > 0 { "higher" } else { "lower" });
                where_on = pitch.map_or_else(String::new, |pitch| {
                    format!(" on the {}", words::string(sheet.instrument, pitch.fingering.string))
                });
            }
            format!("you have {note} as {}", words::a_length(length, false))
        }
    };
    let to_do = format!("{have}, so put the given note back{where_on}");
    let breach = Breach::in_bar(given.bar, Some(given.beat), what, to_do);
    Some(Breach { replaces: true, ..breach })
}
