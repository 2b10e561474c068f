//! Takes of our own making, with planted mistakes and the truth beside them: the demo and the cases in
//! `audio-fixtures/`. `cargo run --example make_takes` writes them all again; `tests/committed_takes.rs`
//! holds the committed files to it, `tests/fixtures.rs` judges them.

mod cases;
mod expectation;
mod flac_from_samples;
mod performance;
mod samples_from_performance;

pub use cases::{Case, cases};
pub use expectation::expectation;
pub use flac_from_samples::{flac, sixteen_bits};
pub use performance::{Performance, Planted, performance};
pub use samples_from_performance::{RATE, samples_from_performance};

use fingertape::notation::Melody;
use std::path::{Path, PathBuf};

/// One case as the files of its folder.
pub struct Files {
    /// The take.
    pub flac: Vec<u8>,
    /// The take before it was encoded.
    pub pcm: Vec<i32>,
    /// The truth.
    pub expected: String,
    /// Where the folder comes from.
    pub origin: String,
}

/// The folder of a case, in the repository.
pub fn folder(case: &Case) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    match case.name {
        "demo" => root.join("demo-data"),
        name => root.join("audio-fixtures").join(name),
    }
}

/// The melody in a text of a case.
pub fn melody(case: &Case, text: &str) -> Melody {
    let read = fingertape::formats::read_melody_bytes("melody.toml", text.as_bytes())
        .unwrap_or_else(|error| panic!("{}: {error:?}", case.name));
    assert!(read.remarks.is_empty(), "{}: {:?}", case.name, read.remarks);
    read.melody
}

/// Plays, records and describes a case.
pub fn files(case: &Case) -> Files {
    let melody = melody(case, case.melody);
    let played = case.played.map_or(melody.clone(), |played| self::melody(case, played));
    let samples = samples_from_performance(&performance(case, &played), &played, RATE);
    let pcm = sixteen_bits(&samples);
    let mut expected =
        serde_json::to_string_pretty(&expectation(case, &melody)).expect("an expectation is plain data");
    expected.push('\n');
    let origin = format!(
        "{}\n\nTake, melody and expectation were made for this project by\n    cargo run --example make_takes\nfrom \
         tests/made_takes/cases.rs; the sound is synthesised (src/sound/), no recording of anybody.\n\
         Licence: as the project (MIT OR Apache-2.0).\n",
        case.about
    );
    Files { flac: flac(&pcm, samples.rate), pcm, expected, origin }
}
