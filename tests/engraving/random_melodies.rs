//! Random melodies: every written note once, on its place, and no collision.

use crate::{collision, marks, over_the_edge, settings_with_all};
use fingertape::engrave::{Shape, SheetSettings, What, pages_from_melody};
use fingertape::notation::{
    Bar, Clef, Instrument, Item, Key, Length, Letter, Melody, Metre, Sheet, Spelling, WrittenValue,
};
use proptest::prelude::*;

#[derive(Debug, Clone)]
pub struct Piece {
    fifths: i32,
    clef: Clef,
    instrument: Instrument,
    metre: Metre,
    bars: Vec<Vec<Drawn>>,
}

/// A length by its place in `LENGTHS`; steps from the middle line, `None` for a rest; an alteration; a tie.
type Drawn = (usize, Option<i32>, i8, bool);

pub fn pieces() -> impl Strategy<Value = Piece> {
    let item = (0usize..10, prop::option::weighted(0.85, -9i32..=9), -2i8..=2, prop::bool::weighted(0.15));
    (
        -7i32..=7,
        prop::sample::select(vec![Clef::Treble, Clef::Alto, Clef::Tenor, Clef::Bass]),
        prop::sample::select(Instrument::ALL.to_vec()),
        prop::sample::select(vec![(4u32, 4u32), (3, 4), (2, 4), (6, 8), (5, 8), (2, 2), (12, 8)]),
        prop::collection::vec(prop::collection::vec(item, 1..18), 1..14),
    )
        .prop_map(|(fifths, clef, instrument, (beats, unit), bars)| Piece {
            fifths,
            clef,
            instrument,
            metre: Metre::new(beats, unit).expect("a metre"),
            bars,
        })
}

/// In sixteenths: whole down to sixteenth, dotted ones, and five, which needs two symbols.
const LENGTHS: [i64; 10] = [1, 1, 2, 2, 3, 4, 4, 6, 8, 5];

pub fn melody(piece: &Piece) -> Melody {
    let letters = Letter::ALL;
    let mut bars = Vec::new();
    for (number, drawn) in piece.bars.iter().enumerate() {
        let full = piece.metre.bar();
        let mut left = full;
        let mut items: Vec<Item> = Vec::new();
        for &(length, step, alter, tied) in drawn.iter().cycle() {
            let length = Length::new(LENGTHS[length], 16).min(left);
            left -= length;
            let pitch = step.map(|step| {
                let at = piece.clef.middle_line() + step;
                Spelling { letter: letters[at.rem_euclid(7) as usize], alter, octave: at.div_euclid(7) as i8 }
            });
            // A tie leads to the same pitch.
            let pitch = match items.last() {
                Some(last) if last.tied => last.pitch,
                _ => pitch,
            };
            items.push(Item {
                length,
                pitch,
                tied: tied && pitch.is_some() && left > Length::from_integer(0),
                finger: None,
            });
            if left <= Length::from_integer(0) {
                break;
            }
        }
        bars.push(Bar {
            number: number as u32 + 1,
            offset: Length::from_integer(0),
            metre: piece.metre,
            key: Key::new(piece.fifths).expect("a key"),
            items,
        });
    }
    Melody {
        title: Some("A random one".to_owned()),
        instrument: Some(piece.instrument),
        bpm: Some(90.0),
        a4: None,
        metre: piece.metre,
        events: Vec::new(),
        sheet: Sheet { composer: None, clef: Some(piece.clef), says_sounding: false, bars },
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_written_note_stands_once_on_its_own_height(piece in pieces()) {
        let melody = melody(&piece);
        let engraved = pages_from_melody(&melody, &SheetSettings::default());
        let items: Vec<&Item> = melody.sheet.bars.iter().flat_map(|bar| &bar.items).collect();
        let mut heads = vec![0usize; items.len()];
        let mut rests = vec![0usize; items.len()];
        let mut dots = vec![0usize; items.len()];
        let (mut top, mut lines) = (f64::NAN, 0);
        let mut furthest = 0;
        for mark in marks(&engraved) {
            if mark.what == What::StaffLine {
                if lines % 5 == 0 {
                    top = (mark.bounds()[1] + mark.bounds()[3]) / 2.0;
                }
                lines += 1;
            }
            let (Some(item), Shape::Glyph { y, .. }) = (mark.item, &mark.shape) else { continue };
            match mark.what {
                What::NoteHead => {
                    heads[item] += 1;
                    let pitch = items[item].pitch.expect("a head for a note");
                    let height = 2.0 - f64::from(pitch.staff_step() - piece.clef.middle_line()) / 2.0;
                    prop_assert!((y - top - height).abs() < 1e-9, "{pitch} at {}", y - top);
                    prop_assert!(item >= furthest, "left to right, line by line");
                    furthest = item;
                }
                What::Rest => rests[item] += 1,
                What::Dot => dots[item] += 1,
                _ => {}
            }
        }
        for (place, item) in items.iter().enumerate() {
            let written = WrittenValue::of(item.length);
            let symbols = written.map_or_else(|| WrittenValue::tied_sum(item.length).expect("a sum").len(), |_| 1);
            let expected = if item.pitch.is_some() { (symbols, 0) } else { (0, symbols) };
            let whole_bar = item.length == piece.metre.bar();
            prop_assert_eq!((heads[place], if whole_bar { expected.1 } else { rests[place] }), expected);
            if let (Some(written), false) = (written, whole_bar && item.pitch.is_none()) {
                prop_assert_eq!(dots[place], usize::from(written.dots));
            }
        }
    }

    #[test]
    fn nothing_collides_on_the_sheet_of_any_melody(piece in pieces(), staff_mm in 4.0f64..14.0, texts in any::<bool>()) {
        let texts = if texts { settings_with_all() } else { SheetSettings::default() };
        let engraved = pages_from_melody(&melody(&piece), &SheetSettings { staff_mm, ..texts });
        prop_assert_eq!(collision(&engraved), None);
        prop_assert_eq!(over_the_edge(&engraved), None);
    }
}
