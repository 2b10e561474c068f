//! Packets of a container become channels of samples, without the priming before and the padding
//! after them, with silence in place of packets that cannot be decoded, so that time stays true.

use super::aac_core::{CORE_LEAD, aac_core, carries_replication};
use super::kind_from_bytes::Container;
use super::mp4_boxes::Mp4;
use super::opus_packets::{OPUS_RATE, OpusTrack};
use super::read_limits::ReadLimits;
use super::source::Source;
use std::io::ErrorKind;
use std::time::Instant;
use symphonia::core::audio::GenericAudioBufferRef;
use symphonia::core::codecs::audio::well_known as codec;
use symphonia::core::codecs::audio::{AudioCodecId, AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::codecs::{CodecParameters, registry::CodecRegistry};
use symphonia::core::errors::Error;
use symphonia::core::formats::{FormatOptions, FormatReader, Track, probe::Hint};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;
use symphonia::core::units::{Duration, TimeBase};

/// Channels of equal length.
#[derive(Debug, Default)]
pub(super) struct Channels {
    /// One vector for each channel, full scale ±1.
    pub planes: Vec<Vec<f32>>,
    /// Samples a second.
    pub rate: u32,
    /// The codec by name.
    pub codec: String,
    /// Where the sound was damaged: first sample and count, counted before trimming.
    pub lost: Vec<(usize, usize)>,
    /// Why reading ended.
    pub end: End,
    /// Only the lower half of the spectrum was decoded (HE-AAC).
    pub core_only: bool,
}

/// Why reading ended.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    /// The sound is complete, as far as the container can tell.
    #[default]
    Complete,
    /// The container promises more than the file holds.
    CutShort,
    /// There is more sound than is read of one take.
    TooLong,
    /// Another recording with other properties follows.
    Changed,
    /// There is more sound than the file's first header counts, and all of it was read.
    MoreThanCounted,
}

/// Why there are no channels.
#[derive(Debug)]
pub(super) enum NoChannels {
    /// The container holds these and no sound.
    NoSoundTrack(String),
    /// No decoder for this codec.
    Unsupported(String),
    /// What the demuxer or the decoder said, and where in the sound, in seconds.
    Damaged(String, Option<f64>),
    /// A track without a single packet.
    Empty,
    /// A rate or channel count that no recording has.
    Implausible(Implausible),
    /// The operating system failed while reading.
    Io(std::io::Error),
    /// Reading took longer than it may.
    TooSlow,
}

/// A rate or channel count that no recording of an instrument has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Implausible {
    /// Samples a second.
    Rate(u32),
    /// Channels.
    Channels(usize),
}

/// Lowest and highest sampling rate, in hertz: below, the fourth finger on a violin's E string has no
/// second harmonic left; above, no recorder goes.
pub(super) const RATES: std::ops::RangeInclusive<u32> = 4_000..=384_000;

/// Most channels: more than any school's recorder has.
pub(super) const MOST_CHANNELS: usize = 32;

/// The core of HE-AAC runs at half of 48 kHz at most.
const FASTEST_CORE: u32 = 24_000;

/// No packet of any codec lasts longer than this, in seconds.
const LONGEST_PACKET: f64 = 1.0;

/// Samples of the longest packet of MPEG audio (ISO/IEC 11172-3): a header's count may be wrong by the packet that it is in.
const MPEG_PACKET: u64 = 1152;

/// No packet of any codec holds more samples of a channel than this.
const MOST_FRAMES: u64 = 1 << 20;

/// Broken packets in a row before a file is given up.
const MOST_BROKEN: usize = 2_000;

impl Implausible {
    /// Checks a rate and a channel count; 0 is unknown yet.
    pub fn check(rate: u32, channels: usize) -> Result<(), Self> {
        if !RATES.contains(&rate) {
            Err(Self::Rate(rate))
        } else if channels > MOST_CHANNELS {
            Err(Self::Channels(channels))
        } else {
            Ok(())
        }
    }
}

