//! The notes to choose from: rows of a rule file, by string, become pitches of one instrument.
//!
//! A row names a string and what is allowed on it in first position, as names (`notes`), as degrees of
//! the key (`degrees`) or as fingers (`fingers`). Fingers are those of the violin and viola; another
//! instrument plays the same note above its own string with its own finger, so one row serves all four
//! that have the string. What an instrument without it takes is said in `instead`, never guessed.

use super::reader::Reader;
use super::target::{Finger, name, string_named};
use super::words;
use crate::formats::{Entry, Setting};
use crate::notation::{Fingering, Instrument, Key, Letter, Placement, Spelling};
use crate::remark::Remark;
use std::ops::Range;

/// A note that may be chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// As this instrument reads it.
    pub written: Spelling,
    /// The sounding MIDI number.
    pub sounding: i32,
    /// The letter of the string that it is played on.
    pub string_name: &'static str,
    /// The string (0 is the lowest), finger and placement on this instrument.
    pub fingering: Fingering,
}

/// A row of the file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct NoteRow {
    string: String,
    places: Vec<Place>,
    /// What one instrument takes: `None` inside for nothing at all.
    instead: Vec<(Instrument, Option<NoteRow>)>,
    span: Range<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    Name(Letter, i8),
    Degree(u8),
    Finger(Finger),
}

/// The violin's fourth finger: as far as first position goes.
const REACH: i32 = 7;
const ROW: &str = "string = \"D\" and notes = [\"D\", \"E\", \"F#\"] (or degrees, or fingers)";

/// Reads the list of rows after `notes`.
pub(super) fn read_rows(setting: &Setting, reader: &mut Reader) -> Vec<NoteRow> {
    setting.one_or_many().iter().filter_map(|row| read_row(row, true, reader)).collect()
}

fn read_row(setting: &Setting, with_instead: bool, reader: &mut Reader) -> Option<NoteRow> {
    let entries =
        reader.table(setting, "[[notes]] and below it string = \"D\" and notes = [\"D\", \"E\"]")?;
    let words = ["string", "notes", "degrees", "fingers", "instead"];
    reader.check_words(entries, words.into_iter().take(if with_instead { 5 } else { 4 }));
    let found = |word: &str| entries.iter().find(|entry| entry.word == word);
    let Some(string) = found("string") else {
        reader.complain(&setting.span, "this row of notes does not say which string", format!("Write {ROW}"));
        return None;
    };
    let string_text = reader.text("string", &string.setting)?;
    if !Instrument::ALL.iter().any(|instrument| string_named(*instrument, string_text).is_some()) {
        let help = "The strings are C, G, D, A and E.";
        reader.complain(&string.setting.span, format!("no instrument has a “{string_text}” string"), help);
        return None;
    }
    let mut places = Vec::new();
    for entry in ["notes", "degrees", "fingers"].iter().filter_map(|word| found(word)) {
        for one in entry.setting.one_or_many() {
            places.push(read_place(&entry.word, one, reader)?);
        }
    }
    if places.is_empty() {
        let message = format!("this row names no note on the {string_text} string");
        reader.complain(&setting.span, message, format!("Write {ROW}"));
        return None;
    }
    let instead = found("instead").map_or_else(Vec::new, |entry| read_instead(entry, reader));
    Some(NoteRow { string: string_text.to_owned(), places, instead, span: setting.span.clone() })
}

fn read_place(word: &str, setting: &Setting, reader: &mut Reader) -> Option<Place> {
    let number = setting.number().filter(|number| number.fract() == 0.0);
    let (place, help) = match word {
        "notes" => (
            setting.text().and_then(name).map(|(letter, alter)| Place::Name(letter, alter)),
            "Notes are capital letters without an octave, between quotes: \"D\", \"F#\", \"Bb\".",
        ),
        "degrees" => (
            number.filter(|number| (1.0..=7.0).contains(number)).map(|number| Place::Degree(number as u8)),
            "Degrees of the key are numbers from 1 to 7, without quotes.",
        ),
        _ => {
            let plain = number.map(|number| number.to_string());
            let text = setting.text().map(str::to_owned).or(plain);
            (
                text.and_then(|text| Finger::read(&text)).map(Place::Finger),
                "Fingers are those of the violin: \"0\", \"1 low\", \"1\", \"2 low\", \"2\", \"3\", \"3 high\", \"4\".",
            )
        }
    };
    if place.is_none() {
        reader.complain(&setting.span, format!("this is none of the {word} of a string"), help);
    }
    place
}

fn read_instead(entry: &Entry, reader: &mut Reader) -> Vec<(Instrument, Option<NoteRow>)> {
    let wanted = "instead.viola = { string = \"C\", notes = [\"C\", \"D\"] }, or instead.viola = \"nothing\"";
    let Some(entries) = reader.table(&entry.setting, wanted) else { return Vec::new() };
    let mut rows = Vec::new();
    for entry in entries {
        let Ok(instrument) = entry.word.parse::<Instrument>() else {
            let message = format!("“{}” is not an instrument that is known here", entry.word);
            reader.complain(&entry.span, message, format!("Write {}.", Instrument::names()));
            continue;
        };
        match entry.setting.text() {
            Some("nothing") => rows.push((instrument, None)),
            _ => rows.extend(read_row(&entry.setting, false, reader).map(|row| (instrument, Some(row)))),
        }
    }
    rows
}

