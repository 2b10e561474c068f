//! What reading one take may cost.

use crate::units::Seconds;
use std::time::Duration;

/// The longest take that is read, 10 minutes; of a longer file its beginning is judged, with a remark.
pub const LONGEST_TAKE: Seconds = Seconds(600.0);

/// Most samples kept over all channels: bounds the memory to 256 MB whatever a file claims.
const MOST_SAMPLES: usize = 64 << 20;

/// What reading one take may cost in sound, memory and time; what is beyond is not read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadLimits {
    /// The longest sound, at most [`LONGEST_TAKE`]. Where there is more, the remark `too-long` says so.
    pub longest: Seconds,
    /// The most samples over all channels, at most 64 Mi: four bytes each while they are read, and as many again when they
    /// are mixed to one channel. Where there are more, the remark `too-long` says so.
    pub most_samples: usize,
    /// How long reading may take by the clock; looked at from packet to packet. `None`: as long as it takes, which the
    /// file's size bounds.
    pub patience: Option<Duration>,
}

/// Ten minutes, 64 Mi samples, no clock.
impl Default for ReadLimits {
    fn default() -> Self {
        Self { longest: LONGEST_TAKE, most_samples: MOST_SAMPLES, patience: None }
    }
}

impl ReadLimits {
    /// Frames (samples of one channel) of a sound with this rate and this many channels.
    pub(super) fn frames(&self, rate: u32, channels: usize) -> usize {
        let by_time = (self.longest.0.clamp(0.1, LONGEST_TAKE.0) * f64::from(rate)) as usize;
        by_time.min(self.most_samples.min(MOST_SAMPLES) / channels.max(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tighter_limit_holds() {
        let limits = ReadLimits { longest: Seconds(10.0), most_samples: 600_000, patience: None };
        assert_eq!(limits.frames(44_100, 1), 441_000);
        assert_eq!(limits.frames(44_100, 2), 300_000);
        let without_end =
            ReadLimits { longest: Seconds(f64::INFINITY), most_samples: usize::MAX, patience: None };
        assert_eq!(without_end.frames(4_000, 1), 2_400_000);
        assert_eq!(without_end.frames(384_000, 32), 2 << 20);
    }
}
