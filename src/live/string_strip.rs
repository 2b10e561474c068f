//! One string of the fingerboard as a line of text: the nut at the left, the melody's fingers at their places, and
//! below it where the finger is.

use crate::findings::finger_place;
use crate::notation::{EventKind, Fingering, Instrument, Melody};
use crate::units::{Cents, Hertz, Millimetres};

/// Columns from the nut to the end of the strip.
const COLUMNS: usize = 46;
/// Semitones from the nut to the end of the strip: a little beyond the fourth finger.
const REACH: f64 = 7.6;

/// The fingers that a melody needs, string by string.
#[derive(Debug, Clone, PartialEq)]
pub struct StringStrip {
    instrument: Instrument,
    /// Every place where a note of the melody can be played in first position.
    fingers: Vec<Fingering>,
}

impl StringStrip {
    /// The strips of a melody.
    pub fn new(instrument: Instrument, melody: &Melody) -> Self {
        let mut fingers: Vec<Fingering> = Vec::new();
        for event in &melody.events {
            if let EventKind::Note { written, sounding } = event.kind {
                fingers.extend(instrument.fingerings_of(written, sounding));
            }
        }
        fingers.sort_by_key(|finger| (finger.string, finger.semitones));
        fingers.dedup();
        Self { instrument, fingers }
    }

    /// Two lines for a note that sounds, at most 60 columns: the string with its fingers, and the mark below. `sounding`
    /// is its MIDI number, `off` how far it is from it. `None` above first position.
    pub fn lines(&self, sounding: i32, off: Cents) -> Option<[String; 2]> {
        let place = *self.instrument.fingerings(sounding).first()?;
        let mut strip = vec!['-'; COLUMNS + 1];
        strip[0] = '0';
        for finger in self.fingers.iter().filter(|finger| finger.string == place.string) {
            strip[column(f64::from(finger.semitones))] = char::from(b'0' + finger.finger);
        }
        let strip: String = strip.into_iter().collect();
        let letter = self.instrument.string_names()[place.string];
        let mark = match place.finger {
            0 => "open".to_owned(),
            _ => " ".repeat(column(f64::from(place.semitones) + off.0 / 100.0)) + "^",
        };
        Some([format!("{letter} string  {strip}"), format!("          {mark}")])
    }
}

/// The column of a place so many semitones above the open string: as far from the nut as on the fingerboard.
fn column(semitones: f64) -> usize {
    let open = Hertz(100.0);
    let length = Millimetres(1.0);
    let from_nut = |semitones: f64| finger_place(open, open.shifted(Cents(100.0 * semitones)), length).0;
    let share = from_nut(semitones.clamp(0.0, REACH)) / from_nut(REACH);
    (share * COLUMNS as f64).round() as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_melody_bytes;

    fn strip() -> StringStrip {
        let toml = b"instrument = \"violin\"\nkey = \"D\"\nbars = \"\"\"\nD4 q E4 F#4 G4\nB4 w\n\"\"\"";
        StringStrip::new(Instrument::Violin, &read_melody_bytes("m.toml", toml).unwrap().melody)
    }

    #[test]
    fn fingers_stand_as_far_from_the_nut_as_on_the_fingerboard() {
        // By hand: 1 − 2^(−s/12) is 0.10910 for 2 semitones, 0.20630 for 4, 0.25085 for 5, 0.35531 for 7.6; so columns
        // 46 · 0.10910 / 0.35531 = 14.1, 26.7 and 32.5 (rounded to 32: it is 32.48).
        let [line, mark] = strip().lines(66, Cents(0.0)).unwrap();
        assert_eq!(line, "D string  0-------------1------------2----3--------------");
        assert_eq!(mark.find('^'), line.find('2'));
    }

    #[test]
    fn a_flat_finger_is_marked_nearer_the_nut_and_a_sharp_one_farther() {
        let mark = |off| strip().lines(66, Cents(off)).unwrap()[1].find('^').unwrap();
        assert!(mark(-30.0) < mark(0.0) && mark(0.0) < mark(30.0));
    }

    #[test]
    fn an_open_string_has_no_finger_and_above_first_position_nothing_is_drawn() {
        assert_eq!(strip().lines(62, Cents(12.0)).unwrap()[1].trim(), "open");
        assert_eq!(strip().lines(71, Cents(0.0)).unwrap()[0].chars().next(), Some('A'));
        assert_eq!(strip().lines(90, Cents(0.0)), None);
    }

    #[test]
    fn a_strip_fits_the_screen() {
        for sounding in 55..84 {
            for line in strip().lines(sounding, Cents(60.0)).into_iter().flatten() {
                assert!(line.chars().count() <= 60, "{line}");
            }
        }
    }
}
