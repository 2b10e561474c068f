//! Frames from chunks of samples.

use super::candidates::FrameReader;
use super::contour::{Contour, Frame};
use super::path::Path;
use super::settings::TrackerSettings;
use crate::samples::Samples;
use crate::units::Seconds;

/// Frames a second.
const FRAMES_A_SECOND: u64 = 100;

/// Turns samples into a [`Contour`], chunk by chunk. Any chunking gives the same frames.
///
/// [`PitchTracker::new`] allocates; [`push`](Self::push) does not, up to
/// [`TrackerSettings::longest`].
pub struct PitchTracker {
    settings: TrackerSettings,
    reader: FrameReader,
    path: Path,
    /// The newest samples; the first of them is sample `first` of the take (negative: zeros before it).
    buffer: Vec<f32>,
    first: i64,
    filled: usize,
    pushed: u64,
    frames: Vec<Frame>,
}

impl PitchTracker {
    /// A tracker at the start of a take.
    pub fn new(settings: TrackerSettings) -> Self {
        let reader = FrameReader::new(&settings);
        let most = (settings.longest.0 * FRAMES_A_SECOND as f64).ceil().max(0.0) as usize + 2;
        let mut tracker = Self {
            settings,
            path: Path::with_capacity(most),
            buffer: vec![0.0; reader.window() * 4],
            reader,
            first: 0,
            filled: 0,
            pushed: 0,
            frames: Vec::with_capacity(most),
        };
        tracker.reset();
        tracker
    }

    /// What the tracker expects.
    pub fn settings(&self) -> &TrackerSettings {
        &self.settings
    }

    /// Forgets the take: the next sample pushed is the first of another.
    pub fn reset(&mut self) {
        self.path.reset();
        self.frames.clear();
        self.filled = self.reader.window();
        self.buffer[..self.filled].fill(0.0);
        self.first = -(self.filled as i64);
        self.pushed = 0;
    }

    /// How many samples after the centre of a frame its provisional reading is there.
    pub fn delay(&self) -> usize {
        self.reader.window().div_ceil(2)
    }

    /// The next samples of the take. Samples that are not finite count as 0.
    pub fn push(&mut self, samples: &[f32]) {
        self.pushed += samples.len() as u64;
        self.take_in(samples);
    }

    /// The newest frame as far as it can be told now, `delay()` samples behind the newest sample:
    /// for a display. The settled contour may differ.
    pub fn provisional(&self) -> Option<Frame> {
        let mut frame = *self.frames.last()?;
        frame.pitch = self.path.best_now().and_then(|state| frame.candidates[state]).map(|one| one.pitch);
        Some(frame)
    }

    /// The contour of everything pushed since the start or the last reset. The tracker is then ready
    /// for another take.
    pub fn finish(&mut self) -> Contour {
        let wanted = if self.pushed == 0 {
            0
        } else {
            self.pushed * FRAMES_A_SECOND / u64::from(self.settings.rate.0) + 1
        };
        let zeros = [0.0; 256];
        while (self.frames.len() as u64) < wanted {
            self.take_in(&zeros);
        }
        self.frames.truncate(wanted as usize);
        let mut frames = self.frames.clone();
        for (frame, state) in frames.iter_mut().zip(self.path.best(wanted as usize)) {
            if let Some(one) = state.and_then(|state| frame.candidates[state]) {
                frame.pitch = Some(one.pitch);
            }
        }
        self.reset();
        Contour { hop: Seconds(1.0 / FRAMES_A_SECOND as f64), frames }
    }

    fn take_in(&mut self, mut samples: &[f32]) {
        let window = self.reader.window();
        while !samples.is_empty() {
            if self.filled == self.buffer.len() {
                let dropped = self.filled - 2 * window;
                self.buffer.copy_within(dropped.., 0);
                self.filled -= dropped;
                self.first += dropped as i64;
            }
            let room = (self.buffer.len() - self.filled).min(samples.len());
            for (slot, &sample) in self.buffer[self.filled..].iter_mut().zip(&samples[..room]) {
                *slot = if sample.is_finite() { sample } else { 0.0 };
            }
            self.filled += room;
            samples = &samples[room..];
            loop {
                let index = self.frames.len() as u64;
                let start = centre(index, self.settings.rate.0) - (window / 2) as i64 - self.first;
                let end = start + window as i64;
                if end > self.filled as i64 {
                    break;
                }
                let mut frame = self.reader.read(&self.buffer[start as usize..end as usize]);
                frame.time = Seconds(index as f64 / FRAMES_A_SECOND as f64);
                self.path.step(&frame);
                self.frames.push(frame);
            }
        }
    }
}

/// The sample nearest to frame `index`'s time.
fn centre(index: u64, rate: u32) -> i64 {
    ((index * u64::from(rate) + FRAMES_A_SECOND / 2) / FRAMES_A_SECOND) as i64
}

/// The contour of a whole recording: a loop over [`PitchTracker::push`].
pub fn contour(samples: &Samples, settings: TrackerSettings) -> Contour {
    let settings = TrackerSettings { rate: samples.rate, longest: samples.duration(), ..settings };
    let mut tracker = PitchTracker::new(settings);
    for chunk in samples.mono.chunks(4096) {
        tracker.push(chunk);
    }
    tracker.finish()
}
