//! Notes that stand on the sheet already and stay: rows of a rule file become pitches of one instrument.

use super::notes_by_string::{Choice, written};
use super::reader::Reader;
use super::target::{Target, string_named};
use super::words;
use crate::formats::Setting;
use crate::notation::{Fingering, Instrument, Key, Length, Metre, Spelling, beat_text};
use std::ops::Range;

/// A note or rest that stands on the sheet already.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GivenNote {
    /// The bar, from 1.
    pub bar: u32,
    /// The beat in the bar, from 1.
    pub beat: Length,
    /// How long it is.
    pub length: Length,
    /// What it is; `None` for a rest.
    pub note: Option<GivenPitch>,
}

/// The pitch of a given note.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GivenPitch {
    /// As this instrument reads it.
    pub written: Spelling,
    /// The sounding MIDI number.
    pub sounding: i32,
    /// The string, finger and placement.
    pub fingering: Fingering,
}

/// A row of the file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct GivenRow {
    bar: u32,
    beat: Length,
    length: Length,
    target: Target,
    instead: Vec<(Instrument, Target)>,
    span: Range<usize>,
}

const ROW: &str = "[[given]] and below it bar = 1, beat = 1, length = \"q\" and note = 1";

/// Reads the list of rows after `given`.
pub(super) fn read_rows(setting: &Setting, reader: &mut Reader) -> Vec<GivenRow> {
    setting.one_or_many().iter().filter_map(|row| read_row(row, reader)).collect()
}

fn read_row(setting: &Setting, reader: &mut Reader) -> Option<GivenRow> {
    let entries = reader.table(setting, ROW)?;
    reader.check_words(entries, ["bar", "beat", "length", "note", "instead"].into_iter());
    let found = |word: &str| entries.iter().find(|entry| entry.word == word).map(|entry| &entry.setting);
    for word in ["bar", "beat", "length", "note"] {
        if found(word).is_none() {
            reader.complain(&setting.span, format!("this given note has no {word}"), format!("Write {ROW}"));
            return None;
        }
    }
    let bar = reader.whole("bar", found("bar")?, 1..=1000)?;
    let beat_setting = found("beat")?;
    // Beats may be halves and quarters: 2.5 is the middle of the second.
    let quarters = beat_setting.number().map(|beat| beat * 4.0).filter(|quarters| quarters.fract() == 0.0);
    let Some(quarters) = quarters.filter(|quarters| (4.0..=1000.0).contains(quarters)) else {
        let help = "Beats count from 1; halves and quarters are 2.5 and 2.25.";
        reader.complain(&beat_setting.span, "this is not a beat", help);
        return None;
    };
    let length = reader.length("length", found("length")?)?;
    let target = Target::read(found("note")?, reader)?;
    let mut instead = Vec::new();
    if let Some(setting) = found("instead") {
        for entry in reader.table(setting, "instead.viola = \"0 on G\"")? {
            let Ok(instrument) = entry.word.parse::<Instrument>() else {
                let message = format!("“{}” is not an instrument that is known here", entry.word);
                reader.complain(&entry.span, message, format!("Write {}.", Instrument::names()));
                continue;
            };
            instead.push((instrument, Target::read(&entry.setting, reader)?));
        }
    }
    let beat = Length::new(quarters as i64, 4);
    Some(GivenRow { bar, beat, length, target, instead, span: setting.span.clone() })
}

