//! A metronome beside the recorder, louder there than the instrument: its beats are no notes.

mod melodies;

use fingertape::samples::Samples;
use fingertape::units::SampleRate;
use std::f64::consts::TAU;

const RATE: SampleRate = SampleRate(44_100);
const BPM: f64 = 80.0;

const VIOLIN: &str =
    "D4 q D4 E4 F#4\nG4 h F#4 q rest\nE4 q E4 F#4 h\nG4 q A4 B4 A4\nA4 q rest G4 h\nE4 h D4 h";
const BASS: &str =
    "E2 q F#2 G2 G2\nA2 h G2 q rest\nF#2 q F#2 G2 h\nA2 q B2 A2 G2\nG2 q rest A2 h\nF#2 h E2 h";

/// A beat: hertz, how long it takes to fall by a factor of e, and how long it lasts (seconds).
const BEATS: [(f64, f64, f64); 3] = [(1000.0, 0.012, 0.1), (880.0, 10.0, 0.09), (440.0, 0.03, 0.15)];

#[test]
fn a_metronome_four_times_as_loud_as_the_playing_is_no_note() {
    for (instrument, bars) in [("violin", VIOLIN), ("bass", BASS)] {
        let melody = melodies::in_d(instrument, bars);
        let played = melodies::played(&melody, BPM, false, RATE);
        let loud =
            4.0 * (played.mono.iter().map(|one| one * one).sum::<f32>() / played.mono.len() as f32).sqrt();
        for (hertz, falls, lasts) in BEATS {
            let mut mono: Vec<f32> = played.mono.iter().map(|one| 0.2 * one).collect();
            let mut beat = 0;
            let rate = f64::from(RATE.0);
            // It is switched on before the first note, and its first beat of a bar is higher.
            let at = |beat: usize| ((0.11 + 60.0 / BPM * beat as f64) * rate) as usize;
            while at(beat) + (lasts * rate) as usize + 1 < mono.len() {
                let hertz = if beat % 4 == 0 { 1.5 * hertz } else { hertz };
                for n in 0..(lasts * rate) as usize {
                    let time = n as f64 / rate;
                    let wave =
                        (TAU * hertz * time).sin() * (-time / falls).exp() * ((lasts - time) / 0.01).min(1.0);
                    mono[at(beat) + n] += 0.2 * loud * wave as f32;
                }
                beat += 1;
            }
            let report = melodies::judged(&Samples { mono, rate: RATE }, &melody, BPM);
            let what = format!("{instrument}, {hertz} Hz");
            melodies::assert_all_as_written(&report, &what);
            let remark = report.take.remarks.iter().find(|remark| remark.code == "metronome").expect(&what);
            assert!(remark.text.contains("about 80 times a minute"), "{}", remark.text);
        }
    }
}
