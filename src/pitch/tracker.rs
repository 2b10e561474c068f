//! Frames from chunks of samples.

use super::candidates::FrameReader;
use super::contour::{Contour, Frame};
use super::path::Path;
use super::rumble::RumbleFilter;
use super::settings::TrackerSettings;
use crate::samples::Samples;
use crate::units::Seconds;

/// Frames a second.
const FRAMES_A_SECOND: u64 = 100;
/// What is below this share of the lowest pitch is rumble.
const RUMBLE_SHARE: f64 = 0.45;

/// Turns samples into a [`Contour`], chunk by chunk. Any chunking gives the same frames.
///
/// [`PitchTracker::new`] allocates; [`push`](Self::push) does not, up to
/// [`TrackerSettings::longest`].
pub struct PitchTracker {
    settings: TrackerSettings,
    reader: FrameReader,
    rumble: RumbleFilter,
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
            rumble: RumbleFilter::new(RUMBLE_SHARE * settings.lowest.0, settings.rate.hertz()),
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
        self.rumble.reset();
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
        let mut samples = samples;
        while !samples.is_empty() {
            let room = self.make_room().min(samples.len());
            for (slot, &sample) in self.buffer[self.filled..].iter_mut().zip(&samples[..room]) {
                *slot = self.rumble.next(sample);
            }
            self.filled += room;
            samples = &samples[room..];
            self.read_frames(u64::MAX);
        }
    }

    /// The newest frame as far as it can be told now, `delay()` samples behind the newest sample:
    /// for a display. The settled contour may differ.
    pub fn provisional(&self) -> Option<Frame> {
        let mut frame = *self.frames.last()?;
        frame.pitch = self.path.best_now().and_then(|state| frame.candidates[state]).map(|one| one.pitch);
        Some(frame)
    }

    /// The contour of everything pushed since the start or the last reset: frames from time 0 to the end
    /// of the take, none where nothing was pushed. The tracker is then ready for another take.
    pub fn finish(&mut self) -> Contour {
        let wanted = match self.pushed {
            0 => 0,
            pushed => pushed * FRAMES_A_SECOND / u64::from(self.settings.rate.0) + 1,
        };
        while (self.frames.len() as u64) < wanted {
            let room = self.make_room();
            self.buffer[self.filled..self.filled + room].fill(0.0);
            self.filled += room;
            self.read_frames(wanted);
        }
        let mut frames = self.frames.clone();
        for (frame, state) in frames.iter_mut().zip(self.path.best()) {
            frame.pitch = state.and_then(|state| frame.candidates[state]).map(|one| one.pitch);
        }
        self.reset();
        Contour { hop: Seconds(1.0 / FRAMES_A_SECOND as f64), frames }
    }

    /// Drops what no later frame needs if the buffer is full; how many samples fit now.
    fn make_room(&mut self) -> usize {
        if self.filled == self.buffer.len() {
            let dropped = self.filled - 2 * self.reader.window();
            self.buffer.copy_within(dropped.., 0);
            self.filled -= dropped;
            self.first += dropped as i64;
        }
        self.buffer.len() - self.filled
    }

    /// Reads every frame whose window is complete, up to a number of frames.
    fn read_frames(&mut self, most: u64) {
        let window = self.reader.window();
        while (self.frames.len() as u64) < most {
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

/// The sample nearest to frame `index`'s time.
fn centre(index: u64, rate: u32) -> i64 {
    ((index * u64::from(rate) + FRAMES_A_SECOND / 2) / FRAMES_A_SECOND) as i64
}

/// The contour of a whole recording: a loop over [`PitchTracker::push`].
pub fn contour(samples: &Samples, settings: TrackerSettings) -> Contour {
    contour_without(samples, 0.0, settings)
}

/// The contour of a take to whose every sample its recorder has added `offset` (see [`Samples::offset`]).
pub fn contour_without(samples: &Samples, offset: f64, settings: TrackerSettings) -> Contour {
    let settings = TrackerSettings { rate: samples.rate, longest: samples.duration(), ..settings };
    let mut tracker = PitchTracker::new(settings);
    let mut centred = Vec::with_capacity(4096);
    for chunk in samples.mono.chunks(4096) {
        centred.clear();
        centred.extend(chunk.iter().map(|&one| (f64::from(one) - offset) as f32));
        tracker.push(&centred);
    }
    tracker.finish()
}
