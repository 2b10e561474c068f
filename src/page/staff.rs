//! The melody as written and as heard: from a report to the plain data of the double staff, what is said of each note
//! when it is chosen, and the rows of notes that the page shows.

use super::content::{PageContent, span};
use super::legend_from_systems::legend;
use super::list_from_report::{extra_said, note_said, rest_said, rest_word};
use super::sound_from_samples::Sound;
use crate::engrave::{
    Belongs, Heard, HeardExtra, HeardNote, HeardRest, HeardReturn, HeardState, HeardWords, System, SystemSvg,
    Told, glyph_definitions, svg_from_system, systems_from_heard,
};
use crate::findings::{ExtraFinding, NoteFinding, NoteVerdict, Report, RestFinding, RestVerdict};
use crate::notation::{EventKind, Melody, as_f64};
use crate::report::{TextSettings, no_new_bow};
use crate::report::{intonation, words};
use crate::units::{Hertz, MidiPitch};

/// What a note of the page answers when it is chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct NoteWords {
    /// Index of the event in the melody.
    pub event: usize,
    /// The bar in which it begins.
    pub bar: u32,
    /// Where in the bar it stands and what was heard, such as `beat 3, F sharp, you played F natural`.
    pub said: String,
    /// The same with its bar, to be read aloud.
    pub label: String,
    /// The moment inside the page's sound, in seconds; `None` where there is none.
    pub span: Option<(f64, f64)>,
    /// The right pitch.
    pub hertz: f64,
}

/// Sound before and after the note that is heard with it, in seconds.
const AROUND: (f64, f64) = (0.06, 0.12);

/// The words of each written note.
pub fn note_words(content: &PageContent<'_>, sound: Option<&Sound>) -> Vec<NoteWords> {
    let report = content.report;
    let a4 = Hertz(report.melody.a4_hz);
    report
        .notes
        .iter()
        .enumerate()
        .map(|(at, note)| {
            let inside = |(from, to): (f64, f64)| {
                let sound = sound?;
                let from = (from - AROUND.0 - sound.begins.0).max(0.0);
                let to = (to + AROUND.1 - sound.begins.0).min(sound.lasts.0);
                (to > from).then_some((from, to))
            };
            let (beat, name) = (words::position(note.beat), words::pitch(&note.written));
            let said = format!("beat {beat}, {name}, {}", note_said(report, at));
            NoteWords {
                event: note.index,
                bar: note.bar,
                label: format!("{}, {said}", words::sentence(&words::bar(note.bar))),
                said,
                span: span(note).and_then(inside),
                hertz: MidiPitch(f64::from(note.written_midi)).hertz(a4).0,
            }
        })
        .collect()
}

/// `low` or `high`, where a finger (and not the string) is outside of in tune.
fn finger_side(report: &Report, note: &NoteFinding, settings: &TextSettings) -> Option<&'static str> {
    let found = intonation::of(report, note, settings)?;
    let off = !found.open_only() && found.finger_cents.abs() > intonation::IN_TUNE_CENTS;
    off.then(|| words::low_or_high(found.finger_cents))
}

/// The double staff for wide windows and for phones, as SVG elements: the outlines that both use, then each.
pub struct Staves {
    /// Outlines, once a page.
    pub outlines: String,
    /// Systems 178 mm wide.
    pub wide: String,
    /// Systems 86 mm wide.
    pub narrow: String,
    /// How to read what is drawn, in words.
    pub legend: String,
    /// What could not be drawn, in words.
    pub remarks: Vec<String>,
}

/// Width and staff height in millimetres.
const WIDE: (f64, f64) = (178.0, 7.0);
const NARROW: (f64, f64) = (86.0, 6.0);
/// The height of a staff on paper, where two pages have to hold everything.
const PAPER_STAFF: f64 = 6.2;
/// Before the ids of the outlines.
const PREFIX: &str = "g-";