/// Complains about rows that do not fit the metre, the number of bars or one another.
pub(super) fn check_places(rows: &[GivenRow], metre: Metre, bars: Option<u32>, reader: &mut Reader) {
    for row in rows {
        let end = (row.beat - Length::from_integer(1)) * metre.beat() + row.length;
        if end > metre.bar() {
            let help = format!("A bar of {metre} has {}.", words::count(usize::from(metre.beats), "beat"));
            reader.complain(&row.span, "this given note does not fit into its bar", help);
        }
        if let Some(bars) = bars.filter(|bars| row.bar > *bars) {
            let help = format!("The sheet has {}.", words::count(bars as usize, "bar"));
            reader.complain(&row.span, format!("there is no bar {} for this given note", row.bar), help);
        }
    }
    let mut in_order: Vec<&GivenRow> = rows.iter().collect();
    in_order.sort_by_key(|row| (row.bar, row.beat));
    // The bar and the beat at which the last of those before ends.
    let mut ends: Option<(u32, Length)> = None;
    for row in in_order {
        let before = ends.filter(|(bar, _)| *bar == row.bar).map(|(_, end)| end);
        if let Some(end) = before.filter(|end| row.beat < *end) {
            let message = "this given note begins before the one in front of it ends".to_owned();
            let free = match end > Length::from_integer(i64::from(metre.beats)) {
                true => format!("Bar {} is full before it", row.bar),
                false => format!("In bar {} it may begin on beat {}", row.bar, beat_text(end)),
            };
            reader.complain(&row.span, message, format!("{free}; change a beat or a length."));
        }
        let end = row.beat + row.length / metre.beat();
        ends = Some((row.bar, before.map_or(end, |before| before.max(end))));
    }
}

/// The given notes of an instrument in the order of the sheet. A degree or a name is the lowest note of
/// that name among the choices, or in first position where the sheet names no choices.
pub(super) fn given_notes(
    rows: &[GivenRow],
    instrument: Instrument,
    key: Key,
    choices: &[Choice],
    reader: &mut Reader,
) -> Vec<GivenNote> {
    let mut given: Vec<GivenNote> = Vec::new();
    for row in rows {
        let instead = row.instead.iter().find(|(one, _)| *one == instrument).map(|(_, target)| target);
        let target = instead.unwrap_or(&row.target);
        let note = match target {
            Target::Rest => None,
            _ => match pitch(target, row, instrument, key, choices, reader) {
                Some(pitch) => Some(pitch),
                None => continue,
            },
        };
        given.push(GivenNote { bar: row.bar, beat: row.beat, length: row.length, note });
    }
    given.sort_by_key(|note| (note.bar, note.beat));
    given
}

fn pitch(
    target: &Target,
    row: &GivenRow,
    instrument: Instrument,
    key: Key,
    choices: &[Choice],
    reader: &mut Reader,
) -> Option<GivenPitch> {
    if let Target::Place(letter, finger) = target {
        let Some(string) = string_named(instrument, letter) else {
            let message = format!("the {instrument} has no {letter} string for this given note");
            let help =
                format!("Add what it gets: instead.{instrument} = \"0 on {}\"", instrument.string_names()[0]);
            reader.complain(&row.span, message, help);
            return None;
        };
        let open = instrument.open_strings()[string];
        let sounding = open + finger.semitones;
        let own = instrument.first_position(string, finger.semitones);
        let Some(fingering) = own.or_else(|| instrument.fingerings(sounding).first().copied()) else {
            let message = format!("first position of the {instrument} does not reach this given note");
            let help = format!("Add what it gets: instead.{instrument} = \"0 on {letter}\"");
            reader.complain(&row.span, message, help);
            return None;
        };
        let known = choices.iter().find(|choice| choice.sounding == sounding);
        let written = known
            .map_or_else(|| written(sounding, instrument, finger.name(open, key)), |choice| choice.written);
        return Some(GivenPitch { written, sounding, fingering });
    }
    let (letter, alter) = target.spelled(key)?;
    let class = (letter.semitones() + i32::from(alter)).rem_euclid(12);
    if let Some(choice) = choices.iter().find(|choice| choice.sounding.rem_euclid(12) == class) {
        let (written, sounding, fingering) = (choice.written, choice.sounding, choice.fingering);
        return Some(GivenPitch { written, sounding, fingering });
    }
    if choices.is_empty() {
        let lowest = instrument.open_strings()[0];
        let sounding = lowest + (class - lowest).rem_euclid(12);
        let fingering = instrument.fingerings(sounding).first().copied()?;
        let written = written(sounding, instrument, (letter, alter));
        return Some(GivenPitch { written, sounding, fingering });
    }
    let message =
        format!("{} is given and not among the notes of the {instrument}", words::note_name(letter, alter));
    reader.complain(
        &row.span,
        message,
        "Add it to [[notes]], or name a finger on a string: note = \"0 on D\"",
    );
    None
}

