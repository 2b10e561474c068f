//! What is known about a take besides its sound: when it was played, on what, and what was asked for.

use crate::notation::{Fifths, Instrument};
use crate::remark::Remark;
use crate::units::Hertz;
use serde::{Deserialize, Serialize};

/// What is written beside a take when its recording begins, and again when it ends. With it and the
/// melody beside it, a take whose recording was cut off can be judged later.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct About {
    /// Day and time where the recording began, such as `2026-11-25 18:40`, as the computer's clock said.
    pub recorded: String,
    /// The microphone's name.
    pub microphone: String,
    /// The name of the melody's file, without its ending.
    pub melody: String,
    /// The instrument, where the player asked for one.
    pub instrument: Option<Instrument>,
    /// The pitch of A4, where the player asked for one.
    pub a4_hz: Option<Hertz>,
    /// How the open strings follow from A.
    #[serde(default)]
    pub fifths: Fifths,
    /// Beats per minute that were counted in.
    pub bpm: f64,
    /// Whether the recording came to its end; `false` while it runs and after a crash.
    pub finished: bool,
    /// Milliseconds that the computer was too slow to hear; they are silence in the take.
    pub lost_ms: f64,
    /// What happened during the recording that a reader of the report should know.
    pub remarks: Vec<Remark>,
}

impl About {
    /// As one JSON object.
    pub(super) fn to_json(&self) -> String {
        let mut text =
            serde_json::to_string_pretty(self).expect("numbers and words only, which JSON can say");
        text.push('\n');
        text
    }
}
