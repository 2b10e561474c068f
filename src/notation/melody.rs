//! The melody as written, flattened to what a player has to do one after the other.

use super::{Instrument, Length, Metre, Sheet, Spelling};
use crate::units::Hertz;

/// A melody: a header and its events in playing order (repeats written out, tied notes joined).
#[derive(Debug, Clone, PartialEq)]
pub struct Melody {
    /// The title, if the file has one.
    pub title: Option<String>,
    /// The instrument, where the file says or clearly implies it.
    pub instrument: Option<Instrument>,
    /// Beats per minute (beats of the first metre), where the file says it.
    pub bpm: Option<f64>,
    /// The pitch of A4 that the file asks for.
    pub a4: Option<Hertz>,
    /// The metre at the start.
    pub metre: Metre,
    /// Notes and rests in playing order; their index here is the index in every report.
    pub events: Vec<Event>,
    /// The same music bar by bar, as engraving and writers want it; it may be empty
    /// (`Sheet::default()`) in a melody made by hand.
    pub sheet: Sheet,
}

/// One note or rest. Tied notes are one event.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Bar number as printed: a pickup bar is 0, the first full bar 1.
    pub bar: u32,
    /// Position in the bar in beats, counted from 1 (`1` is the downbeat; a pickup of one quarter note
    /// before 4/4 stands on beat 4).
    pub beat: Length,
    /// Where it starts, from the start of the first event.
    pub start: Length,
    /// How long it lasts.
    pub length: Length,
    /// What it is.
    pub kind: EventKind,
}

/// A note or a rest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EventKind {
    /// A note to play.
    Note {
        /// As written on the sheet.
        written: Spelling,
        /// The sounding MIDI note number, 0 to 127 (for the bass an octave below the written one).
        sounding: i32,
    },
    /// Silence to keep.
    Rest,
}

impl Melody {
    /// The notes as they are written, in order.
    pub fn written(&self) -> impl Iterator<Item = Spelling> + '_ {
        self.events.iter().filter_map(|event| match event.kind {
            EventKind::Note { written, .. } => Some(written),
            EventKind::Rest => None,
        })
    }

    /// The sounding MIDI numbers of the notes, in order.
    pub fn soundings(&self) -> impl Iterator<Item = i32> + '_ {
        self.events.iter().filter_map(|event| match event.kind {
            EventKind::Note { sounding, .. } => Some(sounding),
            EventKind::Rest => None,
        })
    }

    /// The length of the whole melody.
    pub fn length(&self) -> Length {
        self.events.last().map_or(Length::from_integer(0), |last| last.start + last.length)
    }
}

#[cfg(test)]
impl Melody {
    /// A melody of some events in 4/4, of which nothing else is known.
    pub(crate) fn of(events: Vec<Event>) -> Self {
        Self {
            title: None,
            instrument: None,
            bpm: None,
            a4: None,
            metre: Metre::default(),
            events,
            sheet: Sheet::default(),
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::notation::{Key, Spelling};

    /// Notes of a quarter each, written and sounding.
    pub(crate) fn of_quarters(instrument: Option<Instrument>, notes: &[(i32, i32)]) -> Melody {
        let quarters = |n: usize| Length::new(n as i64, 4);
        let event = |(n, &(written, sounding)): (usize, &(i32, i32))| Event {
            bar: 1,
            beat: Length::from_integer(n as i64 + 1),
            start: quarters(n),
            length: quarters(1),
            kind: EventKind::Note { written: Spelling::from_midi(written, Key::default()), sounding },
        };
        Melody { instrument, ..Melody::of(notes.iter().enumerate().map(event).collect()) }
    }

    #[test]
    fn a_melody_lasts_until_its_last_event_ends() {
        let quarters = |n: i64| Length::new(n, 4);
        let rest = |start: i64, length: i64| Event {
            bar: 1,
            beat: quarters(4),
            start: quarters(start),
            length: quarters(length),
            kind: EventKind::Rest,
        };
        let mut melody = Melody::of(vec![rest(0, 1), rest(1, 3)]);
        assert_eq!(melody.length(), quarters(4));
        melody.events.clear();
        assert_eq!(melody.length(), quarters(0));
    }
}
