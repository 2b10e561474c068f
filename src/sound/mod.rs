//! Sound of our own making: a bowed tone, for takes whose every note is known, and the clicks of a count-in.

mod bowed_tone;
mod count_in;
mod noise;

pub use bowed_tone::{BowedTone, bowed_tone};
pub use count_in::{CountIn, count_in};
pub use noise::Noise;
