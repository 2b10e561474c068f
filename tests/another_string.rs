//! A beginner's bow touches the next open string, and a finger comes late or is lifted early: the note was played all the
//! same, nothing is extra, and the rest beside it was kept.

mod melodies;

use fingertape::findings::{NoteVerdict, Outcome, Report, RestVerdict};
use fingertape::formats::read_melody_bytes;
use fingertape::notation::{Fifths, Melody};
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::samples::Samples;
use fingertape::sound::{BowedTone, bowed_tone};
use fingertape::units::{A4_ISO16, MidiPitch, SampleRate, Seconds};

const RATE: SampleRate = SampleRate(44_100);
const BPM: f64 = 80.0;

/// A melody on one string and the open string beside it that the bow touches, a MIDI number.
struct Case<'a> {
    instrument: &'a str,
    bars: &'a str,
    open: f64,
}

const CASES: [Case<'static>; 3] = [
    Case {
        instrument: "violin",
        bars: "E4 q F#4 G4 h\nE4 q rest F#4 h\nG4 q F#4 E4 rest\nF#4 h E4 h",
        open: 69.0,
    },
    Case {
        instrument: "viola",
        bars: "A3 q B3 C4 h\nA3 q rest B3 h\nC4 q B3 A3 rest\nB3 h A3 h",
        open: 62.0,
    },
    Case {
        instrument: "cello",
        bars: "E3 q F#3 G3 h\nE3 q rest F#3 h\nG3 q F#3 E3 rest\nF#3 h E3 h",
        open: 57.0,
    },
];

fn melody(case: &Case<'_>) -> Melody {
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

#[test]
fn a_wrong_note_is_wrong_beside_an_open_string_as_well() {
    let case = &CASES[0];
    let melody = melody(case);
    let bars = case.bars.replacen("E4 q F#4 G4", "E4 q G4 G4", 1);
    let wrong = Case { bars: &bars, ..CASES[0] };
    let sound = melodies::played(&self::melody(&wrong), BPM, false, RATE);
    for below in [0.0, 6.0] {
        let both = with_open_string(&sound, &melody, case.open, below, (0.0, 1.0));
        let report = judged(&melody, &both);
        let right = report.notes.iter().map(|note| note.verdict == NoteVerdict::Right);
        assert_eq!(
            right.collect::<Vec<_>>(),
            (0..10).map(|k| k != 1).collect::<Vec<_>>(),
            "{below} dB below"
        );
    }
}

/// The third finger plays the octave of the open string below its own: both together have every line of that string.
#[test]
fn the_octave_of_an_open_string_that_the_bow_touches_is_not_called_wrong() {
    let octave = Case { bars: "A4 q B4 D5 h\nB4 q D5 A4 h", ..CASES[0] };
    let melody = melody(&octave);
    let sound = melodies::played(&melody, BPM, false, RATE);
    for below in [6.0, 12.0] {
        let both = with_open_string(&sound, &melody, 62.0, below, (0.0, 1.0));
        let report = judged(&melody, &both);
        for note in &report.notes {
            let open = note.written_midi == 74 && note.verdict == NoteVerdict::Unsure;
            assert!(open || note.verdict == NoteVerdict::Right, "{below} dB below: {note:?}");
        }
        assert!(report.extra.is_empty(), "{below} dB below: {:?}", report.extra);
    }
}

/// The take with so many seconds of the open string, which the note's own stopped string is without its finger, at the beginning
/// or at the end of each note.
fn without_finger(sound: &Samples, melody: &Melody, open: f64, seconds: f64, late: bool) -> Samples {
    const FADE: f64 = 0.008;
    let mut mono = sound.mono.clone();
    for note in judged(melody, sound).notes {
        let (onset, offset) = (note.onset_s.expect("played"), note.offset_s.expect("played"));
        let from = if late { onset - 0.03 } else { offset - seconds };
        let until = if late { onset + seconds } else { offset + 0.1 };
        let first = (from * RATE.hertz()) as usize;
        let count = ((until - from) * RATE.hertz()) as usize;
        let tone = BowedTone {
            attack: Seconds(0.03),
            ring: Seconds(0.1),
            level_db: level_db(&sound.mono[((0.5 * (onset + offset)) * RATE.hertz()) as usize..][..4_000]),
            seed: note.index as u64,
            ..BowedTone::new(
                MidiPitch(open).hertz(A4_ISO16),
                Seconds(until - from - if late { 0.0 } else { 0.1 }),
                melody.instrument.expect("one"),
            )
        };
        let string = bowed_tone(&tone, RATE).mono;
        for k in 0..count {
            let inside = if late { count - k } else { k };
            let share = (inside as f64 / (FADE * RATE.hertz())).min(1.0) as f32;
            let slot = &mut mono[first + k];
            *slot = (1.0 - share) * *slot + share * string[k];
        }
    }
    Samples { mono, rate: RATE }
}

#[test]
fn a_finger_that_comes_late_or_is_lifted_early_plays_its_note_and_no_other() {
    let case = &CASES[0];
    let melody = melody(case);
    let sound = melodies::played(&melody, BPM, false, RATE);
    for late in [true, false] {
        for seconds in [0.06, 0.1, 0.15] {
            let take = without_finger(&sound, &melody, 62.0, seconds, late);
            is_as_written(&melody, &take, &format!("{seconds} s, late: {late}"));
        }
    }
}
