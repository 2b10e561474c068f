//! What was heard becomes what is drawn for it: pitches on the staff, accidentals, texts, and how far each reaches from
//! the place of its written note, so that room is kept before lines are broken.

use super::accidentals::Accidentals;
use super::columns_from_bar::{BEFORE_HEAD, body, has_ledger};
use super::drawing::What;
use super::glyph::Glyph;
use super::glyph::defaults::LEDGER_EXTENSION;
use super::heard::{HEARD_AS_ON_TIME_BEATS, Heard, HeardNote, HeardState};
use super::letters;
use super::lines_from_bars::Music;
use super::signatures::height;
use super::symbols_from_bars::{SymbolKind, note_name};
use crate::notation::{Bar, Clef, HeardNames, Key, Spelling, Value, as_f64};
use crate::remark::Remark;
use std::collections::{BTreeMap, BTreeSet};

/// The em of cents, and of the words under them.
pub(super) const CENTS_SIZE: f64 = 1.6;
pub(super) const WORD_SIZE: f64 = 1.35;
/// The size of a note that is not on the sheet: cue notes are two thirds to three quarters of full size (Gould, *Behind
/// Bars*, 2011, on cue and grace notes, from memory).
pub(super) const CUE: f64 = 0.66;
/// Between what belongs to two notes.
pub(super) const BETWEEN: f64 = 0.35;
/// Beside a text, besides that: words of two notes are not to be read as one.
const BESIDE_WORDS: f64 = 0.15;
/// From a head (with its accidental) to the box round it.
pub(super) const AROUND: f64 = 0.32;
/// Half the height of the box, so that it clears an accidental's body and its own staff line.
pub(super) const BOX_HALF: f64 = 0.95;
/// How far a head moves for a beat of error beyond what is drawn as none, and at most, in spaces: a quarter of a beat is
/// two thirds of a head.
const SHIFT_A_BEAT: f64 = 5.0;
const MOST_SHIFT: f64 = 1.5;
/// Labels are broken where they are wider than this many ems.
const LABEL_EMS: f64 = 2.4;
/// Heads stay between these heights of the staff; what is further away is drawn octaves nearer.
const HIGHEST: f64 = -6.0;
const LOWEST: f64 = 10.0;

/// Where an event stands: its symbols as (bar, place in the bar), in order.
#[derive(Debug, Clone, Default)]
pub(super) struct Places {
    /// By event.
    pub symbols: Vec<Vec<(usize, usize)>>,
    /// By event.
    pub events: Vec<Moment>,
    /// By item.
    pub event_of_item: Vec<usize>,
}

/// When an event is due, in whole notes from the start of the melody.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moment {
    pub start: f64,
    pub length: f64,
    /// A beat of its metre.
    pub beat: f64,
    /// The note value of its first symbol.
    pub value: Value,
    /// Its first item.
    pub item: usize,
}

/// Everything that is drawn on the staff as heard, by event.
#[derive(Debug, Clone, Default)]
pub(super) struct Drawn {
    pub places: Places,
    pub notes: BTreeMap<usize, DrawnNote>,
    pub rests: BTreeMap<usize, DrawnRest>,
    /// By the event after which they come; those before the first event under `None`.
    pub extras: BTreeMap<Option<usize>, Vec<DrawnExtra>>,
    /// Events after which a player stopped.
    pub stops: BTreeSet<usize>,
}

