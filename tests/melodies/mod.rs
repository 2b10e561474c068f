//! Melodies in first position, random and given ones, for the tests of whole commands, of the whole chain and of what is
//! written.
#![allow(dead_code, reason = "each test uses what it needs")]

use fingertape::findings::{NoteVerdict, Outcome, Report, RestVerdict};
use fingertape::formats::{read_melody_bytes, write_toml};
use fingertape::notation::{Bar, EventKind, Instrument, Item, Key, Length, Melody, Metre, Sheet, Spelling};
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::samples::Samples;
use fingertape::sound::{LineSettings, Passage, bowed_line};
use fingertape::units::{Hertz, SampleRate};
use proptest::prelude::*;

/// Lengths in sixteenths that bars are filled with, from eighths to dotted halves.
const SIXTEENTHS: [i64; 6] = [2, 4, 4, 6, 8, 12];

/// One symbol: which length, which semitone of first position (`None` for a rest), a tie, a finger.
type Symbol = (usize, Option<usize>, bool, bool);

/// A melody for one of the four in first position, with rests, dots, ties over the bar line, a pickup,
/// any usual metre and key, sometimes printed fingers (the usual ones). It is what its own TOML says.
pub fn melodies(fingers: bool) -> impl Strategy<Value = Melody> {
    let symbol = (
        0..SIXTEENTHS.len(),
        proptest::option::weighted(0.85, 0..64_usize),
        proptest::bool::weighted(0.15),
        proptest::bool::weighted(if fingers { 0.3 } else { 0.0 }),
    );
    let header = (
        proptest::sample::select(Instrument::ALL.to_vec()),
        proptest::sample::select(vec![(4, 4), (3, 4), (2, 4), (6, 8)]),
        (-4..=5_i32, any::<bool>()),
        proptest::option::of(56..130_u32),
        proptest::option::of("[A-Z][a-z]{1,8}( [a-z]{2,6})?"),
        any::<bool>(),
    );
    (header, proptest::collection::vec(symbol, 4..28)).prop_map(|(header, symbols)| {
        let (instrument, (beats, unit), (fifths, minor), bpm, title, pickup) = header;
        let metre = Metre::new(beats, unit).expect("a metre");
        let key = Key { minor, ..Key::new(fifths).expect("a key") };
        let mut melody = Melody {
            title,
            instrument: Some(instrument),
            bpm: bpm.map(f64::from),
            a4: None,
            metre,
            events: Vec::new(),
            sheet: Sheet { bars: bars(instrument, metre, key, pickup, &symbols), ..Sheet::default() },
        };
        if melody.sheet.bars.iter().flat_map(|bar| &bar.items).all(|item| item.pitch.is_none()) {
            melody.sheet.bars[0].items[0].pitch = Some(pitch(instrument, key, 2));
        }
        again(&melody)
    })
}

/// Four bars of quarters without a rest, of which every third or so is the one before again.
pub fn repeats() -> impl Strategy<Value = Melody> {
    let header = (proptest::sample::select(Instrument::ALL.to_vec()), 56..130_u32, 0..64_usize);
    let step = prop_oneof![3 => Just(0_i32), 1 => Just(-3), 2 => Just(-2), 2 => Just(2), 1 => Just(4)];
    (header, proptest::collection::vec(step, 15)).prop_map(|((instrument, bpm, first), steps)| {
        let key = Key::new(0).expect("a key");
        let (low, high) = (instrument.open_strings()[0], instrument.highest_in_first_position());
        let mut sounding = low + first as i32 % (high - low + 1);
        let mut notes = vec![sounding];
        for step in steps {
            sounding =
                if (low..=high).contains(&(sounding + step)) { sounding + step } else { sounding - step };
            notes.push(sounding);
        }
        let named =
            |sounding: &i32| Spelling::from_midi(sounding - instrument.sounding_shift(), key).to_string();
        let bar = |bar: &[i32]| {
            format!("{} q {}", named(&bar[0]), bar[1..].iter().map(named).collect::<Vec<_>>().join(" "))
        };
        let bars: Vec<String> = notes.chunks(4).map(bar).collect();
        let toml = format!(
            "instrument = \"{}\"\nmetre = \"4/4\"\nbpm = {bpm}\nbars = \"\"\"\n{}\n\"\"\"\n",
            instrument.name(),
            bars.join("\n")
        );
        read_melody_bytes("repeats.toml", toml.as_bytes())
            .unwrap_or_else(|error| panic!("{error}\n{toml}"))
            .melody
    })
}

