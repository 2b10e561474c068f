//! The text of a file as an error shows it: the few words around the place, however long the line is, and
//! nothing that a terminal would obey.

use miette::{MietteError, MietteSpanContents, SourceCode, SourceSpan, SpanContents};

/// More bytes than this are not shown of the lines around a place: only the place itself then.
const MOST_SHOWN: usize = 2_000;
/// Nor where one of them is longer than this: a screen would be full of it.
const LONGEST_LINE: usize = 200;
/// Bytes before and behind a place that are shown of a long line.
const AROUND: usize = 60;
/// A sentence of an error is not longer than this many letters; words of the file stand in it.
const LONGEST_SENTENCE: usize = 600;

/// A file's name and text, to be shown in excerpts.
#[derive(Debug)]
pub(super) struct Excerpt {
    name: String,
    text: String,
}

impl Excerpt {
    pub(super) fn new(name: &str, text: &str) -> Self {
        Self { name: name.to_owned(), text: harmless(text) }
    }

    pub(super) fn text(&self) -> &str {
        &self.text
    }
}

impl SourceCode for Excerpt {
    fn read_span<'a>(
        &'a self,
        span: &SourceSpan,
        lines_before: usize,
        lines_after: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        let lines = self.text.as_str().read_span(span, lines_before, lines_after)?;
        let (mut data, mut shown) = (lines.data(), *lines.span());
        let (mut line, mut column, mut count) = (lines.line(), lines.column(), lines.line_count());
        if data.len() > MOST_SHOWN || data.split(|byte| *byte == b'\n').any(|line| line.len() > LONGEST_LINE)
        {
            let start = span.offset().min(self.text.len());
            let begin = self.text[..start].rfind('\n').map_or(0, |at| at + 1);
            let end = self.text[start..].find('\n').map_or(self.text.len(), |at| start + at);
            let from = floor_boundary(&self.text, start.saturating_sub(AROUND).max(begin));
            let to = floor_boundary(&self.text, (start + span.len() + AROUND).min(end)).max(from);
            data = &self.text.as_bytes()[from..to];
            shown = (from, to - from).into();
            line = self.text[..begin].matches('\n').count();
            // Where nothing is shown around the place, its own column is asked for.
            let named = if lines_before == 0 && lines_after == 0 { start } else { from };
            column = self.text[begin..named].chars().count();
            count = 1;
        }
        Ok(Box::new(MietteSpanContents::new_named(self.name.clone(), data, shown, line, column, count)))
    }
}

/// The last boundary of letters that is not behind `at`.
pub(super) fn floor_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// Whether a letter turns the direction of writing, breaks the line or is not seen.
pub fn is_unseen(letter: char) -> bool {
    matches!(letter, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

/// The text with a sign in the place of everything that steers a terminal or turns the direction of writing:
/// as many bytes, so that places stay.
pub(super) fn harmless(text: &str) -> String {
    let mut letters = text.chars().peekable();
    let mut out = String::with_capacity(text.len());
    while let Some(letter) = letters.next() {
        let kept = match letter {
            '\n' | '\t' => true,
            '\r' => letters.peek() == Some(&'\n'),
            _ => !letter.is_control() && !is_unseen(letter),
        };
        out.push(match letter.len_utf8() {
            _ if kept => letter,
            1 => '?',
            2 => '\u{bf}',
            _ => '\u{fffd}',
        });
    }
    out
}

/// A sentence with words of the file in it, on one line and not endless.
pub(super) fn sentence(text: &str) -> String {
    let line: String = harmless(text).replace(['\n', '\r', '\t'], " ");
    match line.char_indices().nth(LONGEST_SENTENCE) {
        Some((end, _)) => format!("{} …", &line[..end]),
        None => line,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn of_a_long_line_the_place_is_shown_and_its_column_told() {
        let text = format!("first\n{}HERE{}\nlast", "x".repeat(5_000), "y".repeat(5_000));
        let excerpt = Excerpt::new("m.abc", &text);
        let place = (5_006, 4).into();
        let around = excerpt.read_span(&place, 1, 1).unwrap();
        let shown = std::str::from_utf8(around.data()).unwrap();
        assert_eq!(shown, format!("{}HERE{}", "x".repeat(60), "y".repeat(60)));
        assert_eq!((around.line(), around.span().offset()), (1, 4_946));
        assert_eq!(excerpt.read_span(&place, 0, 0).unwrap().column(), 5_000);
        let paragraph = Excerpt::new("README.md", &format!("# x\n{}\nlast", "word ".repeat(140)));
        assert!(paragraph.read_span(&(8, 1).into(), 1, 1).unwrap().data().len() < 130);
        let short = Excerpt::new("m.abc", "one\ntwo\nthree");
        assert_eq!(short.read_span(&(4, 3).into(), 1, 1).unwrap().data(), b"one\ntwo\nthree");
    }

    #[test]
    fn a_sentence_is_one_line_that_no_terminal_obeys() {
        assert_eq!(sentence("\u{1b}[2Jno\nnote\u{9b}"), "?[2Jno note\u{bf}");
        assert_eq!(sentence(&"é".repeat(1_000)).chars().count(), LONGEST_SENTENCE + 2);
        assert_eq!(harmless("a\r\nb\rc\u{202e}d"), "a\r\nb?c\u{fffd}d");
    }

    proptest! {
        #[test]
        fn places_stay_where_they_are(text in any::<String>()) {
            let shown = harmless(&text);
            prop_assert!(text.char_indices().map(|(at, _)| at).eq(shown.char_indices().map(|(at, _)| at)));
        }
    }
}
