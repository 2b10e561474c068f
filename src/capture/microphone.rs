//! A microphone becomes chunks of samples: which inputs there are, how one is opened, and the worker
//! that passes on what the callback hands over.

use super::error::CaptureError;
use super::hand_over::{Giver, Taker, hand_over};
use super::quiet_stderr::with_quiet_stderr;
use crate::units::{SampleRate, Seconds};
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{
    BufferSize, Device, ErrorKind, FromSample, I24, SampleFormat, SizedSample, Stream, StreamConfig,
    SupportedBufferSize, SupportedStreamConfigRange, U24,
};
use ringbuf::traits::{Consumer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// An input that the system names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Input {
    /// Its name for people.
    pub name: String,
    /// Its name for [`Wish::input`], stable while the device stays plugged in.
    pub id: String,
    /// Whether the system would choose it.
    pub is_default: bool,
}

/// Which input to open, and how.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Wish {
    /// The id or the name of an [`Input`]; `None` for the system's own choice.
    pub input: Option<String>,
    /// Samples a second; `None` for 48000, or what comes closest.
    pub rate: Option<SampleRate>,
}

/// What a sink is given.
#[derive(Debug)]
pub enum Heard<'a> {
    /// The next samples of one channel, full scale ±1, finite, oldest first.
    Samples(&'a [f32]),
    /// Something went wrong; [`CaptureError::listening_continues`] says whether more will come.
    Trouble(CaptureError),
}

/// A microphone that is open. Dropping it ends the listening as [`Listening::stop`] does.
pub struct Listening {
    /// The input's name.
    pub name: String,
    /// Samples a second.
    pub rate: SampleRate,
    /// Channels of the device, of which the mean is heard.
    pub channels: usize,
    /// The device's sample format, such as `f32`.
    pub format: String,
    stream: Option<Stream>,
    stop: Arc<AtomicBool>,
    worker: Option<JoinHandle<Summary>>,
}

/// What was heard in all.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Summary {
    /// Samples that the sink was given.
    pub samples: u64,
    /// Of the microphone's time, how much was lost because the computer was too slow.
    pub lost: Seconds,
}

/// Frames in one buffer of the device: 10 ms at 48 kHz.
const BUFFER_FRAMES: u32 = 480;

/// The queue between callback and worker holds this much, in seconds.
const QUEUE: f64 = 2.0;

/// How often the worker looks, and how long without any samples is a stall.
const LOOK_EVERY: Duration = Duration::from_millis(5);
const STALLED_AFTER: Duration = Duration::from_secs(2);

/// How long a device may take to close before it is left behind: some never return from closing.
const CLOSE_WITHIN: Duration = Duration::from_secs(1);

/// The formats that are opened, best first.
const FORMATS: [SampleFormat; 12] = [
    SampleFormat::F32,
    SampleFormat::I24,
    SampleFormat::I32,
    SampleFormat::I16,
    SampleFormat::F64,
    SampleFormat::U24,
    SampleFormat::U32,
    SampleFormat::U16,
    SampleFormat::I64,
    SampleFormat::U64,
    SampleFormat::I8,
    SampleFormat::U8,
];

/// The id of ALSA's null device.
const SILENT_DEVICE: &str = "alsa:null";

/// All inputs that the system names. Being named does not mean that it can be opened.
///
/// # Errors
/// [`CaptureError::NoInput`] where there is none.
pub fn inputs() -> Result<Vec<Input>, CaptureError> {
    with_quiet_stderr(|| {
        let host = cpal::default_host();
        let default = host.default_input_device().and_then(|device| device.id().ok());
        let devices = host.input_devices().map_err(|_| CaptureError::NoInput)?;
        let inputs: Vec<Input> = devices
            .map(|device| {
                let id = device.id().ok();
                Input {
                    name: name_of(&device),
                    is_default: id.is_some() && id == default,
                    id: id.map_or_else(|| name_of(&device), |id| id.to_string()),
                }
            })
            // ALSA's device that only ever delivers silence is no microphone.
            .filter(|input| input.id != SILENT_DEVICE)
            .collect();
        if inputs.is_empty() { Err(CaptureError::NoInput) } else { Ok(inputs) }
    })
}

