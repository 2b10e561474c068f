//! Draft melodies measured on takes of known truth:
//!
//! ```text
//! cargo run --profile quick --example accuracy -- make --out TAKES --takes 40 --seed 9 --half report
//! cargo run --profile quick --example jot_accuracy -- TAKES [--list]
//! ```
//! Prints the F1 of notes (onset within a quarter of a beat and the right pitch, one to one, of all notes that were
//! really played, planted mistakes included), how many intervals between neighbouring right notes are written as the
//! player's own sheet has them, and how many notes `check` calls right when the take is judged against its own draft.

use fingertape::findings::NoteVerdict;
use fingertape::formats::{read_melody, read_melody_bytes, write_toml};
use fingertape::jot::{JotSettings, draft_from_listening};
use fingertape::notation::{EventKind, Instrument, as_f64};
use fingertape::pipeline::{JudgeSettings, judge_listening, listen};
use fingertape::units::A4_ISO16;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

#[derive(Default, Clone, Copy)]
struct Tally {
    takes: usize,
    played: usize,
    found: usize,
    matched: usize,
    intervals: usize,
    equal: usize,
    rests: usize,
    rests_equal: usize,
    own_notes: usize,
    own_right: usize,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let folder = PathBuf::from(arguments.first().expect("a folder of takes"));
    let list = arguments.iter().any(|word| word == "--list");
    let mut truths: Vec<PathBuf> = std::fs::read_dir(&folder)
        .expect("the folder of takes")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.to_string_lossy().ends_with(".truth.json"))
        .collect();
    truths.sort();
    truths.reverse();
    let queue = Mutex::new(truths);
    let total = Mutex::new([Tally::default(); 4]);
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while let Some(truth) = { queue.lock().expect("the queue").pop() } {
                    let (instrument, tally) = one(&folder, &truth, list);
                    let mut total = total.lock().expect("the tally");
                    add(
                        &mut total[Instrument::ALL.iter().position(|i| *i == instrument).unwrap_or(0)],
                        tally,
                    );
                }
            });
        }
    });
    let total = total.into_inner().expect("the tally");
    let mut all = Tally::default();
    for (instrument, tally) in Instrument::ALL.iter().zip(total) {
        print(&instrument.to_string(), tally);
        add(&mut all, tally);
    }
    print("all", all);
}

fn print(name: &str, t: Tally) {
    let share = |a: usize, b: usize| a as f64 / b.max(1) as f64;
    let (precision, recall) = (share(t.matched, t.found), share(t.matched, t.played));
    println!(
        "{name}: {} takes, {} notes played, F1 {:.3} (precision {precision:.3}, recall {recall:.3}); intervals as written \
         {:.3} of {}; rests {:.3} of {}; right against their own draft {:.3}",
        t.takes,
        t.played,
        2.0 * precision * recall / (precision + recall).max(1e-9),
        share(t.equal, t.intervals),
        t.intervals,
        share(t.rests_equal, t.rests),
        t.rests,
        share(t.own_right, t.own_notes),
    );
}

fn add(to: &mut Tally, t: Tally) {
    *to = Tally {
        takes: to.takes + t.takes,
        played: to.played + t.played,
        found: to.found + t.found,
        matched: to.matched + t.matched,
        intervals: to.intervals + t.intervals,
        equal: to.equal + t.equal,
        rests: to.rests + t.rests,
        rests_equal: to.rests_equal + t.rests_equal,
        own_notes: to.own_notes + t.own_notes,
        own_right: to.own_right + t.own_right,
    };
}

