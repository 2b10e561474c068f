//! A draft melody from free playing: the ear without a score. What was heard becomes notes (a segmental decode over
//! boundaries and semitones), their onsets become places on a grid of sixteenths (tempo and rhythm together), silences
//! become rests, and the whole a sheet in a key, with remarks where it was unsure.

mod draft_from_notes;
mod key_from_notes;
mod notes_from_listening;
mod rhythm_from_notes;

pub use draft_from_notes::{Draft, JotSettings, KEY_GUESSED, commented_toml, draft_from_listening};
pub use key_from_notes::key_from_notes;
pub use notes_from_listening::{JottedNote, notes_from_listening};
pub use rhythm_from_notes::{Placed, Rhythm, rhythm_from_notes};