#[cfg(test)]
mod tests {
    use crate::formats::read_rule_bytes;
    use crate::rules::RuleSheet;
    use crate::rules::examples::sheet;

    /// Each given note of the violin in D as it is written, its sounding number and its string.
    fn given(notes: &[&str], choices: &str) -> Vec<(String, i32, usize)> {
        let row = |(place, note): (usize, &&str)| {
            format!("{{ bar = 1, beat = {}, length = 'q', note = '{note}' }}", place + 1)
        };
        let rows: Vec<String> = notes.iter().enumerate().map(row).collect();
        let (_, sheet) = sheet(&format!("key = 'D'\n{choices}\ngiven = [{}]", rows.join(", ")));
        let pitches = sheet.given.iter().filter_map(|given| given.note.as_ref());
        pitches.map(|pitch| (pitch.written.to_string(), pitch.sounding, pitch.fingering.string)).collect()
    }

    #[test]
    fn a_finger_is_counted_up_from_its_open_string() {
        let found = given(&["2 on D", "0 on A", "1 low on E"], "");
        assert_eq!(found, [("F#4".into(), 66, 1), ("A4".into(), 69, 2), ("F5".into(), 77, 3)]);
        let found = given(&["1 low on A", "2 low on G"], "");
        assert_eq!(found, [("Bb4".into(), 70, 2), ("Bb3".into(), 58, 0)]);
    }

    #[test]
    fn two_given_notes_have_no_place_in_common() {
        // Each as bar, beat and length.
        let wrong = |metre: &str, rows: &[(u32, f64, &str)]| -> Vec<String> {
            let row = |(bar, beat, length)| {
                format!("{{ bar = {bar}, beat = {beat}, length = '{length}', note = 1 }}")
            };
            let rows: Vec<String> = rows.iter().copied().map(row).collect();
            let text = format!("metre = '{metre}'\ngiven = [{}]", rows.join(", "));
            let (_, complaints) =
                RuleSheet::from_file(&read_rule_bytes("r.toml", text.as_bytes()).unwrap(), None);
            complaints.into_iter().map(|one| format!("{}: {}", &text[one.span], one.help)).collect()
        };
        assert_eq!(
            wrong("4/4", &[(1, 1.0, "h"), (1, 2.0, "q")]),
            [
                "{ bar = 1, beat = 2, length = 'q', note = 1 }: In bar 1 it may begin on beat 3; change a beat or \
                 a length."
            ]
        );
        assert_eq!(wrong("4/4", &[(1, 2.0, "q"), (1, 1.0, "h")]).len(), 1, "in any order");
        assert_eq!(wrong("4/4", &[(1, 1.0, "q"), (1, 1.0, "q")]).len(), 1, "two on one beat");
        assert_eq!(
            wrong("4/4", &[(1, 1.0, "w"), (1, 2.0, "q"), (1, 3.0, "q")]).len(),
            2,
            "two in a long one"
        );
        let fit = [(1, 3.0, "q"), (1, 1.0, "h"), (2, 1.0, "h"), (1, 4.0, "e"), (1, 4.5, "e")];
        assert_eq!(wrong("4/4", &fit), [""; 0]);
        assert_eq!(wrong("6/8", &[(1, 1.0, "q."), (1, 4.0, "q"), (1, 6.0, "e")]), [""; 0]);
        assert_eq!(wrong("6/8", &[(1, 1.0, "q."), (1, 3.0, "e")]).len(), 1);
    }

    #[test]
    fn a_name_is_the_lowest_of_that_name_among_the_choices() {
        let choices =
            "notes = [{ string = 'D', notes = ['D', 'E', 'F#'] }, { string = 'E', notes = ['F#'] }]";
        let found = given(&["F#", "E"], choices);
        assert_eq!(found, [("F#4".into(), 66, 1), ("E4".into(), 64, 1)]);
    }

    #[test]
    fn a_name_without_choices_is_the_lowest_that_the_instrument_has() {
        let found = given(&["F#", "G", "Bb"], "");
        assert_eq!(found, [("F#4".into(), 66, 1), ("G3".into(), 55, 0), ("Bb3".into(), 58, 0)]);
    }
}
