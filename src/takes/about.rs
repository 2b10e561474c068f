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
    /// The string length, nut to bridge, in millimetres, where the player gave it or a size; for the distances in a report
    /// that is written later.
    #[serde(default)]
    pub string_length_mm: Option<f64>,
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_from_before_string_lengths_were_kept_is_read() {
        let old = r#"{"recorded": "", "microphone": "", "melody": "m", "instrument": null, "a4_hz": null,
            "bpm": 90.0, "finished": true, "lost_ms": 0.0, "remarks": []}"#;
        let mut about: About = serde_json::from_str(old).unwrap();
        assert_eq!(about.string_length_mm, None);
        about.string_length_mm = Some(286.0);
        assert_eq!(serde_json::from_str::<About>(&about.to_json()).unwrap(), about);
    }
}
