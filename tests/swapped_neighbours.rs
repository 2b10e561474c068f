//! Neighbours played in the wrong order: none of them is praised at the other's place, and no right note is accused.

mod melodies;

use fingertape::findings::{NoteVerdict, Outcome};
use fingertape::units::SampleRate;

const RATE: SampleRate = SampleRate(44_100);
const BPM: f64 = 84.0;

#[test]
fn a_note_that_changed_places_with_its_neighbour_is_not_right_and_all_others_are() {
    let sheet =
        "D4 q F#4 E4 G4\nA4 q F#4 B4 G4\nE4 q A4 F#4 D4\nG4 q E4 A4 F#4\nB4 q G4 A4 E4\nF#4 q D4 E4 D4";
    // One pair in the second bar; two pairs in a row; three.
    for (played, swapped) in [
        (
            "D4 q F#4 E4 G4\nA4 q B4 F#4 G4\nE4 q A4 F#4 D4\nG4 q E4 A4 F#4\nB4 q G4 A4 E4\nF#4 q D4 E4 D4",
            5..7,
        ),
        (
            "D4 q F#4 E4 G4\nF#4 q A4 G4 B4\nE4 q A4 F#4 D4\nG4 q E4 A4 F#4\nB4 q G4 A4 E4\nF#4 q D4 E4 D4",
            4..8,
        ),
        (
            "D4 q F#4 E4 G4\nF#4 q A4 G4 B4\nA4 q E4 F#4 D4\nG4 q E4 A4 F#4\nB4 q G4 A4 E4\nF#4 q D4 E4 D4",
            4..10,
        ),
    ] {
        let (written, played) = (melodies::in_d("violin", sheet), melodies::in_d("violin", played));
        let sound = melodies::played(&played, BPM, false, RATE);
        let report = melodies::judged(&sound, &written, BPM);
        assert_eq!(report.outcome, Outcome::Judged);
        for (k, note) in report.notes.iter().enumerate() {
            let is_right = note.verdict == NoteVerdict::Right;
            assert_eq!(is_right, !swapped.contains(&k), "{swapped:?}, note {k}: {note:?}");
        }
        assert!(report.extra.is_empty() && report.restarts.is_empty(), "{swapped:?}: {:?}", report.extra);
    }
}
