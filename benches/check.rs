//! The whole `check` process on a minute of sound: processor time and peak memory, and the refusal of a bad file.
//!
//! `cargo bench --bench check` (on Unix). Where `python3-aubio` is installed, aubio's yinfft alone takes the same
//! seconds of sound in the same run, as a measure of the machine.

mod aubio;

use std::path::Path;
use std::process::Command;

use fingertape::notation::Instrument;
use fingertape::sound::{BowedTone, Noise, bowed_tone};
use fingertape::units::{Hertz, SampleRate, Seconds};
use nix::sys::resource::{UsageWho, getrusage};
use nix::sys::time::TimeValLike;

const RATE: SampleRate = SampleRate(44_100);
const BEATS: usize = 80;
const BEAT: f64 = 0.75;
const RUNS: usize = 5;

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    let (take, melody, bad) =
        (folder.path().join("take.wav"), folder.path().join("melody.toml"), folder.path().join("bad.m4a"));
    let names = ["D4", "E4", "F#4", "G4", "A4", "G4", "G4", "rest"];
    let sounding = [62, 64, 66, 67, 69, 67, 67];
    let bars: String = (0..BEATS / 4)
        .map(|bar| {
            (0..4).map(|beat| format!("{} q ", names[(4 * bar + beat) % 8])).collect::<String>() + "\n"
        })
        .collect();
    let text = format!(
        "instrument = \"viola\"\nmetre = \"4/4\"\nkey = \"D\"\nbpm = 80\nbars = \"\"\"\n{bars}\"\"\"\n"
    );
    std::fs::write(&melody, text).expect("the melody is written");
    write_take(&take, &sounding);
    std::fs::write(&bad, [b"not a recording at all".as_slice(), &[7; 4_000_000]].concat()).expect("written");

    let seconds = BEATS as f64 * BEAT;
    // The peak is the largest of all children so far: the bad file first.
    let refused = best(&bad, &melody, 2);
    println!("a bad file of 4 MB refused: {refused:.3} s of CPU");
    let judged = best(&take, &melody, 0);
    let peak = getrusage(UsageWho::RUSAGE_CHILDREN).expect("the usage").max_rss() as f64 / 1024.0;
    println!(
        "check of {seconds} s: {judged:.2} s of CPU, {:.4} a second of sound, peak {peak:.0} MB",
        judged / seconds
    );
    match aubio::seconds(seconds as usize) {
        Some(theirs) => println!("that is {:.1} x aubio's yinfft alone on as much sound", judged / theirs),
        None => println!("aubio: not installed (python3-aubio), no ratio"),
    }
}

/// The least CPU time of some runs of `check`, in seconds.
fn best(take: &Path, melody: &Path, exit: i32) -> f64 {
    let run = || {
        let before = spent();
        let output = Command::new(env!("CARGO_BIN_EXE_fingertape"))
            .arg("check")
            .args([take, Path::new("--melody"), melody])
            .output()
            .expect("the program runs");
        assert_eq!(output.status.code(), Some(exit), "{}", String::from_utf8_lossy(&output.stderr));
        spent() - before
    };
    (0..RUNS).map(|_| run()).fold(f64::INFINITY, f64::min)
}

/// CPU time of all children so far, user and system, in seconds.
fn spent() -> f64 {
    let usage = getrusage(UsageWho::RUSAGE_CHILDREN).expect("the usage");
    (usage.user_time() + usage.system_time()).num_microseconds() as f64 * 1e-6
}

/// A viola's quarter notes, each stopped shortly before the next, over a quiet room.
fn write_take(file: &Path, sounding: &[i32; 7]) {
    let mut mono = vec![0.0f32; (BEATS as f64 * BEAT * RATE.hertz()) as usize];
    for beat in 0..BEATS {
        let Some(&midi) = sounding.get(beat % 8) else { continue };
        let pitch = Hertz(440.0 * (f64::from(midi - 69) / 12.0).exp2());
        let tone =
            BowedTone { seed: beat as u64, ..BowedTone::new(pitch, Seconds(0.9 * BEAT), Instrument::Viola) };
        let from = (beat as f64 * BEAT * RATE.hertz()) as usize;
        for (at, add) in mono[from..].iter_mut().zip(bowed_tone(&tone, RATE).mono) {
            *at += add;
        }
    }
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE.0,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut noise = Noise::new(1);
    let mut out = hound::WavWriter::create(file, spec).expect("the take is written");
    for sample in mono {
        let value = f64::from(sample) + 0.001 * (noise.uniform() - 0.5);
        out.write_sample((value * 32_767.0) as i16).expect("the take is written");
    }
    out.finalize().expect("the take is written");
}
