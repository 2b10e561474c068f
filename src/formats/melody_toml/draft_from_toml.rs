//! The text of a TOML file becomes a draft.

use super::super::draft::{Draft, DraftBar, Tempo};
use super::super::error::{Fault, FormatErrorKind};
use super::super::table_from_toml::table_from_toml;
use super::bar_line::{Line, ReadBar, Running, read_bar};
use crate::notation::{Instrument, Key, Length, Metre, beats_text};
use crate::units::{A4_HERTZ, Hertz};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

const WORDS: [&str; 10] =
    ["title", "composer", "instrument", "metre", "bpm", "key", "a4", "transpose", "pickup", "bars"];

pub(crate) fn draft_from_toml(text: &str) -> Result<Draft, Fault> {
    let table = table_from_toml(text)?;
    let header = Header { table: table.get_ref() };
    header.check_words()?;
    let instrument: Option<Instrument> = header.parsed("instrument")?;
    let metre: Metre = header.parsed("metre")?.unwrap_or_default();
    let key: Key = header.parsed("key")?.unwrap_or_default();
    let mut draft = Draft {
        title: header.text("title")?.map(|(title, _)| title.to_owned()).filter(|title| !title.is_empty()),
        composer: header
            .text("composer")?
            .map(|(composer, _)| composer.to_owned())
            .filter(|text| !text.is_empty()),
        instrument,
        tempo: header
            .number("bpm", metre.playable_bpm())?
            .map(|per_minute| Tempo { per_minute, unit: metre.beat() }),
        a4: header.number("a4", A4_HERTZ)?.map(Hertz),
        to_sounding: instrument.map_or(0, Instrument::sounding_shift),
        ..Draft::default()
    };
    if let Some(semitones) = header.number("transpose", -60.0..=60.0)? {
        draft.to_sounding = semitones as i32;
        draft.says_sounding = true;
    }
    let mut running = Running { metre, key, length: None, next_number: 0, instrument, remarks: Vec::new() };
    let mut bars = Vec::new();
    if let Some((_, span)) = header.text("pickup")? {
        let lines = lines_of(text, header.value("pickup"), span);
        let [line] = &lines[..] else {
            let message = "the pickup is one short bar";
            return Err(syntax(message, "Write for example pickup = \"A4 q\".").at(header.span("pickup")));
        };
        let mut read = read_bar(line, &mut running)?;
        if read.bar.filled() >= read.bar.metre.bar() && !read.short {
            let message = "the pickup is a whole bar or more";
            let help = "A pickup is shorter than a bar. Move it to the bars.";
            return Err(Fault::new(FormatErrorKind::BarLength, message, help).at(line.value.clone()));
        }
        read.short = true;
        bars.push(read);
    }
    running.next_number = 1;
    let pickup = bars.first().map(|read| read.bar.filled());
    let values = bar_values(&header)?;
    for value in values {
        for line in lines_of(text, Some(value), value.span()) {
            bars.push(read_bar(&line, &mut running)?);
        }
    }
    check_lengths(&bars, pickup)?;
    draft.remarks = running.remarks;
    draft.bars = bars.into_iter().map(|read| read.bar).collect();
    Ok(draft)
}

fn syntax(message: &str, help: &str) -> Fault {
    Fault::new(FormatErrorKind::Syntax, message, help)
}

/// The table's values by word.
struct Header<'t, 'i> {
    table: &'t DeTable<'i>,
}

impl<'t, 'i> Header<'t, 'i> {
    fn check_words(&self) -> Result<(), Fault> {
        for (word, _) in self.table.iter() {
            if WORDS.contains(&word.get_ref().as_ref()) {
                continue;
            }
            let message = format!("I do not know the word “{}”", word.get_ref());
            let help = match word.get_ref().as_ref() {
                "meter" | "time" => "Did you mean metre?".to_owned(),
                "tempo" | "BPM" => "Did you mean bpm?".to_owned(),
                "notes" | "bar" | "music" => "Did you mean bars?".to_owned(),
                _ => format!("The words are {}.", WORDS.join(", ")),
            };
            return Err(Fault::new(FormatErrorKind::Syntax, message, help).at(word.span()));
        }
        Ok(())
    }

    fn value(&self, word: &str) -> Option<&'t Spanned<DeValue<'i>>> {
        self.table.iter().find(|(known, _)| known.get_ref() == word).map(|(_, value)| value)
    }

    fn span(&self, word: &str) -> Range<usize> {
        self.value(word).map_or(0..0, |value| value.span())
    }

    fn text(&self, word: &str) -> Result<Option<(&'t str, Range<usize>)>, Fault> {
        match self.value(word) {
            None => Ok(None),
            Some(value) => match value.get_ref() {
                DeValue::String(text) => Ok(Some((text.as_ref(), value.span()))),
                _ => {
                    let message = format!("{word} wants a text");
                    Err(syntax(&message, "Put it between quotes.").at(value.span()))
                }
            },
        }
    }

    fn parsed<T: std::str::FromStr>(&self, word: &str) -> Result<Option<T>, Fault>
    where
        T::Err: std::fmt::Display,
    {
        let Some((text, span)) = self.text(word)? else { return Ok(None) };
        let kind = if word == "metre" { FormatErrorKind::Metre } else { FormatErrorKind::Syntax };
        let wrong = |error: T::Err| Fault::new(kind, error.to_string(), "Change it and try again.").at(span);
        text.parse().map(Some).map_err(wrong)
    }

