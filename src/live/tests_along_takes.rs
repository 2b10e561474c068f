//! The live rooms along the fixtures, chunk by chunk as a microphone gives them.

use super::{Ended, LevelWord, LiveReader, Now, Session, SessionSettings, Step};
use crate::decode::read_take;
use crate::formats::{read_melody, read_melody_bytes};
use crate::notation::{EventKind, Instrument, Melody};
use crate::pipeline::{JudgeSettings, judge};
use crate::samples::Samples;
use crate::units::{A4_ISO16, SampleRate, Seconds};
use std::path::Path;

fn fixture(name: &str) -> (Samples, Melody, Instrument) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = if name == "demo" { root.join("demo-data") } else { root.join("audio-fixtures").join(name) };
    let samples = read_take(&folder.join("take.flac")).unwrap().samples;
    let melody = read_melody(&folder.join("melody.toml")).unwrap().melody;
    let instrument = melody.instrument.unwrap();
    (samples, melody, instrument)
}

fn readings(samples: &Samples, melody: &Melody, instrument: Instrument, chunk: usize) -> Vec<Now> {
    let bpm = melody.bpm.unwrap();
    let mut reader = LiveReader::new(melody, instrument, bpm, A4_ISO16, samples.rate, Seconds(0.5));
    let mut all = Vec::new();
    samples.mono.chunks(chunk).for_each(|samples| reader.push(samples, |now| all.push(*now)));
    all
}

#[test]
fn any_chunks_give_the_same_readings() {
    let (samples, melody, instrument) = fixture("all-right");
    let whole = readings(&samples, &melody, instrument, samples.mono.len());
    assert!(whole.len() > 1000, "{}", whole.len());
    for chunk in [1, 37, 160, 480, 1000, 4096] {
        assert_eq!(readings(&samples, &melody, instrument, chunk), whole, "{chunk}");
    }
}

/// Of the notes that were played as they are written: how many were shown as the place, in the middle of their sound,
/// and as the note that sounds; and how many there were.
fn followed(name: &str) -> (usize, usize, usize) {
    let (samples, melody, instrument) = fixture(name);
    let report = judge(&samples, &melody, &JudgeSettings::for_melody(&melody, instrument));
    let readings = readings(&samples, &melody, instrument, 480);
    let (mut placed, mut named, mut all) = (0, 0, 0);
    for note in &report.notes {
        let (Some(onset), Some(offset)) = (note.onset_s, note.offset_s) else { continue };
        let middle = (onset + offset) / 2.0;
        let Some(now) = readings.iter().find(|now| now.time.0 >= middle) else { continue };
        let EventKind::Note { written, .. } = melody.events[note.index].kind else { continue };
        all += 1;
        placed += usize::from(now.place.event == Some(note.index));
        named += usize::from(now.sounding.is_some_and(|sounding| sounding.written == written));
    }
    (placed, named, all)
}

#[test]
fn the_place_is_the_note_that_is_played() {
    for name in ["all-right", "demo", "rests", "wrong-notes", "tuned-low", "missing-note", "extra-note"] {
        let (placed, named, all) = followed(name);
        // Where a note is wrong, left out or too many the place may be late by one; a player looks for the bar.
        assert!(placed + 2 >= all && all >= 8, "{name}: {placed} of {all} placed");
        assert!(named + 2 >= all, "{name}: {named} of {all} named");
    }
    let (placed, named, all) = followed("all-right");
    assert_eq!((placed, named), (all, all));
}

/// Of the demo each note of a beat or less in turn is a wrong one: the sheet has another pitch there, while what is played
/// may be the first note of another bar.
#[test]
fn one_wrong_note_moves_the_place_nowhere_else() {
    let (samples, melody, instrument) = fixture("demo");
    let report = judge(&samples, &melody, &JudgeSettings::for_melody(&melody, instrument));
    let played: Vec<_> = report.notes.iter().filter(|note| note.onset_s.is_some()).collect();
    let usual = readings(&samples, &melody, instrument, 480);
    let mut away = Vec::new();
    let beat = melody.metre.beat();
    for wrong in played[1..].iter().filter(|note| melody.events[note.index].length <= beat) {
        for semitones in [-2, -1, 1] {
            let mut other = melody.clone();
            if let EventKind::Note { sounding, .. } = &mut other.events[wrong.index].kind {
                *sounding += semitones;
            }
            let readings = readings(&samples, &other, instrument, 480);
            let (Some(onset), Some(offset)) = (wrong.onset_s, wrong.offset_s) else { continue };
            let sounding = |now: &Now| (onset..offset).contains(&now.time.0);
            for (now, usual) in readings.iter().zip(&usual).filter(|(now, _)| sounding(now)) {
                let (here, there) = (now.place.event.unwrap_or(0), usual.place.event.unwrap_or(0));
                if here.abs_diff(there) > 2 {
                    away.push(format!("{} at {:.2} s: {here}", wrong.index, now.time.0));
                    break;
                }
            }
        }
    }
    assert_eq!(away, [""; 0]);
}

