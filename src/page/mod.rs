//! page
mod resampled;
pub mod sound_from_samples;
