//! fingertape listens to a beginner string player play a short written melody and says truthfully
//! which notes were wrong, where a rest was cut short, and how far each finger was from the pitch.
//!
//! The rooms, in the order in which sound becomes findings. A room imports only from rooms above it; rooms
//! that `ROOMS` in `tests/import_direction.rs` has on one line do not import from each other.

pub mod contained;
pub mod remark;
pub mod units;

pub mod samples;

pub mod notation;

pub mod formats;

pub mod rules;

#[cfg(feature = "microphone")]
pub mod capture;
pub mod decode;
pub mod recording_quality;

#[cfg(feature = "microphone")]
pub mod loudspeaker;

pub mod pitch;

pub mod open_string;

pub mod segment;

pub mod align;

pub mod findings;

pub mod pipeline;

pub mod jot;

pub mod sound;

pub mod live;

pub mod engrave;

pub mod report;

pub mod page;

pub mod class;

pub mod takes;