#[test]
fn a_new_attempt_is_followed_back() {
    let (placed, _, all) = followed("restart");
    assert!(placed * 10 >= all * 7, "{placed} of {all}");
}

/// The steps of a session in which the fixture is played right after the count-in, as lines; the samples kept.
fn session(name: &str, chunk: usize, level_check: f64) -> (Vec<String>, Vec<f32>, Option<Ended>) {
    let (samples, melody, instrument) = fixture(name);
    let bpm = melody.bpm.unwrap();
    let settings = SessionSettings {
        rate: samples.rate,
        instrument,
        bpm,
        a4: A4_ISO16,
        level_check: Seconds(level_check),
    };
    let mut session = Session::new(&melody, settings);
    let rate = samples.rate.hertz();
    let mut heard: Vec<f32> =
        (0..(level_check * rate) as usize).map(|n| 0.1 * (n as f32 * 0.3).sin()).collect();
    let silence = (f64::from(session.count_beats()) - 0.5) * 60.0 / bpm * rate;
    heard.extend(vec![0.0; silence.round() as usize]);
    heard.extend(&samples.mono);
    heard.extend(vec![0.0; (15.0 * rate) as usize]);
    let (mut steps, mut kept, mut ended) = (Vec::new(), Vec::new(), None);
    for samples in heard.chunks(chunk) {
        session.push(samples, |step| match step {
            Step::Level(level) => steps.push(format!("level {}", level.word().as_str())),
            Step::CountIn { beats } => steps.push(format!("count {beats}")),
            Step::Beat(beat) => steps.push(beat.to_string()),
            Step::Begin => steps.push("begin".to_owned()),
            Step::Keep(samples) => kept.extend_from_slice(samples),
            Step::Now(_) => {}
            Step::End(why) => ended = Some(why),
        });
    }
    (steps, kept, ended)
}

#[test]
fn a_session_checks_counts_keeps_and_ends_by_itself() {
    let (samples, ..) = fixture("all-right");
    let (steps, kept, ended) = session("all-right", 160, 2.0);
    assert_eq!(steps, ["level good", "count 4", "1", "2", "3", "4", "begin"]);
    assert_eq!(LevelWord::Good.as_str(), "good");
    assert_eq!(ended, Some(Ended::Finished));
    // All of the playing is kept, and nobody waits long after it.
    let seconds = kept.len() as f64 / samples.rate.hertz();
    let played = samples.duration().0;
    assert!(seconds > played - 1.0 && seconds < played + 4.0, "{seconds} s of {played} s");
    let same = kept.len().min(samples.mono.len());
    assert!(kept[..same] == samples.mono[..same]);
}

#[test]
fn what_stands_before_a_pickup_is_counted_too() {
    // One quarter note before the first bar of 4/4: "one two three four, one two three", and it comes on four.
    let toml = b"instrument = 'violin'\nmetre = '4/4'\nbpm = 120\npickup = 'A4 q'\nbars = ['D4 w']";
    let melody = read_melody_bytes("m.toml", toml).unwrap().melody;
    let settings = SessionSettings {
        rate: SampleRate(8000),
        instrument: Instrument::Violin,
        bpm: 120.0,
        a4: A4_ISO16,
        level_check: Seconds(0.0),
    };
    let mut session = Session::new(&melody, settings);
    assert_eq!((session.count_beats(), session.bar_beats()), (7, 4));
    let (mut counted, mut began) = (Vec::new(), false);
    // Seven beats of half a second, and one sample.
    session.push(&vec![0.0; 7 * 4000 + 1], |step| match step {
        Step::Beat(beat) => counted.push(beat),
        Step::Begin => began = true,
        _ => {}
    });
    assert_eq!((counted, began), (vec![1, 2, 3, 4, 1, 2, 3], true));
    // The take has begun half a beat before.
    assert_eq!(session.take(), Some(Seconds(2001.0 / 8000.0)));
}

