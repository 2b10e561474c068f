//! Clef, key signature and time signature: their glyphs and how wide they are together.

use super::drawing::{Mark, What};
use super::glyph::Glyph;
use crate::notation::{Clef, Key, Letter, Metre};

/// From the left end of the staff to the clef, from the clef to what follows it, and from a signature to what follows
/// it (common practice: half a space, then about one).
const BEFORE_CLEF: f64 = 0.6;
const AFTER: f64 = 0.9;

/// The height on the staff of a step: 0 the top line, 4 the bottom line.
pub(super) fn height(clef: Clef, step: i32) -> f64 {
    2.0 - f64::from(step - clef.middle_line()) / 2.0
}

/// Steps above the middle line of the sharps in the treble clef, F C G D A E B, and of the flats, B E A D G C F (common
/// practice; Ross, *The Art of Music Engraving and Processing*, on key signatures). Alto and bass have the same
/// pattern lower; the tenor's sharps start an octave down so that they stay on the staff.
const SHARPS: [i32; 7] = [4, 1, 5, 2, -1, 3, 0];
const SHARPS_OF_TENOR: [i32; 7] = [-2, 2, -1, 3, 0, 4, 1];
const FLATS: [i32; 7] = [0, 3, -1, 2, -2, 1, -3];
const ORDER: [Letter; 7] = [Letter::F, Letter::C, Letter::G, Letter::D, Letter::A, Letter::E, Letter::B];

/// Where the accidentals of a key stand: which, and how high.
fn places(key: Key, clef: Clef) -> Vec<(Letter, f64)> {
    let sharps = if clef == Clef::Tenor { SHARPS_OF_TENOR } else { SHARPS };
    // The same letters lie one step lower in the alto clef, two in the bass clef, one higher in the tenor's flats.
    let lower = match clef {
        Clef::Treble => 0,
        Clef::Alto => 1,
        Clef::Bass => 2,
        Clef::Tenor => -1,
    };
    let count = usize::from(key.fifths.unsigned_abs()).min(7);
    (0..count)
        .map(|place| {
            let (letter, steps) = if key.fifths > 0 {
                (ORDER[place], sharps[place] - if clef == Clef::Tenor { 0 } else { lower })
            } else {
                (ORDER[6 - place], FLATS[place] - lower)
            };
            (letter, 2.0 - f64::from(steps) / 2.0)
        })
        .collect()
}

/// The clef from `x` on; the place after it.
pub(super) fn draw_clef(clef: Clef, x: f64, marks: &mut Vec<Mark>) -> f64 {
    let glyph = Glyph::of_clef(clef);
    let line = match clef {
        Clef::Treble => 3.0,
        Clef::Alto => 2.0,
        Clef::Tenor | Clef::Bass => 1.0,
    };
    marks.push(Mark::glyph(What::Clef, glyph, x + BEFORE_CLEF, line));
    x + BEFORE_CLEF + glyph.width() + AFTER
}

/// A key signature from `x` on, the naturals that cancel `old` where nothing else does; the place after it.
pub(super) fn draw_key(key: Key, old: Option<Key>, clef: Clef, x: f64, marks: &mut Vec<Mark>) -> f64 {
    let mut at = x;
    // Naturals only where the new signature has no accidentals (common practice today).
    if let (0, Some(old)) = (key.fifths, old) {
        for (_, y) in places(old, clef) {
            marks.push(Mark::glyph(What::KeySignature, Glyph::Natural, at, y));
            at += Glyph::Natural.width() + 0.15;
        }
    }
    for (letter, y) in places(key, clef) {
        let glyph = Glyph::of_alter(key.alter(letter));
        marks.push(Mark::glyph(What::KeySignature, glyph, at, y));
        at += glyph.width() + 0.08;
    }
    if at > x { at + AFTER } else { at }
}

/// A time signature from `x` on, the numbers centred over each other; the place after it.
pub(super) fn draw_metre(metre: Metre, x: f64, marks: &mut Vec<Mark>) -> f64 {
    let digits = |number: u8| -> Vec<Glyph> {
        number.to_string().bytes().map(|digit| Glyph::TimeDigit(digit - b'0')).collect()
    };
    let width = |glyphs: &[Glyph]| glyphs.iter().map(|glyph| glyph.outline().advance).sum::<f64>();
    let rows = [(digits(metre.beats), 1.0), (digits(metre.unit), 3.0)];
    let widest = rows.iter().map(|(glyphs, _)| width(glyphs)).fold(0.0, f64::max);
    for (glyphs, y) in &rows {
        let mut at = x + (widest - width(glyphs)) / 2.0;
        for &glyph in glyphs {
            marks.push(Mark::glyph(What::TimeSignature, glyph, at, *y));
            at += glyph.outline().advance;
        }
    }
    x + widest + AFTER
}

#[cfg(test)]
mod tests {
    use super::*;

    fn steps(fifths: i32, clef: Clef) -> Vec<i32> {
        let key = Key::new(fifths).unwrap();
        places(key, clef)
            .iter()
            .map(|&(_, y)| clef.middle_line() + ((2.0 - y) * 2.0).round() as i32)
            .collect()
    }

    fn named(names: &str) -> Vec<i32> {
        names.split(' ').map(|name| name.parse::<crate::notation::Spelling>().unwrap().staff_step()).collect()
    }

    /// Common practice, as every handbook has it (Gould 2011 and Ross 1970 on key signatures, from memory).
    #[test]
    fn seven_sharps_and_seven_flats_stand_where_every_clef_has_them() {
        assert_eq!(steps(7, Clef::Treble), named("F5 C5 G5 D5 A4 E5 B4"));
        assert_eq!(steps(-7, Clef::Treble), named("B4 E5 A4 D5 G4 C5 F4"));
        assert_eq!(steps(7, Clef::Alto), named("F4 C4 G4 D4 A3 E4 B3"));
        assert_eq!(steps(-7, Clef::Alto), named("B3 E4 A3 D4 G3 C4 F3"));
        assert_eq!(steps(7, Clef::Bass), named("F3 C3 G3 D3 A2 E3 B2"));
        assert_eq!(steps(-7, Clef::Bass), named("B2 E3 A2 D3 G2 C3 F2"));
        assert_eq!(steps(7, Clef::Tenor), named("F3 C4 G3 D4 A3 E4 B3"));
        assert_eq!(steps(-7, Clef::Tenor), named("B3 E4 A3 D4 G3 C4 F3"));
    }

    #[test]
    fn the_numbers_of_twelve_eight_are_centred_over_each_other() {
        let mut marks = Vec::new();
        draw_metre(Metre::new(12, 8).unwrap(), 0.0, &mut marks);
        let centre = |marks: &[Mark]| {
            let left = marks.iter().map(|mark| mark.bounds()[0]).fold(f64::INFINITY, f64::min);
            let right = marks.iter().map(|mark| mark.bounds()[2]).fold(f64::NEG_INFINITY, f64::max);
            (left + right) / 2.0
        };
        assert!((centre(&marks[..2]) - centre(&marks[2..])).abs() < 0.1);
    }
}