/// Draws what was heard under what is written. `notes` are the words of each written note.
pub fn staves(report: &Report, melody: &Melody, notes: &[NoteWords], settings: &TextSettings) -> Staves {
    let heard = heard_from_report(report, melody, settings);
    let [wide, narrow] =
        [WIDE, NARROW].map(|(width, staff)| systems_from_heard(melody, &heard, width, staff));
    let told = |belongs: Belongs| told(report, notes, belongs);
    let written = |systems: &[System]| -> String {
        let svg = |system: &System| {
            let (first, last) = system.bars;
            let bars = match first {
                0 if last == 0 => "The pickup".to_owned(),
                0 => format!("The pickup to bar {last}"),
                _ => format!("Bars {first} to {last}"),
            };
            let label = format!("{bars}, as written and as heard");
            svg_from_system(system, &SystemSvg { prefix: PREFIX, label: &label, told: &told })
        };
        systems.iter().map(svg).collect()
    };
    Staves {
        outlines: glyph_definitions(wide.systems.iter().chain(&narrow.systems), PREFIX),
        wide: written(&wide.systems),
        narrow: written(&narrow.systems),
        legend: legend(&wide.systems),
        remarks: wide.remarks.into_iter().map(|remark| remark.text).collect(),
    }
}

/// The double staff for paper.
pub fn systems_on_paper(
    report: &Report,
    melody: &Melody,
    settings: &TextSettings,
    width_mm: f64,
) -> Vec<System> {
    let heard = heard_from_report(report, melody, settings);
    systems_from_heard(melody, &heard, width_mm, PAPER_STAFF).systems
}

fn told(report: &Report, notes: &[NoteWords], belongs: Belongs) -> Option<Told> {
    let picture = |label: String| Told { role: "img".to_owned(), label, focusable: false };
    match belongs {
        Belongs::Staff => None,
        Belongs::Note(event) => {
            let note = notes.iter().find(|note| note.event == event)?;
            Some(Told { role: "button".to_owned(), label: note.label.clone(), focusable: true })
        }
        Belongs::Rest(event) => {
            let rest = report.rests.iter().find(|rest| rest.index == event)?;
            Some(picture(format!("{}, {}", words::place(rest.bar, rest.beat), rest_said(rest))))
        }
        Belongs::Extra(number) => {
            Some(picture(words::sentence(&extra_said(report, report.extra.get(number)?))))
        }
        Belongs::Return(_) => Some(picture("Stopped and went back".to_owned())),
    }
}

/// The cents that stand under a note: of a finger after its string's tuning, as in the words for the player; of an open
/// string as they were measured.
fn cents_said(report: &Report, note: &NoteFinding, settings: &TextSettings) -> Option<f64> {
    let found = intonation::of(report, note, settings).filter(|found| !found.open_only());
    found.map(|found| found.finger_cents).or(note.cents)
}

/// The report as the plain data of the staff as heard. Pitches are told after the whole instrument's tuning; `high` and
/// `low` only where a finger was out of tune.
pub fn heard_from_report(report: &Report, melody: &Melody, settings: &TextSettings) -> Heard {
    let offset = report.tuning.offset_cents.filter(|cents| cents.is_finite()).unwrap_or(0.0) / 100.0;
    let note = |(at, note): (usize, &NoteFinding)| HeardNote {
        event: note.index,
        state: match (note.verdict, note.played_midi) {
            (NoteVerdict::Right, _) => HeardState::Right,
            (NoteVerdict::Wrong, Some(played)) => HeardState::Other { sounding: played - offset },
            (NoteVerdict::Missing, _) => HeardState::Missing,
            (NoteVerdict::Unsure | NoteVerdict::Wrong, _) => HeardState::Unsure,
        },
        onset_error_beats: note.onset_error_beats,
        duration_ratio: note.duration_ratio,
        cents: cents_said(report, note, settings),
        label: match no_new_bow(report, at) {
            true => Some("no new bow".to_owned()),
            false => finger_side(report, note, settings).map(str::to_owned),
        },
    };
    let rest = |rest: &RestFinding| HeardRest {
        event: rest.index,
        played_beats: match rest.verdict {
            RestVerdict::Filled => Some(0.0),
            RestVerdict::Unsure => None,
            // What is kept has neither an arrow nor hatching.
            RestVerdict::Kept => Some(rest.written_beats),
            RestVerdict::Rushed | RestVerdict::Stretched => rest.played_beats,
        },
        label: rest_word(rest).map(str::to_owned),
    };
    let extra = |extra: &ExtraFinding| {
        let (after, beats_after) = place_of_extra(report, melody, extra);
        HeardExtra {
            after,
            beats_after,
            sounding: extra.played_midi - offset,
            label: Some("extra".to_owned()),
        }
    };
    let returns = report.restarts.iter().map(|restart| HeardReturn {
        after: restart.left_at_index,
        to: restart.resumed_at_index,
        label: melody
            .events
            .get(restart.resumed_at_index)
            .map(|event| format!("stopped here, began again at {}", words::bar(event.bar))),
    });
    Heard {
        notes: report.notes.iter().enumerate().map(note).collect(),
        rests: report.rests.iter().map(rest).collect(),
        extras: report.extra.iter().map(extra).collect(),
        returns: returns.collect(),
        words: HeardWords::default(),
    }
}