/// Decodes the first sound track that can be decoded, as much of it as the limits allow.
pub(super) fn channels_from_packets(
    source: Source,
    container: Container,
    mp4: Option<&Mp4>,
    limits: ReadLimits,
) -> Result<Channels, NoChannels> {
    let deadline = limits.patience.and_then(|patience| Instant::now().checked_add(patience));
    let stream = MediaSourceStream::new(Box::new(source), Default::default());
    let mut reader = symphonia::default::get_probe()
        .probe(&Hint::new(), stream, FormatOptions::default(), MetadataOptions::default())
        .map_err(|error| no_channels(error, "its header makes no sense"))?;
    let (track, decoder) = choose_track(reader.as_ref(), mp4)?;
    let mut reading = Reading::new(&track, decoder, container, limits)?;
    reading.run(reader.as_mut(), &track, deadline)?;
    reading.finish(&track, mp4)
}

/// A decoder of one track.
enum Decoder {
    /// One of symphonia's.
    Packets(Box<dyn AudioDecoder>),
    /// The AAC-LC core of HE-AAC.
    AacCore(Box<dyn AudioDecoder>),
    /// Opus.
    Opus(Box<OpusTrack>),
}

/// The first sound track for which there is a decoder.
fn choose_track(reader: &dyn FormatReader, mp4: Option<&Mp4>) -> Result<(Track, Decoder), NoChannels> {
    let registry = symphonia::default::get_codecs();
    let mut refused = None;
    for track in reader.tracks() {
        match &track.codec_params {
            Some(CodecParameters::Audio(params)) => match make_decoder(params, registry) {
                Ok(decoder) => return Ok((track.clone(), decoder)),
                Err(why) => refused = refused.or(Some(named_by_boxes(why, track, mp4))),
            },
            None if is_sound(track, mp4) => {
                let why = NoChannels::Unsupported("an unknown codec".to_owned());
                refused = refused.or(Some(named_by_boxes(why, track, mp4)));
            }
            _ => {}
        }
    }
    Err(refused.unwrap_or_else(|| {
        let video = reader
            .tracks()
            .iter()
            .filter(|track| {
                matches!(track.codec_params, Some(CodecParameters::Video(_))) || is_video(track, mp4)
            })
            .count();
        NoChannels::NoSoundTrack(match (reader.tracks().len(), video) {
            (0, _) => "no track at all".to_owned(),
            (_, 0) => "no track that is sound".to_owned(),
            (_, 1) => "a picture track and nothing else".to_owned(),
            (_, count) => format!("{count} picture tracks and nothing else"),
        })
    }))
}

fn is_sound(track: &Track, mp4: Option<&Mp4>) -> bool {
    mp4.is_some_and(|mp4| mp4.track(track.id).is_some_and(|track| &track.handler == b"soun"))
}

fn is_video(track: &Track, mp4: Option<&Mp4>) -> bool {
    mp4.is_some_and(|mp4| mp4.track(track.id).is_some_and(|track| &track.handler == b"vide"))
}

/// Boxes know codecs by name that the demuxer has no word for.
fn named_by_boxes(why: NoChannels, track: &Track, mp4: Option<&Mp4>) -> NoChannels {
    match (why, mp4.and_then(|mp4| mp4.track(track.id))) {
        (NoChannels::Unsupported(_), Some(track)) => NoChannels::Unsupported(track.codec_name()),
        (why, _) => why,
    }
}

fn make_decoder(params: &AudioCodecParameters, registry: &CodecRegistry) -> Result<Decoder, NoChannels> {
    if params.codec == codec::CODEC_ID_OPUS {
        let head = params.extra_data.as_deref().unwrap_or_default();
        return OpusTrack::new(head)
            .map(|track| Decoder::Opus(Box::new(track)))
            .map_err(|what| NoChannels::Damaged(what, None));
    }
    if let Some(channels) = &params.channels {
        let rate = params.sample_rate.unwrap_or(*RATES.start());
        Implausible::check(rate, channels.count()).map_err(NoChannels::Implausible)?;
    }
    if let Some(frames) = params.max_frames_per_packet.filter(|frames| *frames > MOST_FRAMES) {
        // A decoder makes room for as many before it is given the first.
        let what = format!("its header says that one packet holds {frames} samples");
        return Err(NoChannels::Damaged(what, None));
    }
    let options = AudioDecoderOptions::default();
    if params.codec == codec::CODEC_ID_AAC
        && let Some((config, rate)) = params.extra_data.as_deref().and_then(aac_core)
    {
        let mut core = params.clone();
        core.with_extra_data(config.into_boxed_slice()).with_sample_rate(rate);
        if let Ok(decoder) = registry.make_audio_decoder(&core, &options) {
            return Ok(Decoder::AacCore(decoder));
        }
    }
    match registry.make_audio_decoder(params, &options) {
        Ok(decoder) => Ok(Decoder::Packets(decoder)),
        Err(Error::Unsupported(_)) => Err(NoChannels::Unsupported(codec_name(params))),
        Err(error) => Err(no_channels(error, "its sound description makes no sense")),
    }
}

