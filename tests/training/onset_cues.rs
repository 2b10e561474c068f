//! Prints every candidate boundary of a WAV file with its cues, as CSV: what the onset model is trained on.
//!
//! `cargo run --release --example onset_cues -- TAKE.wav INSTRUMENT`

use fingertape::notation::Instrument;
use fingertape::pipeline::listen;
use fingertape::samples::Samples;
use fingertape::segment::Features;
use fingertape::units::SampleRate;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let mut reader = hound::WavReader::open(&arguments[1]).expect("a WAV file");
    let spec = reader.spec();
    let scale = 1.0 / (1_u64 << (spec.bits_per_sample - 1)) as f32;
    let all: Vec<f32> = reader.samples::<i32>().map(|s| s.expect("a sample") as f32 * scale).collect();
    let mono = all.chunks(spec.channels.into()).map(|c| c.iter().sum::<f32>() / c.len() as f32).collect();
    let instrument = match arguments[2].as_str() {
        "violin" => Instrument::Violin,
        "viola" => Instrument::Viola,
        "cello" => Instrument::Cello,
        _ => Instrument::Bass,
    };
    let heard = listen(&Samples { mono, rate: SampleRate(spec.sample_rate) }, Some(instrument));
    println!("time_s,llr,{}", Features::NAMES.join(","));
    for b in &heard.candidates {
        let values: Vec<String> = b.features.values.iter().map(|v| format!("{v:.4}")).collect();
        println!("{:.3},{:.3},{}", b.time.0, b.llr, values.join(","));
    }
}
