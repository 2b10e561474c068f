//! A child who loses the place and finds it again: half as fast, a line left out, a late beginning, a long halt. What was
//! played is right, and only what was not played is missing.

mod melodies;

use fingertape::findings::{NoteVerdict, Outcome, Report};
use fingertape::formats::read_melody_bytes;
use fingertape::notation::{Fifths, Melody};
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::samples::Samples;
use fingertape::sound::Noise;
use fingertape::units::SampleRate;

const RATE: SampleRate = SampleRate(44_100);
const BPM: f64 = 90.0;

/// Eight bars, none like another.
const BARS: [&str; 8] = [
    "D4 q E4 F#4 e G4 A4 q",
    "B4 e A4 G4 F#4 A4 q G4",
    "E4 q A4 F#4 h",
    "C#5 e B4 A4 G4 B4 q A4",
    "D5 q B4 G4 e E4 F#4 q",
    "A4 e C#5 B4 A4 F#4 q D4",
    "G4 q F#4 e A4 G4 q E4",
    "F#4 q E4 D4 h",
];

fn melody(bars: &[&str], metre: &str) -> Melody {
    let bars = bars.join("\n");
    let toml =
        format!("instrument = \"violin\"\nmetre = \"{metre}\"\nkey = \"D\"\nbars = \"\"\"\n{bars}\n\"\"\"\n");
    read_melody_bytes("melody.toml", toml.as_bytes()).unwrap_or_else(|error| panic!("{error}")).melody
}

fn played(melody: &Melody, bpm: f64) -> Samples {
    melodies::played(melody, bpm, false, RATE)
}

fn judged(melody: &Melody, sound: &Samples, bpm: Option<f64>) -> Report {
    let settings = JudgeSettings {
        bpm,
        fifths: Fifths::Equal,
        ..JudgeSettings::for_melody(melody, melody.instrument.expect("one"))
    };
    let report = pipeline::judge(sound, melody, &settings);
    assert_eq!(report.outcome, Outcome::Judged);
    report
}

/// The verdicts are these, and nothing is extra or played again.
fn are(report: &Report, wanted: impl Fn(usize) -> NoteVerdict, what: &str) {
    let other: Vec<String> = report
        .notes
        .iter()
        .filter(|note| note.verdict != wanted(note.bar as usize))
        .map(|note| format!("bar {} beat {}: {} {:?}", note.bar, note.beat, note.written, note.verdict))
        .collect();
    assert_eq!(other, [""; 0], "{what}");
    assert_eq!(
        (report.extra.len(), report.restarts.len()),
        (0, 0),
        "{what}: {:?} {:?}",
        report.extra,
        report.restarts
    );
}

#[test]
fn a_third_of_the_set_tempo_or_three_times_as_much_is_the_same_melody() {
    let melody = melody(&BARS, "4/4");
    let sound = played(&melody, BPM);
    for times in [0.34, 0.4, 0.5, 0.7, 1.0, 1.5, 2.0, 2.6, 3.0] {
        are(&judged(&melody, &sound, Some(times * BPM)), |_| NoteVerdict::Right, &format!("{times}"));
    }
}

/// A moderate tempo is one of dotted beats in compound time (common practice).
#[test]
fn where_no_tempo_is_set_any_usual_one_is_heard() {
    let simple = melody(&BARS, "4/4");
    let compound = melody(
        &["D4 e E4 F#4 G4 q A4 e", "F#4 e A4 G4 E4 q. ", "A4 e G4 F#4 B4 A4 G4", "F#4 q. D4 q."],
        "6/8",
    );
    for (melody, tempi) in
        [(&simple, [40.0, 60.0, 90.0, 120.0, 160.0]), (&compound, [120.0, 180.0, 240.0, 300.0, 360.0])]
    {
        for bpm in tempi {
            are(&judged(melody, &played(melody, bpm), None), |_| NoteVerdict::Right, &format!("{bpm}"));
        }
    }
}

#[test]
fn of_a_melody_with_bars_left_out_what_was_played_is_right_and_the_rest_missing() {
    let whole = melody(&BARS, "4/4");
    for (from, to) in [(2, 3), (2, 4), (3, 6), (0, 1), (0, 3), (0, 4)] {
        let kept = [&BARS[..from], &BARS[to..]].concat();
        let report = judged(&whole, &played(&melody(&kept, "4/4"), BPM), Some(BPM));
        let wanted = |bar: usize| {
            if (from + 1..=to).contains(&bar) { NoteVerdict::Missing } else { NoteVerdict::Right }
        };
        are(&report, wanted, &format!("bars {from} to {to}"));
    }
}

#[test]
fn a_halt_of_any_length_after_any_note_changes_no_verdict() {
    let melody = melody(&BARS, "4/4");
    let sound = played(&melody, BPM);
    let beat = 60.0 / BPM * f64::from(RATE.0);
    // After the first beats of some bars and between two eighths.
    for (place, seconds) in
        [(1.0, 1.0), (2.5, 2.0), (6.0, 3.0), (8.0, 6.0), (13.5, 3.0), (17.0, 9.0), (25.0, 2.0)]
    {
        let at = (place * beat) as usize;
        let mut mono = sound.mono[..at].to_vec();
        // The bow leaves the string within 20 ms.
        let fade = (0.02 * f64::from(RATE.0)) as usize;
        for (k, sample) in mono.iter_mut().rev().take(fade).enumerate() {
            *sample *= k as f32 / fade as f32;
        }
        let mut room = Noise::new(7);
        mono.extend((0..(seconds * f64::from(RATE.0)) as usize).map(|_| (3e-4 * room.uniform()) as f32));
        mono.extend_from_slice(&sound.mono[at..]);
        let report = judged(&melody, &Samples { mono, rate: RATE }, Some(BPM));
        are(&report, |_| NoteVerdict::Right, &format!("{seconds} s after beat {place}"));
    }
}

/// A child who looks for the next finger often bows on; the note that is held may be one of two equal ones.
#[test]
fn a_note_held_for_much_too_long_is_one_note() {
    let sheet = ["D4 q D4 E4 e E4 F#4 q", "G4 q A4 B4 A4", "G4 e G4 F#4 q E4 D4"];
    let written = melody(&sheet, "4/4");
    // The first bar in another metre: a quarter for a whole note, an eighth for a dotted half, the second of two.
    for (first, metre, felt) in [
        ("D4 w D4 q E4 e E4 F#4 q", "7/4", BPM),
        ("D4 q D4 w E4 e E4 F#4 q", "7/4", BPM),
        ("D4 q D4 q E4 h. E4 e F#4 q", "13/8", 2.0 * BPM),
        ("D4 q D4 q E4 e E4 h. F#4 q", "13/8", 2.0 * BPM),
    ] {
        let mut mono = played(&melody(&[first], metre), felt).mono;
        mono.extend(played(&melody(&sheet[1..], "4/4"), BPM).mono);
        let report = judged(&written, &Samples { mono, rate: RATE }, Some(BPM));
        are(&report, |_| NoteVerdict::Right, first);
    }
}
