//! A class that plays pizzicato. The ear was trained on bows; a plucked string comes at once, sags at once and rings on
//! into the next rest, and is judged all the same.

mod melodies;

use fingertape::findings::{NoteVerdict, Outcome, Report};
use fingertape::notation::{EventKind, Instrument, Length, Melody};
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::samples::Samples;
use fingertape::sound::Noise;
use fingertape::units::SampleRate;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use std::f64::consts::TAU;

const RATE: SampleRate = SampleRate(44_100);
/// A string stops within this time when the next note is stopped or the hand lies on it, in seconds.
const DAMPED: f64 = 0.008;

/// How long a stopped string takes to fall by 60 dB, in seconds (common practice: a plucked violin is dry, a bass sings);
/// an open string takes twice as long.
fn fall(instrument: Instrument) -> f64 {
    match instrument {
        Instrument::Violin => 0.3,
        Instrument::Viola => 0.45,
        Instrument::Cello => 1.6,
        Instrument::Bass => 2.5,
    }
}

/// One plucked note of `seconds`, from its partials: the partial `k` of a stiff string lies at k·f·√(1 + B·k²) and,
/// plucked at a share p of its length, sounds as loud as sin(π·k·p)/k² in displacement, ·k as the bridge feels it (Fletcher
/// and Rossing, *The Physics of Musical Instruments*, chapter 2; from memory). High ones die first.
fn plucked(midi: f64, seconds: f64, instrument: Instrument, noise: &mut Noise) -> Vec<f64> {
    let hertz = 440.0 * ((midi - 69.0) / 12.0).exp2();
    let open = instrument.open_strings().iter().any(|&string| f64::from(string) == midi.round());
    let fall = fall(instrument) * if open { 2.0 } else { 1.0 } * (0.3 * noise.uniform()).exp2();
    let place = 0.22 + 0.08 * noise.uniform();
    let mut sound = vec![0.0; (seconds * f64::from(RATE.0)) as usize];
    for partial in 1..40_u32 {
        let k = f64::from(partial);
        let own = k * hertz * (1.0 + 7e-5 * k * k).sqrt();
        if own > 8000.0 {
            break;
        }
        let strength = (TAU / 2.0 * k * place).sin() / k * (0.5 * noise.uniform()).exp2();
        let decay = 6.9 * (1.0 + 0.18 * (k - 1.0) + (own / 3500.0).powi(2)) / fall;
        // A point that runs around and inward: its height is the partial.
        let (sin, cos) = (TAU * own / f64::from(RATE.0)).sin_cos();
        let inward = (-decay / f64::from(RATE.0)).exp();
        let (mut y, mut x) = (TAU * noise.uniform()).sin_cos();
        for value in &mut sound {
            *value += strength * y;
            (x, y) = (inward * (x * cos - y * sin), inward * (x * sin + y * cos));
        }
    }
    // The finger that lets go.
    let loudest = sound.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
    for (n, value) in sound.iter_mut().take(1500).enumerate() {
        *value += 0.3 * loudest * noise.uniform() * (-(n as f64) / 260.0).exp();
    }
    for (n, value) in sound.iter_mut().enumerate() {
        let time = n as f64 / f64::from(RATE.0);
        *value *= (time / 0.002).min(1.0) * ((seconds - time) / DAMPED).min(1.0);
    }
    sound
}

