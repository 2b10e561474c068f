//! A file becomes a take: samples, where they came from, and what a reader should know about it.

use super::channels_from_packets::{Channels, End, Implausible, NoChannels, RATES, channels_from_packets};
use super::error::DecodeError;
use super::kind_from_bytes::{Container, ENOUGH, Kind, id3_length, kind_from_bytes};
use super::length_fields::{Lengths, fit_lengths};
use super::mono_from_channels::mono_from_channels;
use super::mp4_boxes::Mp4;
use super::read_limits::ReadLimits;
use super::scaled_to_reason::scaled_to_reason;
use super::source::Source;
use super::wav_header::{NoWav, Wav};
use crate::contained::contained;
use crate::remark::Remark;
use crate::samples::Samples;
use crate::units::{SampleRate, Seconds};
use std::fs::File;
use std::io::{self, Cursor, Read};
use std::path::Path;
use std::sync::atomic::Ordering;

/// A recording, decoded.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// One channel at the file's own rate. Every sample is finite; full scale is ±1, and floating
    /// point files may go beyond it.
    pub samples: Samples,
    /// What the file was.
    pub source: TakeSource,
    /// What a reader should know, such as `truncated`.
    pub remarks: Vec<Remark>,
}

/// What a file was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakeSource {
    /// The container, such as `MP4`.
    pub container: String,
    /// The codec, such as `AAC`.
    pub codec: String,
    /// How many channels the file has.
    pub channels: usize,
    /// Samples a second, in each channel.
    pub rate: SampleRate,
}

/// Of a pipe, this many bytes are read: more than ten minutes of any usual format.
const LONGEST_PIPE: u64 = 256 << 20;

/// Reads a recording from a file or a pipe. The content decides what it is, not the name.
///
/// # Errors
/// [`DecodeError`], which says in words what happened and what to do. A file that can be read in
/// part is no error: the take holds what is there and a remark says what is missing.
pub fn read_take(path: &Path) -> Result<Take, DecodeError> {
    read_take_within(path, ReadLimits::default())
}

/// Reads no more of a recording than the limits allow, whatever the file claims; where there is more, the remark `too-long`
/// says so.
///
/// # Errors
/// As [`read_take`]; and [`DecodeError::TooSlow`].
pub fn read_take_within(path: &Path, limits: ReadLimits) -> Result<Take, DecodeError> {
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    let unreadable = |source| DecodeError::Unreadable { name: path.display().to_string(), source };
    let file = File::open(path).map_err(unreadable)?;
    let kind = file.metadata().map_err(unreadable)?.file_type();
    if kind.is_dir() {
        return Err(DecodeError::NotARecording { name, seems: "a folder".to_owned() });
    }
    if !kind.is_file() {
        // A pipe cannot be read twice; it is kept in memory, up to a bound.
        let mut bytes = Vec::new();
        file.take(LONGEST_PIPE).read_to_end(&mut bytes).map_err(unreadable)?;
        return take_from_source(
            &name,
            Source::new(Box::new(Cursor::new(bytes))).map_err(unreadable)?,
            limits,
        );
    }
    take_from_source(&name, Source::new(Box::new(file)).map_err(unreadable)?, limits)
}

/// Reads a recording from memory; `name` is what messages call it.
///
/// # Errors
/// As [`read_take`].
pub fn read_take_bytes(name: &str, bytes: Vec<u8>) -> Result<Take, DecodeError> {
    let source = Source::new(Box::new(Cursor::new(bytes)))
        .map_err(|source| DecodeError::Unreadable { name: name.to_owned(), source })?;
    take_from_source(name, source, ReadLimits::default())
}

