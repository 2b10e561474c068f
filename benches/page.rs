//! x
use fingertape::page::sound_from_samples::*;
use fingertape::*;
use std::time::Instant;
fn main() {
    for f in std::env::args().skip(1).filter(|a| a.contains('/')) {
        let t = decode::read_take(std::path::Path::new(&f)).unwrap().samples;
        let mut m = t.mono.clone();
        let n = (60.0 * t.rate.hertz()) as usize;
        while m.len() < n {
            m.extend_from_slice(&t.mono.clone());
        }
        m.truncate(n);
        let t = samples::Samples { mono: m, rate: t.rate };
        let s = Instant::now();
        let x = sound_from_samples(&t, units::Seconds(0.0), units::Seconds(60.0)).unwrap();
        let d = s.elapsed();
        println!(
            "{f} {} Hz: {} kB base64, gain {:.1}, {:?}",
            t.rate.0,
            x.flac_base64.len() / 1000,
            x.gain,
            d
        );
    }
}
