//! Real single notes against the reference that `reference.py` wrote.

use std::collections::BTreeMap;
use std::path::Path;

use fingertape::notation::Instrument;
use fingertape::pitch::{TrackerSettings, contour};
use fingertape::samples::Samples;
use fingertape::units::{Hertz, SampleRate};

use crate::score::Score;

const RATE: SampleRate = SampleRate(44_100);

/// A row of the reference.
struct Row {
    note: Hertz,
    frame: Option<Hertz>,
    sounding: bool,
    others: [Option<Hertz>; 2],
}

pub fn run(errors: bool) {
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
    for table in &tables {
        let name = table.file_stem().unwrap().to_string_lossy().into_owned();
        let rows = read(table);
        let instrument = match &name {
            one if one.contains("violin") => Instrument::Violin,
            one if one.contains("viola") => Instrument::Viola,
            one if one.contains("cello") => Instrument::Cello,
            _ => Instrument::Bass,
        };
        let mono = std::fs::read(table.with_extension("f32")).unwrap();
        let mono = mono.chunks_exact(4).map(|four| f32::from_le_bytes(four.try_into().unwrap())).collect();
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
    println!("REAL, {} notes (pYIN and Praat were told the pitch within four semitones)", tables.len());
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
