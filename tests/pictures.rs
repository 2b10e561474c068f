//! The README's pictures are what the program draws today: each is drawn again and compared dot by dot.
//!
//! To draw them anew after a change that is meant: `DRAW_ANEW=1 cargo test --test pictures`.

use resvg::tiny_skia::Pixmap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A picture, the command that draws it (in `demo-data/`), and the file that the command writes.
const PICTURES: [(&str, &[&str], &str); 3] = [
    (
        "report.png",
        &["check", "take.flac", "--melody", "melody.toml", "--dpi", "100", "--page"],
        "report-1.png",
    ),
    (
        "sheet.png",
        &["sheet", "melody.toml", "--fingers", "--strings", "--dpi", "100", "--output"],
        "sheet.png",
    ),
    (
        "to-write-on.png",
        &[
            "sheet",
            "--rules",
            "rules/canal.toml",
            "--tier",
            "near-bank",
            "--for",
            "viola",
            "--dpi",
            "100",
            "--output",
        ],
        "to-write-on.png",
    ),
];

/// Of 255: letters drawn by another processor may differ at their edges by a step or two, a moved note by far more.
const MEAN_DIFFERENCE: f64 = 0.02;

fn demo_data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data")
}

#[test]
fn the_readmes_pictures_are_what_the_program_draws() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, arguments, written) in PICTURES {
        let output = folder.path().join(name);
        let run = Command::new(env!("CARGO_BIN_EXE_fingertape"))
            .args(arguments)
            .arg(&output)
            .current_dir(demo_data())
            .output()
            .expect("the program runs");
        assert!(run.status.success(), "{name}: {}", String::from_utf8_lossy(&run.stderr));
        let drawn = fs::read(folder.path().join(written)).expect("a picture");
        let kept = demo_data().join("pictures").join(name);
        if std::env::var_os("DRAW_ANEW").is_some() {
            fs::write(&kept, &drawn).expect("the picture is kept");
        }
        let [drawn, kept] = [drawn, fs::read(&kept).expect("the picture is there")]
            .map(|bytes| Pixmap::decode_png(&bytes).expect("a PNG picture"));
        assert_eq!((drawn.width(), drawn.height()), (kept.width(), kept.height()), "{name}");
        let differences =
            drawn.data().iter().zip(kept.data()).map(|(one, other)| f64::from(one.abs_diff(*other)));
        let mean = differences.sum::<f64>() / drawn.data().len() as f64;
        assert!(mean <= MEAN_DIFFERENCE, "{name}: {mean} of 255 away from the picture in the README");
    }
}

#[test]
fn every_picture_is_in_the_readme_and_is_described_there() {
    let readme = fs::read_to_string(demo_data().with_file_name("README.md")).expect("the README");
    for (name, ..) in PICTURES {
        let at = readme.find(&format!("](demo-data/pictures/{name})")).unwrap_or_else(|| panic!("{name}"));
        let description = &readme[readme[..at].rfind("![").expect("a picture") + 2..at];
        assert!(description.len() > 30, "{name}: “{description}” tells nobody what is in it");
    }
    let kept = fs::read_dir(demo_data().join("pictures")).expect("the pictures").count();
    assert_eq!(kept, PICTURES.len());
}
