//! A loudspeaker is opened, and plays a sound once.

use super::needle::{Needle, Progress};
use crate::capture::with_quiet_stderr;
use crate::samples::Samples;
use crate::units::SampleRate;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, Device, ErrorKind, FromSample, SampleFormat, SizedSample, Stream, StreamConfig};
use std::sync::Arc;
use std::thread;
use thiserror::Error;

/// Why nothing can be played.
#[derive(Debug, Error)]
pub enum LoudspeakerError {
    /// The computer offers no output.
    #[error("this computer has no loudspeaker or headphones that can be used")]
    NoOutput,
    /// The system names an output, and it cannot be opened.
    #[error("the loudspeaker \"{name}\" exists but cannot be opened: {why}")]
    CannotOpen {
        /// The output's name.
        name: String,
        /// What the system said.
        why: String,
    },
}

/// A loudspeaker that is open, with its sound ready. It falls silent when this is dropped.
pub struct Playing {
    /// The output's name.
    pub name: String,
    progress: Arc<Progress>,
    stream: Option<Stream>,
}

/// Frames in one buffer of the device: 10 ms at 48 kHz.
const BUFFER_FRAMES: u32 = 480;

/// Opens the system's own choice of output and has it ready to play what `render` makes at its rate.
///
/// # Errors
/// [`LoudspeakerError`]; nothing stays open then.
pub fn open(render: impl FnOnce(SampleRate) -> Samples) -> Result<Playing, LoudspeakerError> {
    with_quiet_stderr(|| {
        let device = cpal::default_host().default_output_device().ok_or(LoudspeakerError::NoOutput)?;
        let name = device
            .description()
            .map_or_else(|_| device.to_string(), |description| description.name().to_owned());
        let cannot_open = |error: cpal::Error| LoudspeakerError::CannotOpen {
            name: name.clone(),
            why: error.to_string().trim_end_matches('.').to_owned(),
        };
        let own = device.default_output_config().map_err(cannot_open)?;
        let (rate, channels) = (own.sample_rate(), own.channels());
        let config =
            StreamConfig { channels, sample_rate: rate, buffer_size: BufferSize::Fixed(BUFFER_FRAMES) };
        let needle = Needle::new(render(SampleRate(rate)).mono, usize::from(channels));
        let progress = needle.progress();
        let stream = open_as_any(&device, config, own.sample_format(), needle).map_err(cannot_open)?;
        Ok(Playing { name, progress, stream: Some(stream) })
    })
}

impl Playing {
    /// Begins to play.
    ///
    /// # Errors
    /// [`LoudspeakerError::CannotOpen`].
    pub fn start(&self) -> Result<(), LoudspeakerError> {
        let Some(stream) = &self.stream else { return Ok(()) };
        with_quiet_stderr(|| stream.play()).map_err(|error| LoudspeakerError::CannotOpen {
            name: self.name.clone(),
            why: error.to_string().trim_end_matches('.').to_owned(),
        })
    }

    /// How far the sound has come, and the way to stop it.
    pub fn progress(&self) -> &Progress {
        &self.progress
    }
}

impl Drop for Playing {
    fn drop(&mut self) {
        let Some(stream) = self.stream.take() else { return };
        // Closing can take long, and some devices never return from it; nobody waits for that while a take begins.
        // Where there is no thread to be had, the stream is closed here, with the closure that was refused.
        let _ = thread::Builder::new().name("closing".to_owned()).spawn(move || drop(stream));
    }
}

fn open_as_any(
    device: &Device,
    config: StreamConfig,
    format: SampleFormat,
    needle: Needle,
) -> Result<Stream, cpal::Error> {
    match format {
        SampleFormat::I8 => open_as::<i8>(device, config, needle),
        SampleFormat::I16 => open_as::<i16>(device, config, needle),
        SampleFormat::I24 => open_as::<cpal::I24>(device, config, needle),
        SampleFormat::I32 => open_as::<i32>(device, config, needle),
        SampleFormat::U8 => open_as::<u8>(device, config, needle),
        SampleFormat::U16 => open_as::<u16>(device, config, needle),
        SampleFormat::U32 => open_as::<u32>(device, config, needle),
        SampleFormat::F32 => open_as::<f32>(device, config, needle),
        SampleFormat::F64 => open_as::<f64>(device, config, needle),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

fn open_as<T>(device: &Device, config: StreamConfig, mut needle: Needle) -> Result<Stream, cpal::Error>
where
    T: SizedSample + FromSample<f32>,
{
    // A click that is late or lost is heard by the player; there is nothing to do about it here.
    device.build_output_stream(config, move |buffer: &mut [T], _| needle.fill(buffer), |_| {}, None)
}
