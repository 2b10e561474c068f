//! The melody as the decoder needs it: its notes, in beats.

use crate::notation::{EventKind, Length, Melody, as_f64};

/// One written note.
#[derive(Debug, Clone, PartialEq)]
pub struct WrittenNote {
    /// Index of the event in the melody.
    pub event: usize,
    /// Sounding MIDI number.
    pub midi: i32,
    /// Where it starts, in beats from the start of the melody.
    pub start: f64,
    /// How long it lasts in beats.
    pub length: f64,
    /// Whether it is the first note of its bar.
    pub opens_bar: bool,
    /// Bar number as printed.
    pub bar: u32,
}

/// The notes of a melody in order, `octaves` octaves higher than written.
pub fn written_notes(melody: &Melody, octaves: i32) -> Vec<WrittenNote> {
    let beat = melody.metre.beat();
    let in_beats = |length: Length| as_f64(length / beat);
    let mut notes: Vec<WrittenNote> = Vec::new();
    let mut opens_bar = true;
    for (event, e) in melody.events.iter().enumerate() {
        // A bar that is repeated has one number: it begins again where the beat goes back.
        opens_bar |= event
            .checked_sub(1)
            .map(|k| &melody.events[k])
            .is_some_and(|l| l.bar != e.bar || l.beat >= e.beat);
        if let EventKind::Note { sounding, .. } = e.kind {
            notes.push(WrittenNote {
                event,
                midi: sounding + 12 * octaves,
                start: in_beats(e.start),
                length: in_beats(e.length),
                opens_bar,
                bar: e.bar,
            });
            opens_bar = false;
        }
    }
    notes
}

#[cfg(test)]
impl WrittenNote {
    /// One bar of these pitches, a beat each.
    pub(crate) fn one_bar(midi: &[i32]) -> Vec<Self> {
        let note = |(event, &midi): (usize, &i32)| Self {
            event,
            midi,
            start: event as f64,
            length: 1.0,
            opens_bar: event == 0,
            bar: 1,
        };
        midi.iter().enumerate().map(note).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Event;

    #[test]
    fn notes_are_counted_in_beats_and_the_first_of_each_bar_is_known() {
        let quarters = |n: i64| Length::from_integer(n) / 4;
        let event = |bar: u32, start: i64, length: i64, sounding: Option<i32>| Event {
            bar,
            beat: Length::from_integer(start % 4 + 1),
            start: quarters(start),
            length: quarters(length),
            kind: match sounding {
                Some(sounding) => EventKind::Note { written: "A3".parse().unwrap(), sounding },
                None => EventKind::Rest,
            },
        };
        let melody = Melody::of(vec![
            event(1, 0, 2, Some(57)),
            event(1, 2, 2, Some(59)),
            event(2, 4, 1, None),
            event(2, 5, 1, Some(60)),
            event(2, 6, 2, Some(62)),
        ]);
        let note = |event, midi, start, length, opens_bar, bar| WrittenNote {
            event,
            midi,
            start,
            length,
            opens_bar,
            bar,
        };
        let wanted = [
            note(0, 57, 0.0, 2.0, true, 1),
            note(1, 59, 2.0, 2.0, false, 1),
            note(3, 60, 5.0, 1.0, true, 2),
            note(4, 62, 6.0, 2.0, false, 2),
        ];
        assert_eq!(written_notes(&melody, 0), wanted);
        let higher: Vec<i32> = written_notes(&melody, 1).iter().map(|n| n.midi).collect();
        assert_eq!(higher, [69, 71, 72, 74]);
    }

    #[test]
    fn a_bar_that_is_repeated_opens_again() {
        let opens = |events: &[(u32, i64, bool)]| {
            let event = |(place, &(bar, beat, sounds)): (usize, &(u32, i64, bool))| Event {
                bar,
                beat: Length::from_integer(beat),
                start: Length::from_integer(place as i64) / 4,
                length: Length::from_integer(1) / 4,
                kind: if sounds {
                    EventKind::Note { written: "A3".parse().unwrap(), sounding: 57 }
                } else {
                    EventKind::Rest
                },
            };
            let melody = Melody::of(events.iter().enumerate().map(event).collect());
            written_notes(&melody, 0).iter().map(|n| n.opens_bar).collect::<Vec<_>>()
        };
        let bar = [(1, 1, false), (1, 2, true), (1, 3, true)];
        let twice = [&bar[..], &bar[..], &[(2, 1, true)]].concat();
        assert_eq!(opens(&twice), [true, false, true, false, true]);
        assert_eq!(opens(&[(1, 1, true), (1, 1, true), (2, 1, true)]), [true; 3], "a note to a bar");
    }
}
