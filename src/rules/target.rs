//! A note as a rule names it: a degree of the key, a name, or a finger on a string.

use super::reader::Reader;
use super::words;
use crate::formats::Setting;
use crate::notation::{Instrument, Key, Letter, Spelling};

/// A note as a rule names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Target {
    /// A degree of the key, 1 to 7, in any octave.
    Degree(u8),
    /// A name in any octave.
    Name(Letter, i8),
    /// A finger on a string, which is named by its letter.
    Place(String, Finger),
    /// Silence.
    Rest,
}

/// The violinist's and violist's finger on a string. Other instruments play the same note with a finger of their
/// own and read it under the same name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Finger {
    /// 0 (the open string) to 4.
    pub number: u8,
    /// Semitones above the open string.
    pub semitones: i32,
}

impl Finger {
    /// From `0`, `1`, `2 low`, `2`, `3`, `3 high`, `4` (common practice of first position).
    pub(super) fn read(text: &str) -> Option<Self> {
        let mut words: Vec<&str> = text.split_whitespace().collect();
        words.sort_unstable();
        let (number, semitones) = match words[..] {
            ["0"] => (0, 0),
            ["1", "low"] => (1, 1),
            ["1"] => (1, 2),
            ["2", "low"] => (2, 3),
            ["2"] | ["2", "high"] => (2, 4),
            ["3"] => (3, 5),
            ["3", "high"] => (3, 6),
            ["4"] => (4, 7),
            _ => return None,
        };
        Some(Self { number, semitones })
    }

    /// What its note is called above an open string of that MIDI number: as the key has it, else by the letter that
    /// the finger has from the string's own, one letter a finger, so that low 1 on A is B flat and 2 is C sharp
    /// (common practice of first position).
    pub(super) fn name(self, open: i32, key: Key) -> (Letter, i8) {
        let sounding = open + self.semitones;
        key.name(sounding).unwrap_or_else(|| {
            let string = Key::default().name(open).map_or(0, |(letter, _)| letter as usize);
            let letter = Letter::ALL[(string + usize::from(self.number)) % 7];
            let above = (sounding - letter.semitones()).rem_euclid(12);
            (letter, if above > 6 { above - 12 } else { above } as i8)
        })
    }
}

/// A name without an octave: `F#`, `Bb`, `D`.
pub(super) fn name(text: &str) -> Option<(Letter, i8)> {
    let with_octave: Spelling = format!("{text}4").parse().ok()?;
    text.chars().all(|c| !c.is_ascii_digit() && c != '-').then_some((with_octave.letter, with_octave.alter))
}

impl Target {
    /// From a setting: `1`, `"F#"`, `"2 low on D"`, `"rest"`.
    pub(super) fn read(setting: &Setting, reader: &mut Reader) -> Option<Self> {
        let target = match (setting.number(), setting.text()) {
            (Some(degree), _) => {
                let fits = degree.fract() == 0.0 && (1.0..=7.0).contains(&degree);
                fits.then_some(Self::Degree(degree as u8))
            }
            (_, Some("rest")) => Some(Self::Rest),
            (_, Some(text)) => match text.split_once(" on ") {
                Some((finger, string)) => Finger::read(finger)
                    .filter(|_| Letter::ALL.iter().any(|letter| format!("{letter:?}") == string.trim()))
                    .map(|finger| Self::Place(string.trim().to_owned(), finger)),
                None => name(text).map(|(letter, alter)| Self::Name(letter, alter)),
            },
            _ => None,
        };
        if target.is_none() {
            let help = "Write a degree of the key, 1 to 7, without quotes; or a note without its octave, \
                        \"F#\"; or a finger of the violin on a string, \"2 low on D\".";
            reader.complain(&setting.span, "this is not a note", help);
        }
        target
    }

    /// Likewise, for places where only a degree or a name makes sense.
    pub(super) fn read_name(setting: &Setting, reader: &mut Reader) -> Option<Self> {
        let target = Self::read(setting, reader)?;
        if matches!(target, Self::Place(..) | Self::Rest) {
            let help =
                "Write a degree of the key, 1 to 7, without quotes, or a note without its octave: \"F#\".";
            reader.complain(&setting.span, "a degree or the name of a note belongs here", help);
            return None;
        }
        Some(target)
    }

    /// One name or a list of them after `word`; `None` after a complaint.
    pub(super) fn read_names(word: &str, setting: &Setting, reader: &mut Reader) -> Option<Vec<Self>> {
        let named = setting.one_or_many().iter().map(|one| Self::read_name(one, reader));
        let targets = named.collect::<Option<Vec<Self>>>()?;
        if targets.is_empty() {
            let message = format!("{word} is empty");
            reader.complain(&setting.span, message, "Name a note, or take the line out.");
            return None;
        }
        Some(targets)
    }

    /// All of them in words: `D or F sharp`.
    pub(super) fn any_said(targets: &[Self], key: Key) -> String {
        let names: Vec<String> = targets.iter().map(|target| target.said(key)).collect();
        words::list(&names, "or")
    }

    /// Letter and accidental in a key; `None` for a place on a string and for a rest.
    pub(super) fn spelled(&self, key: Key) -> Option<(Letter, i8)> {
        match *self {
            Self::Degree(degree) => Some(key.degree(degree)),
            Self::Name(letter, alter) => Some((letter, alter)),
            Self::Place(..) | Self::Rest => None,
        }
    }

