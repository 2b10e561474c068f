//! What is wrong with the recording itself, before anybody listens to the playing: silence, too
//! quiet, clipped, noisy, mains hum, an offset, moments that the recorder lost, a metronome, too short.
//!
//! A remark tells the player what to change next time; only a take in which no note can be heard at
//! all is [`Unjudgeable`]. The playing is never blamed here: a low E or G of a bass is not hum, a loud
//! attack is not clipping, a long rest is not silence.

mod clipping_from_samples;
mod dropouts_from_samples;
mod hum_from_pauses;
mod levels_from_samples;
mod metronome_from_samples;
mod quality_from_samples;
mod without_metronome;

pub use dropouts_from_samples::without_dropouts;
pub use quality_from_samples::{Quality, Unjudgeable, inspect};
pub use without_metronome::without_metronome;
