//! Why a take was not judged, and what to do.

use crate::findings::Outcome;

/// Why there is no judgement and what to do about it; `None` for a judged take.
pub fn why_and_what_to_do(outcome: Outcome) -> Option<(&'static str, &'static str)> {
    match outcome {
        Outcome::Judged => None,
        Outcome::Silence => Some((
            "There is no sound in this take.",
            "Check that the right microphone was on and not muted, then record again.",
        )),
        Outcome::TooQuiet => Some((
            "This take is too quiet to hear the notes well.",
            "Put the microphone about an arm's length away, or turn its level up, and record again.",
        )),
        Outcome::TooNoisy => Some((
            "There is too much other sound in this take to hear the notes well.",
            "Find a quieter place, close the door, move nearer to the microphone, and record again.",
        )),
        Outcome::NotThisMelody => Some((
            "What I hear does not follow this melody closely enough to compare the two.",
            "Check that this is the take and the melody that belong together, and the right instrument. \
             If they do, play it once more, slowly.",
        )),
    }
}
