//! Whole sessions at the microphone, without a sound card: `record`, `takes` and `inputs` as people use them.
//! What happens when something breaks on the way is in `tests/faults/`.
#![cfg(target_os = "linux")]

#[path = "../false_microphone/mod.rs"]
mod false_microphone;
mod sessions;
mod support;
mod take_book;
