//! Listens to a false microphone for a long time, as `record` does: samples to the disk as they come and the live
//! reading along with them. Then every sample of the file is compared with what the microphone was given.
//!
//! Usage: soak SECONDS. Ends with an error where a single sample is lost or another.

#[cfg(target_os = "linux")]
#[path = "../false_microphone/mod.rs"]
mod false_microphone;

#[cfg(target_os = "linux")]
fn main() -> std::process::ExitCode {
    soak::run()
}

#[cfg(not(target_os = "linux"))]
fn main() {
    println!("soak: the false microphone is a device of Linux");
}

#[cfg(target_os = "linux")]
mod soak {
    use super::false_microphone::{FalseMicrophone, RATE};
    use fingertape::capture::{Heard, TakeOnDisk, Wish, listen};
    use fingertape::formats::read_melody_bytes;
    use fingertape::live::LiveReader;
    use fingertape::notation::Instrument;
    use fingertape::units::{A4_ISO16, Seconds};
    use std::path::Path;
    use std::process::ExitCode;
    use std::sync::mpsc;
    use std::time::Duration;

    /// A wave that takes long to come back to where it was, in steps that 24 bits can hold.
    fn sample(n: usize) -> f32 {
        ((n * 7919) % 20_011) as f32 / 65_536.0 - 0.15
    }

    pub fn run() -> ExitCode {
        let arguments: Vec<String> = std::env::args().skip(1).collect();
        match &arguments[..] {
            [seconds] => from_end_to_end(seconds),
            [word, seconds, file] if word == "listen" => {
                listen_to(seconds.parse().expect("seconds"), Path::new(file))
            }
            _ => {
                eprintln!("usage: soak SECONDS");
                ExitCode::from(2)
            }
        }
    }

    /// The microphone here, the listening in a process of its own, then the comparison.
    fn from_end_to_end(seconds: &str) -> ExitCode {
        let microphone = FalseMicrophone::hearing_samples(sample);
        let file = microphone.folder().join("take.wav");
        let program = std::env::current_exe().expect("this program's own name");
        let mut command = microphone.command(program.to_str().expect("a path"));
        let status = command.arg("listen").arg(seconds).arg(&file).status().expect("it runs");
        let mut wav = hound::WavReader::open(&file).expect("a WAV file");
        let count = wav.len();
        let expected = |n: usize| (sample(n) * 8_388_608.0).round() as i32;
        let wrong = wav
            .samples::<i32>()
            .enumerate()
            .find(|(n, one)| *one.as_ref().expect("a sample") != expected(*n));
        let minutes = f64::from(count) / f64::from(RATE) / 60.0;
        match wrong {
            None if status.success() => {
                println!(
                    "soak: {count} samples ({minutes:.1} minutes), bit for bit what the microphone was given"
                );
                ExitCode::SUCCESS
            }
            _ => {
                println!("soak: {count} samples, the first that differs: {wrong:?}");
                ExitCode::FAILURE
            }
        }
    }

    fn listen_to(seconds: u64, file: &Path) -> ExitCode {
        let (send, receive) = mpsc::channel();
        let listening = listen(&Wish::default(), move |heard| {
            let _ = send.send(match heard {
                Heard::Samples(samples) => Ok(samples.to_vec()),
                Heard::Trouble(error) => Err(error.to_string()),
            });
        })
        .expect("the microphone opens");
        let melody = read_melody_bytes("m.toml", b"instrument = \"violin\"\nbars = \"A4 w\"\n")
            .expect("a melody")
            .melody;
        let mut reader =
            LiveReader::new(&melody, Instrument::Violin, 60.0, A4_ISO16, listening.rate, Seconds(1.0));
        let mut take = TakeOnDisk::create(file, listening.rate).expect("a file");
        let (mut readings, mut code) = (0_u64, ExitCode::SUCCESS);
        while take.duration().0 < seconds as f64 {
            match receive.recv_timeout(Duration::from_secs(5)) {
                Ok(Ok(samples)) => {
                    take.push(&samples).expect("the disk takes it");
                    reader.push(&samples, |_| readings += 1);
                }
                other => {
                    println!("soak: {other:?}");
                    code = ExitCode::FAILURE;
                    if other.is_err() {
                        break;
                    }
                }
            }
        }
        let summary = listening.stop();
        println!("soak: lost {:.3} s; {readings} live readings", summary.lost.0);
        take.finish().expect("the disk takes it");
        if summary.lost.0 > 0.0 { ExitCode::FAILURE } else { code }
    }
}