/// The melody plucked as it is written but for what `change` says of a note, by its index among the notes: another pitch,
/// or nothing. Rests are damped where `damp` says so; else the string rings on.
fn played(
    melody: &Melody,
    bpm: f64,
    damp: bool,
    seed: u64,
    change: impl Fn(usize, i32) -> Option<i32>,
) -> Samples {
    let instrument = melody.instrument.expect("one");
    let mut noise = Noise::new(seed);
    let beats = |length: Length| {
        let beats = length / melody.metre.beat();
        *beats.numer() as f64 / *beats.denom() as f64
    };
    let seconds = |length: Length| beats(length) * 60.0 / bpm;
    let end = melody.events.last().map_or(0.0, |last| seconds(last.start + last.length));
    let mut mono = vec![0.0_f64; ((end + 2.5) * f64::from(RATE.0)) as usize];
    let mut notes =
        melody.events.iter().filter(|event| matches!(event.kind, EventKind::Note { .. })).peekable();
    let mut index = 0;
    while let Some(event) = notes.next() {
        let EventKind::Note { sounding, .. } = event.kind else { continue };
        let onset = 0.7 + seconds(event.start) + 0.015 * noise.uniform();
        let until = if damp {
            event.start + event.length
        } else {
            notes.peek().map_or(event.start + event.length, |next| next.start)
        };
        if let Some(sounding) = change(index, sounding) {
            let midi = f64::from(sounding) + 0.1 * noise.uniform();
            let level = (0.4 * noise.uniform()).exp2();
            let sound = plucked(midi, 0.7 + seconds(until) - onset, instrument, &mut noise);
            let first = (onset * f64::from(RATE.0)) as usize;
            for (value, new) in mono[first..].iter_mut().zip(sound) {
                *value += level * new;
            }
        }
        index += 1;
    }
    let peak = mono.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
    let mono = mono.iter().map(|value| (0.5 * value / peak + 3e-3 * noise.uniform()) as f32).collect();
    Samples { mono, rate: RATE }
}

/// So many random melodies in first position, the same each time; every second one for the violin, whose plucked notes are
/// the shortest.
fn some(count: usize, melodies: impl Strategy<Value = Melody>) -> Vec<Melody> {
    let mut runner = TestRunner::deterministic();
    let mut next = || melodies.new_tree(&mut runner).expect("a melody").current();
    let for_violin = |melody: &Melody| melody.instrument == Some(Instrument::Violin);
    let of = |k| loop {
        let melody = next();
        if k % 2 == 0 || for_violin(&melody) {
            return melody;
        }
    };
    (0..count).map(of).collect()
}

fn judged(melody: &Melody, sound: &Samples) -> Report {
    let settings = JudgeSettings::for_melody(melody, melody.instrument.expect("one"));
    pipeline::judge(sound, melody, &settings)
}

/// What is not right of melodies that are plucked as they are written, as many beats a minute, and how many notes are
/// right and unsure.
fn faults(melodies: &[Melody], bpm: f64) -> (Vec<String>, usize, usize) {
    let (mut right, mut unsure, mut faults) = (0, 0, Vec::new());
    for (k, melody) in melodies.iter().enumerate() {
        let report = judged(melody, &played(melody, bpm, k % 4 < 2, k as u64, |_, sounding| Some(sounding)));
        let mut say = |fault: String| faults.push(format!("melody {k}: {fault}"));
        if report.outcome != Outcome::Judged {
            say(format!("{:?}", report.outcome));
        }
        for note in &report.notes {
            match note.verdict {
                NoteVerdict::Right => right += 1,
                NoteVerdict::Unsure => unsure += 1,
                other => say(format!("bar {} beat {} {} {other:?}", note.bar, note.beat, note.written)),
            }
        }
        report.extra.iter().for_each(|extra| say(format!("extra at {:.2} s", extra.onset_s)));
        report.restarts.iter().for_each(|restart| say(format!("restart at {:.2} s", restart.time_s)));
    }
    (faults, right, unsure)
}

#[test]
fn what_is_plucked_as_it_is_written_is_right() {
    let (faults, right, unsure) = faults(&some(40, melodies::melodies(false)), 100.0);
    assert_eq!(faults, [""; 0], "{right} right, {unsure} unsure");
    assert!(right > 400 && unsure * 50 < right, "{right} right, {unsure} unsure");
}

/// Where the pitch stays, nothing but the pluck tells one note from the next.
#[test]
fn repeated_notes_that_are_plucked_are_right() {
    let (faults, right, unsure) = faults(&some(40, melodies::repeats()), 160.0);
    assert_eq!(faults, [""; 0], "{right} right, {unsure} unsure");
    assert!(right > 600 && unsure * 50 < right, "{right} right, {unsure} unsure");
}
