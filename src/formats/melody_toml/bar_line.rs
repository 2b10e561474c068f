//! One line of a melody in TOML becomes the notes and rests of a bar.

use super::super::draft::{DraftBar, DraftItem, Marks};
use super::super::error::{Fault, FormatErrorKind};
use crate::notation::{
    Instrument, Key, Length, Letter, Metre, Spelling, Value, bar_text, beat_text, checked_length,
};
use crate::remark::Remark;
use std::ops::Range;

/// No bar has more notes and rests than this.
const MOST_ITEMS: usize = 4_096;

/// A line of text and where it stands in the file: `None` if escapes in the text hide that.
pub(super) struct Line<'a> {
    pub text: &'a str,
    pub start: Option<usize>,
    /// The whole value in the file.
    pub value: Range<usize>,
}

/// What one line hands to the next.
pub(super) struct Running {
    pub metre: Metre,
    pub key: Key,
    pub length: Option<Length>,
    pub next_number: u32,
    pub instrument: Option<Instrument>,
    pub remarks: Vec<Remark>,
}

/// A bar, and whether it was said to be short on purpose.
pub(super) struct ReadBar {
    pub bar: DraftBar,
    pub short: bool,
}

impl Line<'_> {
    fn span(&self, within: Range<usize>) -> Range<usize> {
        self.start.map_or(self.value.clone(), |start| start + within.start..start + within.end)
    }

    fn words(&self) -> Vec<(&str, Range<usize>)> {
        let mut words = Vec::new();
        let mut begin = None;
        for (at, c) in self.text.char_indices().chain([(self.text.len(), ' ')]) {
            match (c.is_whitespace() || c == ',', begin) {
                (true, Some(from)) => {
                    words.push((&self.text[from..at], from..at));
                    begin = None;
                }
                (false, None) => begin = Some(at),
                _ => {}
            }
        }
        words
    }
}

fn syntax(message: String, help: impl Into<String>) -> Fault {
    Fault::new(FormatErrorKind::Syntax, message, help)
}

const NOTE_HELP: &str = "A bar is typed like this: D4 q  F#4 e  G4 e  rest h (a note or rest, then its length: w h q e s). A dot makes a length \
     half as long again (q.), Bb4 is B flat, Bn4 B natural, D4 h~ D4 q one tied note, D4 q/3 E4 F#4 a triplet in one beat.";

/// Reads one line.
pub(super) fn read_bar(line: &Line, running: &mut Running) -> Result<ReadBar, Fault> {
    let words = line.words();
    let mut bar = DraftBar {
        number: Some(running.next_number),
        offset: None,
        metre: running.metre,
        measured: true,
        key: running.key,
        items: Vec::new(),
        marks: Marks::default(),
        span: line.span(0..line.text.len()),
    };
    let head = words
        .iter()
        .position(|(word, _)| word.ends_with(':') && !word.starts_with('|'))
        .map_or(0, |at| at + 1);
    let mut short = false;
    read_head(line, &words[..head], &mut bar, &mut short)?;
    let number = bar.number.unwrap_or(0);
    let mut begun = false;
    for (word, span) in &words[head..] {
        let before = bar.items.len();
        let read = if before > MOST_ITEMS {
            Err(Fault::new(FormatErrorKind::TooBig, "this bar never ends", "Start a new line."))
        } else {
            read_word(word, line.span(span.clone()), running, &mut bar)
        };
        read.map_err(|fault| {
            // What follows a note and is none was to be its length.
            let before = if begun && !looks_like_a_note(word) { before - 1 } else { before };
            let filled: Length = bar.items[..before].iter().map(|item| item.length).sum();
            let beat = (bar.offset.unwrap_or_default() + filled) / bar.metre.beat() + Length::from_integer(1);
            fault.at(line.span(span.clone())).in_bar(number, beat)
        })?;
        begun = bar.items.len() > before;
    }
    if short && bar.offset.is_none() {
        bar.offset = Some(Length::from_integer(0));
    }
    running.next_number = number.saturating_add(1);
    running.metre = bar.metre;
    running.key = bar.key;
    Ok(ReadBar { bar, short })
}

