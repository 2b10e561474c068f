//! What a page is made of.

use crate::findings::{NoteFinding, Report};
use crate::notation::Melody;
use crate::pitch::Contour;
use crate::report::TextSettings;
use crate::samples::Samples;
use crate::units::Millimetres;

/// One take and what is known about it.
#[derive(Debug, Clone, Copy)]
pub struct PageContent<'a> {
    /// The report.
    pub report: &'a Report,
    /// The melody that it was judged against: the report's indices are those of its events.
    pub melody: &'a Melody,
    /// The contour of the take; without it there is no pitch trace.
    pub contour: Option<&'a Contour>,
    /// The sound of the take; without it a note tells only its words and its right pitch.
    pub samples: Option<&'a Samples>,
    /// The take's number in the take book, where it has one.
    pub number: Option<u32>,
    /// Earlier takes of the same melody with their numbers, oldest first; may be empty.
    pub earlier: &'a [(u32, Report)],
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
