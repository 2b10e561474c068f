//! Bar lines of ABC and the bars between them.

use super::super::draft::{DraftBar, DraftItem, Marks};
use super::fields::Accidentals;
use crate::notation::{Key, Length, Metre};

/// One bar-line symbol as it is typed: `|`, `||`, `:|`, `|:`, `::`, `|]`, `:|2` and so on.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct BarLine {
    /// How often the section before is played in all.
    pub repeat_end: Option<u32>,
    pub repeat_start: bool,
    /// Double, thick or repeat: it ends an ending.
    pub heavy: bool,
    /// The ending that begins.
    pub endings: Vec<u32>,
    /// Bytes it takes.
    pub bytes: usize,
}

/// The bar line at the start of a text, if there is one (ABC 2.1, 4.8 and 4.9).
pub(super) fn bar_line(text: &str) -> Option<BarLine> {
    let mut end = 0;
    let bytes = text.as_bytes();
    while end < bytes.len() {
        match bytes[end] {
            b'|' | b':' => end += 1,
            b'[' if bytes.get(end + 1) == Some(&b'|') => end += 1,
            b']' if end > 0 && bytes[end - 1] == b'|' => end += 1,
            _ => break,
        }
    }
    let sign = &text[..end];
    let starts_ending = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    if sign.is_empty() {
        // A lone ending: `[1`.
        if !(bytes.first() == Some(&b'[') && starts_ending(1)) {
            return None;
        }
    } else if sign == ":" {
        return None;
    }
    let mut line = BarLine { bytes: end, ..BarLine::default() };
    let bars = sign.trim_matches(':');
    let before = sign.len() - sign.trim_start_matches(':').len();
    let after = sign.len() - sign.trim_end_matches(':').len();
    if bars.is_empty() && !sign.is_empty() {
        line.repeat_end = Some(2);
        line.repeat_start = true;
    } else {
        // `|]:|` is a final bar with the repeat sign written after it.
        let inner = bars.contains(':');
        line.repeat_end = match before {
            0 => inner.then_some(2),
            colons => Some(u32::try_from(colons).unwrap_or(u32::MAX).saturating_add(1)),
        };
        line.repeat_start = after > 0;
    }
    line.heavy = line.repeat_end.is_some() || line.repeat_start || bars.len() > 1;
    // The number of an ending follows at once, or in brackets after spaces.
    let number_at = if starts_ending(end) {
        Some(end)
    } else {
        let spaces = text[end..].len() - text[end..].trim_start_matches(' ').len();
        let at = end + spaces;
        (bytes.get(at) == Some(&b'[') && starts_ending(at + 1)).then_some(at + 1)
    };
    if let Some(at) = number_at {
        let length =
            text[at..].bytes().take_while(|b| b.is_ascii_digit() || matches!(b, b',' | b'-')).count();
        line.endings = ending_numbers(&text[at..at + length]);
        line.bytes = at + length;
    }
    Some(line)
}

/// `1,3` and `1-3`.
fn ending_numbers(text: &str) -> Vec<u32> {
    let mut out = Vec::new();
    for part in text.split(',') {
        let mut ends = part.split('-').filter_map(|n| n.parse::<u32>().ok()).map(|n| n.min(100));
        if let Some(first) = ends.next() {
            out.extend(first..=ends.next().unwrap_or(first));
        }
    }
    out
}

/// The bars so far and the one that is being filled.
pub(super) struct Bars {
    pub done: Vec<DraftBar>,
    pub metre: Metre,
    measured: bool,
    key: Key,
    pub accidentals: Accidentals,
    items: Vec<DraftItem>,
    marks: Marks,
    endings: Vec<u32>,
    start: usize,
    number: Option<u32>,
    offset: Option<Length>,
    /// The last bar that was given a number: which one, and the number.
    numbered: Option<(usize, u32)>,
    /// What holds at the start of the bar that is being filled; a change within it is for the next one.
    bar_metre: Metre,
    bar_measured: bool,
    bar_key: Key,
}

impl Bars {
    pub(super) fn new() -> Self {
        Self {
            done: Vec::new(),
            metre: Metre::default(),
            measured: true,
            key: Key::default(),
            accidentals: Accidentals::default(),
            items: Vec::new(),
            marks: Marks::default(),
            endings: Vec::new(),
            start: 0,
            number: None,
            offset: None,
            numbered: None,
            bar_metre: Metre::default(),
            bar_measured: true,
            bar_key: Key::default(),
        }
    }

    pub(super) fn set_metre(&mut self, metre: Option<Metre>) {
        self.measured = metre.is_some();
        self.metre = metre.unwrap_or(self.metre);
        self.settle();
    }

    pub(super) fn set_key(&mut self, key: Key) {
        self.key = key;
        self.settle();
    }

