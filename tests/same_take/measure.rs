//! How often a verdict depends on what is not playing: gain, offset, rate, silence around the take, key, tempo.
//!
//! `cargo run --profile quick --example same_take -- [--list] [--only TEXT] made COUNT | TAKES` judges every take in
//! every shape (or in those whose name contains the text) and counts what is said otherwise than of the take as it is.

#[path = "../made_takes/mod.rs"]
#[allow(dead_code, reason = "only what takes are made of is needed")]
mod made_takes;
#[path = "mod.rs"]
mod same_take;

use fingertape::findings::Report;
use fingertape::units::SampleRate;
use same_take::{
    Take, at_another_rate, louder, performed_at_another_tempo, performed_higher, resampled, said, shifted,
    with_silence,
};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Mutex;

/// What a shape changed.
#[derive(Default)]
struct Changed {
    takes: usize,
    notes: usize,
    rests: usize,
    changed_notes: usize,
    to_or_from_unsure: usize,
    changed_rests: usize,
    others: usize,
    outcomes: usize,
    cents: Vec<f64>,
    cents_lost_or_found: usize,
    list: Vec<String>,
}

fn main() {
    let mut words: Vec<String> = std::env::args().skip(1).collect();
    let list = words.iter().any(|word| word == "--list");
    words.retain(|word| word != "--list");
    let only = words.iter().position(|word| word == "--only").map(|at| {
        words.remove(at);
        words.remove(at)
    });
    let rate = SampleRate(48_000);
    let takes = match words.first().map(String::as_str) {
        None => panic!("say `made COUNT`, or a folder of the take maker"),
        Some("made") => same_take::made(words[1].parse().expect("a number"), rate),
        Some(folder) => same_take::real(Path::new(folder)),
    };
    let table: Mutex<BTreeMap<String, Changed>> = Mutex::default();
    let queue = Mutex::new(takes.iter());
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while let Some(take) = { queue.lock().expect("the queue").next() } {
                    one(take, only.as_deref().unwrap_or(""), &table);
                }
            });
        }
    });
    println!(
        "{:34} takes notes  changed (unsure)  rests  changed  others  outcomes  cents p95  most  lost",
        ""
    );
    for (shape, mut changed) in table.into_inner().expect("the table") {
        changed.cents.sort_by(f64::total_cmp);
        let at = |share: f64| {
            let last = changed.cents.len().saturating_sub(1);
            changed.cents.get((last as f64 * share) as usize).copied().unwrap_or(0.0)
        };
        println!(
            "{shape:34} {:5} {:5} {:8} {:8}  {:5} {:8} {:7} {:9} {:10.3} {:6.3} {:4}",
            changed.takes,
            changed.notes,
            changed.changed_notes,
            changed.to_or_from_unsure,
            changed.rests,
            changed.changed_rests,
            changed.others,
            changed.outcomes,
            at(0.95),
            at(1.0),
            changed.cents_lost_or_found,
        );
        if list {
            changed.list.sort();
            changed.list.iter().for_each(|line| println!("    {line}"));
        }
    }
}

fn one(take: &Take, only: &str, table: &Mutex<BTreeMap<String, Changed>>) {
    let plain = take.judged();
    let add = |shape: &str, judge: &dyn Fn() -> Report, semitones: i32| {
        if shape.contains(only) {
            let other = judge();
            compare(&mut table.lock().expect("the table"), take, shape, &plain, &other, semitones);
        }
    };
    // From 0 dB: the take as loud as it can be.
    let peak = take.samples.mono.iter().fold(1e-9_f32, |top, one| top.max(one.abs()));
    let loud = louder(&take.samples, -20.0 * f64::from(peak).log10());
    for db in [-40.0, -20.0, 0.0] {
        add(&format!("gain {db} dB"), &|| take.judged_as(&louder(&loud, db)), 0);
    }
    for offset in [0.02, -0.1] {
        add(&format!("offset {offset}"), &|| take.judged_as(&shifted(&take.samples, offset)), 0);
    }
    for rate in [22_050, 32_000, 44_100, 48_000, 96_000] {
        add(&format!("rate {rate:6}"), &|| take.judged_as(&resampled(&take.samples, rate)), 0);
    }
    for (before, after) in [(1.0, 0.0), (0.0, 1.0), (5.0, 5.0), (0.3, 30.0)] {
        for (kind, room) in [("digital silence", 0.0), ("room", room(take))] {
            let padded = || take.judged_as(&with_silence(&take.samples, before, after, room));
            add(&format!("{kind} {before}, {after}"), &padded, 0);
        }
    }
    for semitones in [-2, -1, 1, 2, 5] {
        if let Some(other) = at_another_rate(take, semitones) {
            add(&format!("rate and melody {semitones:+}"), &|| other.judged(), semitones);
        }
        if let Some(other) = performed_higher(take, semitones) {
            add(&format!("performed {semitones:+}"), &|| other.judged(), semitones);
        }
    }
    for faster in [0.95, 1.05] {
        if let Some(other) = performed_at_another_tempo(take, faster) {
            add(&format!("tempo {faster}"), &|| other.judged(), 0);
        }
    }
}

/// The peak of an even noise as strong as the quietest 50 ms of a take.
fn room(take: &Take) -> f64 {
    let frame = (0.05 * take.samples.rate.hertz()) as usize;
    let power =
        |part: &[f32]| part.iter().map(|one| f64::from(*one).powi(2)).sum::<f64>() / part.len() as f64;
    let quietest = take.samples.mono.chunks_exact(frame).map(power).fold(1.0, f64::min);
    (3.0 * quietest).sqrt()
}

fn compare(
    table: &mut BTreeMap<String, Changed>,
    take: &Take,
    shape: &str,
    plain: &Report,
    other: &Report,
    semitones: i32,
) {
    let changed = table.entry(shape.to_owned()).or_default();
    let (one, two) = (said(plain, 0), said(other, semitones));
    changed.takes += 1;
    changed.outcomes += usize::from(one.outcome != two.outcome);
    if one.outcome == two.outcome {
        for (note, again) in plain.notes.iter().zip(&other.notes) {
            changed.notes += 1;
            if note.verdict != again.verdict {
                changed.changed_notes += 1;
                let words = format!("{:?}{:?}", note.verdict, again.verdict);
                changed.to_or_from_unsure += usize::from(words.contains("Unsure"));
            }
            match (note.cents, again.cents) {
                (Some(one), Some(two)) if note.verdict == again.verdict => {
                    changed.cents.push((one - two).abs())
                }
                (None, None) => {}
                _ => changed.cents_lost_or_found += 1,
            }
        }
        changed.rests += plain.rests.len();
        changed.changed_rests +=
            plain.rests.iter().zip(&other.rests).filter(|(a, b)| a.verdict != b.verdict).count();
        changed.others += usize::from(one.extra != two.extra) + usize::from(one.restarts != two.restarts);
    }
    changed.list.extend(one.differences(&two).into_iter().map(|line| format!("{}: {line}", take.name)));
}
