//! Which part of a pitch error is the finger's and which the string's, and how far to move.

use super::TextSettings;
use super::fingers;
use crate::findings::{NoteFinding, NoteVerdict, Report, finger_shift};
use crate::notation::Fingering;
use crate::units::{Cents, Hertz, MidiPitch, Millimetres};

/// A finger within this of the pitch is in tune: beginner band, common practice (listeners' melodic
/// tolerance is about 25 cents, Larrouy-Maestri, *Music & Science* 2018).
pub const IN_TUNE_CENTS: f64 = 20.0;
/// From here a finger is clearly off: beginner band, common practice.
pub const CLEARLY_OFF_CENTS: f64 = 35.0;
/// An open string within this is well tuned: common practice. Within it the whole instrument needs no
/// allowance either.
pub const GOOD_STRING_CENTS: f64 = 5.0;
/// An open string further off than this should be tuned: common practice.
pub const RETUNE_CENTS: f64 = 10.0;
/// A note whose pitch moved more than this (half the interquartile range) has no single place.
pub const STEADY_SPREAD_CENTS: f64 = 15.0;

/// What is known about the pitch of one note that was the right one.
#[derive(Debug, Clone, PartialEq)]
pub struct Intonation {
    /// Cents that are the finger's: what is left after the tuning of the string, where it was heard
    /// open, else of the whole instrument.
    pub finger_cents: f64,
    /// The string whose own tuning was taken off, 0 the lowest.
    pub string_allowed_for: Option<usize>,
    /// Where the note lies in first position; empty above it.
    pub places: Vec<Fingering>,
    /// The way for the finger toward the bridge (negative: toward the nut) at each stopped place.
    pub moves: Vec<(Fingering, Millimetres)>,
    /// The pitch stayed in one place long enough to say where the finger was.
    pub steady: bool,
}

impl Intonation {
    /// The note can only be an open string: no finger can be wrong.
    pub fn open_only(&self) -> bool {
        !self.places.is_empty() && self.places.iter().all(|place| place.finger == 0)
    }
}

/// The intonation of a note, where it is right and its pitch could be measured.
pub fn of(report: &Report, note: &NoteFinding, settings: &TextSettings) -> Option<Intonation> {
    let cents = note.cents.filter(|_| note.verdict == NoteVerdict::Right)?;
    let instrument = report.melody.instrument;
    let a4 = Hertz(report.melody.a4_hz);
    let places = fingers::places(instrument, &note.written, note.written_midi);
    let (off, string_allowed_for) = allowance(report, &places, cents);
    let finger_cents = cents - off;
    let moves = places
        .iter()
        .filter(|place| place.finger > 0)
        .map(|&place| {
            let open = MidiPitch(f64::from(instrument.open_strings()[place.string])).hertz(a4);
            let pitch = MidiPitch(f64::from(note.written_midi)).hertz(a4);
            let length = settings.string_length_of(instrument);
            (place, finger_shift(open, pitch, length, Cents(-finger_cents)))
        })
        .collect();
    let steady = note.cents_spread.is_none_or(|spread| spread <= STEADY_SPREAD_CENTS);
    Some(Intonation { finger_cents, string_allowed_for, places, moves, steady })
}

/// How far the string itself is off, as far as known. Where a note may be an open string or a fourth
/// finger, the string whose tuning explains it best is allowed for: never blame a finger for a string.
fn allowance(report: &Report, places: &[Fingering], cents: f64) -> (f64, Option<usize>) {
    let whole = report.tuning.offset_cents.filter(|offset| offset.abs() > GOOD_STRING_CENTS).unwrap_or(0.0);
    let instrument = report.melody.instrument;
    places
        .iter()
        .map(|place| {
            let letter = fingers::string_letter(instrument, place.string);
            match report.tuning.strings.iter().find(|tuning| tuning.string == letter) {
                Some(tuning) => (tuning.cents, Some(place.string)),
                // Not heard open: as the whole instrument, in the fifths that it is tuned in.
                None => (whole + report.melody.fifths.above_equal(instrument, place.string).0, None),
            }
        })
        .min_by(|(a, _), (b, _)| (cents - a).abs().total_cmp(&(cents - b).abs()))
        .unwrap_or((whole, None))
}
