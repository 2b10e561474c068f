//! The information fields and directives of a tune, as they change what the reader holds.

use super::super::error::{Fault, FormatErrorKind};
use super::super::melody_from_draft::playable;
use super::fields::{
    VoiceField, default_unit, key_field, length_field, metre_field, tempo_field, voice_field,
};
use super::music::{Hold, Reader};
use crate::notation::Length;
use crate::units::Hertz;
use std::ops::Range;

impl Reader {
    pub(super) fn directive(&mut self, text: &str) {
        let mut words = text.split_whitespace();
        match (words.next(), words.next()) {
            (Some("propagate-accidentals"), Some(how)) => {
                self.hold = match how {
                    "not" => Hold::Note,
                    "octave" => Hold::Octave,
                    _ => Hold::EveryOctave,
                };
            }
            (Some("setbarnb"), Some(number)) => {
                if let Some(number) = number.parse().ok().filter(|&n: &u32| n < 1_000_000) {
                    self.bars.set_number(number);
                }
            }
            (Some("fingertape"), Some("beat")) => {
                let beat = words.next().and_then(length_field);
                if let Some(beat) = beat.filter(|&beat| beat >= Length::from_integer(1)) {
                    self.bars.set_offset((beat - Length::from_integer(1)) * self.bars.metre.beat());
                }
            }
            (Some("fingertape"), Some("a4")) => {
                let a4 = words
                    .next()
                    .and_then(|a4| a4.parse().ok())
                    .filter(|a4: &f64| (300.0..=600.0).contains(a4));
                self.draft.a4 = a4.map(Hertz);
            }
            _ => {}
        }
    }

    pub(super) fn unit(&self) -> Length {
        self.unit.unwrap_or_else(|| default_unit(self.metre))
    }

    pub(super) fn set_tempo(&mut self, text: &str) {
        let unit = self.unit();
        let mut tempo = tempo_field(text, unit);
        if let Some(said) = tempo {
            tempo = playable(said, self.bars.metre, &mut self.draft.remarks);
        }
        match (tempo, self.draft.tempo) {
            (Some(tempo), None) => self.draft.tempo = Some(tempo),
            (Some(tempo), Some(first)) if tempo != first => {
                let (bar, beat) = self.bars.place();
                self.draft.remark(
                    "tempo-change",
                    bar,
                    beat,
                    "the tempo changes; I kept the first one throughout.",
                );
            }
            _ => {}
        }
    }

    pub(super) fn field(&mut self, name: u8, value: &str, span: Range<usize>) -> Result<(), Fault> {
        let trimmed = value.trim();
        // `\%` is a percent sign in a text (ABC 2.1, 8.2).
        let text = || (!trimmed.is_empty()).then(|| trimmed.replace("\\%", "%"));
        let wrong = |kind, message: String, help: &str| Fault::new(kind, message, help).at(span.clone());
        match name {
            b'T' if self.draft.title.is_none() => self.draft.title = text(),
            b'C' if self.draft.composer.is_none() => self.draft.composer = text(),
            b'M' => {
                let metre = metre_field(trimmed).ok_or_else(|| {
                    let message = format!("“{trimmed}” is not a metre");
                    wrong(FormatErrorKind::Metre, message, "Write it like M:4/4, M:3/4, M:2/4 or M:6/8.")
                })?;
                if metre.is_none() {
                    let (bar, beat) = self.bars.place();
                    self.draft.remark("no-metre", bar, beat, "the music has no metre here.");
                }
                if self.in_body && self.unit.is_none() {
                    self.unit = Some(self.unit());
                }
                self.metre = metre;
                self.bars.set_metre(metre);
            }
            b'L' => {
                let unit = length_field(trimmed).ok_or_else(|| {
                    let message = format!("“{trimmed}” is not a unit length");
                    wrong(FormatErrorKind::Length, message, "Write it like L:1/8.")
                })?;
                self.unit = Some(unit);
            }
            b'Q' if self.in_body => self.set_tempo(trimmed),
            b'Q' => self.tempo_text = self.tempo_text.take().or(text()),
            b'K' => self.key(trimmed, &span)?,
            b'V' => {
                let (id, field) = voice_field(trimmed);
                if self.voice.as_deref() == Some(&id) {
                    self.merge_voice(field);
                }
                self.voice_now = Some(id);
            }
            b'P' if !self.in_body && trimmed.chars().filter(|c| c.is_alphabetic()).count() > 1 => {
                let order = trimmed
                    .chars()
                    .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || "(). ".contains(c));
                self.part_order = order;
            }
            b'P' if self.part_order => {
                let message = "the tune's parts are played in an order of their own";
                let help = "Write the parts out in the order in which they are played.";
                return Err(wrong(FormatErrorKind::Repeats, message.to_owned(), help));
            }
            b'm' => {
                let help = "Write the notes out instead.";
                return Err(wrong(FormatErrorKind::Unsupported, "macros are not read here".to_owned(), help));
            }
            b'I' => self.directive(trimmed),
            _ => {}
        }
        Ok(())
    }

    fn key(&mut self, text: &str, span: &Range<usize>) -> Result<(), Fault> {
        let field = key_field(text).ok_or_else(|| {
            let message = format!("“{text}” is not a key");
            Fault::new(FormatErrorKind::Syntax, message, "Write it like K:D, K:Bb, K:Em or K:D mix.")
                .at(span.clone())
        })?;
        if let Some((key, accidentals)) = field.key {
            self.bars.set_key(key);
            self.bars.accidentals = accidentals;
        }
        self.merge_voice(field.voice);
        self.in_body = true;
        if let Some(text) = self.tempo_text.take() {
            self.set_tempo(&text);
        }
        Ok(())
    }

    fn merge_voice(&mut self, field: VoiceField) {
        let known = &mut self.voice_field;
        known.clef = known.clef.or(field.clef);
        known.octave = field.octave.or(known.octave);
        known.transpose = field.transpose.or(known.transpose);
        known.name = known.name.take().or(field.name);
    }
}
