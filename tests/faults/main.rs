//! What breaks on the way: the power, the disk, a folder, the reader of the output, the microphone. The table in
//! DEVELOPERS.md says what is promised for each and which test shows it.
#![cfg(target_os = "linux")]

#[path = "../false_microphone/mod.rs"]
mod false_microphone;
mod killed_recordings;
mod outputs;
mod program_with_files;
mod recordings;
mod standard_output;
#[path = "../recording/support.rs"]
#[allow(dead_code, reason = "the sessions use the rest")]
mod support;

/// Where the random moments of killing come from: `FAULT_SEED`, or another number each time, which is printed.
fn seed_of_moments() -> u64 {
    let asked = std::env::var("FAULT_SEED").ok().and_then(|seed| seed.parse().ok());
    let seed = asked.unwrap_or_else(|| u64::from(std::process::id()));
    println!("the moments follow from FAULT_SEED={seed}");
    seed
}