#[test]
fn any_chunks_give_the_same_session() {
    let whole = session("demo", 480, 0.0);
    for chunk in [1, 77, 4096, 100_000] {
        assert!(session("demo", chunk, 0.0) == whole, "chunks of {chunk}");
    }
}

#[test]
fn every_fixture_ends_by_itself_after_it_was_played() {
    for name in [
        "demo",
        "rests",
        "restart",
        "wrong-notes",
        "missing-note",
        "octave-away",
        "one-long-bow",
        "tuned-low",
    ] {
        let (samples, ..) = fixture(name);
        let (_, kept, ended) = session(name, 480, 0.0);
        assert!(matches!(ended, Some(Ended::Finished | Ended::LongSilence)), "{name}: {ended:?}");
        let seconds = kept.len() as f64 / samples.rate.hertz();
        // The fixtures end with half a second or more of silence.
        assert!(seconds > samples.duration().0 - 1.0, "{name}: {seconds} of {}", samples.duration().0);
    }
}

#[test]
fn a_session_in_which_nobody_plays_ends_too() {
    let (_, melody, instrument) = fixture("all-right");
    let rate = SampleRate(8000);
    let settings = SessionSettings { rate, instrument, bpm: 100.0, a4: A4_ISO16, level_check: Seconds(0.0) };
    let mut session = Session::new(&melody, settings);
    let mut ended = None;
    session.push(&vec![0.0; 8000 * 40], |step| {
        if let Step::End(why) = step {
            ended = Some(why);
        }
    });
    assert_eq!(ended, Some(Ended::NothingPlayed));
    assert!(session.take().is_some_and(|take| (take.0 - 20.0).abs() < 0.1), "{:?}", session.take());
}

/// How a session at 120 beats a minute ends, and after how long, in which a tone sounds at these seconds after the count-in
/// and silence else.
fn ended(bars: &str, sounds: &[(f64, f64)], seconds: f64) -> (Option<Ended>, f64) {
    let toml = format!("instrument = 'violin'\nmetre = '4/4'\nbpm = 120\nbars = \"\"\"\n{bars}\"\"\"\n");
    let melody = read_melody_bytes("m.toml", toml.as_bytes()).unwrap().melody;
    let (rate, instrument) = (SampleRate(8000), Instrument::Violin);
    let settings = SessionSettings { rate, instrument, bpm: 120.0, a4: A4_ISO16, level_check: Seconds(0.0) };
    let mut session = Session::new(&melody, settings);
    let sample = |n: usize| {
        let time = n as f64 / 8000.0 - 2.0;
        let sounds = sounds.iter().any(|&(from, to)| (from..to).contains(&time));
        if sounds { 0.1 * (time * 440.0 * std::f64::consts::TAU).sin() as f32 } else { 0.0 }
    };
    let samples: Vec<f32> = (0..((seconds + 2.0) * 8000.0) as usize).map(sample).collect();
    let mut ended = None;
    session.push(&samples, |step| {
        if let Step::End(why) = step {
            ended = Some(why);
        }
    });
    (ended, session.take().unwrap().0)
}

#[test]
fn a_rest_of_many_bars_does_not_end_the_take() {
    // Eight bars of rest are 16 s: twice that and eight more may be silent.
    let bars = format!("A4 w\n{}A4 w\n", "rest w\n".repeat(8));
    assert_eq!(ended(&bars, &[(0.0, 2.0), (18.0, 20.0)], 21.0).0, None);
    let (why, after) = ended(&bars, &[(0.0, 2.0), (18.0, 20.0)], 60.0);
    assert_eq!(why, Some(Ended::Finished), "{after}");
    let (why, after) = ended(&bars, &[(0.0, 2.0)], 60.0);
    // Nobody waits for ever: the melody's time and its longest rest are over then.
    assert!(matches!(why, Some(Ended::Finished | Ended::LongSilence)) && after < 45.0, "{why:?} {after}");
}

#[test]
fn a_melody_may_begin_with_a_long_rest() {
    let bars = format!("{}A4 w\n", "rest w\n".repeat(12));
    assert_eq!(ended(&bars, &[], 40.0).0, None);
    let (why, after) = ended(&bars, &[], 60.0);
    assert_eq!(why, Some(Ended::NothingPlayed));
    assert!((after - 44.0).abs() < 0.1, "{after}");
}
