//! fingertape listens to a beginner string player play a short written melody and says truthfully
//! which notes were wrong, where a rest was cut short, and how far each finger was from the pitch.
//!
//! The rooms, in the order in which sound becomes findings. A room imports only from rooms above it
//! (`tests/import_direction.rs` holds that).

pub mod remark;
pub mod samples;
pub mod units;

pub mod formats;
pub mod notation;

#[cfg(feature = "microphone")]
pub mod capture;
pub mod decode;
pub mod recording_quality;

pub mod align;
pub mod findings;
pub mod pipeline;
pub mod pitch;
pub mod segment;

pub mod report;
pub mod sound;
