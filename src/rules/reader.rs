//! Settings become numbers, lengths and words, and what they cannot mean becomes complaints.

use crate::formats::{Entry, Setting, SettingKind, length_from_word};
use crate::notation::Length;
use std::ops::{Range, RangeInclusive};
use std::str::FromStr;

/// Something in a rule file that cannot be meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Complaint {
    /// Where it stands in the file, in bytes.
    pub span: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

/// Reads settings and collects what is wrong with them.
#[derive(Debug, Default)]
pub struct Reader {
    /// What was wrong so far, in the order of reading.
    pub complaints: Vec<Complaint>,
}

impl Reader {
    /// Notes what is wrong with the bytes of `span`, and what to do.
    pub fn complain(&mut self, span: &Range<usize>, message: impl Into<String>, help: impl Into<String>) {
        let complaint = Complaint { span: span.clone(), message: message.into(), help: help.into() };
        self.complaints.push(complaint);
    }

    /// A whole number in a range.
    pub fn whole(&mut self, word: &str, setting: &Setting, range: RangeInclusive<u32>) -> Option<u32> {
        let number = setting.number().filter(|number| number.fract() == 0.0 && *number >= 0.0);
        let number = number.map(|number| number as u32).filter(|number| range.contains(number));
        if number.is_none() {
            let message = format!("{word} wants a whole number from {} to {}", range.start(), range.end());
            self.complain(
                &setting.span,
                message,
                format!("Write it without quotes: {word} = {}", range.start()),
            );
        }
        number
    }

    /// `true` or `false`.
    pub fn yes(&mut self, word: &str, setting: &Setting) -> Option<bool> {
        if let SettingKind::Yes(yes) = setting.kind {
            return Some(yes);
        }
        let help = format!("Write it without quotes: {word} = true");
        self.complain(&setting.span, format!("{word} wants true or false"), help);
        None
    }

    /// A text.
    pub fn text<'s>(&mut self, word: &str, setting: &'s Setting) -> Option<&'s str> {
        let text = setting.text();
        if text.is_none() {
            self.complain(&setting.span, format!("{word} wants a text"), "Put it between quotes.");
        }
        text
    }

    /// A text that stands for something; its own error says what may be written.
    pub fn parsed<T: FromStr>(&mut self, word: &str, setting: &Setting) -> Option<T>
    where
        T::Err: std::fmt::Display,
    {
        match self.text(word, setting)?.parse() {
            Ok(value) => Some(value),
            Err(error) => {
                self.complain(&setting.span, error.to_string(), "Change it and try again.");
                None
            }
        }
    }

    /// A note value such as `"q"` or `"dotted half"` typed `"h."`.
    pub fn length(&mut self, word: &str, setting: &Setting) -> Option<Length> {
        let length = self.text(word, setting).and_then(length_from_word);
        if length.is_none() && setting.text().is_some() {
            let message = format!("“{}” is not a note value", setting.text().unwrap_or_default());
            let help = "Note values are \"w\" whole, \"h\" half, \"q\" quarter, \"e\" eighth and \"s\" \
                        sixteenth, with a dot for dotted: \"q.\"";
            self.complain(&setting.span, message, help);
        }
        length
    }

    /// A list of note values, long to short, each once; `None` after a complaint or if it is empty.
    pub fn lengths(&mut self, word: &str, setting: &Setting) -> Option<Vec<Length>> {
        let SettingKind::List(list) = &setting.kind else {
            let help = format!("Put the note values between brackets: {word} = [\"h\", \"q\"]");
            self.complain(&setting.span, format!("{word} wants a list"), help);
            return None;
        };
        let mut lengths = Vec::new();
        for one in list {
            lengths.push(self.length(word, one)?);
        }
        lengths.sort();
        lengths.reverse();
        lengths.dedup();
        if lengths.is_empty() {
            self.complain(
                &setting.span,
                format!("{word} is empty"),
                "Name at least one note value, or take the line out.",
            );
            return None;
        }
        Some(lengths)
    }

    /// The entries of a table.
    pub fn table<'s>(&mut self, setting: &'s Setting, wanted: &str) -> Option<&'s [Entry]> {
        if let SettingKind::Table(entries) = &setting.kind {
            return Some(entries);
        }
        self.complain(&setting.span, "this is not a table", format!("Write {wanted}"));
        None
    }

    /// Complains about every word that is none of `known`, with the nearest one.
    pub fn check_words<'w>(&mut self, entries: &[Entry], known: impl Iterator<Item = &'w str> + Clone) {
        for entry in entries {
            if known.clone().any(|word| word == entry.word) {
                continue;
            }
            let nearest = known.clone().min_by_key(|word| distance(word, &entry.word));
            let near = nearest.filter(|word| distance(word, &entry.word) <= word.len() / 3);
            let help = match near {
                Some(word) => format!("Did you mean {word}?"),
                None => format!("The words are {}.", known.clone().collect::<Vec<_>>().join(", ")),
            };
            self.complain(&entry.span, format!("I do not know the word “{}”", entry.word), help);
        }
    }
}

/// How many letters must be changed, put in or taken out (Levenshtein, 1966).
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().take(60).collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, from) in a.chars().take(60).enumerate() {
        let mut before = row[0];
        row[0] = i + 1;
        for (j, to) in b.iter().enumerate() {
            let changed = before + usize::from(from != *to);
            before = row[j + 1];
            row[j + 1] = changed.min(row[j] + 1).min(before + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_rule_bytes;

    fn entries(text: &str) -> Vec<Entry> {
        read_rule_bytes("r.toml", text.as_bytes()).unwrap().entries
    }

    #[test]
    fn yes_and_no_are_told_apart_and_a_text_is_neither() {
        let typed = entries("one = true\ntwo = false\nthree = 'true'");
        let mut reader = Reader::default();
        let found: Vec<_> = typed.iter().map(|entry| reader.yes(&entry.word, &entry.setting)).collect();
        assert_eq!(found, [Some(true), Some(false), None]);
        let messages: Vec<_> = reader.complaints.iter().map(|one| one.message.as_str()).collect();
        assert_eq!(messages, ["three wants true or false"]);
    }

    #[test]
    fn only_a_near_word_is_proposed_for_one_that_is_not_known() {
        let mut reader = Reader::default();
        reader.check_words(&entries("bar = 4\nzebra = 1\nkey = 'D'"), ["bars", "key"].into_iter());
        let helps: Vec<_> = reader.complaints.iter().map(|one| one.help.as_str()).collect();
        assert_eq!(helps, ["Did you mean bars?", "The words are bars, key."]);
    }

    #[test]
    fn a_slip_of_the_keyboard_is_near_its_word() {
        assert_eq!(distance("largest_leap", "largest_leep"), 1);
        assert_eq!(distance("bars", ""), 4);
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!((distance("rests", "rest"), distance("rest", "rests")), (1, 1));
    }
}
