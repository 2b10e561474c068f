//! Recordings of every container: decoded, or refused in words.
#![no_main]

mod contained;
#[path = "../readers/mod.rs"]
mod readers;

libfuzzer_sys::fuzz_target!(init: contained::contain(), |bytes: &[u8]| readers::audio(bytes));
