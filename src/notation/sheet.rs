//! The sheet: the melody bar by bar, as it is engraved and written to files.

use super::{Clef, Event, EventKind, Key, Length, Melody, Metre, Spelling};

/// What a page of music shows beyond the flat list of events. Repeats are written out here too, so
/// that each played note has its own place on the page.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sheet {
    /// Who wrote the melody.
    pub composer: Option<String>,
    /// The clef in the file, if it has one.
    pub clef: Option<Clef>,
    /// Whether the file itself says how its written pitches sound (a transposition or an octave clef);
    /// if not, the instrument's own habit decided.
    pub says_sounding: bool,
    /// The bars in playing order.
    pub bars: Vec<Bar>,
}

/// One bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// The printed number; repeated bars repeat it.
    pub number: u32,
    /// Where in the full bar its first item stands: above 0 for a pickup and for the second half of a
    /// bar that a repeat sign cuts in two.
    pub offset: Length,
    /// The metre of this bar.
    pub metre: Metre,
    /// The key signature of this bar.
    pub key: Key,
    /// Notes and rests, left to right.
    pub items: Vec<Item>,
}

/// One symbol in a bar. Tied notes are several items and one event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Item {
    /// How long it lasts.
    pub length: Length,
    /// The written pitch, `None` for a rest.
    pub pitch: Option<Spelling>,
    /// Whether a tie joins it to the next item.
    pub tied: bool,
    /// The finger printed over it, 0 to 4, if any.
    pub finger: Option<u8>,
}

impl Bar {
    /// The length of what is in it.
    pub fn filled(&self) -> Length {
        self.items.iter().map(|item| item.length).sum()
    }
}

impl Sheet {
    /// The key signature at the start.
    pub fn key(&self) -> Key {
        self.bars.first().map_or(Key::default(), |bar| bar.key)
    }
}

impl Melody {
    /// The bars of the sheet; worked out from the events where the sheet is empty (one metre, no key
    /// signature, notes that cross a bar line cut in two and tied).
    pub fn bars(&self) -> Vec<Bar> {
        if !self.sheet.bars.is_empty() {
            return self.sheet.bars.clone();
        }
        let full = self.metre.bar();
        let zero = Length::from_integer(0);
        let mut bars: Vec<Bar> = Vec::new();
        for event in &self.events {
            let mut left = event.length;
            while left > zero {
                let room = bars.last().map_or(zero, |bar| full - bar.offset - bar.filled());
                if room <= zero {
                    let (number, offset) = match bars.last() {
                        Some(bar) => (bar.number + 1, zero),
                        None => first_bar(event, self.metre),
                    };
                    bars.push(Bar {
                        number,
                        offset,
                        metre: self.metre,
                        key: Key::default(),
                        items: Vec::new(),
                    });
                    continue;
                }
                let length = left.min(room);
                left -= length;
                let pitch = match event.kind {
                    EventKind::Note { written, .. } => Some(written),
                    EventKind::Rest => None,
                };
                // A rest cannot be tied; one that crosses a bar line stays whole in a longer bar.
                let length =
                    if pitch.is_none() { length + std::mem::replace(&mut left, zero) } else { length };
                let tied = left > zero;
                if let Some(bar) = bars.last_mut() {
                    bar.items.push(Item { length, pitch, tied, finger: None });
                }
            }
        }
        bars
    }
}

fn first_bar(event: &Event, metre: Metre) -> (u32, Length) {
    let offset = (event.beat - Length::from_integer(1)) * metre.beat();
    let valid = offset > Length::from_integer(0) && offset < metre.bar();
    (event.bar, if valid { offset } else { Length::from_integer(0) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_first_event_within_its_bar_is_a_pickup_and_one_beyond_it_begins_a_bar() {
        let kind = EventKind::Rest;
        let length = Length::new(1, 4);
        let at = |beat: i64| {
            let beat = Length::from_integer(beat);
            first_bar(&Event { bar: 3, beat, start: length - length, length, kind }, Metre::default())
        };
        let offsets = [1, 2, 4, 5, 6, 0].map(at);
        let quarters = |n: i64| (3, Length::new(n, 4));
        assert_eq!(offsets, [0, 1, 3, 0, 0, 0].map(quarters));
    }

    #[test]
    fn bars_without_a_sheet_are_cut_at_bar_lines_and_notes_tied_across_them() {
        let pitch: Spelling = "D4".parse().unwrap();
        let note = EventKind::Note { written: pitch, sounding: pitch.midi() };
        let quarters = |count: i64| Length::new(count, 4);
        let event = |bar, beat: i64, start: i64, length: i64, kind| Event {
            bar,
            beat: Length::from_integer(beat),
            start: quarters(start),
            length: quarters(length),
            kind,
        };
        // A pickup of one quarter, a note over the bar line, a rest over the next one.
        let events = vec![
            event(0, 4, 0, 1, note),
            event(1, 1, 1, 6, note),
            event(2, 3, 7, 3, EventKind::Rest),
            event(3, 2, 10, 1, note),
        ];
        let melody = Melody::of(events);
        let bars = melody.bars();
        let told: Vec<_> = bars
            .iter()
            .map(|bar| {
                let items = bar.items.iter();
                (
                    bar.number,
                    bar.offset,
                    items.map(|item| (item.length, item.pitch.is_some(), item.tied)).collect::<Vec<_>>(),
                )
            })
            .collect();
        let zero = quarters(0);
        assert_eq!(
            told,
            [
                (0, quarters(3), vec![(quarters(1), true, false)]),
                (1, zero, vec![(quarters(4), true, true)]),
                // A rest is not cut: the bar is longer.
                (2, zero, vec![(quarters(2), true, false), (quarters(3), false, false)]),
                (3, zero, vec![(quarters(1), true, false)]),
            ]
        );
    }
}
