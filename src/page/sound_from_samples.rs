//! The sound of a take, small enough to travel inside a page: FLAC, one channel, 16,000 samples a second, and no finer
//! steps than are heard above the room.
//!
//! FLAC (RFC 9639) because every browser decodes it to the sample and a decoder cannot shift a moment, as the padding of
//! MP3 and AAC does. A bowed note has next to nothing above 8 kHz that a child misses when asking "was that F sharp?".
//! Where even the quiet moments of a take need many bits, a step is a larger one: the samples are divided, and the page
//! multiplies them again when it plays them. (RFC 9639's wasted bits would say the same inside the file; a plain stream
//! is safer in old decoders.) Each step is dithered over its own width, with noise that is the same every time; exact
//! zeros stay exact.

use super::resampled::resampled;
use crate::samples::Samples;
use crate::sound::Noise;
use crate::units::{SampleRate, Seconds};
use base64::{Engine, prelude::BASE64_STANDARD};
use flacenc::component::BitRepr;
use flacenc::error::Verify;

/// Samples a second in the page.
const RATE: SampleRate = SampleRate(16_000);
/// Bytes a second that the FLAC stream may take: 0.75 MB a minute, 1 MB of base64.
const MOST_BYTES_A_SECOND: f64 = 12_500.0;
/// The step is never wider than the quiet moments' level divided by this.
const BELOW_THE_ROOM: f64 = 3.0;
/// Nor wider than this below the peak, before the room for bytes is asked (a take without a pause has no quiet moment).
const BELOW_THE_PEAK: f64 = 200.0;
/// No step is wider than this (full scale is 1).
const WIDEST: f32 = 1.0 / 64.0;
/// A take is played no louder than with this peak (full scale is 1), and raised no more than tenfold.
const PEAK: f64 = 0.5;
const MOST_GAIN: f64 = 10.0;

/// Sound for a page.
#[derive(Debug, Clone, PartialEq)]
pub struct Sound {
    /// The FLAC stream in base64 (RFC 4648).
    pub flac_base64: String,
    /// By how much the decoded samples are to be multiplied when they are played.
    pub gain: f64,
    /// The moment of the take that the stream begins at.
    pub begins: Seconds,
    /// How long it lasts.
    pub lasts: Seconds,
}

/// The part of the take from `from` to `to` (seconds of the take). `None` where nothing is left to hear.
pub fn sound_from_samples(samples: &Samples, from: Seconds, to: Seconds) -> Option<Sound> {
    let rate = samples.rate.hertz();
    let first = ((from.0.max(0.0) * rate) as usize).min(samples.mono.len());
    let last = ((to.0.max(0.0) * rate).ceil() as usize).min(samples.mono.len());
    let part = samples.mono.get(first..last)?;
    let small = resampled(&Samples { mono: part.to_vec(), rate: samples.rate }, RATE);
    let peak = small.mono.iter().fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
    if peak <= 0.0 {
        return None;
    }
    let mut step = step_for(&small, peak);
    let mut flac_bytes = flac(&in_steps(&small.mono, step), small.rate)?;
    // The blocks that were tried may have been the quiet ones.
    while flac_bytes.len() as f64 > 1.1 * MOST_BYTES_A_SECOND * small.duration().0 + 1000.0 && step < WIDEST {
        step *= 2.0;
        flac_bytes = flac(&in_steps(&small.mono, step), small.rate)?;
    }
    Some(Sound {
        flac_base64: BASE64_STANDARD.encode(flac_bytes),
        gain: f64::from(step) * 32_768.0 * (PEAK / f64::from(peak)).min(MOST_GAIN),
        begins: Seconds(first as f64 / rate),
        lasts: small.duration(),
    })
}

/// The step: a power of two of 16-bit steps, below the room's own noise, or as wide as the room for bytes asks.
fn step_for(samples: &Samples, peak: f32) -> f32 {
    let finest = 2.0_f32.powi(-15);
    let quiet = quiet_level(&samples.mono).min(f64::from(peak) / BELOW_THE_PEAK);
    let mut step = finest;
    while f64::from(2.0 * step) <= quiet / BELOW_THE_ROOM {
        step *= 2.0;
    }
    let most_bits = 8.0 * MOST_BYTES_A_SECOND / samples.rate.hertz();
    while bits_a_sample(&samples.mono, step) > most_bits && step < WIDEST {
        step *= 2.0;
    }
    step
}

/// The level that a tenth of the 64 ms stretches stay below.
fn quiet_level(mono: &[f32]) -> f64 {
    let mut levels: Vec<f64> = mono
        .chunks(1024)
        .map(|chunk| (chunk.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / chunk.len() as f64).sqrt())
        .collect();
    levels.sort_by(f64::total_cmp);
    levels.get(levels.len() / 10).copied().unwrap_or(0.0)
}

