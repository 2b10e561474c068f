//! Which melody each student plays, read and moved to the student's instrument; each file is read once.

use super::folder::Found;
use crate::cli::shared::settle_instrument::settle_instrument;
use fingertape::class::{NamePattern, Student, Whose, shown, whose};
use fingertape::formats::{self, ReadMelody};
use fingertape::notation::{Instrument, Keeping, Melody};
use fingertape::remark::Remark;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The melody files that there are, and the one for everybody.
pub struct Melodies<'a> {
    /// Those found in the folder, and beside the class list.
    pub files: &'a [Found],
    /// The one for everybody whose line names none.
    pub for_all: Option<&'a Path>,
}

/// A melody, ready to be held against a take.
#[derive(Debug, Clone)]
pub struct Ready {
    /// The melody as the student's instrument plays it.
    pub melody: Melody,
    /// The instrument.
    pub instrument: Instrument,
    /// The title, else the name of the file.
    pub name: String,
    /// What a reader should know.
    pub remarks: Vec<Remark>,
}

impl Melodies<'_> {
    /// The file of a student's melody; or why there is none, with what to do.
    pub fn file_for(&self, students: &[Student], at: usize) -> Result<PathBuf, String> {
        let named = &students[at].melody;
        if !named.is_empty() {
            return self.named(named);
        }
        if let Some(path) = self.for_all {
            return Ok(path.to_owned());
        }
        let own: Vec<&Found> = self
            .files
            .iter()
            .filter(|file| whose(&file.parts(), students, &NamePattern::default()) == Whose::Of(at))
            .collect();
        match (&own[..], self.files) {
            ([one], _) => Ok(one.path.clone()),
            ([], [only]) => Ok(only.path.clone()),
            ([], []) => {
                Err("there is no melody in the folder. Put one there, or add --melody FILE.".to_owned())
            }
            ([], _) => Err(
                "it is not said which melody is played. Name it in the class list's column melody, or add \
                            --melody FILE."
                    .to_owned(),
            ),
            (several, _) => {
                let names: Vec<String> = several.iter().map(|one| shown(&one.name)).collect();
                Err(format!(
                    "several melodies have the student's name: {}. Name one in the class list's column melody.",
                    names.join(", ")
                ))
            }
        }
    }

    /// The file that a line of the class list names: by its path in the folder, or by its name with or without the ending.
    fn named(&self, named: &str) -> Result<PathBuf, String> {
        let plain = |text: &str| text.trim_start_matches("./").to_lowercase();
        let last = |text: &str| text.rsplit('/').next().unwrap_or(text).to_owned();
        let stem =
            |text: &str| last(text).rsplit_once('.').map_or_else(|| last(text), |(stem, _)| stem.to_owned());
        let wanted = plain(named);
        let ways: [&dyn Fn(&str) -> bool; 3] =
            [&|name| plain(name) == wanted, &|name| last(&plain(name)) == wanted, &|name| {
                stem(&plain(name)) == wanted
            }];
        for way in ways {
            let found: Vec<&Found> = self.files.iter().filter(|file| way(&file.name)).collect();
            match &found[..] {
                [] => {}
                [one] => return Ok(one.path.clone()),
                several => {
                    let names: Vec<String> = several.iter().map(|one| shown(&one.name)).collect();
                    return Err(format!(
                        "the melody “{}” may be {}. Write its folder too.",
                        shown(named),
                        names.join(" or ")
                    ));
                }
            }
        }
        Err(format!(
            "there is no melody “{}” in the folder ({}). Put it there, or mend the class list.",
            shown(named),
            formats::melody_endings()
        ))
    }
}

/// Melodies read so far, by file and instrument.
#[derive(Default)]
pub struct ReadOnce {
    read: BTreeMap<(PathBuf, Option<&'static str>), Result<Ready, String>>,
}

impl ReadOnce {
    /// A melody for an instrument. A melody that was written for another one is moved by octaves, as `sheet --for` prints
    /// it.
    pub fn read(&mut self, path: &Path, instrument: Option<Instrument>) -> &Result<Ready, String> {
        let key = (path.to_owned(), instrument.map(Instrument::part_name));
        self.read.entry(key).or_insert_with(|| ready(path, instrument))
    }
}

/// The melody moved to an instrument, where it was written for another one, or looks so where it names none.
fn moved_to(path: &Path, to: Instrument) -> Option<ReadMelody> {
    // Of several parts the student's own is read.
    let read = formats::read_melody(path).ok()?;
    let named = read.melody.instrument.is_some();
    let settled = settle_instrument(read.melody).ok()?;
    let from = settled.instrument;
    if from == to {
        return None;
    }
    let moved = settled.melody.moved_to(from, to, Keeping::Names);
    let text = match named {
        true => format!("The melody was written for {from}; it was moved to {to} by octaves."),
        false if moved.semitones == 0 => return None,
        false => format!(
            "The melody does not say which instrument it is for; by its clef and notes it is one for {from}, and was \
             moved to {to} by octaves."
        ),
    };
    let mut remarks = read.remarks;
    remarks.push(Remark::new("melody-moved", text));
    remarks.extend(moved.remarks);
    Some(ReadMelody { melody: moved.melody, remarks })
}

fn ready(path: &Path, instrument: Option<Instrument>) -> Result<Ready, String> {
    let read = match instrument.and_then(|to| moved_to(path, to)) {
        Some(read) => read,
        None => formats::read_melody_for(path, instrument).map_err(|error| error.to_string())?,
    };
    let settled = settle_instrument(read.melody).map_err(|_| {
        "the melody does not say which instrument it is for. Name the instrument in the class list."
            .to_owned()
    })?;
    let mut remarks = read.remarks;
    remarks.extend(settled.remarks);
    let stem = || path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let name = settled.melody.title.clone().filter(|title| !title.trim().is_empty()).unwrap_or_else(stem);
    Ok(Ready { melody: settled.melody, instrument: settled.instrument, name, remarks })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sounding notes of a tune of the class for an instrument, and the codes of what is said.
    fn read(head: &str, bars: &str, instrument: Instrument) -> (Vec<i32>, Vec<String>) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("tune.toml");
        std::fs::write(&path, format!("{head}bars = [\"{bars}\"]\n")).expect("a file");
        let ready = ready(&path, Some(instrument)).expect("a melody");
        assert_eq!(ready.instrument, instrument);
        (ready.melody.soundings().collect(), ready.remarks.into_iter().map(|remark| remark.code).collect())
    }

    #[test]
    fn a_melody_is_moved_by_octaves_whether_or_not_it_names_the_instrument_that_it_is_for() {
        for head in ["", "instrument = 'violin'\n"] {
            for (instrument, lower) in [(Instrument::Cello, 12), (Instrument::Bass, 24)] {
                let (notes, said) = read(head, "D4 q E4 F#4 A4", instrument);
                assert_eq!(notes, [62, 64, 66, 69].map(|note| note - lower), "{head}");
                assert!(said.contains(&"melody-moved".to_owned()), "{said:?}");
            }
        }
        let (notes, said) = read("", "D4 q E4 F#4 A4", Instrument::Viola);
        assert_eq!((notes, said), (vec![62, 64, 66, 69], vec![]));
    }

    #[test]
    fn a_melody_that_may_be_for_several_instruments_is_the_students_own() {
        assert_eq!(read("", "D3 q E3 F#3 A3", Instrument::Cello).0, [50, 52, 54, 57]);
        assert_eq!(read("", "D3 q E3 F#3 A3", Instrument::Bass).0, [38, 40, 42, 45]);
    }
}
