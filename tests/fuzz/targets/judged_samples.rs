//! Samples of any kind, written as a recording: decoded, judged and put into words.
#![no_main]

#[path = "../readers/mod.rs"]
mod readers;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| readers::judged_samples(bytes));
