//! A melody taken apart as the rules look at it: notes, rests, printed symbols, bars.

use crate::notation::{Event, EventKind, Length, Melody, Metre, Spelling};
use std::collections::BTreeSet;

/// A note of the melody; tied symbols are one note.
#[derive(Debug, Clone, Copy)]
pub(super) struct Note<'m> {
    /// Where it stands and how long it is.
    pub event: &'m Event,
    /// As written.
    pub written: Spelling,
    /// The sounding MIDI number.
    pub sounding: i32,
}

/// The notes in playing order.
pub(super) fn notes(melody: &Melody) -> impl Iterator<Item = Note<'_>> {
    melody.events.iter().filter_map(note)
}

/// The event as a note, if it is one.
pub(super) fn note(event: &Event) -> Option<Note<'_>> {
    match event.kind {
        EventKind::Note { written, sounding } => Some(Note { event, written, sounding }),
        EventKind::Rest => None,
    }
}

/// The rests in playing order; one that is repeated is one.
pub(super) fn rests(melody: &Melody) -> impl Iterator<Item = &Event> {
    let mut seen = BTreeSet::new();
    let rests = melody.events.iter().filter(|event| event.kind == EventKind::Rest);
    rests.filter(move |rest| seen.insert(place(rest)))
}

/// Where an event is written: what is repeated has one place, however often it is played.
pub(super) fn place(event: &Event) -> (u32, Length) {
    (event.bar, event.beat)
}

/// A symbol as it is printed: tied notes are several.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Symbol {
    /// The printed bar.
    pub bar: u32,
    /// The beat in it, from 1.
    pub beat: Length,
    /// How long the symbol is.
    pub length: Length,
    /// Whether it is a rest.
    pub rest: bool,
}

/// The printed symbols in playing order.
pub(super) fn symbols(melody: &Melody) -> Vec<Symbol> {
    let mut symbols = Vec::new();
    for bar in melody.bars() {
        let mut within = bar.offset;
        for item in &bar.items {
            let beat = within / bar.metre.beat() + Length::from_integer(1);
            symbols.push(Symbol { bar: bar.number, beat, length: item.length, rest: item.pitch.is_none() });
            within += item.length;
        }
    }
    symbols
}

/// A printed bar: its halves, where a repeat sign cuts it, are put together, and a repeated bar is one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PrintedBar {
    /// The number.
    pub number: u32,
    /// The metre.
    pub metre: Metre,
    /// Where what is in it begins, from the bar line.
    pub from: Length,
    /// Where it ends, from the bar line.
    pub to: Length,
}

/// The printed bars in the order in which they first appear.
pub(super) fn printed_bars(melody: &Melody) -> Vec<PrintedBar> {
    let mut printed: Vec<PrintedBar> = Vec::new();
    for bar in melody.bars() {
        let (from, to) = (bar.offset, bar.offset + bar.filled());
        match printed.iter_mut().find(|one| one.number == bar.number) {
            Some(one) => (one.from, one.to) = (one.from.min(from), one.to.max(to)),
            None => printed.push(PrintedBar { number: bar.number, metre: bar.metre, from, to }),
        }
    }
    printed
}

/// The printed bars after the pickup, and the pickup: the first bar, whatever its number, where it is not filled from
/// its bar line.
pub(super) fn pickup_and_bars(printed: &[PrintedBar]) -> (Option<&PrintedBar>, &[PrintedBar]) {
    match printed {
        [first, others @ ..] if first.from > Length::from_integer(0) => (Some(first), others),
        _ => (None, printed),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pickup_is_the_first_bar_and_begins_after_its_bar_line_whatever_its_number() {
        let bar = |number, quarters| {
            let metre = Metre::default();
            PrintedBar { number, metre, from: Length::new(quarters, 4), to: metre.bar() }
        };
        for number in [0, 1] {
            let bars = [bar(number, 3), bar(number + 1, 0)];
            assert_eq!(pickup_and_bars(&bars), (Some(&bars[0]), &bars[1..]));
        }
        let whole = [bar(0, 0), bar(1, 2)];
        assert_eq!(pickup_and_bars(&whole), (None, &whole[..]), "a later bar is none");
        assert_eq!(pickup_and_bars(&[]), (None, &[][..]));
    }
}
