//! `cargo run --example make_takes [NAME…]` writes the demo and the audio fixtures again, all or the
//! named ones. A person reads the difference before it is committed. Writing nothing is an error.

#[path = "mod.rs"]
mod made_takes;

use std::fs;
use std::process::ExitCode;

fn main() -> ExitCode {
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    let chosen = |name: &str| wanted.is_empty() || wanted.iter().any(|wanted| wanted == name);
    let mut written = 0;
    for case in made_takes::cases().iter().filter(|case| chosen(case.name)) {
        let folder = made_takes::folder(case);
        let files = made_takes::files(case);
        fs::create_dir_all(&folder).expect("the repository can be written");
        for (name, bytes) in [
            ("take.flac", files.flac.as_slice()),
            ("melody.toml", case.melody.as_bytes()),
            ("expected.json", files.expected.as_bytes()),
            ("origin.txt", files.origin.as_bytes()),
        ] {
            fs::write(folder.join(name), bytes).expect("the repository can be written");
        }
        println!("{}: {} kB, {} samples", folder.display(), files.flac.len() / 1000, files.pcm.len());
        written += 1;
    }
    if written == 0 {
        eprintln!("there is no such case; the cases are:");
        made_takes::cases().iter().for_each(|case| eprintln!("  {}", case.name));
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}
