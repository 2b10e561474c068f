//! Recordings, and samples of any kind that go the whole way from a file to words.

use fingertape::decode::{DecodeError, LONGEST_TAKE, Take, read_take_bytes};
use fingertape::formats::read_melody_bytes;
use fingertape::notation::{Instrument, Melody};
use fingertape::pipeline::{JudgeSettings, judge};

const NAME: &str = "fuzzed take";

/// A recording in any container.
pub fn audio(bytes: &[u8]) {
    let mut bytes = bytes.to_vec();
    mend_ogg_checksums(&mut bytes);
    match read_take_bytes(NAME, bytes) {
        Ok(take) => holds(&take),
        Err(error) => answered(&error),
    }
}

/// What was decoded is what the rooms below are promised.
fn holds(take: &Take) {
    let samples = &take.samples;
    assert!(!samples.mono.is_empty() && samples.mono.iter().all(|sample| sample.is_finite()));
    assert!((4_000..=384_000).contains(&samples.rate.0) && samples.rate == take.source.rate);
    assert!(samples.duration().0 <= LONGEST_TAKE.0 + 1.0, "{:?}", samples.duration());
    assert!((1..=32).contains(&take.source.channels), "{} channels", take.source.channels);
    assert!(!take.source.codec.is_empty() && !take.source.container.is_empty());
    for remark in &take.remarks {
        assert!(!remark.code.is_empty() && remark.text.ends_with('.'), "{remark:?}");
    }
}

/// An error names the file and ends with what to do.
fn answered(error: &DecodeError) {
    let text = error.to_string();
    assert!(text.contains(NAME) && text.ends_with('.') && text.len() < 1_000, "{text}");
    assert!(!text.chars().any(char::is_control), "{text:?}");
}

/// Gives the pages of an Ogg file the checksums that they should have (RFC 3533, 6), so that what is
/// changed in them is looked at.
pub fn mend_ogg_checksums(bytes: &mut [u8]) {
    let mut at = 0;
    while bytes[at..].starts_with(b"OggS") {
        let Some(&segments) = bytes.get(at + 26) else { return };
        let table = at + 27..at + 27 + usize::from(segments);
        let Some(lengths) = bytes.get(table.clone()) else { return };
        let end = table.end + lengths.iter().map(|length| usize::from(*length)).sum::<usize>();
        let Some(page) = bytes.get_mut(at..end) else { return };
        page[22..26].fill(0);
        let sum = page.iter().fold(0u32, |sum, byte| {
            (0..8).fold(sum ^ u32::from(*byte) << 24, |sum, _| {
                (sum << 1) ^ if sum & 0x8000_0000 == 0 { 0 } else { 0x04c1_1db7 }
            })
        });
        page[22..26].copy_from_slice(&sum.to_le_bytes());
        at = end;
    }
}

/// Rates of samples, those that no recording has among them.
const RATES: [u32; 16] = [
    8_000,
    16_000,
    22_050,
    44_100,
    48_000,
    4_000,
    11_025,
    32_000,
    12_000,
    96_000,
    192_000,
    384_000,
    1,
    768_000,
    3_999,
    u32::MAX,
];
/// Counts of channels.
const CHANNELS: [u16; 8] = [1, 1, 1, 2, 3, 32, 64, 0];
/// The longest sound that is made, in seconds; the most samples of all channels.
const LONGEST: f64 = 2.0;
const MOST: usize = 400_000;

const MELODIES: [&[u8]; 4] = [
    b"instrument = 'violin'\nbpm = 120\nbars = ['D4 q E4 F#4 rest', 'A4 h G4']",
    b"instrument = 'cello'\nbpm = 200\nbars = ['C2 e D2 E2 F2 G2 h']",
    b"instrument = 'bass'\nmetre = '3/4'\nbars = ['E2 q A2 D3', 'rest h.']",
    b"instrument = 'viola'\nkey = 'F'\nbars = ['Bb3 w']",
];

