//! The text of a teacher's rule file becomes words and settings that know where they stand. What the
//! words mean is for the room `rules`, which cannot fail: what it does not understand comes back here
//! as a complaint and becomes an error that points into the file.

use super::bytes_from_file::bytes_from_file;
use super::error::{Fault, FormatError, FormatErrorKind};
use super::table_from_toml::table_from_toml;
use super::text_from_bytes::text_from_bytes;
use std::ops::Range;
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// No rule file is larger than this many bytes.
const LARGEST_RULE_FILE: u64 = 1 << 20;
/// The table that holds the tiers.
const TIER: &str = "tier";

/// A rule file taken apart.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleFile {
    /// The settings for everybody, in the order of the file.
    pub entries: Vec<Entry>,
    /// The tables `[tier.NAME]`, in the order of the file.
    pub tiers: Vec<Tier>,
    name: String,
    text: String,
}

/// One tier of a rule file: what it says takes the place of what is said for everybody.
#[derive(Debug, Clone, PartialEq)]
pub struct Tier {
    /// Its name, such as `starter`.
    pub name: String,
    /// Where the name stands, in bytes.
    pub span: Range<usize>,
    /// Its settings.
    pub entries: Vec<Entry>,
}

/// A word and its setting.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The word, such as `largest_leap`.
    pub word: String,
    /// Where the word stands, in bytes.
    pub span: Range<usize>,
    /// What it is set to.
    pub setting: Setting,
}

/// A setting and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// What it is.
    pub kind: SettingKind,
    /// Where it stands, in bytes.
    pub span: Range<usize>,
}

/// What a setting is.
#[derive(Debug, Clone, PartialEq)]
pub enum SettingKind {
    /// A text between quotes.
    Text(String),
    /// A decimal number without quotes.
    Number(f64),
    /// `true` or `false`.
    Yes(bool),
    /// A list between `[` and `]`.
    List(Vec<Setting>),
    /// A table, or a list in braces.
    Table(Vec<Entry>),
    /// A date, or a number in another notation.
    Other,
}

impl Setting {
    /// The text, if it is one.
    pub fn text(&self) -> Option<&str> {
        match &self.kind {
            SettingKind::Text(text) => Some(text),
            _ => None,
        }
    }

    /// The number, if it is one.
    pub fn number(&self) -> Option<f64> {
        match self.kind {
            SettingKind::Number(number) => Some(number),
            _ => None,
        }
    }

    /// Its parts if it is a list, else itself alone.
    pub fn one_or_many(&self) -> &[Setting] {
        match &self.kind {
            SettingKind::List(list) => list,
            _ => std::slice::from_ref(self),
        }
    }
}

impl RuleFile {
    /// An error that points at bytes of this file: what is wrong, and what to do.
    pub fn complaint(&self, span: Range<usize>, message: &str, help: &str) -> FormatError {
        Fault::new(FormatErrorKind::Rules, message, help).at(span).in_file(&self.name, &self.text)
    }
}

/// Reads a rule file.
///
/// # Errors
/// [`FormatError`] where the file cannot be read, is no text or breaks the rules of TOML. Whether its
/// words are known is for `rules` to say.
pub fn read_rule_file(path: &Path) -> Result<RuleFile, FormatError> {
    let (name, bytes) = bytes_from_file(path, LARGEST_RULE_FILE)?;
    read_rule_bytes(&name, &bytes)
}

/// Reads a rule file from the bytes of a file called `name`.
///
/// # Errors
/// As [`read_rule_file`].
pub fn read_rule_bytes(name: &str, bytes: &[u8]) -> Result<RuleFile, FormatError> {
    if bytes.len() as u64 > LARGEST_RULE_FILE {
        let message = "the file is larger than a rule file can be (1 MB)";
        let fault = Fault::new(FormatErrorKind::TooBig, message, "Is this the right file?");
        return Err(fault.in_file(name, ""));
    }
    let text = text_from_bytes(bytes).map_err(|fault| fault.in_file(name, ""))?;
    let (entries, tiers) = taken_apart(&text).map_err(|fault| fault.in_file(name, &text))?;
    Ok(RuleFile { entries, tiers, name: name.to_owned(), text })
}

