//! A recorder that loses its sound for a moment, in the middle of notes: nobody lifted a bow.

mod melodies;

use fingertape::samples::Samples;
use fingertape::units::SampleRate;

const RATE: SampleRate = SampleRate(44_100);
const BPM: f64 = 80.0;

/// An instrument, and bars of its first position.
const MELODIES: [(&str, &str); 3] = [
    ("violin", "D4 q D4 E4 F#4\nG4 h F#4 q rest\nE4 q E4 F#4 h\nG4 q A4 B4 A4\nA4 q rest G4 h\nE4 h D4 h"),
    ("cello", "G2 q A2 B2 B2\nC3 h B2 q rest\nA2 q A2 B2 h\nC3 q D3 E3 D3\nD3 q rest C3 h\nA2 h G2 h"),
    ("bass", "E2 q F#2 G2 G2\nA2 h G2 q rest\nF#2 q F#2 G2 h\nA2 q B2 A2 G2\nG2 q rest A2 h\nF#2 h E2 h"),
];

#[test]
fn sound_that_the_recorder_lost_is_no_lifted_bow() {
    for (instrument, bars) in MELODIES {
        let melody = melodies::in_d(instrument, bars);
        let whole = melodies::played(&melody, BPM, false, RATE);
        let onsets: Vec<(f64, f64)> = melodies::judged(&whole, &melody, BPM)
            .notes
            .iter()
            .map(|note| (note.onset_s.expect("played"), note.offset_s.expect("played")))
            .collect();
        for (share, seconds) in [(0.3, 0.03), (0.5, 0.06), (0.4, 0.12)] {
            let mut mono = whole.mono.clone();
            for (onset, offset) in &onsets {
                let first = ((onset + share * (offset - onset)) * f64::from(RATE.0)) as usize;
                mono[first..first + (seconds * f64::from(RATE.0)) as usize].fill(0.0);
            }
            let report = melodies::judged(&Samples { mono, rate: RATE }, &melody, BPM);
            let what = format!("{instrument}, {seconds} s of each note lost");
            melodies::assert_all_as_written(&report, &what);
            assert!(report.take.remarks.iter().any(|remark| remark.code == "dropouts"), "{what}");
        }
    }
}
