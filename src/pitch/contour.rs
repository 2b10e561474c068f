//! What the ear hears, 10 ms by 10 ms.

use crate::units::{Hertz, Seconds};

/// One frame of the contour. Its time is the centre of the window that it was measured in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// The centre of the frame from the start of the take.
    pub time: Seconds,
    /// The fundamental, or `None` where nothing with a pitch sounds.
    pub pitch: Option<Hertz>,
    /// How periodic the frame is, 0 to 1 (height of the normalised square difference at the period);
    /// given for unvoiced frames too.
    pub clarity: f32,
    /// Level of the frame in dB below full scale (0 = a full-scale square wave), −120 for silence.
    pub level_db: f32,
}

/// The contour of a whole take: one frame every `hop`, the first at time 0 + hop·0.
#[derive(Debug, Clone, PartialEq)]
pub struct Contour {
    /// The time from one frame to the next (10 ms).
    pub hop: Seconds,
    /// The frames, oldest first.
    pub frames: Vec<Frame>,
}