/// Opens a microphone and calls `sink` from a worker thread with everything that is heard, until the
/// returned value is stopped or dropped.
///
/// # Errors
/// [`CaptureError::NoInput`], [`CaptureError::NoSuchInput`], [`CaptureError::CannotOpen`] (the system
/// names a default input even where there is none, so this is what a computer without a microphone
/// may say) or [`CaptureError::NoUsableFormat`]. Nothing stays open after an error.
pub fn listen(wish: &Wish, sink: impl FnMut(Heard<'_>) + Send + 'static) -> Result<Listening, CaptureError> {
    let (device, name) = with_quiet_stderr(|| find(wish.input.as_deref()))?;
    let choice = with_quiet_stderr(|| choose(&device, &name, wish.rate))?;
    let (rate, channels) = (SampleRate(choice.config.sample_rate), usize::from(choice.config.channels));
    let (giver, taker) = hand_over((QUEUE * rate.hertz()) as usize, channels);
    let (trouble, troubles) = HeapRb::new(64).split();
    let cannot_open =
        |error: cpal::Error| CaptureError::CannotOpen { name: name.clone(), why: plain(&error) };
    let stream = with_quiet_stderr(|| {
        let stream = open(&device, choice.config, choice.format, giver, trouble)?;
        stream.play()?;
        Ok(stream)
    })
    .map_err(cannot_open)?;
    let stop = Arc::new(AtomicBool::new(false));
    let worker = {
        let stop = Arc::clone(&stop);
        thread::Builder::new()
            .name("listening".to_owned())
            .spawn(move || Worker { taker, troubles, rate, stop, sink, summary: Summary::default() }.run())
            .map_err(|error| CaptureError::CannotOpen { name: name.clone(), why: plain(&error) })?
    };
    let format = choice.format.to_string();
    Ok(Listening { name, rate, channels, format, stream: Some(stream), stop, worker: Some(worker) })
}

impl Listening {
    /// Ends the listening; everything that was handed over reaches the sink first.
    pub fn stop(mut self) -> Summary {
        self.end()
    }

    fn end(&mut self) -> Summary {
        if let Some(stream) = self.stream.take() {
            // Closing can hang in the system when a device stalls; then the thread is left to it.
            let (closed, wait) = mpsc::channel();
            let closer = thread::Builder::new().name("closing".to_owned()).spawn(move || {
                drop(stream);
                let _ = closed.send(());
            });
            if closer.is_ok() {
                let _ = wait.recv_timeout(CLOSE_WITHIN);
            }
        }
        self.stop.store(true, Ordering::Release);
        self.worker.take().and_then(|worker| worker.join().ok()).unwrap_or_default()
    }
}

impl Drop for Listening {
    fn drop(&mut self) {
        self.end();
    }
}

/// The worker: takes what was handed over and passes it on.
struct Worker<S> {
    taker: Taker,
    troubles: HeapCons<cpal::Error>,
    rate: SampleRate,
    stop: Arc<AtomicBool>,
    sink: S,
    summary: Summary,
}

impl<S: FnMut(Heard<'_>)> Worker<S> {
    fn run(mut self) -> Summary {
        let mut chunk = vec![0.0; (self.rate.hertz() * 0.1) as usize];
        let (mut last, mut stalled, mut lost) = (Instant::now(), false, 0);
        loop {
            // Read before the queue is emptied, so that nothing handed over before the stop is missed.
            let stopping = self.stop.load(Ordering::Acquire);
            let mut taken = 0;
            loop {
                let count = self.taker.take(&mut chunk);
                if count == 0 {
                    break;
                }
                taken += count;
                (self.sink)(Heard::Samples(&chunk[..count]));
            }
            self.summary.samples += taken as u64;
            let lost_now = self.taker.lost();
            if lost_now > lost {
                let milliseconds = 1000.0 * (lost_now - lost) as f64 / self.rate.hertz();
                lost = lost_now;
                self.summary.lost = Seconds(lost as f64 / self.rate.hertz());
                (self.sink)(Heard::Trouble(CaptureError::LostTime { milliseconds }));
            }
            while let Some(error) = self.troubles.try_pop() {
                (self.sink)(Heard::Trouble(trouble(&error)));
            }
            if stopping {
                return self.summary;
            }
            if taken > 0 {
                (last, stalled) = (Instant::now(), false);
            } else if !stalled && last.elapsed() >= STALLED_AFTER {
                stalled = true;
                let seconds = STALLED_AFTER.as_secs_f64();
                (self.sink)(Heard::Trouble(CaptureError::Stalled { seconds }));
            }
            thread::sleep(LOOK_EVERY);
        }
    }
}

/// What the sound system reports while listening.
fn trouble(error: &cpal::Error) -> CaptureError {
    match error.kind() {
        ErrorKind::Xrun => CaptureError::LostTime { milliseconds: 0.0 },
        ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => CaptureError::Notice { what: plain(error) },
        _ => CaptureError::Stopped { why: plain(error) },
    }
}

/// What the system said, without its full stop, since it becomes part of a sentence.
fn plain(error: &impl std::fmt::Display) -> String {
    error.to_string().trim_end_matches('.').to_owned()
}

/// A device's name for people.
fn name_of(device: &Device) -> String {
    device.description().map_or_else(|_| device.to_string(), |description| description.name().to_owned())
}

/// The device that was wished for.
fn find(wanted: Option<&str>) -> Result<(Device, String), CaptureError> {
    let host = cpal::default_host();
    let Some(wanted) = wanted else {
        let device = host.default_input_device().ok_or(CaptureError::NoInput)?;
        let name = name_of(&device);
        return Ok((device, name));
    };
    if let Some(device) = wanted.parse().ok().and_then(|id| host.device_by_id(&id)) {
        let name = name_of(&device);
        return Ok((device, name));
    }
    let devices: Vec<Device> = host.input_devices().map_err(|_| CaptureError::NoInput)?.collect();
    let known: Vec<String> = devices.iter().map(name_of).collect();
    match devices.into_iter().zip(&known).find(|(_, name)| *name == wanted) {
        Some((device, name)) => Ok((device, name.clone())),
        None if known.is_empty() => Err(CaptureError::NoInput),
        None => Err(CaptureError::NoSuchInput { wanted: wanted.to_owned(), known: known.join(", ") }),
    }
}

/// How a device is opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Choice {
    config: StreamConfig,
    format: SampleFormat,
}