    /// What is said before the first note of a bar holds for it.
    fn settle(&mut self) {
        if self.items.is_empty() {
            (self.bar_metre, self.bar_measured, self.bar_key) = (self.metre, self.measured, self.key);
        }
    }

    /// The number that the next bar prints.
    pub(super) fn set_number(&mut self, number: u32) {
        self.number = Some(number);
    }

    /// The beat that the next bar begins on.
    pub(super) fn set_offset(&mut self, offset: Length) {
        self.offset = Some(offset);
    }

    pub(super) fn push(&mut self, item: DraftItem) {
        if self.items.is_empty() {
            self.start = item.span.start;
        }
        self.items.push(item);
    }

    pub(super) fn is_empty(&self) -> bool {
        self.items.is_empty()
    }

    pub(super) fn last(&mut self) -> Option<&mut DraftItem> {
        self.items.last_mut()
    }

    /// The note or rest before, in this bar or the one before.
    pub(super) fn last_anywhere(&mut self) -> Option<&mut DraftItem> {
        if self.items.is_empty() { self.done.last_mut()?.items.last_mut() } else { self.items.last_mut() }
    }

    pub(super) fn marks(&mut self) -> &mut Marks {
        &mut self.marks
    }

    /// How many notes and rests the open bar holds.
    pub(super) fn count(&self) -> usize {
        self.items.len()
    }

    /// The number of the bar that is being filled, counted as it will be printed, and the beat reached.
    pub(super) fn place(&self) -> (u32, Length) {
        let pickup = self.done.first().is_some_and(|first| first.filled() < first.metre.bar());
        let counted = self.done.len() as u32 + u32::from(!pickup);
        let number = self.number.unwrap_or_else(|| match self.numbered {
            Some((at, number)) => number.saturating_add((self.done.len() - at) as u32),
            None => counted,
        });
        let filled: Length =
            self.offset.unwrap_or_default() + self.items.iter().map(|item| item.length).sum::<Length>();
        (number, filled / self.bar_metre.beat() + Length::from_integer(1))
    }

    pub(super) fn close(&mut self, line: &BarLine, at: usize) {
        if self.items.is_empty() {
            // Two signs in a row: what ends belongs to the bar before.
            if let Some(before) = self.done.last_mut() {
                before.marks.repeat_end = before.marks.repeat_end.or(line.repeat_end);
                before.marks.section_end |= line.heavy;
            }
        } else {
            let mut marks = std::mem::take(&mut self.marks);
            marks.endings = self.endings.clone();
            marks.repeat_end = line.repeat_end;
            marks.section_end = line.heavy;
            self.numbered = self.number.map(|number| (self.done.len(), number)).or(self.numbered);
            self.done.push(DraftBar {
                number: self.number.take(),
                offset: self.offset.take(),
                metre: self.bar_metre,
                measured: self.bar_measured,
                key: self.bar_key,
                items: std::mem::take(&mut self.items),
                marks,
                span: self.start..at,
            });
        }
        if line.heavy || !line.endings.is_empty() {
            self.endings = line.endings.clone();
        }
        self.marks.repeat_start |= line.repeat_start;
        self.settle();
    }

    /// A bar with one rest.
    pub(super) fn rest_bar(&mut self, span: std::ops::Range<usize>) {
        let length = self.metre.bar();
        self.push(DraftItem { length, pitch: None, tie_start: false, finger: None, span });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> (Option<u32>, bool, Vec<u32>) {
        let line = bar_line(text).unwrap();
        (line.repeat_end, line.repeat_start, line.endings)
    }

    /// ABC 2.1, 4.8 and 4.9.
    #[test]
    fn bar_lines_are_read_as_the_standard_lists_them() {
        assert_eq!(read("|A"), (None, false, vec![]));
        assert_eq!(read(":|"), (Some(2), false, vec![]));
        assert_eq!(read("|:"), (None, true, vec![]));
        assert_eq!(read("::"), (Some(2), true, vec![]));
        assert_eq!(read(":||:"), (Some(2), true, vec![]));
        assert_eq!(read("::|"), (Some(3), false, vec![]));
        assert_eq!(read("|1 A"), (None, false, vec![1]));
        assert_eq!(read(":|2 A"), (Some(2), false, vec![2]));
        assert_eq!(read("| [1,3 A"), (None, false, vec![1, 3]));
        assert_eq!(read("[1-3 A"), (None, false, vec![1, 2, 3]));
        assert_eq!(read("|]:|"), (Some(2), false, vec![]));
        assert!(bar_line("[CEG]").is_none());
        assert!(bar_line("[K:G]").is_none());
        assert_eq!(bar_line("|[K:G]").unwrap().bytes, 1);
        assert_eq!(bar_line("|[CE]").unwrap().bytes, 1);
        assert!(bar_line("||").unwrap().heavy && !bar_line("|").unwrap().heavy);
    }
}
