//! What a beginner's bow does by itself: it whistles into the octave, and open strings are tried before the melody. None
//! of it is an extra note, a first attempt, or a rest that was not kept.

mod melodies;

use fingertape::findings::{NoteVerdict, Outcome, Report, RestVerdict};
use fingertape::notation::Fifths;
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::samples::Samples;
use fingertape::units::SampleRate;

const RATE: SampleRate = SampleRate(44_100);
const BPM: f64 = 80.0;

/// Half notes to whistle in.
const BARS: &str = "F#4 h A4 h
B4 h A4 q G4
F#4 h E4 h
G4 q A4 B4 h
A4 h rest h
F#4 h D4 h";

fn judged(sound: &Samples) -> Report {
    let melody = melodies::in_d("violin", BARS);
    let settings = JudgeSettings {
        bpm: Some(BPM),
        fifths: Fifths::Equal,
        ..JudgeSettings::for_melody(&melody, melody.instrument.expect("one"))
    };
    pipeline::judge(sound, &melody, &settings)
}

/// Every note is right, every rest kept, nothing is extra and nothing was begun again.
fn is_as_written(sound: &Samples, what: &str) {
    let report = judged(sound);
    assert_eq!(report.outcome, Outcome::Judged, "{what}");
    let other: Vec<_> = report.notes.iter().filter(|note| note.verdict != NoteVerdict::Right).collect();
    let rests: Vec<_> = report.rests.iter().filter(|rest| rest.verdict != RestVerdict::Kept).collect();
    assert!(other.is_empty() && rests.is_empty(), "{what}: {other:?} {rests:?}");
    assert!(report.extra.is_empty() && report.restarts.is_empty(), "{what}: {:?}", report.extra);
}

/// The sound with so many seconds of every half note, from a share of it on, in which the bow lets the octave alone sound:
/// the wave and itself half a period earlier, in which the odd harmonics cancel.
fn whistling(sound: &Samples, share: f64, seconds: f64) -> Samples {
    const FADE: f64 = 0.01;
    let rate = f64::from(RATE.0);
    let mut mono = sound.mono.clone();
    for note in judged(sound).notes {
        let (onset, offset) = (note.onset_s.expect("played"), note.offset_s.expect("played"));
        if offset - onset < 1.0 {
            continue;
        }
        let hertz = 440.0 * ((note.played_midi.expect("a pitch") - 69.0) / 12.0).exp2();
        let half = (0.5 * rate / hertz).round() as usize;
        let first = ((onset + share * (offset - onset)) * rate) as usize;
        let count = (seconds * rate) as usize;
        for n in 0..count {
            let octave = 0.7 * (sound.mono[first + n] + sound.mono[first + n - half]);
            let in_it = (n.min(count - n) as f64 / (FADE * rate)).min(1.0) as f32;
            mono[first + n] += in_it * (octave - sound.mono[first + n]);
        }
    }
    Samples { mono, rate: RATE }
}

#[test]
fn a_bow_that_whistles_into_the_octave_plays_one_note() {
    let sound = melodies::played(&melodies::in_d("violin", BARS), BPM, false, RATE);
    is_as_written(&sound, "as it is");
    for (share, seconds) in [(0.5, 0.1), (0.5, 0.15), (0.3, 0.2), (0.5, 0.2), (0.7, 0.2), (0.5, 0.25)] {
        is_as_written(&whistling(&sound, share, seconds), &format!("{seconds} s at {share}"));
    }
}

/// An octave that is written is played all the same: D, its octave and D, in eighths on one string after another.
#[test]
fn an_octave_that_is_written_is_no_whistle() {
    let octaves = melodies::in_d("violin", "D4 e D5 D4 D5 D4 q D5 e D4\nF#4 q A4 D4 e D5 D4 q");
    let sound = melodies::played(&octaves, BPM, false, RATE);
    let settings = JudgeSettings {
        bpm: Some(BPM),
        ..JudgeSettings::for_melody(&octaves, octaves.instrument.expect("one"))
    };
    let report = pipeline::judge(&sound, &octaves, &settings);
    let verdicts: Vec<_> = report.notes.iter().map(|note| note.verdict).collect();
    assert_eq!((verdicts, report.extra.len()), (vec![NoteVerdict::Right; 12], 0));
}

#[test]
fn open_strings_that_are_tried_before_the_melody_are_no_first_attempt() {
    for strings in ["A4 q D4 A4 E5", "A4 h D4 h", "E5 q A4 D4 G3"] {
        let tried = melodies::played(&melodies::in_d("violin", strings), 46.0, false, RATE);
        let then = melodies::played(&melodies::in_d("violin", BARS), BPM, false, RATE);
        let pause = vec![0.0; RATE.0 as usize / 2];
        let mono = [tried.mono, pause, then.mono].concat();
        is_as_written(&Samples { mono, rate: RATE }, strings);
    }
}
