//! What a teacher writes: rule files and rubrics.
#![no_main]

#[path = "../readers/mod.rs"]
mod readers;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| readers::rules_and_rubric(bytes));
