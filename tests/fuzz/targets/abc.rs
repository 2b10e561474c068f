//! Melodies in ABC: read, written and read again, or refused with a place.
#![no_main]

#[path = "../readers/mod.rs"]
mod readers;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| readers::abc(bytes));
