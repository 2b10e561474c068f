//! Samples from a microphone: the operating system's callback hands them over to a worker, which
//! calls a sink with chunks of one channel, and may write them to disk as they come.
//!
//! Of ours only [`hand_over`] runs in the callback that brings samples, and it opens with the promise that it
//! keeps there. The system tells of trouble in another one, which puts the error into a list and, where that is full,
//! drops it.

mod error;
mod hand_over;
mod microphone;
mod quiet_stderr;
mod take_on_disk;

pub use error::CaptureError;
pub use hand_over::{Giver, Taker, hand_over};
pub use microphone::{Heard, Input, Listening, Summary, Wish, inputs, listen};
pub(crate) use quiet_stderr::with_quiet_stderr;
pub use take_on_disk::TakeOnDisk;
