//! Bars of a melody become bars of symbols: one for each head or rest that is drawn.

use super::accidentals::Accidentals;
use crate::notation::{
    Bar, Clef, Fingering, Instrument, Key, Length, Metre, Placement, Spelling, Value, WrittenValue, bar_text,
};
use crate::remark::Remark;

/// One bar as it is drawn.
#[derive(Debug, Clone)]
pub(super) struct MusicBar {
    pub number: u32,
    pub metre: Metre,
    pub key: Key,
    /// Left to right.
    pub symbols: Vec<Symbol>,
}

/// A note or a rest.
#[derive(Debug, Clone)]
pub(super) struct Symbol {
    /// From the start of the full bar.
    pub start: Length,
    pub length: Length,
    pub value: WrittenValue,
    pub kind: SymbolKind,
    /// The place of its item among all items of the melody.
    pub item: usize,
    pub under: Under,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum SymbolKind {
    Note {
        pitch: Spelling,
        /// Drawn before it.
        accidental: bool,
        /// Whether a tie leads on from it to the next symbol.
        tied: bool,
    },
    Rest {
        /// It is the rest of a whole bar, drawn as such whatever the metre.
        whole_bar: bool,
    },
}

/// The texts under a note.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Under {
    pub name: Option<String>,
    pub finger: Option<String>,
    pub string: Option<String>,
}

/// Which texts are asked for, and for whom.
#[derive(Debug, Clone, Copy)]
pub(super) struct UnderSettings {
    pub instrument: Option<Instrument>,
    /// Semitones from written to sounding pitch.
    pub shift: i32,
    pub names: bool,
    pub fingers: bool,
    pub strings: bool,
}

impl Symbol {
    /// The height of its head on the staff: 0 the top line, 4 the bottom line; `None` for a rest.
    pub fn height(&self, clef: Clef) -> Option<f64> {
        match self.kind {
            SymbolKind::Note { pitch, .. } => Some(super::signatures::height(clef, pitch.staff_step())),
            SymbolKind::Rest { .. } => None,
        }
    }

    /// How many beams or flags it has.
    pub fn beams(&self) -> usize {
        match self.kind {
            SymbolKind::Note { .. } => (self.value.value as usize).saturating_sub(Value::Quarter as usize),
            SymbolKind::Rest { .. } => 0,
        }
    }

    /// Whether a tie leads on from it.
    pub fn tied(&self) -> bool {
        matches!(self.kind, SymbolKind::Note { tied: true, .. })
    }
}

/// The symbols of all bars.
pub(super) fn symbols_from_bars(bars: &[Bar], under: UnderSettings) -> (Vec<MusicBar>, Vec<Remark>) {
    let mut accidentals = Accidentals::default();
    let mut remarks = Vec::new();
    let mut out: Vec<MusicBar> = Vec::new();
    let mut item_number = 0;
    let mut tie_in: Option<Spelling> = None;
    let mut without_finger: Vec<(u32, Spelling)> = Vec::new();
    for bar in bars {
        // The second half of a bar that a repeat sign cut in two goes on in the same bar.
        let goes_on = out.last().is_some_and(|last| {
            last.number == bar.number
                && last.metre == bar.metre
                && bar.offset > Length::from_integer(0)
                && last.symbols.last().is_some_and(|symbol| symbol.start + symbol.length == bar.offset)
        });
        if !goes_on {
            accidentals.bar_line(bar.key);
            out.push(MusicBar { number: bar.number, metre: bar.metre, key: bar.key, symbols: Vec::new() });
        }
        let whole_bar = bar.items.len() == 1 && bar.items[0].length == bar.metre.bar();
        let mut start = bar.offset;
        for item in &bar.items {
            let values = written(item.length).unwrap_or_else(|| {
                remarks.push(Remark::new(
                    "unwritable-length",
                    format!(
                        "{}: a note or rest of {} of a whole note cannot be written with plain note values; the \
                         nearest shorter one is printed.",
                        bar_text(bar.number), item.length
                    ),
                ));
                vec![nearest_shorter(item.length)]
            });
            let values = if item.pitch.is_none() && whole_bar && values[0].value > Value::Breve {
                vec![WrittenValue { value: Value::Whole, dots: 0, tuplet: None }]
            } else {
                values
            };
            let under_note = match item.pitch {
                Some(pitch) if tie_in != Some(pitch) => {
                    let (texts, lost) = texts(pitch, item.finger, under);
                    if lost && !without_finger.iter().any(|(_, known)| *known == pitch) {
                        without_finger.push((bar.number, pitch));
                    }
                    texts
                }
                _ => Under::default(),
            };
            let count = values.len();
            for (at, value) in values.into_iter().enumerate() {
                let length =
                    if at + 1 == count { left_of(item.length, &out, item_number) } else { value.length() };
                let kind = match item.pitch {
                    Some(pitch) => {
                        let led_to = at > 0 || tie_in == Some(pitch);
                        SymbolKind::Note {
                            pitch,
                            accidental: accidentals.needed(pitch, led_to),
                            tied: at + 1 < count || item.tied,
                        }
                    }
                    None => SymbolKind::Rest { whole_bar },
                };
                let under = if at == 0 { under_note.clone() } else { Under::default() };
                if let Some(bar) = out.last_mut() {
                    let before: Length =
                        bar.symbols.iter().filter(|s| s.item == item_number).map(|s| s.length).sum();
                    bar.symbols.push(Symbol {
                        start: start + before,
                        length,
                        value,
                        kind,
                        item: item_number,
                        under,
                    });
                }
            }
            tie_in = item.pitch.filter(|_| item.tied);
            start += item.length;
            item_number += 1;
        }
    }
    if let Some(&(bar, first)) = without_finger.first() {
        let others: Vec<String> = without_finger[1..].iter().map(|(_, pitch)| pitch.to_string()).collect();
        let (verb, them) = if others.is_empty() { ("is", "it") } else { ("are", "them") };
        let pitches = match others.split_last() {
            None => first.to_string(),
            Some((last, [])) => format!("{first} and {last}"),
            Some((last, between)) => format!("{first}, {} and {last}", between.join(", ")),
        };
        let place = if others.is_empty() {
            bar_text(bar)
        } else {
            format!("From {} on", bar_text(bar).to_lowercase())
        };
        remarks.push(Remark::new(
            "no-finger",
            format!("{place}: {pitches} {verb} not in first position, so no finger or string is printed under {them}."),
        ));
    }
    (out, remarks)
}