fn take_from_source(name: &str, mut source: Source, limits: ReadLimits) -> Result<Take, DecodeError> {
    let said = Said { name };
    if source.length() == 0 {
        return Err(said.zero_length("it holds no bytes"));
    }
    let container = container(&said, &mut source)?;
    let mut remarks = Vec::new();
    let (mut wav, mut mp4) = (None, None);
    match container {
        Container::Wav => {
            let header = said.wav(Wav::read(&mut source))?;
            if header.cut_short {
                remarks.push(truncated());
            } else if header.unfinished {
                let text = "The recorder never finished the file's header; everything after it was read.";
                remarks.push(Remark::new("unfinished-header", text));
            }
            header.narrow(&mut source);
            wav = Some(header);
        }
        Container::Mp4 => {
            let boxes = Mp4::read(&mut source).map_err(|error| said.unreadable(error))?;
            if !boxes.has_contents {
                let what =
                    "its table of contents is missing, because the recording or the copying was cut off";
                return Err(said.damaged(what, Some(source.length())));
            }
            mp4 = Some(boxes);
        }
        _ => {}
    }
    let lengths = fit_lengths(&mut source, container).map_err(|error| said.unreadable(error))?;
    if lengths == Lengths::CutShort {
        remarks.push(truncated());
    }
    let reached = source.reached();
    let decoded = contained(|| channels_from_packets(source, container, mp4.as_ref(), limits))
        .unwrap_or_else(|| Err(NoChannels::Damaged("its sound makes no sense".to_owned(), None)));
    let mut channels =
        decoded.map_err(|why| said.no_channels(why, container, reached.load(Ordering::Relaxed)))?;
    if channels.planes.first().is_none_or(Vec::is_empty) {
        return Err(said.zero_length("it has a header and no sound"));
    }
    if lengths == Lengths::Open && channels.end == End::CutShort {
        channels.end = End::Complete;
    }
    if let Some(wav) = wav {
        channels.codec = wav.codec();
    }
    remarks.extend(remarks_on(&channels, &remarks));
    remarks.extend(replace_non_finite(&mut channels.planes));
    let source = TakeSource {
        container: container.name().to_owned(),
        codec: channels.codec,
        channels: channels.planes.len(),
        rate: SampleRate(channels.rate),
    };
    let (mut mono, mixing) = mono_from_channels(channels.planes);
    remarks.extend(mixing);
    remarks.extend(scaled_to_reason(&mut mono));
    Ok(Take { samples: Samples { mono, rate: source.rate }, source, remarks })
}

/// What the file is, looking past an ID3 tag.
fn container(said: &Said<'_>, source: &mut Source) -> Result<Container, DecodeError> {
    let head = source.bytes_at(0, ENOUGH).map_err(|error| said.unreadable(error))?;
    let head = match id3_length(&head) {
        Some(length) if length < source.length() => {
            let after = source.bytes_at(length, ENOUGH).map_err(|error| said.unreadable(error))?;
            if matches!(kind_from_bytes(&after), Kind::Sound(_)) { after } else { head }
        }
        _ => head,
    };
    match kind_from_bytes(&head) {
        Kind::Sound(container) => Ok(container),
        Kind::UnreadableSound(codec) => Err(said.unsupported(codec.to_owned(), String::new())),
        Kind::SomethingElse(seems) => Err(said.not_a_recording(seems)),
    }
}

fn truncated() -> Remark {
    Remark::new(
        "truncated",
        "The file breaks off before its end, or a part of it is missing; what is there was read.",
    )
}

/// What happened while decoding, in words.
fn remarks_on(channels: &Channels, already: &[Remark]) -> Vec<Remark> {
    let mut remarks = Vec::new();
    match channels.end {
        End::Complete => {}
        End::CutShort if already.is_empty() => remarks.push(truncated()),
        End::CutShort => {}
        End::TooLong => remarks.push(Remark::new(
            "too-long",
            format!(
                "The recording is very long; its first {:.0} minutes were read.",
                channels.planes[0].len() as f64 / f64::from(channels.rate) / 60.0
            ),
        )),
        End::Changed => remarks.push(Remark::new(
            "second-recording",
            "The file holds several recordings joined together; the first was read.",
        )),
        End::MoreThanCounted => remarks.push(Remark::new(
            "joined-recordings",
            "The file holds more than its header counts, as if recordings were joined; all of it was read.",
        )),
    }
    if let Some(&(first, _)) = channels.lost.first() {
        let rate = f64::from(channels.rate);
        let lost = channels.lost.iter().map(|&(_, count)| count as f64).sum::<f64>() / rate;
        remarks.push(Remark::new(
            "damaged-part",
            format!(
                "{lost:.2} s of the sound are damaged, first at {:.2} s; silence stands in their place.",
                first as f64 / rate
            ),
        ));
    }
    if channels.core_only {
        remarks.push(Remark::new(
            "he-aac-core",
            format!(
                "The sound is HE-AAC; its real half was read, at {} Hz, without the treble that such files make up.",
                channels.rate
            ),
        ));
    }
    remarks
}