fn looks_like_a_note(word: &str) -> bool {
    word.starts_with(['A', 'B', 'C', 'D', 'E', 'F', 'G', 'a', 'b', 'c', 'd', 'f', 'g', 'r', 'R'])
}

fn read_head(
    line: &Line,
    words: &[(&str, Range<usize>)],
    bar: &mut DraftBar,
    short: &mut bool,
) -> Result<(), Fault> {
    let mut words = words.iter().map(|(word, span)| (word.trim_end_matches(':'), span));
    let mut from = None;
    while let Some((word, span)) = words.next() {
        let place = |fault: Fault| fault.at(line.span(span.clone()));
        let mut value = |what: &str| {
            words.next().map(|(value, _)| value).ok_or_else(|| {
                syntax(
                    format!("“{word}” wants {what} after it"),
                    "Write for example bar 8: or key G: or from 3:",
                )
            })
        };
        match word {
            "short" => *short = true,
            "bar" => {
                let number = value("a number").map_err(place)?;
                let read = number.parse().ok().filter(|&n: &u32| n < 1_000_000);
                let wrong =
                    || place(syntax(format!("“{number}” is not a bar number"), "Write for example bar 8:"));
                bar.number = Some(read.ok_or_else(wrong)?);
            }
            "key" => {
                let key = value("a key").map_err(place)?;
                bar.key = key
                    .parse()
                    .map_err(|error| place(syntax(format!("{error}"), "Write for example key G:")))?;
            }
            "from" => from = Some((value("a beat").map_err(place)?, span)),
            "|" | "" => {}
            _ => match word.parse() {
                Ok(metre) => bar.metre = metre,
                Err(_) => {
                    let message = format!("I do not know “{word}” before a colon");
                    let help = "Before a colon can stand: a metre (3/4), key G, short, bar 8, from 3.";
                    return Err(place(syntax(message, help)));
                }
            },
        }
    }
    if let Some((beat, span)) = from {
        let (numerator, denominator) = beat.split_once('/').unwrap_or((beat, "1"));
        let read =
            numerator.parse().ok().zip(denominator.parse().ok()).and_then(|(n, d)| checked_length(n, d));
        let offset = read.map(|beat| (beat - Length::from_integer(1)) * bar.metre.beat());
        let offset = offset.filter(|&offset| offset >= Length::from_integer(0) && offset < bar.metre.bar());
        let wrong = || syntax(format!("“{beat}” is not a beat of this bar"), "Write for example from 3:");
        bar.offset = Some(offset.ok_or_else(|| wrong().at(line.span(span.clone())))?);
    }
    Ok(())
}