/// The state while packets are read.
struct Reading {
    decoder: Decoder,
    container: Container,
    limits: ReadLimits,
    channels: Channels,
    time_base: Option<TimeBase>,
    packets: usize,
    broken: usize,
    broken_in_row: usize,
    /// Packets of slow AAC that were searched for band replication, and in how many it was.
    searched: (usize, usize),
    scratch: Vec<Vec<f32>>,
}

impl Reading {
    fn new(
        track: &Track,
        decoder: Decoder,
        container: Container,
        limits: ReadLimits,
    ) -> Result<Self, NoChannels> {
        let params = track.codec_params.as_ref().and_then(CodecParameters::audio);
        let codec = params.map(codec_name).unwrap_or_default();
        let (rate, count) = match &decoder {
            Decoder::Opus(opus) => (OPUS_RATE, opus.channels()),
            Decoder::Packets(decoder) | Decoder::AacCore(decoder) => {
                let params = decoder.codec_params();
                let count = params.channels.as_ref().map_or(0, |channels| channels.count());
                (params.sample_rate.unwrap_or(0), count)
            }
        };
        // The codec's own description may say otherwise than the container's; 0 is unknown yet.
        if rate > 0 {
            Implausible::check(rate, count).map_err(NoChannels::Implausible)?;
        }
        let channels = Channels { planes: vec![Vec::new(); count], rate, codec, ..Channels::default() };
        Ok(Self {
            decoder,
            container,
            limits,
            channels,
            time_base: track.time_base,
            packets: 0,
            broken: 0,
            broken_in_row: 0,
            searched: (0, 0),
            scratch: Vec::new(),
        })
    }

    fn frames(&self) -> usize {
        self.channels.planes.first().map_or(0, Vec::len)
    }

    fn run(
        &mut self,
        reader: &mut dyn FormatReader,
        track: &Track,
        deadline: Option<Instant>,
    ) -> Result<(), NoChannels> {
        loop {
            if deadline.is_some_and(|deadline| Instant::now() >= deadline) {
                return Err(NoChannels::TooSlow);
            }
            let most = self.limits.frames(self.channels.rate, self.channels.planes.len());
            if self.channels.rate > 0 && self.frames() > most {
                self.channels.planes.iter_mut().for_each(|plane| plane.truncate(most));
                self.channels.end = End::TooLong;
                return Ok(());
            }
            match reader.next_packet() {
                Ok(None) => return Ok(()),
                Ok(Some(mut packet)) if packet.track_id == track.id => {
                    if self.container == Container::Mpeg {
                        // It would be cut where the first header, or a guess from the first packets, sees the end.
                        packet.trim_end = Duration::ZERO;
                    }
                    self.packets += 1;
                    self.search(&packet.data);
                    if self.push(&packet)?.is_break() || self.broken_in_row > MOST_BROKEN {
                        return Ok(());
                    }
                }
                Ok(Some(_)) => {}
                Err(Error::ResetRequired) => {
                    self.channels.end = End::Changed;
                    return Ok(());
                }
                Err(Error::IoError(error)) if error.kind() == ErrorKind::UnexpectedEof => {
                    self.channels.end = End::CutShort;
                    return Ok(());
                }
                Err(Error::IoError(error)) if self.frames() == 0 => return Err(NoChannels::Io(error)),
                Err(Error::DecodeError(_)) if self.broken_in_row < MOST_BROKEN => {
                    self.broken += 1;
                    self.broken_in_row += 1;
                }
                Err(_) => {
                    self.channels.end = End::CutShort;
                    return Ok(());
                }
            }
        }
    }

    /// Looks for band replication in the first packets of AAC at a core's rate.
    fn search(&mut self, packet: &[u8]) {
        let core_rate = self.channels.rate > 0 && self.channels.rate <= FASTEST_CORE;
        if core_rate && self.channels.codec == "AAC" && self.searched.0 < 64 {
            self.searched.0 += 1;
            self.searched.1 += usize::from(carries_replication(packet));
        }
    }

