//! Prints melody files as JSON, one line a file, for checks against other readers:
//! `dump_melody [--write FOLDER] FILE…`. With `--write` each melody is also written to the folder in
//! every format.

use fingertape::formats;
use fingertape::notation::EventKind;
use serde_json::{Value, json};
use std::path::Path;

fn main() {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let folder = (arguments.first().map(String::as_str) == Some("--write"))
        .then(|| arguments.drain(..2).nth(1))
        .flatten();
    for argument in arguments {
        let path = Path::new(&argument);
        let line = match formats::read_melody(path) {
            Ok(read) => {
                if let Some(folder) = &folder {
                    write_all(Path::new(folder), path, &read.melody);
                }
                melody(&argument, &read)
            }
            Err(error) => json!({
                "file": argument,
                "error": error.kind().code(),
                "message": error.to_string(),
                "line_column": error.line_column(),
                "bar": error.bar(),
            }),
        };
        println!("{line}");
    }
}

fn melody(file: &str, read: &formats::ReadMelody) -> Value {
    let events: Vec<Value> = read
        .melody
        .events
        .iter()
        .map(|event| {
            let start = [*event.start.numer(), *event.start.denom()];
            let length = [*event.length.numer(), *event.length.denom()];
            let beat = [*event.beat.numer(), *event.beat.denom()];
            match event.kind {
                EventKind::Note { written, sounding } => json!({
                    "bar": event.bar, "beat": beat, "start": start, "length": length,
                    "written": written.to_string(), "midi": sounding,
                }),
                EventKind::Rest => json!({"bar": event.bar, "beat": beat, "start": start, "length": length}),
            }
        })
        .collect();
    json!({
        "file": file,
        "title": read.melody.title,
        "instrument": read.melody.instrument,
        "bpm": read.melody.bpm,
        "metre": read.melody.metre.to_string(),
        "events": events,
        "remarks": read.remarks,
    })
}

fn write_all(folder: &Path, path: &Path, melody: &fingertape::notation::Melody) {
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let write = |extension: &str, bytes: &[u8]| {
        let to = folder.join(format!("{name}.{extension}"));
        std::fs::write(&to, bytes).unwrap_or_else(|error| panic!("{}: {error}", to.display()));
    };
    write("toml", formats::write_toml(melody).as_bytes());
    write("abc", formats::write_abc(melody).as_bytes());
    write("musicxml", formats::write_musicxml(melody).as_bytes());
    write("mxl", &formats::write_mxl(melody));
    write("mid", &formats::write_midi(melody));
}
