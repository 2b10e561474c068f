//! Whole sessions at the microphone, without a sound card: `record`, `takes` and `inputs` as people use them, and
//! what happens when something breaks on the way.
#![cfg(target_os = "linux")]

mod faults;
#[path = "../false_microphone/mod.rs"]
mod false_microphone;
mod sessions;
mod support;
mod take_book;
