//! Which part of a pitch error is the finger's and which the string's, and how far to move.

use super::TextSettings;
use super::fingers;
use crate::align::weighted_median;
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
    /// Cents that are the finger's: what is left after the tuning of the string, where it is known, else of the whole
    /// instrument; 0 for a note between the tuning of its string and the pitch that the ear wants.
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

/// A string that is further than this from the whole instrument is tuned otherwise than that, in cents.
const APART_CENTS: f64 = 12.0;

/// How far off a note may be without a finger being off, as far as that is known. A finger is off only where the note is
/// neither in tune with its string nor with the ear: on a slack string a finger on its tape sounds as low as the string,
/// and one that found the pitch by ear lies too near the bridge; both are right, and what lies between. Where a note may be
/// an open string or a fourth finger, the string that explains it best is allowed for: never blame a finger for a string.
fn allowance(report: &Report, places: &[Fingering], cents: f64) -> (f64, Option<usize>) {
    let allowed = places.iter().map(|place| {
        let (low, high, own) = in_tune(report, place.string);
        (cents.clamp(low, high), own.then_some(place.string))
    });
    let nearer = |(a, _): &(f64, _), (b, _): &(f64, _)| (cents - a).abs().total_cmp(&(cents - b).abs());
    allowed.min_by(nearer).unwrap_or((whole(report), None))
}

/// The whole instrument's tuning, where it needs an allowance.
fn whole(report: &Report) -> f64 {
    let offset = report.tuning.offset_cents.filter(|cents| cents.is_finite());
    offset.filter(|cents| cents.abs() > GOOD_STRING_CENTS).unwrap_or(0.0)
}

/// From where to where a note on a string is in tune, in cents from the written pitch, and whether that is by the string's
/// own tuning.
fn in_tune(report: &Report, string: usize) -> (f64, f64, bool) {
    let instrument = report.melody.instrument;
    // In the fifths that it is tuned in.
    let belongs = report.melody.fifths.above_equal(instrument, string).0;
    let whole = whole(report) + belongs;
    let name = fingers::string_letter(instrument, string);
    let own = report.tuning.strings.iter().find(|tuning| tuning.string == name && tuning.cents.is_finite());
    let mut references = Vec::new();
    match own {
        Some(own) => {
            let apart = (own.cents - whole).abs() > APART_CENTS;
            references.push(own.cents);
            references.extend(apart.then_some(belongs));
            // A single open note says nothing against fingers that are as the whole instrument is.
            references.extend((!apart || own.notes < 2).then_some(whole));
        }
        None => {
            references.push(whole);
            references.extend((!agrees_with_whole(report, string)).then_some(belongs));
        }
    }
    let low = references.iter().copied().fold(f64::INFINITY, f64::min);
    let high = references.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (low, high, own.is_some())
}

/// Whether what was heard on a string by itself, if anything, is nearer to the whole instrument's tuning than to the
/// report's A.
pub(super) fn agrees_with_whole(report: &Report, string: usize) -> bool {
    let whole = report.tuning.offset_cents.unwrap_or(0.0);
    let belongs = report.melody.fifths.above_equal(report.melody.instrument, string).0;
    let mut cents: Vec<(f64, f64)> =
        surely_on(report, string).iter().filter_map(|note| Some((note.cents? - belongs, 1.0))).collect();
    let middle = weighted_median(&mut cents);
    middle.is_none_or(|middle| (middle - whole).abs() <= middle.abs())
}

/// The right notes with a pitch that lie on a string and on no other in first position.
pub(super) fn surely_on(report: &Report, string: usize) -> Vec<&NoteFinding> {
    let measured = |note: &&NoteFinding| note.verdict == NoteVerdict::Right && note.cents.is_some();
    report.notes.iter().filter(measured).filter(|note| lies_on(report, note, string)).collect()
}

/// Whether first position has a note on this string and on no other.
pub(super) fn lies_on(report: &Report, note: &NoteFinding, string: usize) -> bool {
    let places = fingers::places(report.melody.instrument, &note.written, note.written_midi);
    matches!(places[..], [place] if place.string == string)
}