fn read_word(word: &str, span: Range<usize>, running: &mut Running, bar: &mut DraftBar) -> Result<(), Fault> {
    match word {
        "|" | "||" => return Ok(()),
        "|:" if bar.items.is_empty() => {
            bar.marks.repeat_start = true;
            return Ok(());
        }
        ":|" => {
            bar.marks.repeat_end = Some(2);
            return Ok(());
        }
        "~" => return tie(bar),
        _ => {}
    }
    if bar.marks.repeat_end.is_some() {
        return Err(syntax("nothing can stand after :| in a bar".into(), "Start a new line."));
    }
    if let Some(finger) = word.strip_prefix('(') {
        let finger =
            finger.strip_suffix(')').and_then(|finger| finger.parse().ok()).filter(|finger| *finger <= 4_u8);
        let item = bar.items.last_mut().filter(|item| item.pitch.is_some());
        let (Some(finger), Some(item)) = (finger, item) else {
            return Err(syntax(format!("“{word}” is not a finger"), "Write (0) to (4) after a note."));
        };
        item.finger = Some(finger);
        return Ok(());
    }
    let (word, tied) = match word.strip_suffix('~') {
        Some(word) => (word, true),
        None => (word, false),
    };
    if let Some(length) = length_of(word, bar.metre) {
        let length = length.map_err(|()| {
            let message = format!("“{word}” is not a length that can be kept");
            Fault::new(
                FormatErrorKind::Length,
                message,
                "Lengths are w h q e s, with dots, q/3, or fractions like 5/16.",
            )
        })?;
        let Some(item) = bar.items.last_mut() else {
            return Err(syntax(format!("the length “{word}” has no note before it"), NOTE_HELP));
        };
        if bar_word(word) && item.pitch.is_some() {
            return Err(syntax("“bar” is for rests".into(), "Write the note's own length, such as w."));
        }
        item.length = length;
        if !bar_word(word) {
            running.length = Some(length);
        }
        if tied {
            tie(bar)?;
        }
        return Ok(());
    }
    let (pitch, rest) = symbol(word, running)?;
    let length = match rest {
        "" => running.length,
        rest => match length_of(rest, bar.metre) {
            Some(Ok(length)) => {
                running.length = Some(length);
                Some(length)
            }
            _ => return Err(unknown(word, running)),
        },
    };
    if let Some(pitch) = pitch {
        remark_on_key(word, pitch, running, bar);
    }
    // The very first note may get its length from the next word.
    let length = length.unwrap_or(Value::Quarter.length());
    bar.items.push(DraftItem { length, pitch, tie_start: false, finger: None, span });
    if running.length.is_none() {
        running.length = Some(length);
    }
    if tied {
        tie(bar)?;
    }
    Ok(())
}

fn tie(bar: &mut DraftBar) -> Result<(), Fault> {
    match bar.items.last_mut().filter(|item| item.pitch.is_some()) {
        Some(item) => {
            item.tie_start = true;
            Ok(())
        }
        None => Err(syntax("the tie ~ has no note before it".into(), "Write D4 h ~ and then the same note.")),
    }
}

fn bar_word(word: &str) -> bool {
    word == "bar"
}

/// A length as it is typed in a melody: `q`, `h.`, `quarter`, `q/3`, `5/16`; `None` if it is none that can
/// be kept.
pub fn length_from_word(word: &str) -> Option<Length> {
    if bar_word(word) { None } else { length_of(word, Metre::default())?.ok() }
}

/// A length, `Some(Err)` if it looks like one and cannot be kept, `None` if it is something else.
fn length_of(word: &str, metre: Metre) -> Option<Result<Length, ()>> {
    if bar_word(word) {
        return Some(Ok(metre.bar()));
    }
    if word.starts_with(|c: char| c.is_ascii_digit()) {
        let (numerator, denominator) = word.split_once('/')?;
        let (numerator, denominator) = (numerator.parse().ok()?, denominator.parse().ok()?);
        return Some(checked_length(numerator, denominator).ok_or(()));
    }
    let name_end = word.find(['.', '/']).unwrap_or(word.len());
    let value = match &word[..name_end] {
        "w" | "whole" => Value::Whole,
        "h" | "half" => Value::Half,
        "q" | "quarter" => Value::Quarter,
        "e" | "eighth" => Value::Eighth,
        "s" | "sixteenth" => Value::Sixteenth,
        _ => return None,
    };
    let rest = &word[name_end..];
    let dots = rest.bytes().take_while(|&byte| byte == b'.').count();
    let length = match dots {
        0 => value.length(),
        1 => value.length() * Length::new(3, 2),
        2 => value.length() * Length::new(7, 4),
        _ => return Some(Err(())),
    };
    match rest[dots..].strip_prefix('/') {
        None if rest.len() == dots => Some(Ok(length)),
        None => None,
        Some(parts) => {
            let parts: i64 = parts.parse().ok().filter(|parts| (1..=64).contains(parts))?;
            Some(checked_length(*length.numer(), length.denom() * parts).ok_or(()))
        }
    }
}

