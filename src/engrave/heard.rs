//! What was played, as plain data for the staff *as heard*: an entry for each written note and rest that something is
//! known of, the notes that are not on the sheet, and the returns of a player who stopped and went back. Nothing here
//! judges: who fills it in decides what is right, what is told as high or low, and in which words.

/// What was played of a melody. Events are counted as in [`Melody::events`](crate::notation::Melody::events), rests
/// too, from 0; what names an event that the melody does not have, or twice the same, is not drawn. Numbers that are not
/// finite count as not known.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Heard {
    /// The written notes, each at most once, in any order. A note that is not among them has an empty place.
    pub notes: Vec<HeardNote>,
    /// The written rests, each at most once, in any order.
    pub rests: Vec<HeardRest>,
    /// What was played and is not on the sheet, in the order in which it was played.
    pub extras: Vec<HeardExtra>,
    /// Where the player stopped and went on from another note, in the order in which it happened.
    pub returns: Vec<HeardReturn>,
    /// The words on the staff that are the same for all notes.
    pub words: HeardWords,
}

/// A written note as it was played.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardNote {
    /// Which event of the melody it is.
    pub event: usize,
    /// What was heard for it.
    pub state: HeardState,
    /// How late (positive) or early it began, in beats of its metre; `None` and less than [`HEARD_AS_ON_TIME_BEATS`]
    /// are drawn at the written place.
    pub onset_error_beats: Option<f64>,
    /// Played length over written length; with `None` no length is drawn.
    pub duration_ratio: Option<f64>,
    /// Cents from the written pitch, printed as a whole number under a right note.
    pub cents: Option<f64>,
    /// A word under that, such as “high”.
    pub label: Option<String>,
}

/// What was heard for a written note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HeardState {
    /// The written pitch.
    Right,
    /// Another pitch, as a sounding MIDI number; drawn at the nearest semitone, by the name that `HeardNames` gives it.
    Other {
        /// A sounding MIDI number with decimals.
        sounding: f64,
    },
    /// Nothing.
    Missing,
    /// It cannot be told.
    Unsure,
}

/// A written rest as it was kept.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardRest {
    /// Which event of the melody it is.
    pub event: usize,
    /// The length that it was given, in beats of its metre: 0 where sound ran through it; `None` where it cannot be
    /// told.
    pub played_beats: Option<f64>,
    /// A word under it, such as “short”.
    pub label: Option<String>,
}

/// A note that was played and is not on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardExtra {
    /// The last event before it; `None` before the first one.
    pub after: Option<usize>,
    /// How long after the start of that event it began, in beats of its metre (before the first event: nothing).
    pub beats_after: f64,
    /// What was played, as a sounding MIDI number.
    pub sounding: f64,
    /// A word under it, such as “extra”.
    pub label: Option<String>,
}

/// The player stopped and went on from another note.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardReturn {
    /// The last event that was played before.
    pub after: usize,
    /// The event that was played next.
    pub to: usize,
    /// Words along the arrow, such as “stopped here, began again at bar 3”.
    pub label: Option<String>,
}

/// The words on the staves that are the same for all notes.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardWords {
    /// Over the upper staff.
    pub as_written: String,
    /// Over the lower staff.
    pub as_heard: String,
    /// Before the row of cents.
    pub cents: String,
    /// Under a note that was not played, where it fits.
    pub missing: String,
}

impl Default for HeardWords {
    fn default() -> Self {
        Self {
            as_written: "as written".to_owned(),
            as_heard: "as heard".to_owned(),
            cents: "cents".to_owned(),
            missing: "not heard".to_owned(),
        }
    }
}

/// Errors of an onset up to this are drawn as none, in beats. One displaced tone among regular ones is heard from 2.5 %
/// of the interval on by those who listen for it (Friberg and Sundberg, “Time discrimination in a monotonic, isochronous
/// sequence”, *Journal of the Acoustical Society of America* 98, 1995); four times that is our choice, because an onset
/// of a bowed string is itself not known better, and a page that jitters accuses.
pub const HEARD_AS_ON_TIME_BEATS: f64 = 0.1;