    fn number(&self, word: &str, range: std::ops::RangeInclusive<f64>) -> Result<Option<f64>, Fault> {
        let Some(value) = self.value(word) else { return Ok(None) };
        let number = match value.get_ref() {
            DeValue::Integer(number) if number.radix() == 10 => number.as_str().parse().ok(),
            DeValue::Float(number) => number.as_str().parse::<f64>().ok(),
            _ => None,
        };
        let whole = |number: &f64| word != "transpose" || number.fract() == 0.0;
        number.filter(|number| range.contains(number)).filter(whole).map(Some).ok_or_else(|| {
            let (low, high) = (range.start(), range.end());
            let help = match (number, value.get_ref()) {
                (_, DeValue::String(_)) => "Write it without quotes.".to_owned(),
                (Some(number), _) if range.contains(&number) => "Write a whole number.".to_owned(),
                (Some(_), _) => format!("{low} is the least and {high} the most; write another number."),
                (None, _) => format!("Write a number, such as {word} = {low}."),
            };
            let whole = if word == "transpose" { "whole number" } else { "number" };
            let message = format!("{word} wants a {whole} from {low} to {high}");
            syntax(&message, &help).at(value.span())
        })
    }
}

fn bar_values<'t, 'i>(header: &Header<'t, 'i>) -> Result<Vec<&'t Spanned<DeValue<'i>>>, Fault> {
    let Some(value) = header.value("bars") else {
        let help = "Write bars = \"\"\" and then one line a bar and \"\"\" at the end.";
        return Err(syntax("there are no bars", help).at(0..0));
    };
    match value.get_ref() {
        DeValue::String(_) => Ok(vec![value]),
        DeValue::Array(list) => {
            let strings = list.iter().map(|bar| match bar.get_ref() {
                DeValue::String(_) => Ok(bar),
                _ => Err(syntax("each bar is a text", "Put it between quotes.").at(bar.span())),
            });
            strings.collect()
        }
        _ => {
            Err(syntax("the bars are a text or a list of texts", "Put them between quotes.").at(value.span()))
        }
    }
}

/// The lines of a text value that hold something, with their places in the file.
fn lines_of<'a>(text: &'a str, value: Option<&'a Spanned<DeValue>>, span: Range<usize>) -> Vec<Line<'a>> {
    let Some(DeValue::String(decoded)) = value.map(|value| value.get_ref()) else { return Vec::new() };
    let raw = text.get(span.clone()).unwrap_or("");
    let quotes = if raw.starts_with("\"\"\"") || raw.starts_with("'''") { 3 } else { 1 };
    let literal = raw.starts_with('\'');
    let inside = raw.get(quotes..raw.len().saturating_sub(quotes)).unwrap_or("");
    // Escapes hide where in the file a character stands; then the whole value is pointed at.
    let plain = literal || !inside.contains('\\');
    let body: &str = if plain { inside } else { decoded };
    let mut at = span.start + quotes;
    let mut lines = Vec::new();
    for line in body.split_inclusive('\n') {
        if !line.trim().is_empty() {
            let text = line.trim_end();
            lines.push(Line { text, start: plain.then_some(at), value: span.clone() });
        }
        at += line.len();
    }
    lines
}

/// Every bar full, but for those said to be short and a last bar that shares one with the pickup.
fn check_lengths(bars: &[ReadBar], pickup: Option<Length>) -> Result<(), Fault> {
    for (at, ReadBar { bar, short }) in bars.iter().enumerate() {
        let (full, filled) = (bar.metre.bar(), bar.filled());
        let last = at + 1 == bars.len();
        let shares = last && pickup.is_some_and(|pickup| pickup + filled == full);
        if *short || filled == full || shares || bar.offset.is_some_and(|offset| offset + filled <= full) {
            continue;
        }
        return Err(wrong_length(bar, pickup.filter(|_| last)));
    }
    Ok(())
}

fn wrong_length(bar: &DraftBar, pickup: Option<Length>) -> Fault {
    let (full, filled) = (bar.metre.bar(), bar.filled());
    let beats = |length: Length| beats_text(length / bar.metre.beat());
    let message = format!("this bar holds {}, and {} wants {}", beats(filled), bar.metre, beats(full));
    let help = if filled > full {
        format!("Take out {}, or begin a new line for the next bar.", beats(filled - full))
    } else if let Some(pickup) = pickup {
        format!(
            "Add {}, or {} to share a bar with the pickup.",
            beats(full - filled),
            beats(full - pickup - filled)
        )
    } else {
        format!(
            "Add {} (a rest counts too), or begin the line with short: if it is meant so.",
            beats(full - filled)
        )
    };
    let mut place = Length::from_integer(0);
    let over = bar.items.iter().find(|item| {
        place += item.length;
        place > full
    });
    let span = over.map_or(bar.span.clone(), |item| item.span.clone());
    let beat = over.map_or(filled, |item| place - item.length) / bar.metre.beat() + Length::from_integer(1);
    Fault::new(FormatErrorKind::BarLength, message, help).at(span).in_bar(bar.number.unwrap_or(0), beat)
}
