//! Class lists and the teacher's marks in CSV and XLSX, and patterns of file names.
#![no_main]

mod contained;
#[path = "../readers/mod.rs"]
mod readers;

libfuzzer_sys::fuzz_target!(init: contained::contain(), |bytes: &[u8]| readers::class_tables(bytes));
