//! What was really played. Field names are those of the JSON report where both have them.
//!
//! Onset: the moment the short-time RMS of the clean note comes within 12 dB of the note's body.
//! Offset: the last moment it is within 12 dB of its body before the bow stops; ringing is not part
//! of the clean note. Cents: median over the steady part, planted intonation plus the measured
//! movement of the source recording.

use fingertape::notation::Instrument;
use serde::{Deserialize, Serialize};

/// The truth about one take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    pub take: String,
    pub audio: String,
    pub score: String,
    /// `judged`, or `not-this-melody` where the sheet beside the sound is another melody.
    pub outcome: String,
    pub instrument: Instrument,
    pub bpm: f64,
    pub condition: String,
    /// The recordings used: whose, and of which half.
    pub player: String,
    pub half: String,
    pub control: bool,
    pub planted: Vec<String>,
    pub notes: Vec<NoteTruth>,
    pub rests: Vec<RestTruth>,
    pub extra: Vec<ExtraTruth>,
    pub restarts: Vec<RestartTruth>,
    pub tempo: TempoTruth,
    pub tuning: TuningTruth,
}

/// The truth about one written note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoteTruth {
    pub index: usize,
    pub bar: u32,
    pub beat: f64,
    pub written: String,
    pub written_midi: i32,
    /// `right`, `wrong` or `missing`.
    pub verdict: String,
    pub played_midi: Option<f64>,
    pub cents: Option<f64>,
    pub onset_s: Option<f64>,
    pub offset_s: Option<f64>,
    /// What was planted here, if anything.
    pub planted: Option<String>,
    /// How it was joined to the note before, with the depth of the dip in dB.
    pub join: String,
}

/// The truth about one written rest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RestTruth {
    pub index: usize,
    pub bar: u32,
    pub beat: f64,
    pub written_beats: f64,
    pub played_beats: Option<f64>,
    /// `kept`, `rushed`, `stretched` or `filled`.
    pub verdict: String,
    /// False where a neighbour was not played, so that the rest has no length that anyone could judge.
    pub scored: bool,
}

/// A note that is not on the sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ExtraTruth {
    pub onset_s: f64,
    pub offset_s: f64,
    pub played_midi: f64,
    pub after_index: Option<usize>,
}

/// The player stopped and went back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RestartTruth {
    pub time_s: f64,
    pub left_at_index: usize,
    pub resumed_at_index: usize,
}

/// The beat.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TempoTruth {
    pub set_bpm: f64,
    pub played_bpm: f64,
    pub drift_percent: f64,
}

/// The instrument.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TuningTruth {
    pub offset_cents: f64,
    pub strings: Vec<StringTruth>,
}

/// One string.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StringTruth {
    pub string: String,
    pub cents: f64,
}
