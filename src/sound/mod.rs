//! Sound of our own making: a bowed tone, for takes whose every note is known.

mod bowed_tone;
mod noise;

pub use bowed_tone::{BowedTone, bowed_tone};
pub use noise::Noise;
