//! What the tracker expects: rate, range and window.

use crate::notation::Instrument;
use crate::units::{A4_ISO16, Hertz, MidiPitch, SampleRate, Seconds};

/// What the tracker expects of a take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackerSettings {
    /// Samples a second, 4,000 to 384,000. There is no resampling: the work is done at this rate.
    pub rate: SampleRate,
    /// The lowest fundamental looked for: above 0, below `highest`. Each octave lower needs a window
    /// twice as long. Start from the instrument's default.
    pub lowest: Hertz,
    /// The highest fundamental looked for; above `lowest`, capped at a quarter of the rate.
    pub highest: Hertz,
    /// The window in which the pitch is decided, centred on the frame; at least 2.5 periods of
    /// `lowest` are used whatever is asked for.
    pub window: Seconds,
    /// A take up to this long is tracked without allocating after [`PitchTracker::new`]; a longer one
    /// is tracked as well, and allocates.
    ///
    /// [`PitchTracker::new`]: super::PitchTracker::new
    pub longest: Seconds,
}

impl TrackerSettings {
    /// The expectations of an instrument, or of any of the four.
    ///
    /// The range is wide on purpose: from two semitones below the lowest open string (a slack
    /// instrument) to two octaves and a fifth above the highest, because notes above first position
    /// are legal.
    pub fn for_instrument(rate: SampleRate, instrument: Option<Instrument>) -> Self {
        let (low, high) = match instrument {
            Some(one) => (one.open_strings()[0], one.open_strings()[3]),
            None => (Instrument::Bass.open_strings()[0], Instrument::Violin.open_strings()[3]),
        };
        let window = match instrument {
            Some(Instrument::Violin) => 0.046,
            Some(Instrument::Viola) => 0.060,
            Some(Instrument::Cello) => 0.093,
            Some(Instrument::Bass) | None => 0.120,
        };
        Self {
            rate,
            lowest: MidiPitch(f64::from(low) - 2.0).hertz(A4_ISO16),
            highest: MidiPitch(f64::from(high) + 31.0).hertz(A4_ISO16),
            window: Seconds(window),
            longest: Seconds(600.0),
        }
    }
}