/// Samples as a WAV file of 32-bit floating point, decoded, judged and put into words.
///
/// Bytes: what (bits 0 to 3 the rate, 4 to 6 the channels, 7 whether the rest is samples as they are or a
/// list of sounds); the melody (bits 0 and 1) and where the melody's octave, tempo or A is another (2 to 7);
/// then samples of four bytes, or sounds of four bytes: pitch, length, level, kind.
pub fn judged_samples(bytes: &[u8]) {
    let [what, melody, rest @ ..] = bytes else { return };
    let rate = RATES[usize::from(what & 15)];
    let channels = CHANNELS[usize::from(what >> 4 & 7)];
    let most = (f64::from(rate.min(768_000)) * LONGEST * f64::from(channels)).min(MOST as f64) as usize;
    let samples = match what >> 7 {
        0 => rest.chunks_exact(4).take(most).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect(),
        _ => sounds(rest, rate, most),
    };
    let take = match read_take_bytes(NAME, wav(&samples, rate, channels)) {
        Ok(take) => take,
        Err(error) => return answered(&error),
    };
    holds(&take);
    let (melody, settings) = melody_and_settings(*melody);
    let report = judge(&take.samples, &melody, &settings);
    assert!(report.notes.is_empty() || report.notes.len() == melody.soundings().count());
    let cents = report.notes.iter().filter_map(|note| note.cents);
    assert!(cents.clone().all(f64::is_finite), "{:?}", cents.collect::<Vec<_>>());
    assert!(report.notes.iter().all(|note| (0.0..=1.0).contains(&note.confidence)));
    assert!(report.rests.iter().all(|rest| (0.0..=1.0).contains(&rest.confidence)));
    super::kept::said(&report);
}

fn melody_and_settings(which: u8) -> (Melody, JudgeSettings) {
    let text = MELODIES[usize::from(which & 3)];
    let melody = read_melody_bytes("melody.toml", text).expect("our own melody").melody;
    let instrument = melody.instrument.unwrap_or(Instrument::Violin);
    let mut settings = JudgeSettings::for_melody(&melody, instrument);
    settings.bpm = [settings.bpm, None, Some(30.0), Some(400.0)][usize::from(which >> 2 & 3)];
    if which >> 4 & 3 == 3 {
        settings.a4 = fingertape::units::Hertz(415.0);
    }
    settings.remarks.clear();
    (melody, settings)
}

/// A list of sounds: pitch in quarter tones above 30 Hz, length in 8 ms, level (128 full scale, doubling
/// every 8 above it, 0 silence), kind.
fn sounds(list: &[u8], rate: u32, most: usize) -> Vec<f32> {
    let (mut samples, mut phase, mut noise) = (Vec::new(), 0.0f64, 1u32);
    for sound in list.chunks_exact(4) {
        let hertz = 30.0 * (f64::from(sound[0]) / 24.0).exp2();
        let count = (f64::from(sound[1]) * 0.008 * f64::from(rate)) as usize;
        let level = match sound[2] {
            0 => 0.0,
            quiet @ 1..=128 => f32::from(quiet) / 128.0,
            loud => ((f32::from(loud) - 128.0) / 8.0 * 8.0).exp2(),
        };
        for _ in 0..count.min(most - samples.len()) {
            phase = (phase + hertz / f64::from(rate)).fract();
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let hiss = (noise >> 8) as f32 / (1 << 23) as f32 - 1.0;
            let sine = (phase * std::f64::consts::TAU).sin() as f32;
            samples.push(match sound[3] % 10 {
                0 => level * sine,
                1 => level * (phase as f32 * 2.0 - 1.0),
                2 => level * hiss,
                3 => level,
                4 => level * if phase < 0.5 { 1.0 } else { -1.0 },
                5 => f32::NAN,
                6 => level * (sine + hiss * 0.05),
                7 => {
                    if phase < 0.02 {
                        level
                    } else {
                        0.0
                    }
                }
                8 => f32::from_bits(noise),
                _ => level * f32::INFINITY,
            });
        }
    }
    samples
}

/// A WAV file of floating point samples (RIFF; format 3).
fn wav(samples: &[f32], rate: u32, channels: u16) -> Vec<u8> {
    let data = samples.len() as u32 * 4;
    let mut file = Vec::with_capacity(44 + data as usize);
    file.extend(b"RIFF");
    file.extend((36 + data).to_le_bytes());
    file.extend(b"WAVEfmt \x10\0\0\0\x03\0");
    file.extend(channels.to_le_bytes());
    file.extend(rate.to_le_bytes());
    file.extend(rate.wrapping_mul(u32::from(channels) * 4).to_le_bytes());
    file.extend((channels * 4).to_le_bytes());
    file.extend(b"\x20\0data");
    file.extend(data.to_le_bytes());
    file.extend(samples.iter().flat_map(|sample| sample.to_le_bytes()));
    file
}
