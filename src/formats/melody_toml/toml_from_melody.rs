//! A melody becomes TOML, as a child would type it.

use crate::notation::{Bar, Instrument, Length, Melody, Spelling, WrittenValue};
use std::fmt::Write;

/// The melody as our own TOML, documented in [`melody_toml`](crate::formats::melody_toml). Reading it
/// again gives the same events.
pub fn write_toml(melody: &Melody) -> String {
    let mut out = String::new();
    let bars = melody.bars();
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let mut line = |word: &str, value: String| {
        let _ = writeln!(out, "{word} = {value}");
    };
    if let Some(title) = &melody.title {
        line("title", quoted(title));
    }
    if let Some(composer) = &melody.sheet.composer {
        line("composer", quoted(composer));
    }
    if let Some(instrument) = melody.instrument {
        line("instrument", quoted(&instrument.to_string()));
    }
    line("metre", quoted(&melody.metre.to_string()));
    if let Some(bpm) = melody.bpm {
        line("bpm", number(bpm));
    }
    let key = bars.first().map(|bar| bar.key).unwrap_or_default();
    if key.fifths != 0 || key.minor {
        line("key", quoted(&key.to_string()));
    }
    if let Some(a4) = melody.a4 {
        line("a4", number(a4.0));
    }
    let shift = melody.shift();
    if melody.sheet.says_sounding || shift != melody.instrument.map_or(0, Instrument::sounding_shift) {
        line("transpose", shift.to_string());
    }
    out.push_str("bars = \"\"\"\n");
    let mut before = Before { metre: melody.metre, key, number: 0, length: None };
    for bar in &bars {
        write_bar(&mut out, bar, &mut before);
    }
    out.push_str("\"\"\"\n");
    out
}

fn number(value: f64) -> String {
    format!("{value}")
}

struct Before {
    metre: crate::notation::Metre,
    key: crate::notation::Key,
    number: u32,
    length: Option<Length>,
}

fn write_bar(out: &mut String, bar: &Bar, before: &mut Before) {
    let mut head: Vec<String> = Vec::new();
    if bar.number != before.number.saturating_add(1) {
        head.push(format!("bar {}", bar.number));
    }
    if bar.metre != before.metre {
        head.push(bar.metre.to_string());
    }
    if bar.key != before.key {
        head.push(format!("key {}", bar.key));
    }
    let filled = bar.filled();
    if filled != bar.metre.bar() {
        head.push("short".to_owned());
        let beat = bar.offset / bar.metre.beat() + Length::from_integer(1);
        head.push(format!("from {beat}"));
    }
    (before.metre, before.key, before.number) = (bar.metre, bar.key, bar.number);
    if !head.is_empty() {
        let _ = write!(out, "{}: ", head.join(" "));
    }
    let mut words: Vec<String> = Vec::new();
    for item in &bar.items {
        let mut word = match item.pitch {
            Some(pitch) => pitch_word(pitch, bar),
            None => "rest".to_owned(),
        };
        if before.length != Some(item.length) {
            let _ = write!(word, " {}", length_word(item.length));
            before.length = Some(item.length);
        }
        if let Some(finger) = item.finger {
            let _ = write!(word, " ({finger})");
        }
        if item.tied {
            word.push_str(" ~");
        }
        words.push(word);
    }
    let _ = writeln!(out, "{}", words.join("  "));
}

fn pitch_word(pitch: Spelling, bar: &Bar) -> String {
    if pitch.alter == 0 && bar.key.alter(pitch.letter) != 0 {
        return format!("{:?}n{}", pitch.letter, pitch.octave);
    }
    pitch.to_string()
}

fn length_word(length: Length) -> String {
    use crate::notation::Value;
    let letter = |value| match value {
        Value::Whole => Some("w"),
        Value::Half => Some("h"),
        Value::Quarter => Some("q"),
        Value::Eighth => Some("e"),
        Value::Sixteenth => Some("s"),
        _ => None,
    };
    let written = WrittenValue::of(length);
    let plain = written.filter(|written| written.tuplet.is_none());
    if let Some((written, letter)) = plain.and_then(|w| letter(w.value).map(|letter| (w, letter))) {
        return format!("{letter}{}", ".".repeat(usize::from(written.dots)));
    }
    let third = plain_letter(length * 3, letter);
    third.map_or_else(|| format!("{}/{}", length.numer(), length.denom()), |letter| format!("{letter}/3"))
}

fn plain_letter(
    length: Length,
    letter: impl Fn(crate::notation::Value) -> Option<&'static str>,
) -> Option<&'static str> {
    let written = WrittenValue::of(length).filter(|written| written.dots == 0 && written.tuplet.is_none())?;
    letter(written.value)
}
