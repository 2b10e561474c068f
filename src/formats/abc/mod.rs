//! ABC, the subset of the ABC 2.1 standard that one line of notes needs: notes, rests, lengths, broken
//! rhythm, tuplets, ties, accidentals and keys, repeats and endings. Bowings, slurs, chord symbols and
//! words are passed over; chords, second voices and overlays are faults with bar and beat.

mod abc_from_melody;
mod bars;
mod draft_from_abc;
mod fields;
mod music;
mod notes;

pub use abc_from_melody::write_abc;
pub(crate) use draft_from_abc::{draft_from_abc, looks_like_abc};
