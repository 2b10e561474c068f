//! Engraving a melody of 64 bars, beside what others' code takes to draw it: reading the SVG and making pixels (usvg and
//! resvg) in the same run.
//!
//! `cargo bench --bench engrave`. Prints the best of several runs of each step, and each as a share of the drawing.

use std::time::Instant;

use fingertape::engrave::{SheetSettings, pages_from_melody, pdf_from_pages, png_from_page, svg_from_page};
use fingertape::formats::read_melody_bytes;

const MELODY: &[u8] = include_bytes!("../tests/engraving/melodies/13-sixty-four-bars.toml");
const RUNS: usize = 20;

fn main() {
    let melody = read_melody_bytes("melody.toml", MELODY).expect("a melody").melody;
    let settings = SheetSettings { names: true, fingers: true, strings: true, ..SheetSettings::default() };
    let engraved = pages_from_melody(&melody, &settings);
    let pages = engraved.pages.len();
    let drawing = best(|| engraved.pages.iter().map(|page| png_from_page(page, 150.0).len()).sum());
    println!("64 bars, {pages} pages, names, fingers and strings under the notes");
    let report = |what: &str, seconds: f64| {
        println!("{what:<42} {:>8.2} ms, {:.3} of the drawing", seconds * 1e3, seconds / drawing);
    };
    report("drawing with resvg, PNG of 150 dpi", drawing);
    report("engraving: melody to pages", best(|| pages_from_melody(&melody, &settings).pages.len()));
    report("pages to SVG", best(|| engraved.pages.iter().map(|page| svg_from_page(page).len()).sum()));
    report("pages to PDF", best(|| pdf_from_pages(&engraved.pages, "melody").len()));
}

/// The best of some runs, in seconds; what a run returns keeps it from being optimised away.
fn best(mut run: impl FnMut() -> usize) -> f64 {
    (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            assert!(run() > 0);
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}