fn choose(device: &Device, name: &str, rate: Option<SampleRate>) -> Result<Choice, CaptureError> {
    let offers: Vec<SupportedStreamConfigRange> = device
        .supported_input_configs()
        .map_err(|error| CaptureError::CannotOpen { name: name.to_owned(), why: plain(&error) })?
        .collect();
    best_choice(&offers, rate.unwrap_or(SampleRate(48_000))).ok_or_else(|| {
        let offered: Vec<String> = offers
            .iter()
            .map(|offer| {
                format!(
                    "{} channels of {} at {} Hz",
                    offer.channels(),
                    offer.sample_format(),
                    offer.max_sample_rate()
                )
            })
            .collect();
        let offered = if offered.is_empty() { "nothing".to_owned() } else { offered.join("; ") };
        CaptureError::NoUsableFormat { name: name.to_owned(), offered }
    })
}

/// The offer with the closest rate, then the best format, then the fewest channels.
fn best_choice(offers: &[SupportedStreamConfigRange], rate: SampleRate) -> Option<Choice> {
    offers
        .iter()
        .filter(|offer| offer.channels() > 0)
        .filter_map(|offer| {
            let format = FORMATS.iter().position(|format| *format == offer.sample_format())?;
            let nearest = rate.0.clamp(offer.min_sample_rate(), offer.max_sample_rate());
            Some(((nearest.abs_diff(rate.0), format, offer.channels()), nearest, offer))
        })
        .min_by_key(|(rank, ..)| *rank)
        .map(|((_, format, channels), sample_rate, offer)| {
            let frames = match *offer.buffer_size() {
                SupportedBufferSize::Range { min, max } if min <= max => BUFFER_FRAMES.clamp(min, max),
                _ => BUFFER_FRAMES,
            };
            let config = StreamConfig { channels, sample_rate, buffer_size: BufferSize::Fixed(frames) };
            Choice { config, format: FORMATS[format] }
        })
}

