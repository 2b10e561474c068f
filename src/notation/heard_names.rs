//! What a heard note is called beside a sheet: one name, in words, on the staff and while it sounds.

use super::{Key, Letter, Spelling};

/// How a sheet names its notes, so that a note that was heard gets the name that the player knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct HeardNames {
    /// What the sheet calls each pitch class, where it has it: a note of it, or its key signature.
    on_sheet: [Option<(Letter, i8)>; 12],
    /// It has flats, on its notes or in its signature, and no sharps on its notes.
    flats: bool,
}

/// The commonest names, from C up: those of a beginner's fingers in the usual keys.
const COMMON: [(Letter, i8); 12] = [
    (Letter::C, 0),
    (Letter::C, 1),
    (Letter::D, 0),
    (Letter::E, -1),
    (Letter::E, 0),
    (Letter::F, 0),
    (Letter::F, 1),
    (Letter::G, 0),
    (Letter::G, 1),
    (Letter::A, 0),
    (Letter::B, -1),
    (Letter::B, 0),
];

impl HeardNames {
    /// From the written notes of a sheet and the key signature at its start.
    pub fn of(written: impl IntoIterator<Item = Spelling>, key: Key) -> Self {
        let mut names = Self { flats: key.fifths < 0, ..Self::default() };
        let mut sharps = false;
        for note in written {
            names.flats |= note.alter < 0;
            sharps |= note.alter > 0;
            if plain(note.letter, note.alter) {
                let class = &mut names.on_sheet[note.midi().rem_euclid(12) as usize];
                *class = class.or(Some((note.letter, note.alter)));
            }
        }
        names.flats &= !sharps;
        for (class, name) in (0..).zip(&mut names.on_sheet) {
            *name = name.or(key.name(class).filter(|(letter, alter)| plain(*letter, *alter)));
        }
        names
    }

    /// The name of a MIDI number, in the octave that the sheet is written in. Whole octaves from the note `written` keep its
    /// name. What the sheet has, on a note or in its signature, is called as there; else a semitone from the note
    /// `written` keeps the letter and so the finger, and the rest has its commonest name.
    pub fn name(&self, midi: i32, written: Option<Spelling>) -> Spelling {
        let class = midi.rem_euclid(12) as usize;
        let (mut same, mut kept) = (None, None);
        if let Some(written) = written {
            match midi.saturating_sub(written.midi()) {
                octaves if octaves % 12 == 0 => same = Some((written.letter, written.alter)),
                by if by.abs() == 1 => {
                    kept =
                        Some((written.letter, written.alter + by as i8)).filter(|name| plain(name.0, name.1));
                }
                _ => {}
            }
        }
        let common = match class {
            8 if self.flats => (Letter::A, -1),
            _ => COMMON[class],
        };
        let (letter, alter) = same.or(self.on_sheet[class]).or(kept).unwrap_or(common);
        let octave = midi.saturating_sub(letter.semitones() + i32::from(alter)).div_euclid(12) - 1;
        Spelling { letter, alter, octave: octave.clamp(-128, 127) as i8 }
    }
}

/// At most one accidental, and not one that makes the name of another white key.
fn plain(letter: Letter, alter: i8) -> bool {
    let white = matches!((letter, alter), (Letter::E | Letter::B, 1) | (Letter::C | Letter::F, -1));
    alter.abs() <= 1 && !white
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(written: &[&str]) -> HeardNames {
        in_key(written, Key::default())
    }

    fn in_key(written: &[&str], key: Key) -> HeardNames {
        HeardNames::of(written.iter().map(|name| name.parse::<Spelling>().expect("a pitch")), key)
    }

    fn name(names: HeardNames, midi: i32, written: &str) -> String {
        names.name(midi, written.parse().ok()).to_string()
    }

    #[test]
    fn a_semitone_keeps_the_letter_but_for_the_four_names_of_white_keys() {
        let names = HeardNames::default();
        assert_eq!(
            [name(names, 65, "F#4"), name(names, 68, "A4"), name(names, 70, "B4")],
            ["F4", "Ab4", "Bb4"]
        );
        assert_eq!([name(names, 65, "E4"), name(names, 72, "B4")], ["F4", "C5"]);
        assert_eq!([name(names, 59, "C4"), name(names, 64, "F4")], ["B3", "E4"]);
        assert_eq!([name(names, 67, "F#4"), name(names, 69, "Bb4")], ["G4", "A4"]);
    }

    #[test]
    fn a_semitone_away_the_sheets_own_note_has_the_sheets_own_name() {
        let d_major = in_key(&["D4", "G4"], Key::new(2).unwrap());
        assert_eq!([name(d_major, 66, "G4"), name(d_major, 73, "D5")], ["F#4", "C#5"]);
        // Not in the key and not written: the finger's letter.
        assert_eq!([name(d_major, 65, "F#4"), name(d_major, 70, "B4")], ["F4", "Bb4"]);
        let f_major = in_key(&["A4"], Key::new(-1).unwrap());
        assert_eq!(name(f_major, 70, "A4"), "Bb4");
        let written = in_key(&["A4", "G#4"], Key::new(0).unwrap());
        assert_eq!(name(written, 68, "A4"), "G#4");
        assert_eq!(name(in_key(&[], Key::new(7).unwrap()), 65, "F#4"), "F4", "nobody hears of E sharp");
    }

    #[test]
    fn whole_octaves_keep_the_name() {
        let names = HeardNames::default();
        assert_eq!(
            [name(names, 74, "D4"), name(names, 46, "A#3"), name(names, 72, "B#3")],
            ["D5", "A#2", "B#4"]
        );
    }

    #[test]
    fn further_away_a_note_is_called_as_on_the_sheet_or_by_its_commonest_name() {
        let names = sheet(&["D4", "D#4", "E#4"]);
        assert_eq!(
            [63, 65, 68, 70].map(|midi| names.name(midi, None).to_string()),
            ["D#4", "F4", "G#4", "Bb4"]
        );
        let flats = sheet(&["Bb3", "Eb4"]);
        assert_eq!([68, 66, 63].map(|midi| flats.name(midi, None).to_string()), ["Ab4", "F#4", "Eb4"]);
    }

    #[test]
    fn every_name_is_the_note_that_it_names() {
        let written: Vec<Spelling> = Letter::ALL
            .into_iter()
            .flat_map(|letter| (-2..=2).map(move |alter| Spelling { letter, alter, octave: 4 }))
            .collect();
        let names = HeardNames::of(written.iter().copied(), Key::default());
        for midi in 0..=127 {
            assert_eq!(names.name(midi, None).midi(), midi);
            for &note in &written {
                assert_eq!(names.name(midi, Some(note)).midi(), midi, "{midi} beside {note}");
            }
        }
    }
}