/// Floating point files can hold samples that are no numbers; they become silence.
fn replace_non_finite(planes: &mut [Vec<f32>]) -> Option<Remark> {
    let mut count = 0usize;
    for sample in planes.iter_mut().flatten().filter(|sample| !sample.is_finite()) {
        *sample = 0.0;
        count += 1;
    }
    (count > 0).then(|| {
        Remark::new(
            "no-numbers",
            format!("{count} samples of the file are no numbers; they were read as silence."),
        )
    })
}

/// Errors about one file.
struct Said<'a> {
    name: &'a str,
}

impl Said<'_> {
    fn name(&self) -> String {
        self.name.to_owned()
    }

    fn unreadable(&self, source: io::Error) -> DecodeError {
        DecodeError::Unreadable { name: self.name(), source }
    }

    fn zero_length(&self, what: &'static str) -> DecodeError {
        DecodeError::ZeroLength { name: self.name(), what }
    }

    fn not_a_recording(&self, seems: &str) -> DecodeError {
        DecodeError::NotARecording { name: self.name(), seems: seems.to_owned() }
    }

    fn unsupported(&self, codec: String, in_container: String) -> DecodeError {
        DecodeError::UnsupportedCodec { name: self.name(), codec, in_container }
    }

    fn damaged(&self, what: &str, byte: Option<u64>) -> DecodeError {
        DecodeError::Damaged { name: self.name(), what: what.to_owned(), byte, time: None }
    }

    fn implausible(&self, what: Implausible) -> DecodeError {
        let (claim, allowed) = match what {
            Implausible::Rate(rate) => (format!("{rate} samples a second"), "4000 to 384000"),
            Implausible::Channels(count) => (format!("{count} channels"), "1 to 32"),
        };
        debug_assert_eq!(RATES, 4_000..=384_000);
        DecodeError::Implausible { name: self.name(), claim, allowed }
    }

    fn wav(&self, wav: Result<Wav, NoWav>) -> Result<Wav, DecodeError> {
        let wav = wav.map_err(|why| match why {
            NoWav::Io(error) => self.unreadable(error),
            NoWav::Damaged(what, byte) => self.damaged(&what, Some(byte)),
            NoWav::NoSound => self.zero_length("it has a header and no sound"),
        })?;
        if let Some(codec) = wav.unreadable_codec() {
            return Err(self.unsupported(codec, " inside WAV".to_owned()));
        }
        Implausible::check(wav.rate, usize::from(wav.channels)).map_err(|what| self.implausible(what))?;
        if wav.channels == 0 {
            return Err(self.damaged("its header says that it has no channels", None));
        }
        Ok(wav)
    }

    fn no_channels(&self, why: NoChannels, container: Container, reached: u64) -> DecodeError {
        let kind = container.name();
        match why {
            NoChannels::NoSoundTrack(holds) => {
                DecodeError::NoSoundTrack { name: self.name(), container: kind.to_owned(), holds }
            }
            NoChannels::Unsupported(codec) => self.unsupported(codec, format!(" inside {kind}")),
            NoChannels::Damaged(what, time) => {
                DecodeError::Damaged { name: self.name(), what, byte: Some(reached), time: time.map(Seconds) }
            }
            NoChannels::Empty => self.zero_length("it has a header and no sound"),
            NoChannels::Implausible(what) => self.implausible(what),
            NoChannels::Io(error) => self.unreadable(error),
            NoChannels::TooSlow => DecodeError::TooSlow { name: self.name() },
        }
    }
}
