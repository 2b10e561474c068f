//! A rule file and one of its tiers become a rule sheet.

use super::RULES;
use super::given_notes::{self, GivenRow};
use super::notes_by_string::{self, NoteRow};
use super::reader::{Complaint, Reader};
use super::rule::Rule;
use crate::formats::{Entry, RuleFile};
use crate::notation::{Key, Metre};

/// What a teacher asks for, before it is known who plays.
#[derive(Debug)]
pub struct RuleSheet {
    /// The title, if the file has one.
    pub title: Option<String>,
    /// The tier, if the file has tiers.
    pub tier: Option<String>,
    /// The metre; 4/4 where the file does not say.
    pub metre: Metre,
    /// How many bars.
    pub bars: Option<u32>,
    /// The key signature; C where the file does not say.
    pub key: Key,
    /// Beats a minute.
    pub bpm: Option<f64>,
    pub(super) notes: Vec<NoteRow>,
    pub(super) given: Vec<GivenRow>,
    pub(super) rules: Vec<(&'static str, &'static str, Box<dyn Rule>)>,
}

/// Words that say something and ask for nothing.
const FACTS: [&str; 2] = ["title", "bpm"];

/// The tier that is meant: the one asked for, or the only one; `Err` with the names if that does not say
/// it. A file without tiers has none to ask for.
pub fn choose_tier<'f>(file: &'f RuleFile, asked: Option<&str>) -> Result<Option<&'f str>, Vec<&'f str>> {
    let names: Vec<&str> = file.tiers.iter().map(|tier| tier.name.as_str()).collect();
    match (asked, &names[..]) {
        (None, []) => Ok(None),
        (None, [only]) => Ok(Some(only)),
        (Some(asked), _) => names.iter().find(|name| **name == asked).map(|name| Some(*name)).ok_or(names),
        _ => Err(names),
    }
}

impl RuleSheet {
    /// The sheet of a file, with what `tier` says in the place of what is said for everybody, and what is
    /// wrong with the file (also in its other tiers). A tier that is not there adds nothing.
    pub fn from_file(file: &RuleFile, tier: Option<&str>) -> (Self, Vec<Complaint>) {
        let mut reader = Reader::default();
        let known = || FACTS.into_iter().chain(RULES.iter().map(|rule| rule.word));
        reader.check_words(&file.entries, known());
        for other in &file.tiers {
            reader.check_words(&other.entries, known());
            if Some(other.name.as_str()) != tier {
                // Read for what is wrong with it; what it asks for is not asked for now.
                read(&merged(file, Some(&other.name)), &mut reader);
            }
        }
        let mut own = Reader::default();
        let mut sheet = read(&merged(file, tier), &mut own);
        // What is for everybody need not fit together without a tier, where there are tiers.
        if tier.is_some() || file.tiers.is_empty() {
            reader.complaints.append(&mut own.complaints);
        }
        sheet.tier = tier.map(str::to_owned);
        let mut complaints = reader.complaints;
        complaints.sort_by_key(|complaint| (complaint.span.start, complaint.span.end));
        complaints.dedup();
        (sheet, complaints)
    }
}

/// The entries for everybody, each replaced by the tier's where it has the word.
fn merged<'f>(file: &'f RuleFile, tier: Option<&str>) -> Vec<&'f Entry> {
    let own = file.tiers.iter().find(|one| Some(one.name.as_str()) == tier);
    let own: &[Entry] = own.map_or(&[], |tier| &tier.entries);
    let general = file.entries.iter().filter(|entry| !own.iter().any(|other| other.word == entry.word));
    general.chain(own).collect()
}

fn read(entries: &[&Entry], reader: &mut Reader) -> RuleSheet {
    let found = |word: &str| entries.iter().find(|entry| entry.word == word).map(|entry| &entry.setting);
    let title = found("title").and_then(|setting| reader.text("title", setting)).map(str::to_owned);
    let metre: Metre = found("metre").and_then(|setting| reader.parsed("metre", setting)).unwrap_or_default();
    let bars = found("bars").and_then(|setting| reader.whole("bars", setting, 1..=200));
    let key: Key = found("key").and_then(|setting| reader.parsed("key", setting)).unwrap_or_default();
    let bpm = found("bpm").and_then(|setting| reader.whole("bpm", setting, 20..=300)).map(f64::from);
    let notes = found("notes").map_or_else(Vec::new, |setting| notes_by_string::read_rows(setting, reader));
    let given = found("given").map_or_else(Vec::new, |setting| given_notes::read_rows(setting, reader));
    given_notes::check_places(&given, metre, bars, reader);
    let rules = RULES
        .iter()
        .filter_map(|kind| Some((kind.word, kind.about, (kind.read)(found(kind.word)?, reader)?)))
        .collect();
    RuleSheet { title, tier: None, metre, bars, key, bpm, notes, given, rules }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_rule_bytes;

    #[test]
    fn what_only_a_tier_makes_whole_is_not_complained_about() {
        let text = b"bars = 4\n[[given]]\nbar = 6\nbeat = 1\nlength = 'q'\nnote = 1\n[tier.long]\nbars = 8\n";
        let file = read_rule_bytes("r.toml", text).unwrap();
        assert_eq!(RuleSheet::from_file(&file, None).1, []);
        assert_eq!(RuleSheet::from_file(&file, Some("long")).1, []);
        let short = String::from_utf8_lossy(text).replace("bars = 8", "bars = 5");
        let file = read_rule_bytes("r.toml", short.as_bytes()).unwrap();
        let (sheet, complaints) = RuleSheet::from_file(&file, None);
        assert_eq!((sheet.bars, complaints.len()), (Some(4), 1));
        assert!(complaints[0].message.contains("no bar 6"), "{complaints:?}");
    }
}
