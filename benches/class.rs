//! `class` on 10, 100 and 1,000 takes: time and processor time of each, peak memory, the second run, and `check` alone.
//!
//! `cargo bench --bench class` (on Unix) uses takes of 6 s; `CLASS_SECONDS=30 cargo bench --bench class` those of a
//! playing test (2.6 GB on the disk while it runs). `CLASS_MOST=100` leaves the thousand out.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use fingertape::notation::Instrument;
use fingertape::sound::{BowedTone, Noise, bowed_tone};
use fingertape::units::{Hertz, SampleRate, Seconds};
use nix::sys::resource::{UsageWho, getrusage};
use nix::sys::time::TimeValLike;

const RATE: SampleRate = SampleRate(44_100);
const BEAT: f64 = 0.75;

fn main() {
    let from_environment = |name: &str, usual: usize| {
        std::env::var(name).ok().and_then(|value| value.parse().ok()).unwrap_or(usual)
    };
    let beats = (from_environment("CLASS_SECONDS", 6) as f64 / BEAT).round() as usize;
    let most = from_environment("CLASS_MOST", 1000);
    let names = ["D4", "E4", "F#4", "G4", "A4", "G4", "G4", "rest"];
    let bars: String = (0..beats / 4)
        .map(|bar| {
            (0..4).map(|beat| format!("{} q ", names[(4 * bar + beat) % 8])).collect::<String>() + "\n"
        })
        .collect();
    let melody = format!(
        "instrument = \"viola\"\nmetre = \"4/4\"\nkey = \"D\"\nbpm = 80\nbars = \"\"\"\n{bars}\"\"\"\n"
    );
    let sound = take(beats / 4 * 4);
    let seconds = sound.len() as f64 / RATE.hertz();
    println!(
        "takes of {seconds:.1} s, {} cores",
        std::thread::available_parallelism().map_or(1, usize::from)
    );
    for count in [10, 100, 1000].into_iter().filter(|count| *count <= most) {
        let folder = tempfile::tempdir().expect("a folder");
        fs::write(folder.path().join("melody.toml"), &melody).expect("written");
        let mut roster = "student,instrument\n".to_owned();
        for number in 1..=count {
            roster.push_str(&format!("viola-{number},viola\n"));
            write_take(&folder.path().join(format!("viola-{number}.wav")), &sound, number as i16);
        }
        fs::write(folder.path().join("roster.csv"), roster).expect("written");
        let first = run(&["class".as_ref(), folder.path()]);
        let again = run(&["class".as_ref(), folder.path()]);
        let each = |spent: f64| 1000.0 * spent / count as f64;
        println!(
            "{count:5} takes: {:7.2} s, {:6.1} ms of CPU a take; again {:6.2} s, {:5.2} ms of CPU a take; peak so far {:.0} MB",
            first.0,
            each(first.1),
            again.0,
            each(again.1),
            getrusage(UsageWho::RUSAGE_CHILDREN).expect("the usage").max_rss() as f64 / 1024.0
        );
        if count == 10 {
            let melody = folder.path().join("melody.toml");
            let spent: f64 = (1..=count)
                .map(|number| folder.path().join(format!("viola-{number}.wav")))
                .map(|take| run(&["check".as_ref(), &take, "--melody".as_ref(), &melody]).1)
                .sum();
            println!("check alone on the same: {:.1} ms of CPU a take", each(spent));
        }
    }
}

/// Runs the program: seconds that went by, and seconds of processor time.
fn run(arguments: &[&Path]) -> (f64, f64) {
    let spent = || {
        let usage = getrusage(UsageWho::RUSAGE_CHILDREN).expect("the usage");
        (usage.user_time() + usage.system_time()).num_microseconds() as f64 * 1e-6
    };
    let (before, begun) = (spent(), Instant::now());
    let output =
        Command::new(env!("CARGO_BIN_EXE_fingertape")).args(arguments).output().expect("the program runs");
    assert_ne!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stderr));
    (begun.elapsed().as_secs_f64(), spent() - before)
}

/// A viola's quarter notes, each stopped shortly before the next, over a quiet room.
fn take(beats: usize) -> Vec<i16> {
    let sounding = [62, 64, 66, 67, 69, 67, 67];
    let mut mono = vec![0.0f32; (beats as f64 * BEAT * RATE.hertz()) as usize];
    for beat in 0..beats {
        let Some(&midi) = sounding.get(beat % 8) else { continue };
        let pitch = Hertz(440.0 * (f64::from(midi - 69) / 12.0).exp2());
        let tone =
            BowedTone { seed: beat as u64, ..BowedTone::new(pitch, Seconds(0.9 * BEAT), Instrument::Viola) };
        let from = (beat as f64 * BEAT * RATE.hertz()) as usize;
        for (at, add) in mono[from..].iter_mut().zip(bowed_tone(&tone, RATE).mono) {
            *at += add;
        }
    }
    let mut noise = Noise::new(1);
    let with_noise = |sample: &f32| (f64::from(*sample) + 0.001 * (noise.uniform() - 0.5)) * 32_767.0;
    mono.iter().map(with_noise).map(|value| value as i16).collect()
}

/// The take with its number in its first samples, so that no two files are the same.
fn write_take(file: &Path, sound: &[i16], number: i16) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE.0,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut out = hound::WavWriter::create(file, spec).expect("the take is written");
    let mut samples = out.get_i16_writer(sound.len() as u32);
    for (at, sample) in sound.iter().enumerate() {
        // Ten samples of a few steps: far below the noise of the room.
        samples.write_sample(if at < 10 { (number >> at) & 1 } else { *sample });
    }
    samples.flush().expect("the take is written");
    out.finalize().expect("the take is written");
}
