//! The melody as written and as heard: from a report to the plain data of the double staff, what is said of each note
//! when it is chosen, and the rows of notes that the page shows.

use super::content::{PageContent, span};
use super::sound_from_samples::Sound;
use crate::findings::{NoteFinding, NoteVerdict, Report};
use crate::report::TextSettings;
use crate::report::{intonation, words};
use crate::units::{Hertz, MidiPitch};

/// What a note of the page answers when it is chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct NoteWords {
    /// Index of the event in the melody.
    pub event: usize,
    /// Where it stands and what was heard, to be read aloud.
    pub label: String,
    /// The written pitch's name with signs, such as `F♯`.
    pub written: String,
    /// What was heard, in a word or two.
    pub heard: String,
    /// The moment inside the page's sound, in seconds; `None` where there is none.
    pub span: Option<(f64, f64)>,
    /// The right pitch.
    pub hertz: f64,
}

/// Sound before and after the note that is heard with it, in seconds.
const AROUND: (f64, f64) = (0.06, 0.12);

/// The words of each written note.
pub fn note_words(
    content: &PageContent<'_>,
    sound: Option<&Sound>,
    settings: &TextSettings,
) -> Vec<NoteWords> {
    let report = content.report;
    let a4 = Hertz(report.melody.a4_hz);
    report
        .notes
        .iter()
        .map(|note| {
            let (name, heard) = (words::pitch(&note.written), heard(report, note));
            let inside = |(from, to): (f64, f64)| {
                let sound = sound?;
                let from = (from - AROUND.0 - sound.begins.0).max(0.0);
                let to = (to + AROUND.1 - sound.begins.0).min(sound.lasts.0);
                (to > from).then_some((from, to))
            };
            NoteWords {
                event: note.index,
                label: format!("{}, {name}, {heard}", words::place(note.bar, note.beat)),
                written: name.replace(" sharp", "♯").replace(" flat", "♭"),
                heard: short(report, note, settings),
                span: span(note).and_then(inside),
                hertz: MidiPitch(f64::from(note.written_midi)).hertz(a4).0,
            }
        })
        .collect()
}

fn heard(report: &Report, note: &NoteFinding) -> String {
    match (note.verdict, note.cents) {
        (NoteVerdict::Missing, _) => "not heard".to_owned(),
        (NoteVerdict::Unsure, _) => "I could not tell what was played".to_owned(),
        (NoteVerdict::Wrong, _) => match played_name(report, note) {
            Some(name) => format!("you played {name}"),
            None => "you played another note".to_owned(),
        },
        (NoteVerdict::Right, None) => "played".to_owned(),
        (NoteVerdict::Right, Some(cents)) if cents.abs() < 0.5 => "played right on the pitch".to_owned(),
        (NoteVerdict::Right, Some(cents)) => {
            let side = if cents < 0.0 { "low" } else { "high" };
            let count = words::count(cents.abs().round() as usize, "cent", "cents");
            format!("played {count} {side}")
        }
    }
}

fn played_name(report: &Report, note: &NoteFinding) -> Option<String> {
    let played = note.played_midi? - report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    let off = (played - f64::from(note.written_midi)).clamp(-120.0, 120.0).round() as i32;
    (off != 0).then(|| words::played_and_written(&note.written, off).0)
}

/// A word or two for under a note: the cents, and `low` or `high` where a finger was.
fn short(report: &Report, note: &NoteFinding, settings: &TextSettings) -> String {
    match note.verdict {
        NoteVerdict::Missing => "not heard".to_owned(),
        NoteVerdict::Unsure => "not sure".to_owned(),
        NoteVerdict::Wrong => played_name(report, note)
            .map_or_else(|| "other".to_owned(), |name| name.replace(" sharp", "♯").replace(" flat", "♭")),
        NoteVerdict::Right => {
            let cents = note.cents.filter(|cents| cents.is_finite());
            let side = finger_side(report, note, settings).map_or(String::new(), |side| format!(" {side}"));
            cents.map_or_else(
                || "heard".to_owned(),
                |cents| format!("{:+.0}{side}", cents.round() + 0.0).replace('-', "−"),
            )
        }
    }
}

/// `low` or `high`, where a finger (and not the string) is outside of in tune.
fn finger_side(report: &Report, note: &NoteFinding, settings: &TextSettings) -> Option<&'static str> {
    let found = intonation::of(report, note, settings)?;
    let off = !found.open_only() && found.finger_cents.abs() > intonation::IN_TUNE_CENTS;
    off.then_some(if found.finger_cents < 0.0 { "low" } else { "high" })
}
