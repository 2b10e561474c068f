//! MusicXML 4.0, read and written: `.musicxml` and `.xml`, partwise and timewise, and the compressed
//! `.mxl`. The reader keeps what a player needs and says bar and beat of what it cannot keep.

mod bar_numbers;
mod directions;
mod draft_from_part;
mod draft_from_score;
mod measure;
mod parts;
mod score_from_melody;
mod score_from_mxl;
mod settle_pitches;
mod xml_within_bounds;

pub(crate) use draft_from_score::draft_from_score;
pub use score_from_melody::{write_musicxml, write_mxl};
pub(crate) use score_from_mxl::score_from_mxl;
