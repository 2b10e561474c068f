//! Samples as 16-bit FLAC.

use fingertape::samples::Samples;
use fingertape::units::SampleRate;
use flacenc::component::BitRepr;
use flacenc::error::Verify;

/// Samples as 16-bit numbers.
pub fn sixteen_bits(samples: &Samples) -> Vec<i32> {
    samples.mono.iter().map(|sample| (f64::from(*sample) * 32_767.0).round() as i32).collect()
}

/// 16-bit mono samples as a FLAC file.
pub fn flac(pcm: &[i32], rate: SampleRate) -> Vec<u8> {
    let config = flacenc::config::Encoder::default().into_verified().expect("the default settings are valid");
    let source = flacenc::source::MemSource::from_samples(pcm, 1, 16, rate.0 as usize);
    let stream = flacenc::encode_with_fixed_block_size(&config, source, config.block_size)
        .expect("16-bit mono can be encoded");
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream.write(&mut sink).expect("memory can be written");
    let mut bytes = sink.as_slice().to_vec();
    // STREAMINFO's smallest block size does not count the last block (RFC 9639, section 8.2); flacenc
    // counts it, and a strict reader then takes the stream for one of changing block sizes.
    bytes.copy_within(10..12, 8);
    bytes
}