/// A melody played as it is written, as many beats a minute; a bar is counted in where `count_in` says so.
pub fn played(melody: &Melody, bpm: f64, count_in: bool, rate: SampleRate) -> Samples {
    let settings = LineSettings {
        instrument: melody.instrument.expect("an instrument"),
        bpm,
        beat: melody.metre.beat(),
        a4: Hertz(440.0),
        volume: 0.25,
        count_in,
        metronome: false,
        times: 1,
    };
    bowed_line(&Passage::new(melody, None, None).expect("bars"), &settings, rate)
}

/// The melody as its own TOML is read.
pub fn again(melody: &Melody) -> Melody {
    let toml = write_toml(melody);
    read_melody_bytes("again.toml", toml.as_bytes()).unwrap_or_else(|error| panic!("{error}\n{toml}")).melody
}

fn pitch(instrument: Instrument, key: Key, place: usize) -> Spelling {
    let (low, high) = (instrument.open_strings()[0], instrument.highest_in_first_position());
    let sounding = low + place as i32 % (high - low + 1);
    Spelling::from_midi(sounding - instrument.sounding_shift(), key)
}

fn bars(instrument: Instrument, metre: Metre, key: Key, pickup: bool, symbols: &[Symbol]) -> Vec<Bar> {
    let zero = Length::from_integer(0);
    let mut offset = if pickup { metre.bar() - metre.beat() } else { zero };
    let mut number = u32::from(!pickup);
    let mut symbols = symbols.iter().peekable();
    let mut bars = Vec::new();
    // A tied note goes on in the next symbol.
    let mut tied_from: Option<Spelling> = None;
    while symbols.peek().is_some() {
        let mut items: Vec<Item> = Vec::new();
        let mut left = metre.bar() - offset;
        while left > zero {
            let Some(&(length, place, tie, finger)) = symbols.next() else {
                items.push(Item { length: left, pitch: None, tied: false, finger: None });
                break;
            };
            let length = Length::new(SIXTEENTHS[length], 16).min(left);
            let new = place.map(|place| pitch(instrument, key, place));
            let pitch = tied_from.take().or(new);
            let tied = tie && pitch.is_some() && symbols.peek().is_some();
            tied_from = pitch.filter(|_| tied);
            let usual = pitch.and_then(|pitch| {
                let sounding = pitch.midi() + instrument.sounding_shift();
                instrument.fingerings(sounding).first().map(|way| way.finger)
            });
            items.push(Item { length, pitch, tied, finger: usual.filter(|_| finger) });
            left -= length;
        }
        bars.push(Bar { number, offset, metre, key, items });
        number += 1;
        offset = zero;
    }
    bars
}

/// Sounding numbers with start and length.
pub fn sounds(melody: &Melody) -> Vec<(Length, Length, Option<i32>)> {
    let sounding = |kind| match kind {
        EventKind::Note { sounding, .. } => Some(sounding),
        EventKind::Rest => None,
    };
    melody.events.iter().map(|event| (event.start, event.length, sounding(event.kind))).collect()
}

/// A melody in D and 4/4: an instrument, and bars as they stand in a file.
pub fn in_d(instrument: &str, bars: &str) -> Melody {
    let toml = format!(
        "instrument = \"{instrument}\"\nmetre = \"4/4\"\nkey = \"D\"\nbars = \"\"\"\n{bars}\n\"\"\"\n"
    );
    read_melody_bytes("melody.toml", toml.as_bytes()).unwrap_or_else(|error| panic!("{error}")).melody
}

/// What the chain says of a take of a melody at a set tempo.
pub fn judged(sound: &Samples, melody: &Melody, bpm: f64) -> Report {
    let settings = JudgeSettings {
        bpm: Some(bpm),
        ..JudgeSettings::for_melody(melody, melody.instrument.expect("one"))
    };
    pipeline::judge(sound, melody, &settings)
}

/// Every note is right, every rest kept, and nothing else was played.
pub fn assert_all_as_written(report: &Report, what: &str) {
    assert_eq!(report.outcome, Outcome::Judged, "{what}");
    let other: Vec<_> = report.notes.iter().filter(|note| note.verdict != NoteVerdict::Right).collect();
    let rests: Vec<_> = report.rests.iter().filter(|rest| rest.verdict != RestVerdict::Kept).collect();
    assert!(other.is_empty() && rests.is_empty(), "{what}: {other:?} {rests:?}");
    assert!(report.extra.is_empty() && report.restarts.is_empty(), "{what}: {:?}", report.extra);
}
