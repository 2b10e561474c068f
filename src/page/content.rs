//! What a page is made of.

use crate::findings::{NoteFinding, Report};
use crate::notation::Melody;
use crate::pitch::F0;
use crate::report::{TextSettings, words};
use crate::samples::Samples;
use crate::units::Millimetres;

/// One take and what is known about it.
#[derive(Debug, Clone, Copy)]
pub struct PageContent<'a> {
    /// The report.
    pub report: &'a Report,
    /// The melody that it was judged against: the report's indices are those of its events.
    pub melody: &'a Melody,
    /// The fundamental over time; without it there is no pitch trace.
    pub f0: Option<&'a F0>,
    /// The sound of the take; without it a note tells only its words and its right pitch.
    pub samples: Option<&'a Samples>,
    /// The take's number in the take book, where it has one.
    pub number: Option<u32>,
    /// Earlier takes of the same melody with their numbers, oldest first; may be empty.
    pub earlier: &'a [(u32, Report)],
    /// The mark and what is behind it, where the take is a playing test.
    pub playing_test: Option<&'a PlayingTest>,
}

/// What a playing test came to, in words; titles and names in it may come from files.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlayingTest {
    /// Who played: the name or the chair, and the group.
    pub who: String,
    /// The mark, or that there is none yet and why.
    pub mark: String,
    /// The teacher's note, the last test; may be empty.
    pub notes: Vec<String>,
    /// What was marked.
    pub criteria: Vec<MarkedFor>,
    /// How the mark is reckoned from it.
    pub how: Option<String>,
    /// Where the mark is the teacher's own: what the program alone would have said of it.
    pub alone: Option<String>,
    /// Places to listen to before the mark is final, with their times.
    pub listen: Vec<String>,
}

/// One thing that a mark is given for.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkedFor {
    /// Its word, such as `rhythm`.
    pub name: &'static str,
    /// Its weight among the others.
    pub weight: f64,
    /// So many notes or rests were good ...
    pub good: usize,
    /// ... of so many that could be judged.
    pub counted: usize,
    /// How that is, and each note that was not good.
    pub sentences: Vec<String>,
}

impl PageContent<'_> {
    /// The melody's title, without what a screen would obey.
    pub(super) fn title(&self) -> String {
        let name = words::harmless(&self.report.melody.title);
        if name.trim().is_empty() { "A melody".to_owned() } else { name }
    }

    /// The take in a line: instrument, number, length, tempo, A.
    pub(super) fn facts(&self) -> String {
        let report = self.report;
        let mut facts = vec![words::sentence(&report.melody.instrument.to_string())];
        facts.extend(self.number.map(|number| format!("take {number}")));
        facts.push(format!("{:.0} seconds", report.take.duration_s));
        if let Some(bpm) = report.tempo.played_bpm.filter(|bpm| bpm.is_finite()) {
            facts.push(format!("about {bpm:.0} beats a minute"));
        }
        facts.push(format!("A = {} Hz", report.melody.a4_hz));
        facts.join(" · ")
    }
}

/// How the page is to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PageSettings {
    /// The teacher's numbers as well: tables, thresholds, confidences.
    pub detail: bool,
    /// Whether the sound goes into the page (about 1 MB a minute), where there is any.
    pub sound: bool,
    /// The player's string length from nut to bridge; else that of the usual size.
    pub string_length: Option<Millimetres>,
}

/// The player's page, with sound.
impl Default for PageSettings {
    fn default() -> Self {
        Self { detail: false, sound: true, string_length: None }
    }
}

impl PageSettings {
    /// The same for the rooms that make words.
    pub(super) fn text(&self) -> TextSettings {
        TextSettings { string_length: self.string_length, bold: false }
    }
}

/// For which window a figure is drawn: nothing is ever wider than its window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Room {
    /// A wide window, and paper: 680 px, 180 mm.
    Wide,
    /// A phone: 328 px, which leaves 16 on both sides of a window of 360.
    Narrow,
}

impl Room {
    /// Its width in CSS pixels.
    pub fn width(self) -> f64 {
        match self {
            Self::Wide => 680.0,
            Self::Narrow => 328.0,
        }
    }

    /// The class that the style sheet shows it by.
    pub fn class(self) -> &'static str {
        match self {
            Self::Wide => "wide",
            Self::Narrow => "narrow",
        }
    }
}

/// When a note began and ended, where both are known and make sense.
pub(super) fn span(note: &NoteFinding) -> Option<(f64, f64)> {
    let (onset, offset) = (note.onset_s?, note.offset_s?);
    (onset.is_finite() && offset.is_finite() && onset >= 0.0 && offset > onset).then_some((onset, offset))
}

/// From the first sound of the melody to its last, in seconds of the take; `None` where no note was heard.
pub(super) fn playing(report: &Report) -> Option<(f64, f64)> {
    let notes = report.notes.iter().filter_map(span);
    let extras = report.extra.iter().map(|extra| (extra.onset_s, extra.offset_s));
    let extras = extras.filter(|(from, to)| from.is_finite() && to.is_finite() && *from >= 0.0 && to > from);
    notes.chain(extras).reduce(|all, one| (all.0.min(one.0), all.1.max(one.1)))
}