/// A note or rest at the start of a word, and what follows it in the same word.
fn symbol<'w>(word: &'w str, running: &Running) -> Result<(Option<Spelling>, &'w str), Fault> {
    for name in ["rest", "r", "Rest", "R", "REST"] {
        if let Some(rest) = word.strip_prefix(name)
            && (rest.is_empty() || length_of(rest, running.metre).is_some())
        {
            return Ok((None, rest));
        }
    }
    let digits = word.find(|c: char| c.is_ascii_digit()).ok_or_else(|| unknown(word, running))?;
    let (pitch, rest) = word.split_at(digits + 1);
    match pitch.parse::<Spelling>() {
        Ok(spelling) if !rest.starts_with(|c: char| c.is_ascii_digit()) => Ok((Some(spelling), rest)),
        _ => Err(unknown(word, running)),
    }
}

/// Whether a word is a note, with or without its length.
fn is_note(word: &str, running: &Running) -> bool {
    let Some(octave) = word.find(|c: char| c.is_ascii_digit()) else { return false };
    let (pitch, rest) = word.split_at(octave + 1);
    pitch.parse::<Spelling>().is_ok() && (rest.is_empty() || length_of(rest, running.metre).is_some())
}

/// A word that is neither note nor rest nor length: what may have been meant.
fn unknown(word: &str, running: &Running) -> Fault {
    let first = word.chars().next().unwrap_or(' ');
    let letter = Letter::from_char(first).filter(|_| first.is_ascii_alphabetic());
    let has_octave = word.chars().any(|c| c.is_ascii_digit());
    let capital: String = first.to_uppercase().chain(word.chars().skip(1)).collect();
    match letter {
        _ if word.contains('~') => syntax(
            format!("I do not know “{word}”"),
            "A tie ~ stands at the end of a note or of its length, and the same note follows it: D4 h~ D4 q.",
        ),
        Some(_) if is_note(&capital, running) => syntax(
            format!("“{word}” is not a note"),
            format!("Letters of notes are capitals. Did you mean {capital}?"),
        ),
        Some(letter)
            if first.is_ascii_uppercase() && !has_octave && is_note(&format!("{word}4"), running) =>
        {
            let (low, high) = running.instrument.map_or((55, 83), |instrument| {
                let shift = instrument.sounding_shift();
                (instrument.open_strings()[0] - shift, instrument.highest_in_first_position() - shift)
            });
            let alter: String = word.chars().skip(1).collect();
            let choices: Vec<String> = (0..9)
                .filter(|octave| (low..=high).contains(&((octave + 1) * 12 + letter.semitones())))
                .map(|octave| format!("{first}{alter}{octave}"))
                .collect();
            let help = format!("Write the octave too: {}. Middle C is C4.", choices.join(" or "));
            syntax(format!("“{word}” does not say which octave"), help)
        }
        _ => syntax(format!("I do not know “{word}”"), NOTE_HELP),
    }
}

/// A natural where the key has a sharp or flat is often a slip.
fn remark_on_key(word: &str, pitch: Spelling, running: &mut Running, bar: &DraftBar) {
    let expected = bar.key.alter(pitch.letter);
    let says_natural = word.contains('n') || word.contains('♮');
    if pitch.alter != 0 || expected == 0 || says_natural {
        return;
    }
    let beat = (bar.offset.unwrap_or_default() + bar.filled()) / bar.metre.beat() + Length::from_integer(1);
    let in_key = Spelling { alter: expected, ..pitch };
    let text = format!(
        "{}, beat {}: {pitch} is {:?} natural; the key of {} has {in_key}. Type {in_key} if you mean that, or {:?}n{} \
         if natural is right.",
        bar_text(bar.number.unwrap_or(0)),
        beat_text(beat),
        pitch.letter,
        bar.key,
        pitch.letter,
        pitch.octave,
    );
    running.remarks.push(Remark::new("natural-against-key", text));
}
