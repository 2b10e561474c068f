//! Random melodies through every format and back: the same events.

use fingertape::formats::{read_melody_bytes, write_abc, write_musicxml, write_mxl, write_toml};
use fingertape::notation::{Bar, Instrument, Item, Key, Length, Letter, Melody, Metre, Spelling};
use proptest::prelude::*;

const METRES: [(u32, u32); 5] = [(2, 4), (3, 4), (4, 4), (6, 8), (5, 4)];

/// Lengths from sixteenths to wholes, dotted and in triplets.
const LENGTHS: [(i64, i64); 12] =
    [(1, 16), (1, 8), (3, 16), (1, 4), (3, 8), (1, 2), (3, 4), (1, 1), (1, 12), (1, 6), (1, 24), (5, 16)];

/// Which length; which letter, accidental and octave above the lowest, if a note; tied or not; finger.
type Symbol = (usize, Option<(usize, i8, i8)>, bool, Option<u8>);

#[derive(Debug, Clone)]
struct Plan {
    instrument: Option<Instrument>,
    metre: Metre,
    key: Key,
    bpm: Option<u32>,
    title: Option<String>,
    pickup: bool,
    symbols: Vec<Symbol>,
}

fn plan() -> impl Strategy<Value = Plan> {
    let symbol = (
        0..LENGTHS.len(),
        proptest::option::weighted(0.85, (0..7_usize, -1..=1_i8, 0..=1_i8)),
        proptest::bool::weighted(0.2),
        proptest::option::weighted(0.2, 0..=4_u8),
    );
    let header = (
        proptest::option::weighted(0.9, proptest::sample::select(Instrument::ALL.to_vec())),
        proptest::sample::select(METRES.to_vec()),
        (-7..=7_i32, any::<bool>()),
        proptest::option::of(20..300_u32),
        proptest::option::of(r#"[a-z][a-zA-Z0-9&<>'"%\\é♯]{0,10}( [a-z]+)?"#),
        any::<bool>(),
    );
    (header, proptest::collection::vec(symbol, 1..40)).prop_map(|(header, symbols)| {
        let (instrument, (beats, unit), (fifths, minor), bpm, title, pickup) = header;
        let key = Key { minor, ..Key::new(fifths).unwrap() };
        Plan { instrument, metre: Metre::new(beats, unit).unwrap(), key, bpm, title, pickup, symbols }
    })
}

/// The bars of a plan: each is filled with the next symbols, cut at the bar line.
fn bars(plan: &Plan) -> Vec<Bar> {
    let octave = match plan.instrument {
        Some(Instrument::Cello) => 2,
        Some(Instrument::Bass) => 2,
        Some(Instrument::Viola) => 3,
        _ => 4,
    };
    let full = plan.metre.bar();
    let mut bars = Vec::new();
    let mut offset = if plan.pickup { full - plan.metre.beat() } else { Length::from_integer(0) };
    let mut number = u32::from(!plan.pickup);
    let mut symbols = plan.symbols.iter().peekable();
    while symbols.peek().is_some() {
        let mut items: Vec<Item> = Vec::new();
        let mut left = full - offset;
        while left > Length::from_integer(0) {
            let Some(&&(length, pitch, tied, finger)) = symbols.peek() else {
                items.push(Item { length: left, pitch: None, tied: false, finger: None });
                break;
            };
            symbols.next();
            let length = Length::new(LENGTHS[length].0, LENGTHS[length].1).min(left);
            let pitch = pitch.map(|(letter, alter, up)| Spelling {
                letter: Letter::ALL[letter],
                alter,
                octave: octave + up + i8::from(letter < 4),
            });
            left -= length;
            items.push(Item {
                length,
                pitch,
                tied: tied && pitch.is_some(),
                finger: finger.filter(|_| pitch.is_some()),
            });
        }
        bars.push(Bar { number, offset, metre: plan.metre, key: plan.key, items });
        number += 1;
        offset = Length::from_integer(0);
    }
    bars
}

/// A melody with its events, made by reading what the TOML writer gives for the bars.
fn melody(plan: &Plan) -> Option<Melody> {
    let bars = bars(plan);
    bars.iter().flat_map(|bar| &bar.items).find(|item| item.pitch.is_some())?;
    let sheet = fingertape::notation::Sheet { bars, ..Default::default() };
    let melody = Melody {
        title: plan.title.clone(),
        instrument: plan.instrument,
        bpm: plan.bpm.map(f64::from),
        a4: None,
        metre: plan.metre,
        events: Vec::new(),
        sheet,
    };
    let toml = write_toml(&melody);
    let read =
        read_melody_bytes("plan.toml", toml.as_bytes()).unwrap_or_else(|error| panic!("{error}\n{toml}"));
    Some(read.melody)
}

/// What the plan itself says: note lengths summed over ties, in quarter notes, by hand.
fn expected(plan: &Plan) -> Vec<(Option<i32>, Length)> {
    let shift = plan.instrument.map_or(0, Instrument::sounding_shift);
    let mut out: Vec<(Option<i32>, Length)> = Vec::new();
    let mut tie = false;
    for item in bars(plan).iter().flat_map(|bar| bar.items.clone()) {
        let sounding = item.pitch.map(|pitch| pitch.midi() + shift);
        match out.last_mut() {
            Some((last, length)) if tie && sounding.is_some() && *last == sounding => *length += item.length,
            _ => out.push((sounding, item.length)),
        }
        tie = item.tied;
    }
    out
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn every_format_gives_back_the_same_events(plan in plan()) {
        let Some(melody) = melody(&plan) else { return Ok(()) };
        let flat: Vec<_> = melody.events.iter().map(|event| {
            let sounding = match event.kind {
                fingertape::notation::EventKind::Note { sounding, .. } => Some(sounding),
                fingertape::notation::EventKind::Rest => None,
            };
            (sounding, event.length)
        }).collect();
        prop_assert_eq!(flat, expected(&plan));
        for (name, bytes) in [
            ("a.toml", write_toml(&melody).into_bytes()),
            ("a.abc", write_abc(&melody).into_bytes()),
            ("a.musicxml", write_musicxml(&melody).into_bytes()),
            ("a.mxl", write_mxl(&melody)),
        ] {
            let again = read_melody_bytes(name, &bytes);
            prop_assert!(again.is_ok(), "{}: {}\n{}", name, again.unwrap_err(), String::from_utf8_lossy(&bytes));
            let again = again.unwrap().melody;
            prop_assert_eq!(&again.events, &melody.events, "{}\n{}", name, String::from_utf8_lossy(&bytes));
            prop_assert_eq!(again.bpm, melody.bpm);
            prop_assert_eq!(again.metre, melody.metre);
            prop_assert_eq!(again.sheet.key(), melody.sheet.key());
            if melody.instrument.is_some() {
                prop_assert_eq!(again.instrument, melody.instrument);
            }
            if name != "a.abc" {
                prop_assert_eq!(&again.title, &melody.title);
            }
        }
    }
}