/// How many bits a sample takes, from every sixteenth block of it, encoded.
fn bits_a_sample(mono: &[f32], step: f32) -> f64 {
    const BLOCK: usize = 4096;
    let probe: Vec<f32> = mono.chunks(BLOCK).step_by(16).flatten().copied().collect();
    let bytes = flac(&in_steps(&probe, step), RATE).map_or(0, |bytes| bytes.len());
    8.0 * bytes as f64 / probe.len().max(1) as f64
}

/// Whole numbers of steps, dithered over one step (rectangular), 16 bits.
fn in_steps(mono: &[f32], step: f32) -> Vec<i32> {
    let mut noise = Noise::new(1);
    mono.iter()
        .map(|&sample| {
            if sample == 0.0 {
                return 0;
            }
            let dither = 0.5 * noise.uniform() as f32;
            ((sample / step + dither).round() as i32).clamp(-32_768, 32_767)
        })
        .collect()
}

/// 16-bit samples as a FLAC stream; `None` never came up.
fn flac(pcm: &[i32], rate: SampleRate) -> Option<Vec<u8>> {
    let mut config = flacenc::config::Encoder::default();
    // Half the work for about one byte in a hundred (the demo, and takes of real rooms).
    config.subframe_coding.use_fixed = false;
    config.subframe_coding.qlpc.lpc_order = 8;
    let config = config.into_verified().ok()?;
    let source = flacenc::source::MemSource::from_samples(pcm, 1, 16, rate.0 as usize);
    let stream = flacenc::encode_with_fixed_block_size(&config, source, config.block_size).ok()?;
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream.write(&mut sink).ok()?;
    let mut bytes = sink.as_slice().to_vec();
    // STREAMINFO's smallest block size does not count the last block (RFC 9639, section 8.2); flacenc counts it, and a
    // strict reader then takes the stream for one of changing block sizes.
    bytes.copy_within(10..12, 8);
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::read_take_bytes;

    fn noisy_tone(seconds: u32, rate: u32, noise: f64) -> Samples {
        let mut random = Noise::new(7);
        let mono = (0..seconds * rate).map(|k| {
            let tone = 0.3 * (f64::from(k) * 440.0 * std::f64::consts::TAU / f64::from(rate)).sin();
            (tone + noise * random.uniform()) as f32
        });
        Samples { mono: mono.collect(), rate: SampleRate(rate) }
    }

    fn decoded(sound: &Sound) -> Samples {
        let flac = BASE64_STANDARD.decode(&sound.flac_base64).expect("base64");
        read_take_bytes("sound.flac", flac).expect("a FLAC stream").samples
    }

    #[test]
    fn the_moment_asked_for_comes_back_at_its_level() {
        let take = noisy_tone(3, 48_000, 0.0005);
        let sound = sound_from_samples(&take, Seconds(1.0), Seconds(2.0)).expect("sound");
        let heard = decoded(&sound);
        assert_eq!((heard.rate.0, heard.mono.len(), sound.begins.0), (16_000, 16_000, 1.0));
        let peak = heard.mono.iter().fold(0.0_f64, |peak, sample| peak.max(f64::from(sample.abs())));
        assert!((peak * sound.gain - PEAK).abs() < 0.02, "{peak} {}", sound.gain);
    }

    #[test]
    fn a_noisy_room_stays_within_its_bytes_and_the_tone_above_the_noise() {
        let sound =
            sound_from_samples(&noisy_tone(20, 16_000, 0.2), Seconds(0.0), Seconds(20.0)).expect("sound");
        let bytes = sound.flac_base64.len() as f64 * 0.75;
        assert!(bytes < 20.0 * MOST_BYTES_A_SECOND * 1.1, "{bytes}");
    }

    #[test]
    fn the_same_samples_give_the_same_bytes_and_nothing_gives_none() {
        let take = noisy_tone(1, 44_100, 0.01);
        let once = sound_from_samples(&take, Seconds(0.0), Seconds(1.0));
        assert_eq!(once, sound_from_samples(&take, Seconds(0.0), Seconds(1.0)));
        let silent = Samples { mono: vec![0.0; 1000], rate: SampleRate(16_000) };
        assert_eq!(sound_from_samples(&silent, Seconds(0.0), Seconds(1.0)), None);
        assert_eq!(sound_from_samples(&take, Seconds(5.0), Seconds(2.0)), None);
        assert_eq!(sound_from_samples(&take, Seconds(f64::NAN), Seconds(f64::NAN)), None);
    }
}
