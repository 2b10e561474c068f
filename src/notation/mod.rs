//! Written music: pitch spelling, exact lengths, metre and key, the four instruments with their
//! strings and first-position fingers, the melody and its sheet.

mod fingering;
mod for_instrument;
mod heard_names;
mod instrument;
mod key;
mod length;
mod melody;
mod metre;
mod moved_to_instrument;
mod open_strings;
mod sheet;
mod spelling;
mod stem;
mod string_length;

pub use fingering::{Fingering, Placement};
pub(crate) use for_instrument::{bar_text, beat_text, beats_text, below_lowest_string, moved, moved_key};
pub use heard_names::HeardNames;
pub use instrument::{Clef, Instrument, InstrumentError};
pub use key::{Key, KeyError};
pub use length::{FINEST_GRID, LONGEST, Length, Value, WrittenValue, as_f64, checked_length};
pub use melody::{Event, EventKind, Melody};
pub use metre::{Metre, MetreError};
pub use moved_to_instrument::{Keeping, Moved};
pub use open_strings::Fifths;
pub use sheet::{Bar, Item, Sheet};
pub use spelling::{Letter, Spelling, SpellingError};
pub use stem::Stem;
pub use string_length::{Size, SizeError};
