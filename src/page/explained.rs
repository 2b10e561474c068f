//! The headings of the page, and how to read each figure: the same on the screen and on paper.

use super::tape_from_report::{Fallen, StringTape};
use crate::units::Millimetres;

/// Over the next line, where nothing is to be fixed.
pub(super) const REFUSED: &str = "Nothing was graded, and nothing counts against you.";
pub(super) const MADE_BY: &str = "Made by fingertape from this one take. It hears pitch and time; how you stand, how it sounds and what it says are for your teacher.";

pub(super) const STAFF_HEADING: &str = "As written, and as heard";
pub(super) const LIST_HEADING: &str = "The same notes as a list";

pub(super) const TAPES_HEADING: &str = "Where your fingers fell";

/// How to read these tapes of a string of that length: a sentence for each kind of mark that is on them, and for no other.
pub(super) fn tapes(string: Millimetres, tapes: &[StringTape]) -> String {
    let any = |wanted: &dyn Fn(&Fallen) -> bool| tapes.iter().flat_map(|tape| &tape.fallen).any(wanted);
    let sentences = [
        (any(&|one| !one.wrong && one.steady), " A dot is where your finger was, worked out from the pitch."),
        (any(&|one| !one.wrong && !one.steady), " An open ring: the pitch moved."),
        (any(&|one| one.wrong), " A square on its corner: another note."),
    ];
    let shown = sentences.into_iter().filter_map(|(shown, text)| shown.then_some(text));
    format!(
        "Each strip is a string, with the nut at the left, for a string of {:.0} mm. A hatched tape is where a finger \
         belongs; anywhere on it is in tune.{}",
        string.0,
        shown.collect::<String>()
    )
}

pub(super) const TRACE_HEADING: &str = "Inside each note";
pub(super) const TRACE: &str = "Each note by itself: the dot is where you began, the line is where you went. The thin line is the note's own place, on your strings as they are tuned; between the brackets it is in tune, above it is high, below it is low. A line that slides into the brackets is a scoop; one that waves is a wobble or vibrato. A box: another note, named below.";
/// After that, where there is a note without a line.
pub(super) const TRACE_WITHOUT: &str = " Where there is no line I could not follow the pitch, as of a note that is lower than your instrument goes.";

pub(super) const TIMING_HEADING: &str = "Your beat, bar by bar";
pub(super) const TIMING: &str = "The upright strokes are your own steady beat. A dot straight above its stroke began in time; a square on its corner began a tenth of a beat or more early or late.";

pub(super) const STRINGS_HEADING: &str = "How the strings are tuned";
pub(super) const STRINGS: &str = "Only strings that surely sounded open, or on which all was off alike. One that hangs past the dashed line is too loose and sounds low; one that ends above it is too tight and sounds high. A string is under tension and can snap: small turns, face away from the strings, and ask your teacher or another grown-up.";

pub(super) const MARK_HEADING: &str = "How the mark was made";
/// The same where the mark is the teacher's own.
pub(super) const HEARD_HEADING: &str = "What the program heard";
pub(super) const MARK: &str = "What was unsure counts neither way. A program's ear decides nothing alone: ask your teacher about a mark that you do not understand.";
pub(super) const LISTEN_HEADING: &str = "For the teacher: listen here first";

pub(super) const PROGRESS_HEADING: &str = "Since earlier takes";
pub(super) const DETAIL_HEADING: &str = "For the teacher: every number";
pub(super) const HOW_TO_READ: &str = "How to read this";
