//! Samples from a file: whatever a phone, a tablet or a school laptop records becomes one channel
//! of samples at the file's own rate, counted from the first sample that is meant to be heard.
//!
//! Encoders put priming before the sound and padding after it; the container says how much, and it
//! is cut here, so that a time in the report is a time in the recording. A file that cannot be read
//! is a [`DecodeError`] that says what happened and what to do; a file that can be read in part is a
//! [`Take`] with remarks.

mod aac_core;
mod channels_from_packets;
mod error;
mod kind_from_bytes;
mod length_fields;
mod mono_from_channels;
mod mp4_boxes;
mod opus_packets;
mod read_limits;
mod scaled_to_reason;
mod source;
mod take_from_file;
mod wav_header;

pub use error::DecodeError;
pub use read_limits::{LONGEST_TAKE, ReadLimits};
pub use take_from_file::{Take, TakeSource, read_take, read_take_bytes, read_take_within};
