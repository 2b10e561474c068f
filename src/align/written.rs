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
    for (event, e) in melody.events.iter().enumerate() {
        if let EventKind::Note { sounding, .. } = e.kind {
            let opens_bar = notes.last().is_none_or(|n| n.bar != e.bar);
            notes.push(WrittenNote {
                event,
                midi: sounding + 12 * octaves,
                start: in_beats(e.start),
                length: in_beats(e.length),
                opens_bar,
                bar: e.bar,
            });
        }
    }
    notes
}