/// The choices of an instrument, low to high, each pitch once.
pub(super) fn choices(
    rows: &[NoteRow],
    instrument: Instrument,
    key: Key,
    reader: &mut Reader,
    remarks: &mut Vec<Remark>,
) -> Vec<Choice> {
    let mut choices: Vec<Choice> = Vec::new();
    for row in rows {
        let instead = row.instead.iter().find(|(one, _)| *one == instrument);
        let taken = match instead {
            Some((_, None)) => continue,
            Some((_, Some(taken))) => taken,
            None => row,
        };
        let Some(string) = string_named(instrument, &taken.string) else {
            let message = format!("the {instrument} has no {} string", taken.string);
            let help = format!(
                "Say what it takes: instead.{instrument} = {{ string = \"{}\", notes = [\"…\"] }}, or \
                 instead.{instrument} = \"nothing\"",
                instrument.string_names()[0]
            );
            reader.complain(&taken.span, message, help);
            continue;
        };
        for place in &taken.places {
            let choice = choice(*place, instrument, string, key, &taken.span, reader, remarks);
            choices.extend(choice);
        }
    }
    choices.sort_by_key(|choice| choice.sounding);
    choices.dedup_by_key(|choice| choice.sounding);
    choices
}

fn choice(
    place: Place,
    instrument: Instrument,
    string: usize,
    key: Key,
    span: &Range<usize>,
    reader: &mut Reader,
    remarks: &mut Vec<Remark>,
) -> Option<Choice> {
    let open = instrument.open_strings()[string];
    let spelled = match place {
        Place::Name(letter, alter) => (letter, alter),
        Place::Degree(degree) => key.degree(degree),
        Place::Finger(finger) => finger.name(open, key),
    };
    let semitones = match place {
        Place::Finger(finger) => finger.semitones,
        _ => (spelled.0.semitones() + i32::from(spelled.1) - open).rem_euclid(12),
    };
    let sounding = open + semitones;
    let on_string = words::string(instrument, string);
    let written = written(sounding, instrument, spelled);
    if semitones > REACH {
        let message = format!("{} is not on the {on_string} in first position", words::note(written));
        reader.complain(span, message, "Name a string on which first position has the note.");
        return None;
    }
    let own = instrument.first_position(string, semitones);
    let Some(fingering) = own.or_else(|| instrument.fingerings(sounding).first().copied()) else {
        let message = format!(
            "first position of the {instrument} does not reach {} from the {on_string}",
            words::note(written)
        );
        let own = instrument.string_names()[string];
        let help = format!(
            "Give this instrument a row without it: instead.{instrument} = {{ string = \"{own}\", notes = [\"{own}\", …] }}"
        );
        reader.complain(span, message, help);
        return None;
    };
    if own.is_none() {
        let other = words::string(instrument, fingering.string);
        let how = match fingering.placement {
            Placement::Open => format!("is the open {other}"),
            _ => format!("is played on the {other}"),
        };
        let text = format!("On the {instrument}, the {} of the {on_string} {how}.", words::note(written));
        remarks.push(Remark::new("another-string", text));
    }
    Some(Choice { written, sounding, string_name: instrument.string_names()[fingering.string], fingering })
}

/// A sounding number as the instrument reads it, with its letter and accidental.
pub(super) fn written(sounding: i32, instrument: Instrument, (letter, alter): (Letter, i8)) -> Spelling {
    let midi = sounding - instrument.sounding_shift();
    let octave = (midi - letter.semitones() - i32::from(alter)).div_euclid(12) - 1;
    Spelling { letter, alter, octave: octave.clamp(-1, 9) as i8 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::examples::sheet;

    #[test]
    fn an_instrument_may_take_nothing_of_a_row() {
        let rows = "notes = [{ string = 'E', notes = ['E'], instead = { viola = 'nothing' } }]";
        let (rules, violin) = sheet(rows);
        assert_eq!(violin.choices.iter().map(|choice| choice.sounding).collect::<Vec<_>>(), [76]);
        let (viola, complaints) = rules.for_instrument(Instrument::Viola);
        assert_eq!((viola.choices, complaints), (vec![], vec![]));
    }

    #[test]
    fn a_finger_names_its_note_alike_on_all_four_instruments() {
        let rows = "key = 'F'\nnotes = [{ string = 'A', fingers = ['0', '1 low', '2'] }]";
        let (rules, _) = sheet(rows);
        for instrument in Instrument::ALL {
            let (sheet, complaints) = rules.for_instrument(instrument);
            assert_eq!(complaints, []);
            assert_eq!(sheet.choices_in_words(), "A, B flat or C sharp", "{instrument}");
        }
        let (_, in_g) =
            sheet("key = 'G'\nnotes = [{ string = 'G', fingers = ['1 low', '2 low', '3 high'] }]");
        assert_eq!(in_g.choices_in_words(), "A flat, B flat or C sharp");
    }

    #[test]
    fn the_octave_of_a_spelled_note_is_that_of_its_letter() {
        let name =
            |sounding, instrument, letter, alter| written(sounding, instrument, (letter, alter)).to_string();
        assert_eq!(name(59, Instrument::Violin, Letter::C, -1), "Cb4");
        assert_eq!(name(60, Instrument::Violin, Letter::B, 1), "B#3");
        assert_eq!(name(58, Instrument::Violin, Letter::B, -1), "Bb3");
        assert_eq!(name(28, Instrument::Bass, Letter::E, 0), "E2");
        assert_eq!(name(0, Instrument::Cello, Letter::C, 0), "C-1");
    }
}
