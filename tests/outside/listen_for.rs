//! Listens to a microphone for some seconds and writes what it heard to a new WAV file; for measuring
//! the way from the sound system to the disk by hand. Usage: listen_for SECONDS FILE [INPUT]

use fingertape::capture::{Heard, TakeOnDisk, Wish, inputs, listen};
use std::path::Path;
use std::process::ExitCode;
use std::time::{Duration, Instant};

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn run() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [seconds, file, input @ ..] = &arguments[..] else {
        return Err("usage: listen_for SECONDS FILE [INPUT]".into());
    };
    for input in inputs()? {
        println!("{} {} ({})", if input.is_default { "*" } else { " " }, input.name, input.id);
    }
    let (send, receive) = std::sync::mpsc::channel();
    let wish = Wish { input: input.first().cloned(), rate: None };
    let began = Instant::now();
    let listening = listen(&wish, move |heard| {
        let message = match heard {
            Heard::Samples(samples) => Ok((began.elapsed(), samples.to_vec())),
            Heard::Trouble(error) => Err(error),
        };
        // The receiver may be gone already at the very end.
        let _ = send.send(message);
    })?;
    println!(
        "{}: {} Hz, {} channels, {}",
        listening.name, listening.rate.0, listening.channels, listening.format
    );
    let mut take = TakeOnDisk::create(Path::new(file), listening.rate)?;
    let (until, mut first) = (Duration::from_secs_f64(seconds.parse()?), None);
    while began.elapsed() < until {
        match receive.recv_timeout(Duration::from_millis(50)) {
            Ok(Ok((when, samples))) => {
                first.get_or_insert(when);
                take.push(&samples)?;
            }
            Ok(Err(error)) => println!("{error} (listening continues: {})", error.listening_continues()),
            Err(_) => {}
        }
    }
    let summary = listening.stop();
    for (_, samples) in receive.try_iter().flatten() {
        take.push(&samples)?;
    }
    println!("first samples after {first:?}; {summary:?}; on disk {:?}", take.duration());
    take.finish()?;
    Ok(())
}
