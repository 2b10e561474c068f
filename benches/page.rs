//! The report page of a take, and the sound of a minute in it; the sizes of both.
//!
//! `cargo bench --bench page` takes the demo's take, `cargo bench --bench page -- TAKE...` others (each repeated to a
//! minute, sound only). Prints the best of several runs.

use fingertape::decode::{read_take, read_take_bytes};
use fingertape::formats::read_melody_bytes;
use fingertape::page::{PageContent, PageSettings, html, sound_from_samples};
use fingertape::pipeline::{JudgeSettings, judge_listening, listen};
use fingertape::samples::Samples;
use fingertape::units::Seconds;
use std::path::Path;
use std::time::Instant;

const MELODY: &[u8] = include_bytes!("../demo-data/melody.toml");
const TAKE: &[u8] = include_bytes!("../demo-data/take.flac");
const RUNS: usize = 5;

fn main() {
    let samples = read_take_bytes("take.flac", TAKE.to_vec()).expect("a take").samples;
    let melody = read_melody_bytes("melody.toml", MELODY).expect("a melody").melody;
    let instrument = melody.instrument.expect("the demo has an instrument");
    let listening = listen(&samples, Some(instrument));
    let settings = JudgeSettings::for_melody(&melody, instrument);
    let report = judge_listening(&samples, &listening, &melody, &settings);
    let f0 = listening.contour.f0();
    let content = PageContent {
        report: &report,
        melody: &melody,
        f0: Some(&f0),
        samples: Some(&samples),
        number: None,
        earlier: &[],
        playing_test: None,
    };
    for (what, sound) in [("page of the demo, with its sound", true), ("page of the demo, no sound", false)] {
        measure(what, || {
            html(&content, &PageSettings { detail: true, sound, ..PageSettings::default() }).len()
        });
    }
    minute("the demo", &samples);
    for take in std::env::args().skip(1).filter(|argument| !argument.starts_with('-')) {
        minute(&take, &read_take(Path::new(&take)).expect("a take").samples);
    }
}

fn minute(name: &str, samples: &Samples) {
    let mono = samples.mono.iter().copied().cycle().take(60 * samples.rate.0 as usize).collect();
    let samples = Samples { mono, rate: samples.rate };
    measure(&format!("a minute of {name} at {} Hz", samples.rate.0), || {
        sound_from_samples(&samples, Seconds(0.0), Seconds(60.0)).map_or(0, |sound| sound.flac_base64.len())
    });
}

fn measure(what: &str, mut run: impl FnMut() -> usize) {
    let mut best = (f64::INFINITY, 0);
    for _ in 0..RUNS {
        let start = Instant::now();
        let bytes = run();
        best = (best.0.min(start.elapsed().as_secs_f64()), bytes);
    }
    println!("{what:<60} {:>7.1} ms, {:>8} bytes", 1e3 * best.0, best.1);
}
