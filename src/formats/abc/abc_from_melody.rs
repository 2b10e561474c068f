//! A melody becomes ABC 2.1.

use crate::notation::{Bar, Clef, Instrument, Key, Length, Letter, Melody, Spelling};
use std::fmt::Write;

/// The melody as an ABC 2.1 tune. Reading it again gives the same events. Repeats are written out.
pub fn write_abc(melody: &Melody) -> String {
    let bars = melody.bars();
    let mut out = String::from("%abc-2.1\nX:1\n");
    let mut field = |name: &str, value: &str| {
        let clean: String = value.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let _ = writeln!(out, "{name}:{}", clean.replace('%', "\\%"));
    };
    field("T", melody.title.as_deref().unwrap_or("Melody"));
    if let Some(composer) = &melody.sheet.composer {
        field("C", composer);
    }
    field("M", &melody.metre.to_string());
    field("L", "1/8");
    if let Some(bpm) = melody.bpm {
        field("Q", &format!("1/{}={bpm}", melody.metre.unit));
    }
    if let Some(a4) = melody.a4 {
        field("I", &format!("fingertape a4 {}", a4.0));
    }
    let clef = melody.sheet.clef.or(melody.instrument.map(Instrument::clef)).map(clef_name);
    let mut voice = String::from("1");
    if let Some(instrument) = melody.instrument {
        let _ = write!(voice, " name=\"{}\"", instrument.part_name());
    }
    if let Some(clef) = clef {
        let _ = write!(voice, " clef={clef}");
    }
    let shift = melody.shift();
    if melody.sheet.says_sounding || shift != 0 {
        let _ = write!(voice, " transpose={shift}");
    }
    field("V", &voice);
    let mut key = bars.first().map(|bar| bar.key).unwrap_or_default();
    field("K", &key.to_string());
    let mut metre = melody.metre;
    let mut number = 0u32;
    for (at, bar) in bars.iter().enumerate() {
        // A bar that is not full could be read as the rest of the one before it.
        let full = bar.filled() == bar.metre.bar();
        if Some(bar.number) != number.checked_add(1) || at == 0 || !full {
            let _ = write!(out, "[I:setbarnb {}]", bar.number);
        }
        number = bar.number;
        if bar.metre != metre {
            let _ = write!(out, "[M:{}]", bar.metre);
            metre = bar.metre;
        }
        if bar.key != key {
            let _ = write!(out, "[K:{}]", bar.key);
            key = bar.key;
        }
        if !full {
            let beat = bar.offset / bar.metre.beat() + Length::from_integer(1);
            let _ = write!(out, "[I:fingertape beat {beat}]");
        }
        write_items(&mut out, bar, key);
        let end = if at + 1 == bars.len() { " |]\n" } else { " |" };
        out.push_str(end);
        if at % 4 == 3 && at + 1 < bars.len() {
            out.push('\n');
        }
    }
    out
}

fn clef_name(clef: Clef) -> &'static str {
    match clef {
        Clef::Treble => "treble",
        Clef::Alto => "alto",
        Clef::Tenor => "tenor",
        Clef::Bass => "bass",
    }
}

fn write_items(out: &mut String, bar: &Bar, key: Key) {
    // Every accidental that is not in the key is typed, and so is every note of a letter that had one
    // in this bar: no reader has to know how far an accidental holds.
    let mut touched: Vec<Letter> = Vec::new();
    for item in &bar.items {
        out.push(' ');
        if let Some(finger) = item.finger {
            let _ = write!(out, "!{finger}!");
        }
        match item.pitch {
            None => out.push('z'),
            Some(pitch) => {
                if pitch.alter != key.alter(pitch.letter) || touched.contains(&pitch.letter) {
                    touched.push(pitch.letter);
                    out.push_str(match pitch.alter {
                        2 => "^^",
                        1 => "^",
                        -1 => "_",
                        -2 => "__",
                        _ => "=",
                    });
                }
                write_letter(out, pitch);
            }
        }
        let multiple = item.length * Length::from_integer(8);
        if *multiple.numer() != 1 {
            let _ = write!(out, "{}", multiple.numer());
        }
        if *multiple.denom() != 1 {
            let _ = write!(out, "/{}", multiple.denom());
        }
        if item.tied {
            out.push('-');
        }
    }
}

fn write_letter(out: &mut String, pitch: Spelling) {
    let letter = format!("{:?}", pitch.letter);
    let octave = i32::from(pitch.octave);
    if octave >= 5 {
        out.push_str(&letter.to_lowercase());
        out.push_str(&"'".repeat((octave - 5) as usize));
    } else {
        out.push_str(&letter);
        out.push_str(&",".repeat((4 - octave) as usize));
    }
}