    /// Decodes one packet and keeps its samples; silence of its length where that fails. Breaks
    /// where the sound changes its rate or channels.
    fn push(&mut self, packet: &Packet) -> Result<std::ops::ControlFlow<()>, NoChannels> {
        let (rate, trim_end) = match &mut self.decoder {
            Decoder::Opus(opus) => match opus.decode(&packet.data, &mut self.scratch) {
                Ok(()) => (OPUS_RATE, packet.trim_end.get()),
                Err(_) => return Ok(self.lose(packet)),
            },
            Decoder::Packets(decoder) | Decoder::AacCore(decoder) => match decoder.decode(packet) {
                Ok(buffer) => (copy_planes(&buffer, &mut self.scratch), 0),
                Err(_) => return Ok(self.lose(packet)),
            },
        };
        let Some(first) = self.scratch.first() else { return Ok(self.lose(packet)) };
        let frames = first.len() as u64;
        let end = frames.saturating_sub(trim_end) as usize;
        self.broken_in_row = 0;
        if frames == 0 {
            return Ok(std::ops::ControlFlow::Continue(()));
        }
        Implausible::check(rate, self.scratch.len()).map_err(NoChannels::Implausible)?;
        if self.frames() == 0 && self.channels.planes.len() != self.scratch.len() {
            self.channels.planes = vec![Vec::new(); self.scratch.len()];
        }
        if self.frames() == 0 {
            self.channels.rate = rate;
        }
        if rate != self.channels.rate || self.scratch.len() != self.channels.planes.len() {
            self.channels.end = End::Changed;
            return Ok(std::ops::ControlFlow::Break(()));
        }
        for (plane, new) in self.channels.planes.iter_mut().zip(&self.scratch) {
            plane.extend_from_slice(&new[..end]);
        }
        Ok(std::ops::ControlFlow::Continue(()))
    }

    /// Keeps silence for a packet that cannot be decoded.
    fn lose(&mut self, packet: &Packet) -> std::ops::ControlFlow<()> {
        self.broken += 1;
        self.broken_in_row += 1;
        let seconds = self
            .time_base
            .and_then(|base| base.calc_duration(packet.dur))
            .map_or(0.0, |time| time.as_secs_f64());
        let count = (seconds.clamp(0.0, LONGEST_PACKET) * f64::from(self.channels.rate)).round() as usize;
        if count > 0 && !self.channels.planes.is_empty() {
            self.channels.lost.push((self.frames(), count));
            for plane in &mut self.channels.planes {
                plane.resize(plane.len() + count, 0.0);
            }
        }
        std::ops::ControlFlow::Continue(())
    }

    /// Cuts what is not meant to be heard.
    fn finish(mut self, track: &Track, mp4: Option<&Mp4>) -> Result<Channels, NoChannels> {
        let (searched, found) = self.searched;
        // One plain packet in 60 looks like replication by chance, and of HE-AAC the first packets and
        // some padded ones do not: half of eight or more is never chance (below 10⁻⁵).
        let silent_core = searched >= 8 && found * 2 >= searched;
        if matches!(self.decoder, Decoder::AacCore(_)) || silent_core {
            self.channels.core_only = true;
            for plane in &mut self.channels.planes {
                plane.splice(0..0, [0.0; CORE_LEAD]);
            }
        }
        let total = self.frames();
        if self.packets == 0 && self.broken == 0 {
            return Err(NoChannels::Empty);
        }
        let lost: usize = self.channels.lost.iter().map(|&(_, count)| count).sum();
        if total == 0 || lost * 2 > total || self.broken * 2 > self.packets.max(1) {
            let from = self
                .channels
                .lost
                .first()
                .map(|&(first, _)| first as f64 / f64::from(self.channels.rate.max(1)));
            return Err(NoChannels::Damaged("most of its sound cannot be decoded".to_owned(), from));
        }
        let promised = track.num_frames.filter(|_| self.promises_are_exact(track));
        if self.channels.end == End::Complete && promised.is_some_and(|promised| promised > total as u64 + 1)
        {
            self.channels.end = End::CutShort;
        }
        let heard = match (self.container, mp4.and_then(|mp4| Some((mp4, mp4.track(track.id)?)))) {
            (Container::Mp4, Some((mp4, boxes))) => mp4.heard(boxes, self.channels.rate, total),
            (Container::Caf, _) => {
                let start = (track.delay.unwrap_or(0) as usize).min(total);
                let end = total.saturating_sub(track.padding.unwrap_or(0) as usize).max(start);
                vec![(start, end)]
            }
            (Container::Mpeg, _) => {
                let end = self.end_of_mpeg(track, total);
                vec![(0, end)]
            }
            _ => match &self.decoder {
                Decoder::Opus(opus) => vec![(opus.pre_skip.min(total), total)],
                Decoder::Packets(_) | Decoder::AacCore(_) => vec![(0, total)],
            },
        };
        if heard != [(0, total)] {
            for plane in &mut self.channels.planes {
                *plane = heard.iter().flat_map(|&(start, end)| &plane[start..end]).copied().collect();
            }
        }
        Ok(self.channels)
    }