fn taken_apart(text: &str) -> Result<(Vec<Entry>, Vec<Tier>), Fault> {
    let table = table_from_toml(text)?;
    let mut entries = entries_of(table.get_ref());
    let mut tiers = Vec::new();
    if let Some(at) = entries.iter().position(|entry| entry.word == TIER) {
        let table = entries.remove(at);
        let wrong = |span: &Range<usize>| {
            let help = "Begin each tier with its own heading, such as [tier.starter].";
            Fault::new(FormatErrorKind::Rules, "a tier is a table with a name", help).at(span.clone())
        };
        let SettingKind::Table(named) = table.setting.kind else { return Err(wrong(&table.span)) };
        for tier in named {
            let SettingKind::Table(entries) = tier.setting.kind else { return Err(wrong(&tier.span)) };
            tiers.push(Tier { name: tier.word, span: tier.span, entries });
        }
    }
    Ok((entries, tiers))
}

fn entries_of(table: &DeTable) -> Vec<Entry> {
    let entry = |(word, value): (&Spanned<std::borrow::Cow<str>>, &Spanned<DeValue>)| Entry {
        word: word.get_ref().to_string(),
        span: word.span(),
        setting: setting_of(value),
    };
    table.iter().map(entry).collect()
}

fn setting_of(value: &Spanned<DeValue>) -> Setting {
    let kind = match value.get_ref() {
        DeValue::String(text) => SettingKind::Text(text.to_string()),
        DeValue::Integer(number) if number.radix() == 10 => decimal(number.as_str()),
        DeValue::Float(number) => decimal(number.as_str()),
        DeValue::Boolean(yes) => SettingKind::Yes(*yes),
        DeValue::Array(list) => SettingKind::List(list.iter().map(setting_of).collect()),
        DeValue::Table(table) => SettingKind::Table(entries_of(table)),
        _ => SettingKind::Other,
    };
    Setting { kind, span: value.span() }
}

fn decimal(text: &str) -> SettingKind {
    let number = text.replace('_', "").parse::<f64>().ok().filter(|number| number.is_finite());
    number.map_or(SettingKind::Other, SettingKind::Number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_tiers_and_places_are_kept_in_the_order_of_the_file() {
        let text = "bars = 4\nnote_values = ['q', 'h']\n[tier.further]\nbars = 8\n[tier.starter]\n";
        let file = read_rule_bytes("r.toml", text.as_bytes()).unwrap();
        let words: Vec<&str> = file.entries.iter().map(|entry| entry.word.as_str()).collect();
        assert_eq!(words, ["bars", "note_values"]);
        assert_eq!(file.entries[0].setting.number(), Some(4.0));
        assert_eq!(&text[file.entries[1].setting.span.clone()], "['q', 'h']");
        let tiers: Vec<&str> = file.tiers.iter().map(|tier| tier.name.as_str()).collect();
        assert_eq!(tiers, ["further", "starter"]);
        assert_eq!(file.tiers[0].entries[0].setting.number(), Some(8.0));
    }

    #[test]
    fn a_complaint_names_file_line_and_column() {
        let file = read_rule_bytes("r.toml", b"bars = 4\nkey = 'H'\n").unwrap();
        let error = file.complaint(file.entries[1].setting.span.clone(), "not a key", "Write D.");
        assert_eq!(error.to_string(), "r.toml:2:7: not a key");
        assert_eq!(error.advice(), "Write D.");
    }

    #[test]
    fn what_is_no_toml_or_no_tier_is_an_error_with_a_place() {
        for (text, at) in
            [("bars = ", Some((1, 8))), ("tier = 3", Some((1, 1))), ("[tier]\na = 1", Some((2, 1)))]
        {
            let error = read_rule_bytes("r.toml", text.as_bytes()).unwrap_err();
            assert_eq!(error.line_column(), at, "{error}");
        }
        assert_eq!(read_rule_bytes("r.toml", &[0xff, 0x00]).unwrap_err().kind(), FormatErrorKind::Encoding);
    }
}
