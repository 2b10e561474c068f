//! A microphone that is a file: ALSA's `file` plugin reads a pipe that a thread fills at the pace of real time, so whole
//! commands listen without a sound card. 48 kHz, one channel, 32-bit float: what the program asks for first.

use std::fs::{self, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

pub const RATE: u32 = 48_000;
/// Samples in one piece: 10 ms.
const PIECE: usize = 480;

/// A folder with the pipe and the configuration that names it.
pub struct PacedMicrophone {
    folder: tempfile::TempDir,
}

impl PacedMicrophone {
    /// Plays `samples`, then silence for ever.
    pub fn playing(samples: Vec<f32>) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let pipe = folder.path().join("microphone");
        assert!(Command::new("mkfifo").arg(&pipe).status().expect("mkfifo runs").success());
        let place = pipe.display();
        let device =
            format!("type file slave.pcm \"null\" file \"/dev/null\" infile \"{place}\" format \"raw\"");
        let text = format!("</usr/share/alsa/alsa.conf>\npcm.!default {{ {device} }}\n");
        fs::write(folder.path().join("asound.conf"), text).expect("a file");
        fill(&pipe, samples);
        Self { folder }
    }

    /// Lets a command hear it.
    pub fn heard_by(&self, command: &mut Command) {
        command.env("ALSA_CONFIG_PATH", self.folder.path().join("asound.conf"));
    }
}

/// Fills the pipe from a thread that ends with the test. Opened for reading too, so that opening never waits and the
/// program may open the device twice.
fn fill(pipe: &Path, samples: Vec<f32>) {
    let mut pipe = OpenOptions::new().read(true).write(true).open(pipe).expect("the pipe opens");
    thread::spawn(move || {
        let silence = std::iter::repeat(vec![0.0_f32; PIECE]);
        let pieces =
            samples.chunks(PIECE).map(<[f32]>::to_vec).collect::<Vec<_>>().into_iter().chain(silence);
        // The pipe holds about a third of a second; then the reader sets the pace, and this clock keeps it.
        let mut due = Instant::now();
        for piece in pieces {
            let bytes: Vec<u8> = piece.iter().flat_map(|sample| sample.to_le_bytes()).collect();
            if pipe.write_all(&bytes).is_err() {
                return;
            }
            due += Duration::from_millis(10);
            let now = Instant::now();
            if due > now {
                thread::sleep(due - now);
            } else {
                // The reader paused: no burst afterwards.
                due = now;
            }
        }
    });
}
