//! Real single notes against the reference that `reference.py` wrote.

use std::collections::BTreeMap;
use std::path::Path;

use fingertape::notation::Instrument;
use fingertape::pitch::{TrackerSettings, contour};
use fingertape::samples::Samples;
use fingertape::units::{Hertz, SampleRate};

use crate::score::Score;
use crate::tones::{self, Random};

const RATE: SampleRate = SampleRate(44_100);

/// A row of the reference.
struct Row {
    note: Hertz,
    frame: Option<Hertz>,
    sounding: bool,
    others: [Option<Hertz>; 2],
}

/// What is done to a recording before it is tracked.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Spoiling {
    None,
    Pink15,
    Phone15,
    Room,
}

pub fn run(errors: bool) {
    for spoiling in [Spoiling::None, Spoiling::Pink15, Spoiling::Phone15, Spoiling::Room] {
        run_spoilt(errors, spoiling);
    }
}

fn run_spoilt(errors: bool, spoiling: Spoiling) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/outside/pitch_reference");
    let Ok(entries) = std::fs::read_dir(&folder) else {
        println!("REAL: no reference; run tests/pitch_accuracy/reference.py");
        return;
    };
    let mut tables: Vec<_> = entries
        .flatten()
        .map(|one| one.path())
        .filter(|one| one.extension().is_some_and(|e| e == "csv"))
        .collect();
    tables.sort();
    let mut groups: BTreeMap<&str, [Score; 4]> = BTreeMap::new();
    let mut trusted = [(); 3].map(|()| Score::default());
    let every = if spoiling == Spoiling::None { 1 } else { 3 };
    for (number, table) in tables.iter().enumerate().step_by(every) {
        let name = table.file_stem().unwrap().to_string_lossy().into_owned();
        let rows = read(table);
        let instrument = match &name {
            one if one.contains("violin") => Instrument::Violin,
            one if one.contains("viola") => Instrument::Viola,
            one if one.contains("cello") => Instrument::Cello,
            _ => Instrument::Bass,
        };
        let mono = std::fs::read(table.with_extension("f32")).unwrap();
        let mono: Vec<f32> =
            mono.chunks_exact(4).map(|four| f32::from_le_bytes(four.try_into().unwrap())).collect();
        let mono = spoilt(&mono, spoiling, number as u64);
        let samples = Samples { mono, rate: RATE };
        let line = contour(&samples, TrackerSettings::for_instrument(RATE, Some(instrument)));
        let any = contour(&samples, TrackerSettings::for_instrument(RATE, None));
        let heard: Vec<Vec<Option<Hertz>>> = vec![
            line.frames.iter().map(|one| one.pitch).collect(),
            any.frames.iter().map(|one| one.pitch).collect(),
            rows.iter().map(|row| row.others[0]).collect(),
            rows.iter().map(|row| row.others[1]).collect(),
        ];
        let low = instrument == Instrument::Bass && rows[0].note.0 < 63.5;
        for (who, heard) in heard.iter().enumerate() {
            let pairs = |want: &dyn Fn(&Row) -> Option<Hertz>| -> Vec<(Option<Hertz>, Hertz)> {
                rows.iter().zip(heard).filter_map(|(row, &one)| want(row).map(|truth| (one, truth))).collect()
            };
            let sounding = pairs(&|row| row.sounding.then_some(row.note));
            let note = groups.entry("all").or_default()[who].note(&sounding);
            groups.entry(if low { "low bass" } else { "rest" }).or_default()[who].note(&sounding);
            if errors && who == 0 && note.worth_showing() {
                println!("    {name}: {note}");
            }
            if let Some(score) = trusted.get_mut(who) {
                score.note(&pairs(&|row| row.frame));
            }
        }
    }
    println!(
        "REAL, {} notes, {spoiling:?} (pYIN and Praat: unspoilt, told the pitch within four semitones)",
        tables.len()
    );
    println!("group     who            R50    gross   octave  unvoiced  notes lost");
    for (group, scores) in &groups {
        for (who, score) in ["ours", "ours, any", "pYIN (told)", "Praat (told)"].iter().zip(scores) {
            println!(
                "{group:<9} {who:<12} {:>6.2} {:>7.2} {:>7.2} {:>9.2} {:>6}",
                score.within(50.0),
                score.gross(),
                score.octave(),
                score.unvoiced(),
                score.lost()
            );
        }
    }
    for (who, score) in ["ours", "ours, any"].iter().zip(&trusted) {
        println!(
            "trusted   {who:<12} R50 {:.2} R10 {:.2} R5 {:.2}",
            score.within(50.0),
            score.within(10.0),
            score.within(5.0)
        );
    }
}

fn spoilt(mono: &[f32], spoiling: Spoiling, seed: u64) -> Vec<f32> {
    let mut random = Random::new(9000 + seed);
    let rate = RATE.hertz();
    let mut wide: Vec<f64> = mono.iter().map(|&one| f64::from(one)).collect();
    match spoiling {
        Spoiling::None => {}
        Spoiling::Pink15 | Spoiling::Phone15 => {
            if spoiling == Spoiling::Phone15 {
                wide = tones::high_pass(&wide, 220.0, rate);
            }
            let noise = tones::pink(&mut random, wide.len());
            let gain = tones::rms(&wide) / 10f64.powf(15.0 / 20.0);
            tones::add(&mut wide, &noise, gain);
        }
        Spoiling::Room => wide = tones::in_a_room(&mut random, &wide, rate, 0.5),
    }
    wide.iter().map(|&one| one as f32).collect()
}

fn read(table: &Path) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(table).unwrap();
    reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            let number = |at: usize| record[at].parse::<f64>().ok().map(Hertz);
            Row {
                note: number(1).unwrap(),
                frame: number(2),
                sounding: &record[3] == "1",
                others: [number(4), number(5)],
            }
        })
        .collect()
}
