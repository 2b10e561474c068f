//! What a take book keeps and reads again: notes on takes, reports, recordings that were cut off.
#![no_main]

#[path = "../readers/mod.rs"]
mod readers;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| readers::kept_files(bytes));
