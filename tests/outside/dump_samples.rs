//! Decodes a file and writes its samples to standard output as raw little-endian 32-bit floats; the
//! outside checks compare them with another decoder. The first line of standard error is JSON.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(file) = std::env::args_os().nth(1) else {
        eprintln!("usage: dump_samples FILE");
        return ExitCode::from(2);
    };
    match fingertape::decode::read_take(Path::new(&file)) {
        Ok(take) => {
            eprintln!(
                "{}",
                serde_json::json!({
                    "rate": take.source.rate.0,
                    "channels": take.source.channels,
                    "container": take.source.container,
                    "codec": take.source.codec,
                    "remarks": take.remarks,
                })
            );
            let bytes: Vec<u8> = take.samples.mono.iter().flat_map(|sample| sample.to_le_bytes()).collect();
            match std::io::stdout().write_all(&bytes) {
                Ok(()) => ExitCode::SUCCESS,
                Err(_) => ExitCode::from(2),
            }
        }
        Err(error) => {
            eprintln!("{}", serde_json::json!({ "error": error.to_string() }));
            ExitCode::from(2)
        }
    }
}
