//! Samples to a loudspeaker or headphones: what is to be heard is made beforehand, and the operating
//! system's callback only copies it.

mod needle;
mod play;

pub use needle::{Needle, Progress};
pub use play::{LoudspeakerError, Playing, open};