/// What is left of an item's length for its last symbol.
fn left_of(length: Length, bars: &[MusicBar], item: usize) -> Length {
    let drawn: Length = bars
        .last()
        .into_iter()
        .flat_map(|bar| &bar.symbols)
        .filter(|symbol| symbol.item == item)
        .map(|symbol| symbol.length)
        .sum();
    length - drawn
}

/// A length as one symbol, or as several tied ones.
fn written(length: Length) -> Option<Vec<WrittenValue>> {
    if length <= Length::from_integer(0) {
        return None;
    }
    WrittenValue::of(length).map(|value| vec![value]).or_else(|| WrittenValue::tied_sum(length))
}

fn nearest_shorter(length: Length) -> WrittenValue {
    let plain = |value| WrittenValue { value, dots: 0, tuplet: None };
    Value::ALL
        .into_iter()
        .map(plain)
        .find(|value| value.length() <= length)
        .unwrap_or(plain(Value::SixtyFourth))
}

/// The texts under a note, and whether a finger or string was asked for and there is none.
fn texts(pitch: Spelling, printed: Option<u8>, settings: UnderSettings) -> (Under, bool) {
    let name = settings.names.then(|| note_name(pitch));
    let mut under = Under { name, ..Under::default() };
    let sounding = pitch.midi() + settings.shift;
    let mut ways = settings.instrument.map_or(Vec::new(), |one| one.fingerings_of(pitch, sounding));
    if printed.is_some() {
        // A printed finger need not be the one that the spelling asks for.
        ways.extend(settings.instrument.into_iter().flat_map(|one| one.fingerings(sounding)));
    }
    let way = match printed {
        Some(finger) => ways.iter().find(|way| way.finger == finger),
        None => ways.first(),
    };
    let wants = (settings.fingers || settings.strings) && settings.instrument.is_some();
    if settings.fingers || printed.is_some() {
        under.finger = match (printed, way) {
            (_, Some(way)) => Some(finger_text(way)),
            // A finger that the sheet prints is right whatever we know of positions.
            (Some(finger), None) => Some(finger.to_string()),
            (None, None) => None,
        };
    }
    if settings.strings {
        under.string = way.and_then(|way| string_name(settings.instrument?, way));
    }
    (under, wants && way.is_none())
}

/// The letter and its accidental, as a child reads it: no octave.
pub(super) fn note_name(pitch: Spelling) -> String {
    let mark = match pitch.alter {
        ..=-2 => "♭♭",
        -1 => "♭",
        0 => "",
        1 => "♯",
        2.. => "♯♯",
    };
    format!("{:?}{mark}", pitch.letter)
}

/// A finger and how it is placed: `2`, `L2` (low), `H3` (high), `x4` (reached by stretching), `½1` (half position).
pub(super) fn finger_text(way: &Fingering) -> String {
    let placed = match way.placement {
        Placement::Open | Placement::Normal => "",
        Placement::Low => "L",
        Placement::High => "H",
        Placement::Extended => "x",
        Placement::Half => "½",
    };
    format!("{placed}{}", way.finger)
}

/// The letter of the string.
pub(super) fn string_name(instrument: Instrument, way: &Fingering) -> Option<String> {
    instrument.string_names().get(way.string).map(|&name| name.to_owned())
}
