//! Sound of our own making: a bowed tone, for takes whose every note is known and for a melody to
//! listen to, and the clicks of a count-in.

mod bowed_line;
mod bowed_tone;
mod count_in;
mod noise;
mod passage;

pub use bowed_line::{LineSettings, bowed_line};
pub use bowed_tone::{BowedTone, bowed_tone};
pub use count_in::{CountIn, count_in};
pub use noise::Noise;
pub use passage::{Beat, Passage, PassageNote};