/// Opens a stream of any sample format.
fn open(
    device: &Device,
    config: StreamConfig,
    format: SampleFormat,
    giver: Giver,
    trouble: HeapProd<cpal::Error>,
) -> Result<Stream, cpal::Error> {
    match format {
        SampleFormat::I8 => open_as::<i8>(device, config, giver, trouble),
        SampleFormat::I16 => open_as::<i16>(device, config, giver, trouble),
        SampleFormat::I24 => open_as::<I24>(device, config, giver, trouble),
        SampleFormat::I32 => open_as::<i32>(device, config, giver, trouble),
        SampleFormat::I64 => open_as::<i64>(device, config, giver, trouble),
        SampleFormat::U8 => open_as::<u8>(device, config, giver, trouble),
        SampleFormat::U16 => open_as::<u16>(device, config, giver, trouble),
        SampleFormat::U24 => open_as::<U24>(device, config, giver, trouble),
        SampleFormat::U32 => open_as::<u32>(device, config, giver, trouble),
        SampleFormat::U64 => open_as::<u64>(device, config, giver, trouble),
        SampleFormat::F32 => open_as::<f32>(device, config, giver, trouble),
        SampleFormat::F64 => open_as::<f64>(device, config, giver, trouble),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

fn open_as<T>(
    device: &Device,
    config: StreamConfig,
    mut giver: Giver,
    mut trouble: HeapProd<cpal::Error>,
) -> Result<Stream, cpal::Error>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    device.build_input_stream(
        config,
        move |samples: &[T], _| giver.give(samples),
        move |error| {
            // A full list means that the worker knows enough already.
            let _ = trouble.try_push(error);
        },
        None,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn offer(channels: u16, rates: (u32, u32), format: SampleFormat) -> SupportedStreamConfigRange {
        let buffer = SupportedBufferSize::Range { min: 64, max: 4096 };
        SupportedStreamConfigRange::new(channels, rates.0, rates.1, buffer, format)
    }

    #[test]
    fn the_rate_counts_before_the_format_and_the_format_before_the_channels() {
        let offers = [
            offer(1, (8_000, 16_000), SampleFormat::F32),
            offer(1, (44_100, 48_000), SampleFormat::I16),
            offer(2, (44_100, 96_000), SampleFormat::F32),
            offer(4, (44_100, 96_000), SampleFormat::F32),
        ];
        let choice = best_choice(&offers, SampleRate(48_000)).unwrap();
        assert_eq!((choice.format, choice.config.channels), (SampleFormat::F32, 2));
        assert_eq!((choice.config.sample_rate, choice.config.buffer_size), (48_000, BufferSize::Fixed(480)));
    }

    #[test]
    fn a_rate_that_is_not_offered_becomes_the_closest() {
        let offers = [offer(1, (8_000, 16_000), SampleFormat::I16)];
        assert_eq!(best_choice(&offers, SampleRate(48_000)).unwrap().config.sample_rate, 16_000);
        assert_eq!(best_choice(&[], SampleRate(48_000)), None);
        assert_eq!(best_choice(&[offer(1, (48_000, 48_000), SampleFormat::DsdU8)], SampleRate(48_000)), None);
    }

    #[test]
    fn only_some_troubles_end_the_listening() {
        for (kind, continues) in [
            (ErrorKind::Xrun, true),
            (ErrorKind::RealtimeDenied, true),
            (ErrorKind::DeviceChanged, true),
            (ErrorKind::DeviceNotAvailable, false),
            (ErrorKind::StreamInvalidated, false),
        ] {
            assert_eq!(trouble(&kind.into()).listening_continues(), continues, "{kind:?}");
        }
    }
}
