//! The whole chain on plain synthetic tones: what a take with nothing difficult about it must give.

use fingertape::findings::{NoteVerdict, Outcome, Report, RestVerdict};
use fingertape::notation::{Event, EventKind, HeardNames, Instrument, Length, Melody, Metre, Sheet};
use fingertape::pipeline::{JudgeSettings, judge};
use fingertape::samples::Samples;
use fingertape::units::SampleRate;

const RATE: f64 = 44_100.0;

/// Something to play: a MIDI number (or silence), seconds, cents off.
#[derive(Clone, Copy)]
struct Tone(Option<i32>, f64, f64);

fn sound(tones: &[Tone]) -> Samples {
    let mut mono = vec![0.0_f32; (0.5 * RATE) as usize];
    for (k, Tone(midi, seconds, cents)) in tones.iter().enumerate() {
        let n = (seconds * RATE) as usize;
        let hz = midi.map(|m| 440.0 * ((f64::from(m) - 69.0) / 12.0 + cents / 1200.0).exp2());
        for i in 0..n {
            let t = i as f64 / RATE;
            let edge = (t / 0.04).min((seconds - t) / 0.03).clamp(0.0, 1.0);
            let v = hz.map_or(0.0, |hz| {
                (1..=12)
                    .map(|l| {
                        let phase = std::f64::consts::TAU * hz * f64::from(l) * t + (k * l as usize) as f64;
                        phase.sin() / f64::from(l)
                    })
                    .sum::<f64>()
            });
            mono.push((0.2 * edge * v) as f32);
        }
    }
    mono.extend(std::iter::repeat_n(0.0, (0.5 * RATE) as usize));
    // A quiet room, deterministic.
    let mut state = 1_u32;
    for v in &mut mono {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *v += ((state >> 8) as f32 / 8_388_608.0 - 1.0) * 0.001;
    }
    Samples { mono, rate: SampleRate(44_100) }
}

/// A melody of quarter notes in 4/4 for the violin; `None` is a rest.
fn melody(midi: &[Option<i32>]) -> Melody {
    let quarter = Length::new(1, 4);
    let events = midi
        .iter()
        .enumerate()
        .map(|(k, m)| Event {
            bar: k as u32 / 4 + 1,
            beat: Length::from(k as i64 % 4 + 1),
            start: quarter * k as i64,
            length: quarter,
            kind: m.map_or(EventKind::Rest, |m| EventKind::Note {
                written: HeardNames::default().name(m, None),
                sounding: m,
            }),
        })
        .collect();
    Melody {
        title: None,
        instrument: Some(Instrument::Violin),
        bpm: Some(100.0),
        a4: None,
        metre: Metre { beats: 4, unit: 4 },
        events,
        sheet: Sheet::default(),
    }
}

fn tune() -> Vec<Option<i32>> {
    [62, 64, 66, 62, 62, 67, 0, 66, 64, 64, 69, 67, 66, 0, 64, 62]
        .iter()
        .map(|&m| (m > 0).then_some(m))
        .collect()
}

fn as_written(tune: &[Option<i32>]) -> Vec<Tone> {
    tune.iter().map(|&m| Tone(m, 0.6, 0.0)).collect()
}

fn report(tones: &[Tone]) -> Report {
    let melody = melody(&tune());
    judge(&sound(tones), &melody, &JudgeSettings::for_melody(&melody, Instrument::Violin))
}

fn verdicts(report: &Report) -> Vec<NoteVerdict> {
    report.notes.iter().map(|n| n.verdict).collect()
}

#[test]
fn a_take_as_written_has_nothing_wrong() {
    let report = report(&as_written(&tune()));
    assert!(verdicts(&report).iter().all(|v| *v == NoteVerdict::Right), "{report:#?}");
    assert!(report.rests.iter().all(|r| r.verdict == RestVerdict::Kept), "{:#?}", report.rests);
    assert!(
        report.extra.is_empty() && report.restarts.is_empty(),
        "{:#?} {:#?}",
        report.extra,
        report.restarts
    );
    for note in &report.notes {
        assert!(note.cents.unwrap().abs() < 1.0, "{note:?}");
        let expected = 0.5 + 0.6 * note.index as f64;
        assert!((note.onset_s.unwrap() - expected).abs() < 0.03, "{note:?} expected {expected}");
    }
}

#[test]
fn a_wrong_note_a_flat_note_and_a_rushed_rest_are_found_and_nothing_else() {
    let mut tones = as_written(&tune());
    tones[2].0 = Some(65);
    tones[7].2 = -32.0;
    tones[13].1 = 0.2;
    let report = report(&tones);
    let wrong: Vec<usize> =
        report.notes.iter().filter(|n| n.verdict != NoteVerdict::Right).map(|n| n.index).collect();
    assert_eq!(wrong, [2], "{report:#?}");
    assert!((report.notes[2].played_midi.unwrap() - 65.0).abs() < 0.02);
    let flat = report.notes.iter().find(|n| n.index == 7).unwrap();
    assert!((flat.cents.unwrap() + 32.0).abs() < 1.0, "{flat:?}");
    assert_eq!(report.rests[0].verdict, RestVerdict::Kept);
    assert_eq!(report.rests[1].verdict, RestVerdict::Rushed);
}

#[test]
fn a_missing_note_and_an_extra_note_are_found_and_nothing_else() {
    let mut tones = as_written(&tune());
    tones.remove(10);
    tones.insert(3, Tone(Some(71), 0.3, 0.0));
    let report = report(&tones);
    let bad: Vec<(usize, NoteVerdict)> = report
        .notes
        .iter()
        .filter(|n| n.verdict != NoteVerdict::Right)
        .map(|n| (n.index, n.verdict))
        .collect();
    assert_eq!(bad, [(10, NoteVerdict::Missing)], "{report:#?}");
    assert_eq!(report.extra.len(), 1, "{:#?}", report.extra);
    assert!((report.extra[0].played_midi - 71.0).abs() < 0.05);
}

#[test]
fn going_back_to_the_start_is_one_restart_and_no_mistake() {
    let mut tones = as_written(&tune()[..6]);
    tones.push(Tone(None, 1.0, 0.0));
    tones.extend(as_written(&tune()));
    let report = report(&tones);
    assert!(verdicts(&report).iter().all(|v| *v == NoteVerdict::Right), "{report:#?}");
    assert_eq!(report.restarts.len(), 1);
    assert_eq!((report.restarts[0].left_at_index, report.restarts[0].resumed_at_index), (5, 0));
    assert!(report.extra.is_empty(), "{:#?}", report.extra);
}

#[test]
fn one_open_string_80_cents_slack_is_that_string_and_not_another_melody() {
    let melody = melody(&[Some(69), Some(69)]);
    let tones = [Tone(Some(69), 2.0, -80.0), Tone(None, 0.2, 0.0), Tone(Some(69), 2.0, -80.0)];
    let report = judge(&sound(&tones), &melody, &JudgeSettings::for_melody(&melody, Instrument::Violin));
    assert_eq!(report.outcome, Outcome::Judged, "{report:#?}");
    assert_eq!(report.tuning.strings.len(), 1, "{report:#?}");
    assert_eq!(report.tuning.strings[0].string, "A");
    assert!((report.tuning.strings[0].cents + 80.0).abs() < 1.0, "{:?}", report.tuning);
}
