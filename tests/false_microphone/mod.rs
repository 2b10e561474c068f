//! A microphone without a sound card: the sound library's `file` device reads a pipe that a thread fills as fast
//! as a microphone would, bit for bit and without a daemon.
//!
//! The device is described in a configuration file of its own, which the program is pointed at with
//! `ALSA_CONFIG_PATH`. What is played goes to a file, so that clicks can be looked at. Neither `plug` (it loses
//! samples while it converts) nor a plain file (it runs as fast as it is read) would do.

// Each test uses what it needs of it.
#![allow(dead_code)]

use nix::fcntl::{FcntlArg, fcntl};
use nix::libc::O_NONBLOCK;
use nix::sys::stat::Mode;
use nix::unistd::mkfifo;
use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// What the program asks for on this device (the nearest rate to 48 kHz, 32-bit floats, the fewest channels): the pipe
/// hands bytes over as they are.
pub const RATE: u32 = 48_000;
const CHANNELS: usize = 1;
/// Frames that are written at a time, 10 ms: a whole number of the reader's periods.
const BLOCK: usize = 480;
/// A page, the least that a pipe can hold: next to nothing waits before the reader starts.
const PIPE: i32 = 4096;

/// A false microphone that plays its sound once and is silent from then on.
pub struct FalseMicrophone {
    folder: tempfile::TempDir,
    stop: Arc<AtomicBool>,
    stalled: Arc<AtomicBool>,
    feeder: Option<JoinHandle<()>>,
}

impl FalseMicrophone {
    /// A microphone that hears `mono` (at [`RATE`]) from the moment when somebody listens.
    pub fn hearing(mono: &[f32]) -> Self {
        Self::hearing_samples(once(mono))
    }

    /// A microphone whose sample number n is `sample(n)`.
    pub fn hearing_samples(sample: impl Fn(usize) -> f32 + Send + 'static) -> Self {
        Self::with(sample, tempfile::tempdir().expect("a folder"), "/dev/null")
    }

    /// The same, and everything that is played or heard goes to [`played`](Self::played) as well.
    pub fn hearing_beside_a_loudspeaker(mono: &[f32]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let played = folder.path().join("played.raw").display().to_string();
        Self::with(once(mono), folder, &played)
    }

    fn with(sample: impl Fn(usize) -> f32 + Send + 'static, folder: tempfile::TempDir, played: &str) -> Self {
        let pipe = folder.path().join("microphone");
        mkfifo(&pipe, Mode::S_IRUSR | Mode::S_IWUSR).expect("a pipe");
        let device = format!(
            "{{ type file slave.pcm \"null\" file \"{played}\" infile \"{}\" format \"raw\" \
             hint {{ show on description \"False microphone\" }} }}",
            pipe.display()
        );
        // This one is there and cannot be opened: its sound comes from nowhere.
        let broken = "{ type file slave.pcm \"null\" file \"/dev/null\" infile \"/nowhere/at/all\" format \"raw\" \
                      hint { show on description \"Broken microphone\" } }";
        let configuration = format!(
            "</usr/share/alsa/alsa.conf>\npcm.falsemic {device}\npcm.brokenmic {broken}\npcm.!default {device}\n"
        );
        fs::write(folder.path().join("asound.conf"), configuration).expect("a file");
        let (stop, stalled) = (Arc::<AtomicBool>::default(), Arc::<AtomicBool>::default());
        let feeder = {
            let (stop, stalled) = (Arc::clone(&stop), Arc::clone(&stalled));
            // Read and write: to open the pipe then never waits, and a reader that closes it to open it again
            // breaks nothing.
            let file = OpenOptions::new()
                .read(true)
                .write(true)
                .custom_flags(O_NONBLOCK)
                .open(&pipe)
                .expect("the pipe");
            fcntl(&file, FcntlArg::F_SETPIPE_SZ(PIPE)).expect("a small pipe");
            thread::spawn(move || feed(file, sample, &stop, &stalled))
        };
        Self { folder, stop, stalled, feeder: Some(feeder) }
    }

    /// A command that finds this microphone.
    pub fn command(&self, program: &str) -> Command {
        let mut command = Command::new(program);
        command.env("ALSA_CONFIG_PATH", self.folder.path().join("asound.conf"));
        command
    }

    /// The microphone is pulled out: from now on nothing comes any more.
    pub fn pull_out(&self) {
        self.stalled.store(true, Ordering::Relaxed);
    }

    /// What was played, as the device was given it.
    pub fn played(&self) -> PathBuf {
        self.folder.path().join("played.raw")
    }

    /// A folder for the test's own files, which goes with the microphone.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }
}

impl Drop for FalseMicrophone {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(feeder) = self.feeder.take() {
            let _ = feeder.join();
        }
    }
}

fn once(mono: &[f32]) -> impl Fn(usize) -> f32 + Send + 'static {
    let mono = mono.to_vec();
    move |n| mono.get(n).copied().unwrap_or(0.0)
}

fn feed(mut pipe: File, sample: impl Fn(usize) -> f32, stop: &AtomicBool, stalled: &AtomicBool) {
    let mut block = Vec::with_capacity(BLOCK * CHANNELS * 4);
    let clock = Instant::now();
    // When the first frame was heard, in seconds of the clock.
    let (mut frame, mut start) = (0, 0.0);
    while !stop.load(Ordering::Relaxed) {
        block.clear();
        for n in frame..frame + BLOCK {
            let sample = sample(n).to_le_bytes();
            (0..CHANNELS).for_each(|_| block.extend_from_slice(&sample));
        }
        // A block is smaller than a page, so it is written wholly or not at all.
        if stalled.load(Ordering::Relaxed) || pipe.write_all(&block).is_err() {
            thread::sleep(Duration::from_millis(1));
            continue;
        }
        frame += BLOCK;
        let (time, now) = (frame as f64 / f64::from(RATE), clock.elapsed().as_secs_f64());
        // The clock starts when somebody empties the pipe; after a pause of the reader a microphone does not
        // catch up.
        if frame <= 4 * BLOCK || start + time < now - 0.05 {
            start = now - time;
        }
        thread::sleep(Duration::from_secs_f64((start + time - now).max(0.0)));
    }
}
