//! One bowed open string, heard while it sounds: frames of pitch become a steady tone and how far it
//! moves, the tone finds its place among the four strings, and the four strings are held against each
//! other. A file and a microphone push the same chunks through the same ear.

mod ear;
mod four_strings;
mod place_from_pitch;
mod session;
mod tone_from_frames;

pub use ear::{Moment, StringEar};
pub use four_strings::{
    FourStrings, Pair, StringReading, Verdict, beats_a_second, next_to_hear, pairs, which_to_fix_first,
};
pub use place_from_pitch::{FINE_TUNER_CENTS, OpenStrings, Place, in_tune};
pub use session::{Session, Step};
pub use tone_from_frames::{Sound, Steadiness, Stretch, Tone};
