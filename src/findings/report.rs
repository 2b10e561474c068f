//! The report as data. Times are seconds from the start of the take, pitches sounding MIDI numbers
//! with decimals, cents relative to the written pitch in equal temperament at the report's A.

use crate::notation::{Fifths, Instrument};
use crate::remark::Remark;
use serde::{Deserialize, Serialize};

/// Everything that is known about one take of one melody.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Report {
    /// Version of this shape: 1.
    pub report_version: u32,
    /// Judged, or why not.
    pub outcome: Outcome,
    /// The melody it was judged against.
    pub melody: MelodySummary,
    /// The recording.
    pub take: TakeSummary,
    /// One finding for each written note, in order (empty when not judged).
    pub notes: Vec<NoteFinding>,
    /// One finding for each written rest, in order.
    pub rests: Vec<RestFinding>,
    /// Notes that were played and are not on the sheet.
    pub extra: Vec<ExtraFinding>,
    /// Where the player stopped and went back.
    pub restarts: Vec<RestartFinding>,
    /// The beat.
    pub tempo: TempoFinding,
    /// The instrument.
    pub tuning: TuningFinding,
}

/// Whether the take was judged, or why it was not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Judged.
    Judged,
    /// Nothing sounds.
    Silence,
    /// Something sounds, too quietly to judge.
    TooQuiet,
    /// What sounds is not this melody.
    NotThisMelody,
    /// Too noisy to hear notes.
    TooNoisy,
}

/// The melody in a nutshell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MelodySummary {
    /// Its title, or the file's name.
    pub title: String,
    /// The instrument.
    pub instrument: Instrument,
    /// The set tempo in beats per minute, null where none was set.
    pub bpm: Option<f64>,
    /// The pitch of A4 in hertz.
    pub a4_hz: f64,
    /// How the open strings follow from A; only what is said of strings and fingers depends on it.
    #[serde(default)]
    pub fifths: Fifths,
    /// How many beats are felt as one: 3 in 6/8, 9/8 and 12/8, else 1. All beats of the report are those of the metre's
    /// lower number.
    #[serde(default = "one")]
    pub beats_felt_as_one: u8,
    /// The key signature at the start: sharps if positive, flats if negative, −7 to 7. Only the names of what was heard
    /// depend on it.
    #[serde(default)]
    pub key_fifths: i8,
}

fn one() -> u8 {
    1
}

/// The recording in a nutshell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TakeSummary {
    /// Length in seconds.
    pub duration_s: f64,
    /// Samples a second in the file.
    pub sample_rate_hz: u32,
    /// What a reader should know about the recording.
    pub remarks: Vec<Remark>,
}

/// The verdict on a written note.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum NoteVerdict {
    /// The written pitch was played (in tune or not: within 50 cents after the instrument's own tuning).
    Right,
    /// Another pitch was played.
    Wrong,
    /// Nothing was played for it.
    Missing,
    /// The evidence is not good enough to accuse or to praise.
    Unsure,
}

/// The finding on one written note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoteFinding {
    /// Index of the event in the melody, rests counted, from 0.
    pub index: usize,
    /// Bar number as printed.
    pub bar: u32,
    /// Beat in the bar, from 1.
    pub beat: f64,
    /// The written pitch, such as `F#4`.
    pub written: String,
    /// The sounding MIDI number of the written pitch.
    pub written_midi: i32,
    /// The verdict.
    pub verdict: NoteVerdict,
    /// What was played, null where nothing was.
    pub played_midi: Option<f64>,
    /// Median over the steady part relative to the written pitch, null where no steady part is long enough.
    pub cents: Option<f64>,
    /// Half the interquartile range over the steady part, in cents.
    pub cents_spread: Option<f64>,
    /// When the note began.
    pub onset_s: Option<f64>,
    /// When the bow stopped driving it.
    pub offset_s: Option<f64>,
    /// How late (positive) or early the note began against the player's own beat, in beats.
    pub onset_error_beats: Option<f64>,
    /// Played length over written length at the local tempo.
    pub duration_ratio: Option<f64>,
    /// Probability that the verdict is right, 0 to 1.
    pub confidence: f64,
}

impl NoteFinding {
    /// Makes it unsure, whatever it was.
    pub(super) fn doubt(&mut self) {
        self.verdict = NoteVerdict::Unsure;
        self.confidence = self.confidence.min(0.5);
    }
}

#[cfg(test)]
impl NoteFinding {
    /// A finding of which no more is known than its verdict and the pitches, as MIDI numbers.
    pub(super) fn of(written_midi: i32, verdict: NoteVerdict, played_midi: Option<f64>) -> Self {
        Self {
            index: 0,
            bar: 1,
            beat: 1.0,
            written: String::new(),
            written_midi,
            verdict,
            played_midi,
            cents: None,
            cents_spread: None,
            onset_s: None,
            offset_s: None,
            onset_error_beats: None,
            duration_ratio: None,
            confidence: 0.98,
        }
    }
}

/// The verdict on a written rest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum RestVerdict {
    /// About its written length; at either end of the melody, where nothing measures it, without a played length.
    Kept,
    /// Cut short: less than about two thirds of it was given.
    Rushed,
    /// More than about 1.4 times its length was given.
    Stretched,
    /// The note before was held, or something was played, through it.
    Filled,
    /// Cannot be told.
    Unsure,
}

/// The finding on one written rest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RestFinding {
    /// Index of the event in the melody.
    pub index: usize,
    /// Bar number as printed.
    pub bar: u32,
    /// Beat in the bar, from 1.
    pub beat: f64,
    /// Its written length in beats.
    pub written_beats: f64,
    /// The length it was given, from onsets at the local tempo; null where it cannot be told.
    pub played_beats: Option<f64>,
    /// The verdict.
    pub verdict: RestVerdict,
    /// Probability that the verdict is right, 0 to 1.
    pub confidence: f64,
}

impl RestFinding {
    /// Whether it is called kept only because nothing speaks against it: at either end of the melody a rest has no length
    /// that could be measured.
    pub fn only_assumed(&self) -> bool {
        self.verdict == RestVerdict::Kept && self.played_beats.is_none()
    }
}

/// A note that was played and is not on the sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ExtraFinding {
    /// When it began.
    pub onset_s: f64,
    /// When it ended.
    pub offset_s: f64,
    /// What was played.
    pub played_midi: f64,
    /// The last written event before it, null before the first.
    pub after_index: Option<usize>,
}

/// The player stopped and went back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RestartFinding {
    /// When the new attempt began.
    pub time_s: f64,
    /// The last event that was played before.
    pub left_at_index: usize,
    /// The event that was played next.
    pub resumed_at_index: usize,
}

/// The beat that was set and the beat that was played.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TempoFinding {
    /// As set by the melody or the command, null where none was.
    pub set_bpm: Option<f64>,
    /// As played, null where it cannot be told.
    pub played_bpm: Option<f64>,
    /// Change from the first to the last note in percent; positive is faster at the end.
    pub drift_percent: Option<f64>,
}

/// How the instrument is tuned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TuningFinding {
    /// How far the whole instrument is from the report's A, in cents; null where it cannot be told.
    pub offset_cents: Option<f64>,
    /// Each string that was heard open, or on which everything was off together.
    pub strings: Vec<StringTuning>,
}

/// One string's tuning.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StringTuning {
    /// The string's name: G, D, A, E or C.
    pub string: String,
    /// How far it is from its pitch in equal temperament at the report's A, in cents.
    pub cents: f64,
    /// From how many notes.
    pub notes: usize,
}
