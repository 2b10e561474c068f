//! A beginner's bow touches the next open string, and a finger comes late or is lifted early: the note was played all the
//! same, nothing is extra, and the rest beside it was kept.

mod melodies;

use fingertape::findings::{NoteVerdict, Outcome, Report, RestVerdict};
use fingertape::formats::read_melody_bytes;
use fingertape::notation::{Fifths, Instrument, Melody};
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::samples::Samples;
use fingertape::sound::{BowedTone, bowed_tone};
use fingertape::units::{A4_ISO16, MidiPitch, SampleRate, Seconds};

const RATE: SampleRate = SampleRate(44_100);
const BPM: f64 = 80.0;

/// A melody on one string and the open string beside it that the bow touches, a MIDI number.
struct Case {
    instrument: &'static str,
    bars: &'static str,
    open: f64,
}

const CASES: [Case; 3] = [
    Case {
        instrument: "violin",
        bars: "E4 q F#4 G4 h\nE4 q rest F#4 h\nG4 q F#4 E4 rest\nF#4 h E4 h",
        open: 69.0,
    },
    Case {
        instrument: "viola",
        bars: "A3 q B3 C4 h\nA3 q rest B3 h\nC4 q B3 A3 rest\nB3 h A3 h",
        open: 48.0,
    },
    Case {
        instrument: "cello",
        bars: "E3 q F#3 G3 h\nE3 q rest F#3 h\nG3 q F#3 E3 rest\nF#3 h E3 h",
        open: 57.0,
    },
];

fn melody(case: &Case) -> Melody {
    let Case { instrument, bars, .. } = case;
    let toml = format!("instrument = \"{instrument}\"\nmetre = \"4/4\"\nbars = \"\"\"\n{bars}\n\"\"\"\n");
    read_melody_bytes("melody.toml", toml.as_bytes()).unwrap_or_else(|error| panic!("{error}")).melody
}

fn judged(melody: &Melody, sound: &Samples) -> Report {
    let settings = JudgeSettings {
        bpm: Some(BPM),
        fifths: Fifths::Equal,
        ..JudgeSettings::for_melody(melody, melody.instrument.expect("one"))
    };
    pipeline::judge(sound, melody, &settings)
}

/// Every note is right, every rest kept, nothing is extra and nothing was begun again.
fn is_as_written(melody: &Melody, sound: &Samples, what: &str) {
    let report = judged(melody, sound);
    assert_eq!(report.outcome, Outcome::Judged, "{what}");
    let other: Vec<_> = report.notes.iter().filter(|note| note.verdict != NoteVerdict::Right).collect();
    let rests: Vec<_> = report.rests.iter().filter(|rest| rest.verdict != RestVerdict::Kept).collect();
    assert!(other.is_empty() && rests.is_empty(), "{what}: {other:?} {rests:?}");
    assert!(report.extra.is_empty() && report.restarts.is_empty(), "{what}: {:?}", report.extra);
}

/// The same take with an open string bowed along, so many dB below the notes, from one share of each note to another.
fn with_open_string(sound: &Samples, melody: &Melody, open: f64, below: f64, share: (f64, f64)) -> Samples {
    let mut mono = sound.mono.clone();
    let body = melody.instrument.expect("one");
    for note in judged(melody, sound).notes {
        let (onset, offset) = (note.onset_s.expect("played"), note.offset_s.expect("played"));
        let from = onset + share.0 * (offset - onset);
        let until = onset + share.1 * (offset - onset);
        let first = (from * RATE.hertz()) as usize;
        let tone = BowedTone {
            attack: Seconds(0.04),
            ring: Seconds(0.05),
            level_db: level_db(&sound.mono[first..first + 4_000]) - below,
            seed: note.index as u64,
            ..BowedTone::new(MidiPitch(open).hertz(A4_ISO16), Seconds(until - from), body)
        };
        for (slot, sample) in mono[first..].iter_mut().zip(bowed_tone(&tone, RATE).mono) {
            *slot += sample;
        }
    }
    Samples { mono, rate: RATE }
}

fn level_db(samples: &[f32]) -> f64 {
    let power = samples.iter().map(|&one| f64::from(one).powi(2)).sum::<f64>() / samples.len() as f64;
    10.0 * power.log10()
}

#[test]
fn a_note_is_right_whatever_open_string_the_bow_touches_along_with_it() {
    for case in &CASES {
        let melody = melody(case);
        let sound = melodies::played(&melody, BPM, false, RATE);
        is_as_written(&melody, &sound, case.instrument);
        for below in [0.0, 3.0, 6.0, 12.0] {
            for share in [(0.0, 1.0), (0.0, 0.35), (0.65, 1.0)] {
                let both = with_open_string(&sound, &melody, case.open, below, share);
                is_as_written(&melody, &both, &format!("{}, {below} dB below, {share:?}", case.instrument));
            }
        }
    }
}
