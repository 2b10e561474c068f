//! The score must never invent a right note: with the melody transposed or its notes in another order the take is
//! refused, or right notes fall to what chance gives.

use fingertape::decode::read_take;
use fingertape::findings::{NoteVerdict, Outcome, Report};
use fingertape::formats::read_melody;
use fingertape::notation::{EventKind, Melody};
use fingertape::pipeline::{JudgeSettings, judge};
use fingertape::samples::Samples;
use std::path::{Path, PathBuf};

/// The folders whose take is of its melody, and what to do with each.
fn with_each_take(mut visit: impl FnMut(&str, &Samples, &Melody)) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let listed = std::fs::read_dir(root.join("audio-fixtures")).expect("audio-fixtures is there");
    let mut folders: Vec<PathBuf> = listed.map(|entry| entry.expect("it can be read").path()).collect();
    folders.push(root.join("demo-data"));
    folders.sort();
    let mut visited = 0;
    for folder in folders {
        let name = folder.file_name().expect("a name").to_string_lossy().into_owned();
        if !folder.join("expected.json").is_file()
            || ["not-this-melody", "octave-away", "silence"].contains(&&*name)
        {
            continue;
        }
        let take = read_take(&folder.join("take.flac")).expect("a take");
        let melody = read_melody(&folder.join("melody.toml")).expect("a melody").melody;
        visit(&name, &take.samples, &melody);
        visited += 1;
    }
    assert!(visited >= 9, "{visited}");
}

fn judged(take: &Samples, melody: &Melody) -> Report {
    let instrument = melody.instrument.expect("the fixtures name it");
    judge(take, melody, &JudgeSettings::for_melody(melody, instrument))
}

fn right(report: &Report) -> f64 {
    let right = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Right).count();
    right as f64 / report.notes.len().max(1) as f64
}

/// The melody with its notes' pitches replaced, in order.
fn with_pitches(melody: &Melody, pitch: impl Fn(usize, &[i32]) -> i32) -> Melody {
    let pitches: Vec<i32> = melody.soundings().collect();
    let mut other = melody.clone();
    let mut n = 0;
    for event in &mut other.events {
        if let EventKind::Note { sounding, .. } = &mut event.kind {
            *sounding = pitch(n, &pitches);
            n += 1;
        }
    }
    other
}

#[test]
fn each_take_is_of_its_own_melody() {
    with_each_take(|name, take, melody| {
        let report = judged(take, melody);
        assert_eq!(report.outcome, Outcome::Judged, "{name}");
        assert!(right(&report) > 0.6, "{name}: {}", right(&report));
    });
}

/// The semitones that were heard when the take was held against its own melody, in order of time.
fn heard(report: &Report) -> Vec<i32> {
    let tuning = report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    let notes = report.notes.iter().filter_map(|note| Some((note.onset_s?, note.played_midi?)));
    let extra = report.extra.iter().map(|extra| (extra.onset_s, extra.played_midi));
    let mut all: Vec<(f64, f64)> = notes.chain(extra).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.into_iter().map(|(_, midi)| (midi - tuning).round() as i32).collect()
}

/// Length of the longest common subsequence: so many notes of the other melody were really played, in its order
/// (Wagner and Fischer's table, J. ACM 21, 1974).
fn common(a: &[i32], b: &[i32]) -> usize {
    let mut row = vec![0; b.len() + 1];
    for x in a {
        let mut corner = 0;
        for (k, y) in b.iter().enumerate() {
            let above = row[k + 1];
            row[k + 1] = if x == y { corner + 1 } else { above.max(row[k]) };
            corner = above;
        }
    }
    row[b.len()]
}

/// Holds a take against another melody: no more notes are right than were really played in its order, and where
/// those are few the take is refused. Says whether it was.
fn holds_against(name: &str, take: &Samples, heard: &[i32], other: &Melody) -> bool {
    let report = judged(take, other);
    let written: Vec<i32> = other.soundings().collect();
    let really = common(heard, &written);
    let right = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Right).count();
    assert!(right <= really, "{name}: {right} right of {really} that were played");
    let refused = report.outcome == Outcome::NotThisMelody;
    assert!(
        refused || really as f64 >= 0.45 * written.len() as f64,
        "{name}: judged, {really} of {}",
        written.len()
    );
    refused
}

#[test]
fn with_a_transposed_melody_only_what_was_played_is_right_and_nearly_all_takes_are_refused() {
    let (mut refused, mut all) = (0, 0);
    with_each_take(|name, take, melody| {
        if name == "restart" {
            // What was played before the return is not in the report.
            return;
        }
        let heard = heard(&judged(take, melody));
        for semitones in [-7, -5, -3, -2, -1, 1, 2, 3, 4, 5, 7] {
            if name == "tuned-low" && semitones == -1 {
                // 35 cents below one melody is 65 above the other: an instrument can be so far off.
                continue;
            }
            let other = with_pitches(melody, |n, pitches| pitches[n] + semitones);
            refused += usize::from(holds_against(&format!("{name} {semitones:+}"), take, &heard, &other));
            all += 1;
        }
    });
    println!("{refused} of {all} refused");
    assert!(refused * 10 >= all * 9, "{refused} of {all}");
}

#[test]
fn with_its_notes_in_another_order_only_what_was_played_is_right() {
    let (mut refused, mut all) = (0, 0);
    with_each_take(|name, take, melody| {
        if name == "restart" {
            return;
        }
        let heard = heard(&judged(take, melody));
        let all_notes = melody.soundings().count();
        let backwards: Vec<usize> = (0..all_notes).rev().collect();
        let from_the_middle = (0..all_notes).map(|n| (n + all_notes / 2) % all_notes).collect();
        let every_fifth = (0..all_notes).map(|n| (n * 5 + 2) % all_notes).collect();
        for order in [backwards, from_the_middle, every_fifth] {
            let other = with_pitches(melody, |n, pitches| pitches[order[n]]);
            refused += usize::from(holds_against(&format!("{name} {order:?}"), take, &heard, &other));
            all += 1;
        }
    });
    println!("{refused} of {all} refused");
    assert!(refused * 2 >= all, "{refused} of {all}");
}
