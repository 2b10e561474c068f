//! A TOML text taken apart, with the place of what breaks the rules of TOML.

use super::error::{Fault, FormatErrorKind};
use std::ops::Range;
use toml::Spanned;
use toml::de::DeTable;

/// Quotes that programs for letters put in the place of the straight ones.
const CURLY: [char; 8] = ['“', '”', '„', '‟', '‘', '’', '‚', '‛'];

/// The table of a whole text.
pub(super) fn table_from_toml(text: &str) -> Result<Spanned<DeTable<'_>>, Fault> {
    DeTable::parse(text).map_err(|error| {
        let span = error.span().unwrap_or(0..0);
        if let Some(curly) = curly_quote(text, &span) {
            let message = "a curly quote stands where a straight one belongs";
            let help = "Write straight quotes, \", before and after a text. Some programs make them curly while you \
                        type: use a plain text editor.";
            return Fault::new(FormatErrorKind::Syntax, message, help).at(curly);
        }
        if let Some(open) = never_closed(text) {
            let message = "the three quotes that begin here are never closed";
            let help = "Write \"\"\" on a line of its own after the last bar.";
            return Fault::new(FormatErrorKind::Syntax, message, help).at(open);
        }
        let help =
            "Check quotes and brackets around here: texts stand between quotes, lists between [ and ].";
        Fault::new(FormatErrorKind::Syntax, for_people(error.message()), help).at(span)
    })
}

/// What TOML says of a mistake, for people to whom a string is what a bow moves.
fn for_people(message: &str) -> String {
    if message.contains("string values must be quoted") {
        return "words must stand between quotes, as in title = \"Rain\"".to_owned();
    }
    ["literal string", "basic string", "string"]
        .iter()
        .fold(message.to_owned(), |text, word| text.replace(word, "text"))
}

/// The first curly quote of the line on which TOML found the mistake, or of the line before, unless it stands inside of
/// straight quotes.
fn curly_quote(text: &str, span: &Range<usize>) -> Option<Range<usize>> {
    let at = super::excerpt::floor_boundary(text, span.start);
    let line_at = |at: usize| text[..at].rfind('\n').map_or(0, |at| at + 1);
    let begin = line_at(at);
    curly_in_line(text, begin).or_else(|| curly_in_line(text, line_at(begin.checked_sub(1)?)))
}

fn curly_in_line(text: &str, begin: usize) -> Option<Range<usize>> {
    let line = text[begin..].lines().next()?;
    let mut inside = false;
    for (place, letter) in line.char_indices() {
        match letter {
            '"' => inside = !inside,
            '#' if !inside => return None,
            curly if CURLY.contains(&curly) && (!inside || !line[place..].contains('"')) => {
                return Some(begin + place..begin + place + curly.len_utf8());
            }
            _ => {}
        }
    }
    None
}

/// The last three quotes, where there is an odd number of them.
fn never_closed(text: &str) -> Option<Range<usize>> {
    let quotes: Vec<usize> = text.match_indices("\"\"\"").map(|(at, _)| at).collect();
    let last = *quotes.last()?;
    (quotes.len() % 2 == 1).then_some(last..last + 3)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> (String, usize) {
        let fault = table_from_toml(text).map(drop).unwrap_err();
        let error = fault.in_file("m.toml", text);
        let place = miette::Diagnostic::labels(&error).and_then(|mut labels| labels.next());
        (error.to_string(), place.map_or(0, |label| label.offset()))
    }

    #[test]
    fn three_quotes_that_are_never_closed_are_pointed_at() {
        let (error, at) = said("key = \"D\"\nbars = \"\"\"\nD4 q E4\n");
        assert!(error.contains("never closed"), "{error}");
        assert_eq!(at, 17);
    }

    #[test]
    fn curly_quotes_are_called_that() {
        for text in ["bpm = 80\ntitle = “Rain”\n", "bpm = 80\ntitle = \"Rain”\n", "bars = “““\nD4 q\n“““\n"]
        {
            let (error, at) = said(text);
            assert!(error.contains("curly quote"), "{text}: {error}");
            assert!(CURLY.iter().any(|quote| text[at..].starts_with(*quote)), "{text}");
        }
        // A curly quote inside of a text is no mistake.
        let (error, _) = said("title = \"It’s “Rain”\" oh\n");
        assert!(!error.contains("curly"), "{error}");
    }
}
