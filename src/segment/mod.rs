//! Notes and rests from the contour: where a note may begin, how likely that is, and how well each
//! stretch of sound fits each pitch. Nothing here has seen the written melody, so nothing here can
//! hear a note because it was written.

mod boundaries;
mod continuity;
mod envelope;
mod evidence;
mod network;
mod offset_model;
mod offset_weights;
mod onset_model;
mod onset_networks;
mod onset_shift;
mod onset_shift_weights;
mod onset_weights;
mod plucked;
mod surroundings;
mod wave_shape;
mod whistles;

pub use boundaries::{Boundary, Features, SAME_ONSET, boundaries_from_sound};
pub use continuity::{Continuity, Goes};
pub use envelope::Envelope;
pub use evidence::{Evidence, softplus};
pub use offset_model::{NoteSpan, offset_cues, offset_shift};
pub use onset_shift::onset_shift;
pub use surroundings::{CHANNELS, FRAMES, Strip, Surroundings};
pub use wave_shape::{ShapeChange, ShapeDetails, WaveShape};