/// How far ink reaches from the left edge of the written head or rest: to the left and to the right of it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Reach {
    pub left: f64,
    pub right: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct DrawnNote {
    pub state: HeardState,
    pub pitch: Spelling,
    pub accidental: bool,
    /// To the right of the written place.
    pub shift: f64,
    /// The error that it stands for, in beats.
    pub late_beats: f64,
    pub ratio: Option<f64>,
    pub texts: Vec<Text>,
    pub reach: Reach,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct DrawnRest {
    /// In beats; `None` where it cannot be told.
    pub played_beats: Option<f64>,
    pub texts: Vec<Text>,
    pub reach: Reach,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct DrawnExtra {
    /// Its place among the extras of the data.
    pub number: usize,
    pub beats_after: f64,
    pub pitch: Spelling,
    pub accidental: bool,
    pub texts: Vec<Text>,
    /// From the left edge of its head.
    pub reach: Reach,
}

/// A text under a note: row 0 is that of cents.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Text {
    pub what: What,
    pub row: usize,
    pub text: String,
}

impl Text {
    pub fn size(&self) -> f64 {
        if self.row == 0 { CENTS_SIZE } else { WORD_SIZE }
    }

    pub fn width(&self) -> f64 {
        letters::width(&self.text) * self.size()
    }
}

/// A word broken so that it stays narrow, from row 1 down.
fn label(text: Option<&String>) -> Vec<Text> {
    let text = letters::printable(text.map_or("", String::as_str)).0;
    let longest = text.split_whitespace().map(letters::width).fold(LABEL_EMS, f64::max);
    letters::wrapped(&text, longest + 1e-6)
        .into_iter()
        .enumerate()
        .map(|(row, text)| Text { what: What::HeardWord, row: row + 1, text })
        .collect()
}

fn cents_row(text: impl Into<String>) -> Text {
    Text { what: What::Cents, row: 0, text: text.into() }
}

/// Whole cents with their sign, which 0 has not.
pub(super) fn cents_text(cents: f64) -> Option<String> {
    let whole = cents.round();
    cents.is_finite().then(|| {
        let sign = match whole {
            above if above > 0.0 => "+",
            below if below < 0.0 => "−",
            _ => "",
        };
        format!("{sign}{}", whole.abs())
    })
}

/// How far a head moves for an error in beats.
pub(super) fn shift_of(error: f64) -> f64 {
    let beyond = (error.abs() - HEARD_AS_ON_TIME_BEATS).max(0.0);
    (beyond * SHIFT_A_BEAT).min(MOST_SHIFT).copysign(error)
}

impl Places {
    /// Tied items are one event.
    pub fn of(bars: &[Bar], music: &Music) -> Self {
        let mut this = Self::default();
        let mut before: Option<(Spelling, bool)> = None;
        for item in bars.iter().flat_map(|bar| &bar.items) {
            let goes_on = before.is_some_and(|(pitch, tied)| tied && item.pitch == Some(pitch));
            if !goes_on {
                this.symbols.push(Vec::new());
            }
            this.event_of_item.push(this.symbols.len() - 1);
            before = item.pitch.map(|pitch| (pitch, item.tied));
        }
        let mut at = 0.0;
        for (bar, music_bar) in music.bars.iter().enumerate() {
            for (place, symbol) in music_bar.symbols.iter().enumerate() {
                let event = this.event_of_item[symbol.item];
                let length = as_f64(symbol.length);
                this.symbols[event].push((bar, place));
                if event == this.events.len() {
                    let beat = as_f64(music_bar.metre.beat());
                    let (value, item) = (symbol.value.value, symbol.item);
                    this.events.push(Moment { start: at, length: 0.0, beat, value, item });
                }
                if let Some(moment) = this.events.get_mut(event) {
                    moment.length += length;
                }
                at += length;
            }
        }
        this
    }
}

impl Drawn {
    /// All that is drawn. `shift` is from written to sounding pitch in semitones.
    pub fn new(bars: &[Bar], music: &Music, heard: &Heard, shift: i32, remarks: &mut Vec<Remark>) -> Self {
        let mut this = Self { places: Places::of(bars, music), ..Self::default() };
        let notes: BTreeMap<usize, &HeardNote> =
            heard.notes.iter().rev().map(|note| (note.event, note)).collect();
        let mut accidentals = Accidentals::default();
        let mut far = false;
        let items = bars.iter().flat_map(|bar| &bar.items);
        let names = HeardNames::of(
            items.filter_map(|item| item.pitch),
            bars.first().map_or_else(Key::default, |bar| bar.key),
        );
        let mut named = |sounding: f64, beside: Option<Spelling>| {
            let (pitch, moved) = on_staff(sounding, shift, &names, beside, music.clef);
            far |= moved;
            pitch
        };
        for (bar, music_bar) in music.bars.iter().enumerate() {
            accidentals.bar_line(music_bar.key);
            if bar == 0 {
                this.add_extras(heard, None, music.clef, &mut accidentals, &mut named);
            }
            for (place, symbol) in music_bar.symbols.iter().enumerate() {
                let event = this.places.event_of_item[symbol.item];
                let here = &this.places.symbols[event];
                let (first, last) = (here.first() == Some(&(bar, place)), here.last() == Some(&(bar, place)));
                let width = body(symbol).width();
                match symbol.kind {
                    SymbolKind::Note { pitch, .. } if first => {
                        if let Some(note) = notes.get(&event) {
                            let pitch = match note.state {
                                HeardState::Other { sounding } if sounding.is_finite() => {
                                    named(sounding, Some(pitch))
                                }
                                _ => pitch,
                            };
                            let accidental =
                                note.state != HeardState::Missing && accidentals.needed(pitch, false);
                            this.notes.insert(event, drawn_note(note, pitch, accidental, music.clef));
                        }
                    }
                    SymbolKind::Rest { .. } if first => {
                        if let Some(rest) = heard.rests.iter().find(|rest| rest.event == event) {
                            let played = rest.played_beats.filter(|beats| beats.is_finite());
                            let mut texts = label(rest.label.as_ref());
                            if played.is_none() {
                                texts.insert(0, cents_row("?"));
                            }
                            let reach = with_texts(Reach { left: 0.0, right: width }, width / 2.0, &texts);
                            this.rests.insert(event, DrawnRest { played_beats: played, texts, reach });
                        }
                    }
                    _ => {}
                }
                if last {
                    this.add_extras(heard, Some(event), music.clef, &mut accidentals, &mut named);
                }
            }
        }
        let count = this.places.symbols.len();
        this.stops = heard
            .returns
            .iter()
            .filter(|back| back.after < count && back.to < count)
            .map(|back| back.after)
            .collect();
        if far {
            remarks.push(Remark::new(
                "octave-nearer",
                "A note that was heard lies too far from the staff; it is drawn octaves nearer.",
            ));
        }
        this
    }

    fn add_extras(
        &mut self,
        heard: &Heard,
        after: Option<usize>,
        clef: Clef,
        accidentals: &mut Accidentals,
        named: &mut impl FnMut(f64, Option<Spelling>) -> Spelling,
    ) {
        let here = heard.extras.iter().enumerate().filter(|(_, extra)| extra.after == after);
        for (number, extra) in here.filter(|(_, extra)| extra.sounding.is_finite()) {
            let pitch = named(extra.sounding, None);
            let accidental = accidentals.needed(pitch, false);
            let texts = label(extra.label.as_ref());
            let width = Glyph::Head(Value::Quarter).width() * CUE;
            let y = height(clef, pitch.staff_step());
            let reach = with_texts(head_reach(pitch, accidental, y, CUE), width / 2.0, &texts);
            let beats_after = if extra.beats_after.is_finite() { extra.beats_after.max(0.0) } else { 0.0 };
            let drawn = DrawnExtra { number, beats_after, pitch, accidental, texts, reach };
            self.extras.entry(after).or_default().push(drawn);
        }
    }

    /// The extras after an event, or before the first one.
    pub fn extras_after(&self, event: Option<usize>) -> &[DrawnExtra] {
        self.extras.get(&event).map_or(&[], Vec::as_slice)
    }

    /// What was heard of an event, from the left edge of its first symbol; `None` where nothing is drawn.
    pub fn reach(&self, event: usize) -> Option<Reach> {
        let note = self.notes.get(&event).map(|note| note.reach);
        note.or_else(|| self.rests.get(&event).map(|rest| rest.reach))
    }

    /// Makes the columns of the written music wide enough for what stands under them.
    pub fn widen(&self, music: &mut Music) {
        for (event, symbols) in self.places.symbols.iter().enumerate() {
            let (Some(&first), Some(&last)) = (symbols.first(), symbols.last()) else { continue };
            if let Some(reach) = self.reach(event) {
                let column = &mut music.columns[first.0][first.1];
                column.left = column.left.max(reach.left);
                column.right = column.right.max(reach.right);
            }
            let extras: f64 = self.extras_after(Some(event)).iter().map(width_with_gap).sum();
            let column = &mut music.columns[last.0][last.1];
            column.right += extras;
            if self.stops.contains(&event) {
                column.right += 0.6;
            }
            if event == 0 {
                let before: f64 = self.extras_after(None).iter().map(width_with_gap).sum();
                music.columns[first.0][first.1].left += before;
            }
        }
    }
}

pub(super) fn width_with_gap(extra: &DrawnExtra) -> f64 {
    BETWEEN + extra.reach.left + extra.reach.right
}

fn drawn_note(note: &HeardNote, pitch: Spelling, accidental: bool, clef: Clef) -> DrawnNote {
    let state = match note.state {
        // Another pitch of which nobody knows which.
        HeardState::Other { sounding } if !sounding.is_finite() => HeardState::Unsure,
        state => state,
    };
    let late_beats = note
        .onset_error_beats
        .filter(|error| error.is_finite() && error.abs() > HEARD_AS_ON_TIME_BEATS)
        .filter(|_| matches!(state, HeardState::Right | HeardState::Other { .. }))
        .unwrap_or(0.0);
    let shift = if late_beats == 0.0 { 0.0 } else { shift_of(late_beats) };
    let mut texts = label(note.label.as_ref());
    match state {
        HeardState::Right => {
            if let Some(text) = note.cents.and_then(cents_text) {
                texts.insert(0, cents_row(text));
            }
        }
        HeardState::Other { .. } => texts.insert(0, cents_row(note_name(pitch))),
        HeardState::Unsure => texts.insert(0, cents_row("?")),
        HeardState::Missing => {}
    }
    let width = Glyph::Head(Value::Quarter).width();
    let y = height(clef, pitch.staff_step());
    let mut reach = head_reach(pitch, accidental, y, 1.0);
    match state {
        HeardState::Other { .. } => {
            reach.left = box_left(pitch, accidental, y) + 0.06;
            reach.right = reach.right.max(width + AROUND + 0.06);
        }
        HeardState::Missing => reach = Reach { left: 0.3, right: width + 0.5 },
        _ => {}
    }
    let mut reach = with_texts(reach, width / 2.0, &texts);
    // The place where it was written keeps its own line.
    reach = Reach {
        left: (reach.left - shift).max(if shift > 0.0 { 0.0 } else { reach.left }),
        right: reach.right + shift.max(0.0),
    };
    let ratio = note.duration_ratio.filter(|ratio| ratio.is_finite() && *ratio > 0.0);
    DrawnNote { state, pitch, accidental, shift, late_beats, ratio, texts, reach }
}

/// How far left of its head the box of another pitch begins.
pub(super) fn box_left(pitch: Spelling, accidental: bool, y: f64) -> f64 {
    let bare = if accidental { accidental_left(pitch, y, 1.0) } else { 0.0 };
    (bare + AROUND).max(head_reach(pitch, accidental, y, 1.0).left)
}

/// How far left of the head its accidental begins.
pub(super) fn accidental_left(pitch: Spelling, y: f64, scale: f64) -> f64 {
    super::columns_from_bar::accidental_offset(Glyph::of_alter(pitch.alter), y) * scale
}

fn head_reach(pitch: Spelling, accidental: bool, y: f64, scale: f64) -> Reach {
    let ledger = if has_ledger(y) { LEDGER_EXTENSION * scale } else { 0.0 };
    let left = if accidental { accidental_left(pitch, y, scale) } else { ledger };
    // The ring of an unsure head is a little wider than the head.
    let ring = BEFORE_HEAD * 0.5;
    Reach { left: left.max(ring), right: Glyph::Head(Value::Quarter).width() * scale + ledger.max(ring) }
}

fn with_texts(reach: Reach, middle: f64, texts: &[Text]) -> Reach {
    let half = texts.iter().map(|text| text.width() / 2.0 + BESIDE_WORDS).fold(0.0, f64::max);
    Reach { left: reach.left.max(half - middle), right: reach.right.max(half + middle) }
}

/// The written pitch of what sounded, by the name that the report has for it, near enough to the staff; and whether it
/// had to be moved for that. `beside` is the written note that it was played for.
fn on_staff(
    sounding: f64,
    shift: i32,
    names: &HeardNames,
    beside: Option<Spelling>,
    clef: Clef,
) -> (Spelling, bool) {
    let midi = (sounding.round().clamp(-1000.0, 1000.0) as i32 - shift).clamp(0, 127);
    let mut pitch = names.name(midi, beside);
    let mut moved = false;
    for _ in 0..10 {
        let y = height(clef, pitch.staff_step());
        let by = if y < HIGHEST {
            -1
        } else if y > LOWEST {
            1
        } else {
            break;
        };
        pitch.octave += by;
        moved = true;
    }
    (pitch, moved)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cents_have_a_sign_where_they_do_not_round_to_none() {
        for (cents, text) in [
            (12.4, Some("+12")),
            (-7.0, Some("−7")),
            (0.4, Some("0")),
            (-0.4, Some("0")),
            (0.6, Some("+1")),
            (-0.5, Some("−1")),
            (f64::NAN, None),
        ] {
            assert_eq!(cents_text(cents).as_deref(), text, "{cents}");
        }
    }

    /// Two thirds of a head, 1.18 spaces wide, for a quarter of a beat.
    #[test]
    fn a_quarter_of_a_beat_is_seen_and_a_tenth_is_not() {
        assert_eq!(shift_of(0.1), 0.0);
        assert!((0.7..0.8).contains(&shift_of(0.25)));
        assert_eq!((shift_of(0.25), shift_of(9.0)), (-shift_of(-0.25), MOST_SHIFT));
    }

    #[test]
    fn labels_break_at_blanks_and_stay_narrow() {
        let rows: Vec<(usize, String)> =
            label(Some(&"a bit high".to_owned())).into_iter().map(|text| (text.row, text.text)).collect();
        assert_eq!(rows, [(1, "a bit".to_owned()), (2, "high".to_owned())]);
        assert!(label(None).is_empty() && label(Some(&"  ".to_owned())).is_empty());
    }

    #[test]
    fn heard_pitches_have_their_names_in_the_report_at_the_nearest_semitone() {
        let spelled = |sounding: f64, shift: i32, beside: &str| {
            let names = HeardNames::default();
            let (pitch, moved) = on_staff(sounding, shift, &names, beside.parse().ok(), Clef::Bass);
            (pitch.to_string(), moved)
        };
        assert_eq!(spelled(54.4, 0, ""), ("F#3".to_owned(), false));
        assert_eq!(spelled(54.6, 0, ""), ("G3".to_owned(), false));
        assert_eq!(spelled(56.0, 0, "A3"), ("Ab3".to_owned(), false));
        assert_eq!(spelled(56.0, 0, "F3"), ("G#3".to_owned(), false));
        // The bass sounds an octave below what it reads.
        assert_eq!(spelled(38.0, -12, ""), ("D3".to_owned(), false));
        // D5 is 14 steps over the middle line, 5 spaces over the staff; D6 would be over the limit.
        assert_eq!(spelled(110.0, 0, ""), ("D5".to_owned(), true));
    }
}
