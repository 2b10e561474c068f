//! What the information fields of ABC say: key, metre, unit length, tempo, clef.

use super::super::draft::Tempo;
use crate::notation::{Clef, Instrument, Key, Length, Letter, Metre, checked_length};

/// Accidentals by letter, as a key field sets them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Accidentals([i8; 7]);

impl Accidentals {
    pub(super) fn of(self, letter: Letter) -> i8 {
        self.0[letter as usize]
    }

    fn set(&mut self, letter: Letter, alter: i8) {
        self.0[letter as usize] = alter;
    }
}

impl From<Key> for Accidentals {
    fn from(key: Key) -> Self {
        let mut out = Self::default();
        for letter in Letter::ALL {
            out.set(letter, key.alter(letter));
        }
        out
    }
}

/// What a K: field says.
#[derive(Debug, Default)]
pub(super) struct KeyField {
    pub key: Option<(Key, Accidentals)>,
    pub voice: VoiceField,
}

/// What a V: field, or the rest of a K: field, says.
#[derive(Debug, Default, Clone, PartialEq)]
pub(super) struct VoiceField {
    pub clef: Option<Clef>,
    pub octave: Option<i32>,
    pub transpose: Option<i32>,
    pub name: Option<String>,
}

/// A K: field; `None` if its key is none.
pub(super) fn key_field(text: &str) -> Option<KeyField> {
    let mut words = split_words(text);
    let mut out = KeyField::default();
    let mut explicit: Vec<(Letter, i8)> = Vec::new();
    let mut only_explicit = false;
    let mut base: Option<Key> = None;
    if let Some(first) = words.first().cloned() {
        let (tonic, mode) = tonic_of(&first);
        if first.eq_ignore_ascii_case("none") {
            base = Some(Key::default());
            words.remove(0);
        } else if first == "HP" || first == "Hp" {
            base = Some(Key::new(2)?);
            words.remove(0);
        } else if let Some(tonic) = tonic {
            words.remove(0);
            let mut fifths = fifths_of_mode(mode);
            if mode.is_empty()
                && let Some(next) = words.first().and_then(|word| fifths_of_mode(word))
            {
                fifths = Some(next);
                words.remove(0);
            }
            let minor = matches!(fifths, Some(-3));
            base = Some(Key { minor, ..Key::new(tonic + fifths?)? });
        } else if !first.contains('=') && accidental(&first).is_none() && !is_clef(&first) && first != "exp" {
            return None;
        }
    }
    let mut rest = Vec::new();
    for word in words {
        match accidental(&word) {
            Some(change) => explicit.push(change),
            None if word == "exp" => only_explicit = true,
            None => rest.push(word),
        }
    }
    if base.is_some() || !explicit.is_empty() {
        let key = base.filter(|_| !only_explicit).unwrap_or_default();
        let mut accidentals = Accidentals::from(key);
        for (letter, alter) in explicit {
            accidentals.set(letter, alter);
        }
        // Where a signature with the same accidentals exists, the page shows that one.
        let same = (-7..=7).filter_map(Key::new).find(|&key| Accidentals::from(key) == accidentals);
        let key = if Accidentals::from(key) == accidentals { key } else { same.unwrap_or(key) };
        out.key = Some((key, accidentals));
    }
    out.voice = voice_words(&rest);
    Some(out)
}