    /// Where the sound of MPEG audio ends: before the encoder's padding, if nothing follows that; where more follows than
    /// its first header counts (recordings joined one behind the other), at the very end.
    fn end_of_mpeg(&mut self, track: &Track, total: usize) -> usize {
        let Some(counted) = track.num_frames.filter(|_| self.promises_are_exact(track)) else { return total };
        let beyond = (total as u64).saturating_sub(counted);
        if beyond <= u64::from(track.padding.unwrap_or(0)) + MPEG_PACKET {
            return total.min(counted as usize);
        }
        if self.channels.end == End::Complete {
            self.channels.end = End::MoreThanCounted;
        }
        total
    }

    /// Whether the container's count of samples is a count and not an estimate.
    fn promises_are_exact(&self, track: &Track) -> bool {
        match self.container {
            Container::Wav | Container::Aiff | Container::Flac => true,
            Container::Mpeg => track.delay.is_some(),
            _ => false,
        }
    }
}

/// Copies a decoded buffer into one vector per channel and returns its rate.
fn copy_planes(buffer: &GenericAudioBufferRef<'_>, planes: &mut Vec<Vec<f32>>) -> u32 {
    buffer.copy_to_vecs_planar(planes);
    planes.truncate(buffer.num_planes());
    buffer.spec().rate()
}

fn no_channels(error: Error, otherwise: &str) -> NoChannels {
    match error {
        Error::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => {
            NoChannels::Damaged("it breaks off in its header".to_owned(), None)
        }
        Error::IoError(error) => NoChannels::Io(error),
        Error::DecodeError(what) | Error::Unsupported(what) => {
            NoChannels::Damaged(format!("{otherwise} ({what})"), None)
        }
        other => NoChannels::Damaged(format!("{otherwise} ({other})"), None),
    }
}

/// The codec by name.
fn codec_name(params: &AudioCodecParameters) -> String {
    let name = match params.codec {
        codec::CODEC_ID_VORBIS => "Vorbis",
        codec::CODEC_ID_OPUS => "Opus",
        codec::CODEC_ID_SPEEX => "Speex",
        codec::CODEC_ID_MP1 => "MPEG layer I",
        codec::CODEC_ID_MP2 => "MPEG layer II",
        codec::CODEC_ID_MP3 => "MP3",
        codec::CODEC_ID_AAC => "AAC",
        codec::CODEC_ID_AC3 => "Dolby Digital (AC-3)",
        codec::CODEC_ID_EAC3 => "Dolby Digital Plus (E-AC-3)",
        codec::CODEC_ID_DCA => "DTS",
        codec::CODEC_ID_WMA => "Windows Media Audio",
        codec::CODEC_ID_FLAC => "FLAC",
        codec::CODEC_ID_ALAC => "ALAC",
        codec::CODEC_ID_WAVPACK => "WavPack",
        codec::CODEC_ID_TRUEHD => "Dolby TrueHD",
        codec::CODEC_ID_PCM_ALAW => "A-law",
        codec::CODEC_ID_PCM_MULAW => "µ-law",
        codec::CODEC_ID_ADPCM_IMA_WAV | codec::CODEC_ID_ADPCM_IMA_QT => "IMA ADPCM",
        codec::CODEC_ID_ADPCM_MS => "Microsoft ADPCM",
        other if is_pcm(other) => "PCM",
        other => return format!("codec {other}"),
    };
    name.to_owned()
}

fn is_pcm(id: AudioCodecId) -> bool {
    (codec::CODEC_ID_PCM_S32LE..=codec::CODEC_ID_PCM_F64BE_PLANAR).contains(&id)
}
