//! aubio's yinfft as a measure of the machine.

use std::process::Command;

/// Seconds that aubio 0.4.9 (Debian `python3-aubio`: its C core, called a hop at a time, window 4096) takes for the
/// pitch of so many seconds of sound, the best of five; nothing where it is not installed.
pub fn seconds(of_sound: usize) -> Option<f64> {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/aubio/yinfft.py");
    let output = Command::new("/usr/bin/python3").args([script, &of_sound.to_string()]).output().ok()?;
    String::from_utf8(output.stdout).ok()?.trim().parse().ok()
}