fn one(folder: &Path, path: &Path, list: bool) -> (Instrument, Tally) {
    let truth: Value =
        serde_json::from_str(&std::fs::read_to_string(path).expect("the truth")).expect("JSON");
    let name = |key: &str| truth[key].as_str().expect("a name").to_owned();
    let instrument: Instrument = serde_json::from_value(truth["instrument"].clone()).expect("an instrument");
    let sheet = read_melody(&folder.join(name("score"))).expect("a melody").melody;
    let take = fingertape::decode::read_take(&folder.join(name("audio"))).expect("a take");
    let bpm = truth["bpm"].as_f64().expect("a tempo");
    let heard = listen(&take.samples, Some(instrument));
    let metre = sheet.metre;
    let settings = JotSettings { instrument, a4: A4_ISO16, bpm, metre, key: None, pickup: 0 };
    let draft = draft_from_listening(&heard, &settings);

    // What was really played: time, nearest note, place in the sheet in whole notes if it was the written note.
    let tuning = truth["tuning"]["offset_cents"].as_f64().unwrap_or(0.0) / 100.0;
    let notes = truth["notes"].as_array().expect("notes");
    let mut played: Vec<(f64, i64, Option<usize>)> = notes
        .iter()
        .filter(|note| note["verdict"] != "missing")
        .filter_map(|note| {
            let midi = match note["verdict"] == "right" {
                true => note["written_midi"].as_f64()?,
                false => (note["played_midi"].as_f64()? - tuning).round(),
            };
            Some((note["onset_s"].as_f64()?, midi as i64, note["index"].as_u64().map(|index| index as usize)))
        })
        .collect();
    for extra in truth["extra"].as_array().expect("extra") {
        let midi = extra["played_midi"].as_f64().expect("a pitch") - tuning;
        played.push((extra["onset_s"].as_f64().expect("a time"), midi.round() as i64, None));
    }
    played.sort_by(|a, b| a.0.total_cmp(&b.0));
    let near = 0.25 * 60.0 / bpm;
    let mut partner = vec![None; played.len()];
    for (k, note) in draft.heard.iter().enumerate() {
        let free = (0..played.len()).filter(|&p| partner[p].is_none() && played[p].1 == i64::from(note.midi));
        let close = free.filter(|&p| (played[p].0 - note.onset.0).abs() <= near);
        let best = close.min_by(|&a, &b| {
            (played[a].0 - note.onset.0).abs().total_cmp(&(played[b].0 - note.onset.0).abs())
        });
        match best {
            Some(p) => partner[p] = Some(k),
            None if list => println!("{}: invented {} at {:.2} s", name("take"), note.midi, note.onset.0),
            None => {}
        }
    }
    let mut tally = Tally { takes: 1, played: played.len(), found: draft.heard.len(), ..Tally::default() };
    tally.matched = partner.iter().flatten().count();
    if list {
        for (p, _) in partner.iter().enumerate().filter(|(_, partner)| partner.is_none()) {
            println!("{}: missed {} at {:.2} s", name("take"), played[p].1, played[p].0);
        }
    }
    // Intervals between neighbours of the sheet that were both heard one after the other.
    let jotted: Vec<_> =
        draft.melody.events.iter().filter(|event| matches!(event.kind, EventKind::Note { .. })).collect();
    for (p, pair) in partner.windows(2).enumerate() {
        let ([Some(a), Some(b)], [first, second]) = (pair, [&played[p], &played[p + 1]]) else { continue };
        let (Some(i), Some(j)) = (first.2, second.2) else { continue };
        let between = sheet.events.get(i + 1..j);
        let follows = between.is_some_and(|e| e.iter().all(|e| matches!(e.kind, EventKind::Rest)));
        if *b != a + 1 || !follows {
            continue;
        }
        let (written, drafted) =
            (sheet.events[j].start - sheet.events[i].start, jotted[*b].start - jotted[*a].start);
        tally.intervals += 1;
        tally.equal += usize::from(written == drafted);
        // What was planted in rests is not on the sheet; the others are to come back.
        let kept = truth["rests"]
            .as_array()
            .expect("rests")
            .iter()
            .all(|rest| rest["index"].as_u64() != Some(i as u64 + 1) || rest["verdict"] == "kept");
        if j == i + 2 && kept {
            tally.rests += 1;
            tally.rests_equal +=
                usize::from(jotted[*a].length == sheet.events[i].length && written == drafted);
        }
        if list && written != drafted {
            println!(
                "{}: {:.2} s to {:.2} s is {:.3} of a whole note on the sheet, {:.3} in the draft",
                name("take"),
                first.0,
                second.0,
                as_f64(written),
                as_f64(drafted)
            );
        }
    }
    if !draft.heard.is_empty() {
        let toml = write_toml(&draft.melody);
        let own = read_melody_bytes("draft.toml", toml.as_bytes()).expect("a draft reads back").melody;
        assert!(own.events == draft.melody.events, "{}: {toml}", name("take"));
        let report =
            judge_listening(&take.samples, &heard, &own, &JudgeSettings::for_melody(&own, instrument));
        tally.own_notes = report.notes.len().max(own.soundings().count());
        tally.own_right = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Right).count();
    }
    (instrument, tally)
}