    /// In words: `F sharp`.
    pub(super) fn said(&self, key: Key) -> String {
        match self {
            Self::Rest => "a rest".to_owned(),
            Self::Place(string, finger) => {
                format!("{} semitones above the {string} string", finger.semitones)
            }
            _ => {
                self.spelled(key).map_or_else(String::new, |(letter, alter)| words::note_name(letter, alter))
            }
        }
    }
}

/// The string of that letter, 0 (lowest) to 3.
pub(super) fn string_named(instrument: Instrument, letter: &str) -> Option<usize> {
    instrument.string_names().iter().position(|name| *name == letter)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_rule_bytes;

    #[test]
    fn fingers_are_those_of_the_violins_first_position() {
        let typed = ["0", "1 low", "1", "2 low", "low 2", "2", "3", "3 high", "4"];
        let semitones = |text| Finger::read(text).map(|finger| finger.semitones);
        assert_eq!(typed.map(semitones), [0, 1, 2, 3, 3, 4, 5, 6, 7].map(Some));
        assert_eq!(["5", "", "4 low", "2 3", "on"].map(semitones), [None; 5]);
        for text in typed {
            let number = Finger::read(text).expect("a finger").number;
            assert!(text.contains(&number.to_string()), "{text}");
        }
        for (text, semitones) in [("0", 0), ("2 low", 3), ("3 high", 6), ("4", 7)] {
            let finger = Instrument::Violin.first_position(1, semitones).expect("first position").finger;
            assert!(text.starts_with(&finger.to_string()), "{text}");
        }
    }

    /// Common practice of first position, no single source.
    #[test]
    fn a_finger_outside_the_key_has_the_letter_that_it_is_away_from_its_string() {
        let open = |string: &str| {
            Instrument::ALL
                .into_iter()
                .find_map(|one| string_named(one, string).map(|at| one.open_strings()[at]))
                .expect("a string")
        };
        let said = |finger: &str, string: &str, key: &str| {
            let (letter, alter) =
                Finger::read(finger).expect("a finger").name(open(string), key.parse().expect("a key"));
            words::note_name(letter, alter)
        };
        for key in ["C", "G", "D", "A", "Am", "Em"] {
            let low: Vec<String> = ["A", "D", "G"].map(|string| said("1 low", string, key)).into();
            // A major has G sharp.
            let on_g = if key == "A" { "G sharp" } else { "A flat" };
            assert_eq!(low, ["B flat", "E flat", on_g], "{key}");
            assert_eq!(said("2 low", "G", key), "B flat", "{key}");
        }
        for key in ["F", "Bb", "Dm"] {
            let high = [said("2", "A", key), said("2", "D", key), said("3 high", "D", key)];
            assert_eq!(high, ["C sharp", "F sharp", "G sharp"], "{key}");
        }
        assert_eq!([said("3 high", "C", "F"), said("1 low", "C", "C")], ["F sharp", "D flat"]);
        // A note of the key is called as the key has it.
        let of_key = [said("1 low", "A", "B"), said("2", "D", "Db"), said("3 high", "D", "Eb")];
        assert_eq!(of_key, ["A sharp", "G flat", "A flat"]);
        for string in ["C", "G", "D", "A", "E"] {
            for finger in ["0", "1 low", "1", "2 low", "2", "3", "3 high", "4"] {
                for key in (-7..=7).filter_map(Key::new) {
                    let finger = Finger::read(finger).expect("a finger");
                    let (letter, alter) = finger.name(open(string), key);
                    let sounding = open(string) + finger.semitones;
                    assert_eq!((letter.semitones() + i32::from(alter) - sounding).rem_euclid(12), 0);
                    assert!(alter.abs() <= 1, "{finger:?} on {string} in {key}");
                }
            }
        }
    }

    #[test]
    fn what_is_asked_for_is_said_in_words() {
        let key = Key::default();
        assert_eq!(Target::Rest.said(key), "a rest");
        let two = Finger { number: 2, semitones: 4 };
        assert_eq!(Target::Place("D".to_owned(), two).said(key), "4 semitones above the D string");
        assert_eq!(Target::Name(Letter::F, 1).said(key), "F sharp");
        assert_eq!(Target::Degree(5).said(key), "G");
    }

    #[test]
    fn names_have_no_octave() {
        assert_eq!(name("F#"), Some((Letter::F, 1)));
        assert_eq!(name("Bb"), Some((Letter::B, -1)));
        assert_eq!(["F4", "F0", "", "H", "-", "F-1", "f"].map(name), [None; 7]);
    }

    /// What is read of a setting as it is typed, and how many complaints there are.
    fn read(typed: &str) -> (Option<Target>, usize) {
        let file = read_rule_bytes("r.toml", format!("note = {typed}").as_bytes()).unwrap();
        let mut reader = Reader::default();
        (Target::read(&file.entries[0].setting, &mut reader), reader.complaints.len())
    }

    #[test]
    fn degrees_are_whole_numbers_from_one_to_seven() {
        assert_eq!(["1", "7"].map(read), [1, 7].map(|degree| (Some(Target::Degree(degree)), 0)));
        assert_eq!(["2.5", "0", "8"].map(read), [(None, 1), (None, 1), (None, 1)]);
    }

    #[test]
    fn a_finger_stands_on_a_string_that_is_a_letter() {
        let low_two = Finger { number: 2, semitones: 3 };
        assert_eq!(read("'2 low on D'"), (Some(Target::Place("D".to_owned(), low_two)), 0));
        assert_eq!(["'0 on H'", "'0 on '", "'0 on DA'"].map(read), [(None, 1), (None, 1), (None, 1)]);
    }
}
