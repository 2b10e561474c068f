//! Why a take was not judged, and what to do.

use crate::findings::{Outcome, Report};

/// Remarks on a recording that may be the reason why no melody could be followed in it.
const MAY_BE_THE_REASON: [&str; 7] =
    ["noisy", "quiet", "clipping", "hum", "very-short", "truncated", "damaged-part"];

/// Remarks that say the same as the outcome itself.
pub const SAME_AS_OUTCOME: [&str; 3] = ["silence", "too-quiet", "too-noisy"];

/// Why there is no judgement and what to do about it; `None` for a judged take.
pub fn why_and_what_to_do(report: &Report) -> Option<(&'static str, &'static str)> {
    let recording =
        report.take.remarks.iter().any(|remark| MAY_BE_THE_REASON.contains(&remark.code.as_str()));
    match report.outcome {
        Outcome::Judged => None,
        Outcome::Silence => Some((
            "There is no sound in this take.",
            "Check that the right microphone was on and not muted, then record again, close to it.",
        )),
        Outcome::TooQuiet => Some((
            "This take is too quiet to hear the notes well.",
            "Put the microphone about an arm's length away, or turn its level up, and record again.",
        )),
        Outcome::TooNoisy => Some((
            "There is too much other sound in this take to hear the notes well.",
            "Find a quieter place, close the door, move nearer to the microphone, and record again.",
        )),
        Outcome::NotThisMelody if recording => Some((
            "I could not follow this melody in what I hear.",
            "That may be the recording and not you: read the lines below first. If they are not the reason, check \
             that this take and this melody belong together.",
        )),
        Outcome::NotThisMelody => Some((
            "I could not follow this melody in what I hear.",
            "Check that this take and this melody belong together, and that the instrument is the right one and \
             tuned. If so, play it once more, slowly.",
        )),
    }
}