/// Words, with quoted texts kept together.
fn split_words(text: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for c in text.chars() {
        if c == '"' {
            quoted = !quoted;
        }
        if c.is_whitespace() && !quoted {
            words.push(String::new());
        } else if let Some(word) = words.last_mut() {
            word.push(c);
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

/// Fifths of the major key on the tonic at the start of a word, and what follows.
fn tonic_of(word: &str) -> (Option<i32>, &str) {
    let mut chars = word.chars();
    let natural = match chars.next() {
        Some('F') => -1,
        Some('C') => 0,
        Some('G') => 1,
        Some('D') => 2,
        Some('A') => 3,
        Some('E') => 4,
        Some('B') => 5,
        _ => return (None, word),
    };
    let rest = chars.as_str();
    if let Some(rest) = rest.strip_prefix(['#', '♯']) {
        return (Some(natural + 7), rest);
    }
    // `Bb`, but not the mode in `Blyd`.
    if let Some(rest) = rest.strip_prefix(['b', '♭']) {
        return (Some(natural - 7), rest);
    }
    (Some(natural), rest)
}

/// Fifths that a mode adds to the major key on the same tonic; only its first three letters count.
fn fifths_of_mode(mode: &str) -> Option<i32> {
    let lower = mode.to_lowercase();
    if lower == "m" {
        return Some(-3);
    }
    let start: String = lower.chars().take(3).collect();
    match start.as_str() {
        "" | "maj" | "ion" => Some(0),
        "min" | "aeo" => Some(-3),
        "mix" => Some(-1),
        "dor" => Some(-2),
        "phr" => Some(-4),
        "lyd" => Some(1),
        "loc" => Some(-5),
        _ => None,
    }
}

fn accidental(word: &str) -> Option<(Letter, i8)> {
    let letter_at = word.find(|c: char| c.is_ascii_alphabetic())?;
    let alter = match &word[..letter_at] {
        "^^" => 2,
        "^" => 1,
        "=" => 0,
        "_" => -1,
        "__" => -2,
        _ => return None,
    };
    let mut letters = word[letter_at..].chars();
    let letter = letters.next().and_then(Letter::from_char)?;
    letters.next().is_none().then_some((letter, alter))
}

fn is_clef(word: &str) -> bool {
    clef_of(word).is_some()
}

/// A clef's name with an octave sign: the clef and its octaves.
fn clef_of(word: &str) -> Option<(Option<Clef>, i32)> {
    let word = word.trim_matches('"');
    let (name, octave) = match (word.strip_suffix("-8"), word.strip_suffix("+8")) {
        (Some(name), _) => (name, -1),
        (_, Some(name)) => (name, 1),
        _ => (word, 0),
    };
    let clef = match name {
        "treble" | "G" | "G2" => Some(Clef::Treble),
        "alto" | "C" | "C3" => Some(Clef::Alto),
        "tenor" | "C4" => Some(Clef::Tenor),
        "bass" | "F" | "F4" => Some(Clef::Bass),
        "none" | "perc" | "soprano" | "mezzo" | "mezzosoprano" | "baritone" => None,
        _ => return None,
    };
    Some((clef, octave))
}

/// A V: field after its name.
pub(super) fn voice_field(text: &str) -> (String, VoiceField) {
    let mut words = split_words(text);
    let id = if words.is_empty() { String::new() } else { words.remove(0) };
    (id, voice_words(&words))
}

fn voice_words(words: &[String]) -> VoiceField {
    let mut out = VoiceField::default();
    for word in words {
        let (name, value) = word.split_once('=').unwrap_or(("clef", word));
        let value = value.trim_matches('"');
        match name {
            "clef" => {
                if let Some((clef, octaves)) = clef_of(value) {
                    out.clef = clef.or(out.clef);
                    // ABC 2.1, 4.6: +8 and −8 also let the notes sound an octave away.
                    if octaves != 0 {
                        out.transpose = Some(12 * octaves);
                    }
                }
            }
            "octave" => out.octave = value.parse().ok().filter(|octave: &i32| octave.abs() <= 8),
            "transpose" => out.transpose = value.parse().ok().filter(|semitones: &i32| semitones.abs() <= 60),
            "name" | "nm" => out.name = Some(value.to_owned()),
            _ => {}
        }
    }
    out
}

impl VoiceField {
    pub(super) fn instrument(&self) -> Option<Instrument> {
        self.name.as_deref().and_then(Instrument::from_part_name)
    }
}

/// A metre; `Some(None)` where the field says that there is none.
pub(super) fn metre_field(text: &str) -> Option<Option<Metre>> {
    match text.trim() {
        "C" => return Some(Metre::new(4, 4)),
        "C|" => return Some(Metre::new(2, 2)),
        "none" | "" => return Some(None),
        _ => {}
    }
    let (beats, unit) = text.trim().split_once('/')?;
    let beats = beats.trim().trim_start_matches('(').trim_end_matches(')');
    let beats: Option<u32> =
        beats.split('+').map(|part| part.trim().parse::<u32>().ok().filter(|&n| n <= 32)).sum();
    Metre::new(beats?, unit.trim().parse().ok()?).map(Some)
}

/// `1/8` as a length.
pub(super) fn length_field(text: &str) -> Option<Length> {
    let text = text.trim();
    let (numerator, denominator) = text.split_once('/').unwrap_or((text, "1"));
    checked_length(numerator.trim().parse().ok()?, denominator.trim().parse().ok()?)
}

/// The unit length where no L: field says it (ABC 2.1, 3.1.7).
pub(super) fn default_unit(metre: Option<Metre>) -> Length {
    match metre {
        Some(metre) if metre.bar() < Length::new(3, 4) => Length::new(1, 16),
        _ => Length::new(1, 8),
    }
}

/// `1/4=120`, `"Allegro" 1/4=120`, `3/8=50 "slow"`, `1/4 3/8 1/4=40`; the older `120` counts units.
pub(super) fn tempo_field(text: &str, unit: Length) -> Option<Tempo> {
    let mut bare = String::new();
    let mut quoted = false;
    for c in text.chars() {
        if c == '"' {
            quoted = !quoted;
        } else if !quoted {
            bare.push(c);
        }
    }
    let number = |text: &str| text.trim().parse::<f64>().ok().filter(|n| n.is_finite() && *n > 0.0);
    match bare.split_once('=') {
        None => number(&bare).map(|per_minute| Tempo { per_minute, unit }),
        Some((lengths, rate)) => {
            let mut sum = Length::from_integer(0);
            for word in lengths.split_whitespace().take(8) {
                sum += match word {
                    "C" => unit,
                    word => length_field(word)?,
                };
            }
            let rate = rate.split_whitespace().next()?;
            (*sum.numer() > 0).then_some(())?;
            number(rate).map(|per_minute| Tempo { per_minute, unit: sum })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fifths(text: &str) -> i8 {
        key_field(text).unwrap().key.unwrap().0.fifths
    }

    /// ABC 2.1, 3.1.14: the same signature under its mode names.
    #[test]
    fn modes_share_the_signatures_of_the_standards_table() {
        for one_sharp in ["G", "Em", "E minor", "Ador", "D Mixolydian", "Bphr", "Clydian", "F#loc"] {
            assert_eq!(fifths(one_sharp), 1, "{one_sharp}");
        }
        for two_flats in ["Bb", "Gm", "C Dorian", "FMix", "DPhrygian", "EbLyd", "Aloc"] {
            assert_eq!(fifths(two_flats), -2, "{two_flats}");
        }
        assert_eq!((fifths("HP"), fifths("none"), fifths("C")), (2, 0, 0));
        assert!(key_field("H").is_none());
        assert!(key_field("C###").is_none());
    }

    #[test]
    fn explicit_accidentals_change_the_key() {
        let (_, accidentals) = key_field("D =c").unwrap().key.unwrap();
        assert_eq!((accidentals.of(Letter::F), accidentals.of(Letter::C)), (1, 0));
        let (key, accidentals) = key_field("D exp _b").unwrap().key.unwrap();
        assert_eq!((key.fifths, accidentals.of(Letter::B), accidentals.of(Letter::F)), (-1, -1, 0));
    }

    #[test]
    fn clefs_are_read_with_and_without_their_word() {
        assert_eq!(key_field("C clef=alto").unwrap().voice.clef, Some(Clef::Alto));
        assert_eq!(key_field("Am bass").unwrap().voice.clef, Some(Clef::Bass));
        let bass = voice_field("1 name=\"Double Bass\" clef=bass transpose=-12").1;
        assert_eq!((bass.instrument(), bass.transpose), (Some(Instrument::Bass), Some(-12)));
        assert_eq!(voice_field("T clef=treble-8").1.transpose, Some(-12));
    }

    #[test]
    fn tempo_and_metre_are_read_in_their_old_and_new_forms() {
        let quarter = Length::new(1, 4);
        let eighth = Length::new(1, 8);
        assert_eq!(
            tempo_field("1/4=90 \"Andantino\"", eighth),
            Some(Tempo { per_minute: 90.0, unit: quarter })
        );
        assert_eq!(tempo_field("120", eighth), Some(Tempo { per_minute: 120.0, unit: eighth }));
        assert_eq!(tempo_field("\"Lento\"", eighth), None);
        assert_eq!(metre_field("C|"), Some(Metre::new(2, 2)));
        assert_eq!(metre_field("2+3/8"), Some(Metre::new(5, 8)));
        assert_eq!(metre_field("none"), Some(None));
        assert_eq!(metre_field("4/0"), None);
        assert_eq!(default_unit(Metre::new(2, 4)), Length::new(1, 16));
        assert_eq!(default_unit(Metre::new(3, 4)), eighth);
    }
}
