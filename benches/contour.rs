//! The contour of a minute of sound, beside aubio's yinfft on the same samples in the same run.
//!
//! `cargo bench --bench contour`. Prints how many times faster than real time each instrument's settings
//! run on one core, the best of five, and the ratio to aubio 0.4.9 (Debian `python3-aubio`: its C core,
//! called a hop at a time, window 4096), measured by `benches/aubio/yinfft.py` where that is installed.

mod aubio;

use std::time::Instant;

use fingertape::notation::Instrument;
use fingertape::pitch::{TrackerSettings, contour};
use fingertape::samples::Samples;
use fingertape::units::SampleRate;

const RATE: SampleRate = SampleRate(44_100);
const SECONDS: usize = 60;
const RUNS: usize = 5;

fn main() {
    let theirs = aubio::seconds(SECONDS);
    match theirs {
        Some(seconds) => println!("aubio yinfft: {:.0} x real time", SECONDS as f64 / seconds),
        None => println!("aubio: not installed (python3-aubio), no ratio"),
    }
    for instrument in Instrument::ALL.map(Some).into_iter().chain([None]) {
        let samples = scale(instrument.map_or(40, |one| one.open_strings()[0]));
        let settings = TrackerSettings::for_instrument(RATE, instrument);
        let best = (0..RUNS)
            .map(|_| {
                let start = Instant::now();
                assert_eq!(contour(&samples, settings).frames.len(), SECONDS * 100 + 1);
                start.elapsed().as_secs_f64()
            })
            .fold(f64::INFINITY, f64::min);
        let name = instrument.map_or("any".to_owned(), |one| format!("{one:?}"));
        let ratio = theirs.map_or(String::new(), |seconds| format!(", {:.2} x aubio yinfft", seconds / best));
        println!(
            "{name:<7} {:>6.1} us a frame, {:>5.0} x real time{ratio}",
            best * 1e6 / (SECONDS * 100) as f64,
            SECONDS as f64 / best
        );
    }
}

/// Half-second sawtooth notes going up the scale from a MIDI number, over a little hiss.
fn scale(lowest: i32) -> Samples {
    let mut hiss = 1u32;
    let mut phase = 0.0f64;
    let mono = (0..SECONDS * RATE.0 as usize)
        .map(|at| {
            let step = (at / (RATE.0 as usize / 2)) as i32 % 15;
            let hertz = 440.0 * (f64::from(lowest + step - 69) / 12.0).exp2();
            phase = (phase + hertz / RATE.hertz()).fract();
            hiss = hiss.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (0.3 * (phase - 0.5) + 0.002 * (f64::from(hiss >> 8) / f64::from(1 << 24) - 0.5)) as f32
        })
        .collect();
    Samples { mono, rate: RATE }
}
