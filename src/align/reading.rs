//! A reading of a take: which stretch of sound was which note.

/// One reading of a whole take, in order of time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reading {
    /// The steps.
    pub steps: Vec<Step>,
    /// Its log score (natural logarithm); higher is better, comparable between readings of one take.
    pub score: f64,
}

/// One stretch of sound and what it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What it is.
    pub kind: StepKind,
    /// Index of the boundary at which it begins.
    pub boundary: usize,
    /// First frame.
    pub from: usize,
    /// One past its last sounding frame.
    pub to: usize,
    /// The semitone that it fits best (sounding MIDI number before tuning), or `None` for no definite pitch.
    pub semitone: Option<i32>,
}

/// What a stretch of sound is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StepKind {
    /// The written note of this number (not event index) was played here, rightly or wrongly.
    Written {
        /// Number of the note.
        note: usize,
        /// Whether the player went back to it.
        restart: bool,
    },
    /// Something that is not written, after the written note of this number.
    Extra {
        /// The last note before, if any.
        after: Option<usize>,
    },
}

/// How well each way of hearing one written note fits: the best log score of any reading of the whole take
/// in which the note is right, wrong or left out. Differences are log odds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Support {
    /// Played at its written pitch.
    pub right: f64,
    /// Played at another pitch.
    pub wrong: f64,
    /// Left out.
    pub missing: f64,
}

impl Default for Support {
    fn default() -> Self {
        Self { right: f64::NEG_INFINITY, wrong: f64::NEG_INFINITY, missing: f64::NEG_INFINITY }
    }
}