/// So many beats before a rest is due what sounds is drawn in the rest and not after the note before it.
const ABOUT_DUE: f64 = 0.25;

/// The event after whose ink an extra note is drawn, and so many beats after the start of that. The report has the note
/// before it; what sounded in a rest is drawn there.
pub(super) fn place_of_extra(report: &Report, melody: &Melody, extra: &ExtraFinding) -> (Option<usize>, f64) {
    let Some(mut after) = extra.after_index else { return (None, 0.0) };
    let mut beats = beats_after(report, melody, after, extra.onset_s);
    while let [here, next] = melody.events.get(after..after + 2).unwrap_or_default()
        && next.kind == EventKind::Rest
    {
        let until = as_f64((next.start - here.start) / melody.metre.beat());
        if beats < until - ABOUT_DUE {
            break;
        }
        (after, beats) = (after + 1, (beats - until).max(0.0));
    }
    (Some(after), beats)
}

/// How many beats after the written start of an event a moment of the take lies, reckoned from the last note before it
/// that was heard, at the player's own tempo.
fn beats_after(report: &Report, melody: &Melody, after: usize, moment: f64) -> f64 {
    let start =
        |event: usize| melody.events.get(event).map(|event| as_f64(event.start / melody.metre.beat()));
    let heard = report
        .notes
        .iter()
        .rev()
        .find(|note| note.index <= after && note.onset_s.is_some_and(|s| s <= moment));
    let beats = heard.and_then(|note| {
        let elapsed = (moment - note.onset_s?) * report.tempo.played_bpm? / 60.0;
        Some(elapsed - (start(after)? - start(note.index)?))
    });
    beats.filter(|beats| beats.is_finite()).unwrap_or(0.0).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_melody_bytes;
    use crate::notation::Instrument;
    use crate::report::sample_report::report;

    /// 80 beats a minute: a beat is 0.75 s. The note before the rests begins at 3.0 s.
    #[test]
    fn an_extra_note_is_drawn_in_the_rest_that_it_sounded_in() {
        let text = "instrument = 'violin'\nmetre = '4/4'\nbars = ['D4 q E4 F#4 G4', 'A4 q rest h.', 'rest w', 'D4 w']";
        let melody = read_melody_bytes("m.toml", text.as_bytes()).expect("a melody").melody;
        let report = report(Instrument::Violin, &["D4", "E4", "F#4", "G4", "A4"]);
        let place = |onset_s: f64| {
            let extra =
                ExtraFinding { after_index: Some(4), onset_s, offset_s: onset_s + 0.3, played_midi: 67.0 };
            place_of_extra(&report, &melody, &extra)
        };
        assert_eq!(place(3.3).0, Some(4), "within the note's own beat");
        assert_eq!(place(3.6).0, Some(5), "a little before the rest is due");
        assert_eq!(place(5.25), (Some(5), 2.0));
        assert_eq!(place(7.5), (Some(6), 2.0));
        let before = ExtraFinding { after_index: None, onset_s: 0.0, offset_s: 0.3, played_midi: 67.0 };
        assert_eq!(place_of_extra(&report, &melody, &before), (None, 0.0));
    }
}
