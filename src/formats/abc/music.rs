//! The lines of a tune: fields set what holds from here on, music lines fill bars.

use super::super::draft::{Draft, DraftItem, Jump};
use super::super::error::{Fault, FormatErrorKind};
use super::bars::{BarLine, Bars, bar_line};
use super::draft_from_abc::Line;
use super::fields::VoiceField;
use super::notes::{Typed, TypedNote, multiple, typed_note};
use crate::notation::{LONGEST, Length, Letter, Metre, Spelling, checked_length};
use std::ops::Range;

/// No bar has more notes and rests than this, no tune more bars than [`MOST_BARS`].
const MOST_ITEMS: usize = 4_096;
const MOST_BARS: usize = 20_000;

/// How far an accidental holds (ABC 2.1, 11.3, directive propagate-accidentals; its default is every
/// octave).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hold {
    Note,
    Octave,
    EveryOctave,
}

/// `(p:q:r`: the next r notes last q/p of what is written.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tuplet {
    factor: Length,
    left: u32,
}

pub(super) struct Reader {
    pub(super) draft: Draft,
    pub(super) bars: Bars,
    pub(super) voice: Option<String>,
    pub(super) voice_now: Option<String>,
    pub(super) voice_field: VoiceField,
    pub(super) in_body: bool,
    pub(super) unit: Option<Length>,
    pub(super) metre: Option<Metre>,
    pub(super) tempo_text: Option<String>,
    pub(super) hold: Hold,
    /// Accidentals typed in this bar: letter, octave, semitones.
    pub(super) typed: Vec<(Letter, i32, i8)>,
    /// The accidental of a note that a tie carries over a bar line.
    pub(super) carried: Option<(Letter, i32, i8)>,
    pub(super) tuplet: Option<Tuplet>,
    /// What broken rhythm does to the next note.
    pub(super) next_factor: Option<(Length, Range<usize>)>,
    pub(super) finger: Option<u8>,
    pub(super) part_order: bool,
    /// A colon that waits for its bar line.
    pub(super) colon: bool,
}

impl Reader {
    pub(super) fn new(voice: Option<String>) -> Self {
        Self {
            draft: Draft::default(),
            bars: Bars::new(),
            voice_now: voice.clone(),
            voice,
            voice_field: VoiceField::default(),
            in_body: false,
            unit: None,
            metre: Some(Metre::default()),
            tempo_text: None,
            hold: Hold::EveryOctave,
            typed: Vec::new(),
            carried: None,
            tuplet: None,
            next_factor: None,
            finger: None,
            part_order: false,
            colon: false,
        }
    }

    pub(super) fn finish(mut self) -> Result<(Draft, VoiceField), Fault> {
        self.end_of_broken_rhythm()?;
        if !self.bars.is_empty() {
            let end = self.bars.last().map_or(0, |item| item.span.end);
            self.bars.close(&BarLine::default(), end);
        }
        if let Some(text) = self.tempo_text.take() {
            self.set_tempo(&text);
        }
        self.draft.bars = self.bars.done;
        Ok((self.draft, self.voice_field))
    }

    /// Reads one line.
    pub(super) fn line(&mut self, line: &Line) -> Result<(), Fault> {
        let text = line.text;
        if let Some(directive) = text.strip_prefix("%%") {
            self.directive(directive);
            return Ok(());
        }
        let bytes = text.as_bytes();
        let is_field = bytes.len() > 1
            && bytes[0].is_ascii_alphabetic()
            && bytes[1] == b':'
            && bytes.get(2) != Some(&b'|');
        // `a:|` at the start of a music line is a note, not a field; fields the body may hold are few.
        if is_field && (!self.in_body || is_body_field(bytes[0]) || bytes[0].is_ascii_uppercase()) {
            let value = strip_comment(&text[2..]);
            let span = line.start..line.start + 2 + value.len();
            return self.field(bytes[0], value, span);
        }
        if text.starts_with('%') || !self.in_body {
            return Ok(());
        }
        self.music(strip_comment(text), line.start)
    }

    fn music(&mut self, text: &str, start: usize) -> Result<(), Fault> {
        let mut at = 0;
        while let Some(c) = text[at..].chars().next() {
            let rest = &text[at..];
            let place = self.bars.place();
            let here = start + at..start + at + c.len_utf8();
            if self.bars.count() > MOST_ITEMS || self.bars.done.len() > MOST_BARS {
                let message = "this tune is longer than a melody can be";
                return Err(Fault::new(FormatErrorKind::TooBig, message, "Is this the right file?").at(here));
            }
            let step =
                self.symbol(c, rest, start + at).map_err(|fault| fault.at(here).in_bar(place.0, place.1))?;
            at += step.max(c.len_utf8());
        }
        Ok(())
    }

    /// Reads the symbol at the start of `rest`, which stands at `at` in the file; gives its bytes.
    fn symbol(&mut self, c: char, rest: &str, at: usize) -> Result<usize, Fault> {
        let silent = self.voice.is_some() && self.voice_now != self.voice;
        if let Some(field) = inline_field(rest) {
            let span = at..at + rest.find(']').unwrap_or(rest.len());
            self.field(rest.as_bytes()[1], field, span)?;
            return Ok(field.len() + 4);
        }
        if silent {
            return Ok(1);
        }
        if let Some(line) = bar_line(rest) {
            self.end_of_broken_rhythm()?;
            self.typed.clear();
            let mut line = line;
            if std::mem::take(&mut self.colon) && line.repeat_end.is_none() {
                line.repeat_end = Some(2);
                line.heavy = true;
            }
            self.bars.close(&line, at);
            return Ok(line.bytes);
        }
        match c {
            'A'..='G' | 'a'..='g' | '^' | '_' | '=' => self.note(rest, at),
            'z' | 'x' => {
                let (length, bytes) = multiple(&rest[1..]);
                let length = self.scaled(length, &rest[..1 + bytes])?;
                self.push(length, None, at..at + 1 + bytes)?;
                Ok(1 + bytes)
            }
            'Z' | 'X' => self.bars_of_rest(rest, at),
            'y' => Ok(1 + multiple(&rest[1..]).1),
            '"' => Ok(self.quoted(rest)),
            '{' => {
                let (bar, beat) = self.bars.place();
                self.draft.remark("grace-note", bar, beat, "grace notes are left out; they are not judged.");
                let end = rest.find('}').map_or(rest.len(), |end| end + 1);
                self.hold_accidentals(&rest[..end]);
                Ok(end)
            }
            '[' => self.chord(rest, at),
            '(' => self.tuplet(rest),
            '-' => {
                match self.bars.last_anywhere() {
                    Some(item) if item.pitch.is_some() => {
                        item.tie_start = true;
                        let pitch = item.pitch;
                        self.carried = pitch.map(|p| (p.letter, i32::from(p.octave), p.alter));
                    }
                    _ => {
                        let (bar, beat) = self.bars.place();
                        self.draft.remark(
                            "loose-tie",
                            bar,
                            beat,
                            "a tie stands after no note; I left it out.",
                        );
                    }
                }
                Ok(1)
            }
            '>' | '<' => self.broken_rhythm(c, rest, at),
            '!' | '+' => self.named_decoration(c, rest),
            '&' => {
                let message = "a second voice begins here (&)";
                let help = "A melody has one note at a time. Take out the second voice.";
                Err(Fault::new(FormatErrorKind::SecondVoice, message, help))
            }
            'T' | '~' | 'M' | 'P' => {
                let (bar, beat) = self.bars.place();
                self.draft.remark("ornament", bar, beat, "an ornament is marked; I expect the plain note.");
                Ok(1)
            }
            'S' => {
                self.bars.marks().segno = true;
                Ok(1)
            }
            'H'..='Y' | 'h'..='w' => Ok(1),
            // A colon apart from its bar line, as in `A:"Fine"|` or `||` and `:A` on the next line.
            ':' if self.bars.is_empty() => {
                self.bars.marks().repeat_start = true;
                Ok(1)
            }
            ':' => {
                self.colon = true;
                Ok(1)
            }
            // Kept for later versions of ABC (2.1, 8.1), to be passed over until then.
            '?' | '@' | '#' => {
                let (bar, beat) = self.bars.place();
                let text = format!(
                    "the sign “{c}” means nothing in a line of music; I left it out. Is a note missing there?"
                );
                self.draft.remark("unknown-sign", bar, beat, &text);
                Ok(1)
            }
            '.' | ')' | ' ' | '\t' | '`' | '\\' | '$' | '*' | ';' | ',' | '\'' | '/' | ']' => Ok(1),
            '\r' | '\u{feff}' | '\u{a0}' => Ok(c.len_utf8()),
            _ => {
                let message = format!("I do not know “{c}” in a line of music");
                Err(Fault::new(FormatErrorKind::Syntax, message, "Take it out, or put words between quotes."))
            }
        }
    }

    /// An accidental before a grace note holds to the end of the bar like any other.
    fn hold_accidentals(&mut self, grace: &str) {
        let mut at = 0;
        while let Some(c) = grace[at..].chars().next() {
            match typed_note(&grace[at..]) {
                Typed::Note(note) => {
                    if let Some(alter) = note.accidental {
                        let octave = note.octave + self.voice_field.octave.unwrap_or(0);
                        self.typed.push((note.letter, octave, alter));
                    }
                    at += note.bytes;
                }
                _ => at += c.len_utf8(),
            }
        }
    }

    /// Chord symbols and words over the staff are passed over, but not words that send the player away.
    fn quoted(&mut self, rest: &str) -> usize {
        let end = rest[1..].find('"').map_or(rest.len(), |end| end + 1);
        let words = rest[1..end].trim_start_matches(['^', '_', '<', '>', '@']);
        if is_jump(words) {
            self.jump_words(words);
        }
        (end + 1).min(rest.len())
    }

    fn jump_words(&mut self, words: &str) {
        let (bar, beat) = self.bars.place();
        let text = format!("“{words}” is only words in this file; I did not follow it.");
        self.draft.remark("jump-words", bar, beat, &text);
    }

    fn note(&mut self, rest: &str, at: usize) -> Result<usize, Fault> {
        let typed = match typed_note(rest) {
            Typed::Note(typed) => typed,
            Typed::Microtone => {
                let message = "this accidental is a quarter tone";
                return Err(Fault::new(FormatErrorKind::Pitch, message, "Use sharps, flats and naturals."));
            }
            Typed::No => {
                let message = "an accidental stands before no note";
                return Err(Fault::new(
                    FormatErrorKind::Syntax,
                    message,
                    "Write it before a letter, as in ^F.",
                ));
            }
        };
        let (length, bytes) = multiple(&rest[typed.bytes..]);
        let bytes = typed.bytes + bytes;
        let length = self.scaled(length, &rest[..bytes])?;
        let pitch = self.pitch(&typed)?;
        self.push(length, Some(pitch), at..at + bytes)?;
        Ok(bytes)
    }

    fn pitch(&mut self, typed: &TypedNote) -> Result<Spelling, Fault> {
        let octave = typed.octave + self.voice_field.octave.unwrap_or(0);
        let carried = self
            .carried
            .take()
            .filter(|(letter, in_octave, _)| (*letter, *in_octave) == (typed.letter, octave));
        let same = |every: bool| {
            let held = self.typed.iter().rev();
            held.into_iter()
                .find(|held| held.0 == typed.letter && (every || held.1 == octave))
                .map(|held| held.2)
        };
        let in_key = self.bars.accidentals.of(typed.letter);
        let alter = match (typed.accidental, self.hold) {
            (Some(alter), _) => alter,
            (None, Hold::Note) => carried.map_or(in_key, |carried| carried.2),
            (None, hold) => {
                let (here, anywhere) = (same(false), same(true));
                let read = match hold {
                    Hold::EveryOctave => anywhere,
                    _ => here,
                };
                let read = read.or(carried.map(|carried| carried.2)).unwrap_or(in_key);
                if hold == Hold::EveryOctave
                    && here.is_none()
                    && anywhere.is_some_and(|other| other != in_key)
                {
                    let (bar, beat) = self.bars.place();
                    let text = "an accidental of this bar in another octave changes this note too, as ABC has it; on \
                                printed music it would not.";
                    self.draft.remark("accidental-other-octave", bar, beat, text);
                }
                read
            }
        };
        if let Some(alter) = typed.accidental {
            self.typed.push((typed.letter, octave, alter));
        }
        if !(-1..=9).contains(&octave) {
            let message = "this note is outside everything that can be heard or played";
            return Err(Fault::new(
                FormatErrorKind::Pitch,
                message,
                "Check the marks ' and , after the letter.",
            ));
        }
        Ok(Spelling { letter: typed.letter, alter, octave: octave as i8 })
    }

    /// A typed multiple of the unit with tuplet and broken rhythm.
    fn scaled(&mut self, multiple: Option<Length>, typed: &str) -> Result<Length, Fault> {
        let mut length = multiple.and_then(|multiple| times(multiple, self.unit()));
        if let Some(tuplet) = &mut self.tuplet {
            length = length.and_then(|length| times(length, tuplet.factor));
            tuplet.left -= 1;
            if tuplet.left == 0 {
                self.tuplet = None;
            }
        }
        if let Some((factor, _)) = self.next_factor.take() {
            length = length.and_then(|length| times(length, factor));
        }
        length.ok_or_else(|| {
            let message = format!("the length of “{typed}” cannot be kept");
            Fault::new(FormatErrorKind::Length, message, "Use lengths such as 2, 3, /2 or 3/2.")
        })
    }

    fn push(&mut self, length: Length, pitch: Option<Spelling>, span: Range<usize>) -> Result<(), Fault> {
        if self.bars.place().1 > Length::from_integer(LONGEST) {
            let message = "this bar never ends";
            return Err(Fault::new(FormatErrorKind::TooBig, message, "Put bar lines between the bars."));
        }
        if std::mem::take(&mut self.colon) {
            let message = "a colon stands among the notes without a bar line";
            return Err(Fault::new(FormatErrorKind::Syntax, message, "Repeat signs are written |: and :|."));
        }
        let finger = self.finger.take();
        self.bars.push(DraftItem { length, pitch, tie_start: false, finger, span });
        Ok(())
    }

    fn bars_of_rest(&mut self, rest: &str, at: usize) -> Result<usize, Fault> {
        let (count, bytes) = multiple(&rest[1..]);
        let count = count.filter(|count| count.is_integer()).map(|count| count.to_integer());
        let Some(count) = count.filter(|_| self.bars.is_empty()) else {
            let message = "bars of rest stand in the middle of a bar";
            return Err(Fault::new(FormatErrorKind::BarLength, message, "Use z with a length."));
        };
        for bar in 0..count {
            if bar > 0 {
                self.bars.close(&BarLine::default(), at);
            }
            self.bars.rest_bar(at..at + 1 + bytes);
        }
        Ok(1 + bytes)
    }

    fn chord(&mut self, rest: &str, at: usize) -> Result<usize, Fault> {
        let Some(end) = rest.find(']') else {
            let message = "a bracket [ is not closed";
            return Err(Fault::new(FormatErrorKind::Syntax, message, "Close it with ]."));
        };
        let inside = &rest[1..end];
        if let (Typed::Note(note), false) = (typed_note(inside), inside.is_empty()) {
            let (inner, bytes) = multiple(&inside[note.bytes..]);
            if note.bytes + bytes == inside.len() {
                let (outer, outer_bytes) = multiple(&rest[end + 1..]);
                let product = inner.zip(outer).and_then(|(inner, outer)| times(inner, outer));
                let bytes = end + 1 + outer_bytes;
                let length = self.scaled(product, &rest[..bytes])?;
                let pitch = self.pitch(&note)?;
                self.push(length, Some(pitch), at..at + bytes)?;
                return Ok(bytes);
            }
        }
        let message = format!("two or more notes are written at once: [{inside}]");
        let help = "A melody has one note at a time. Keep one note of the chord.";
        Err(Fault::new(FormatErrorKind::Chord, message, help).at(at..at + end + 1))
    }

    /// `(3`, `(3:2`, `(3:2:4`; a bare `(` is a slur (ABC 2.1, 4.13).
    fn tuplet(&mut self, rest: &str) -> Result<usize, Fault> {
        let inside = &rest[1..];
        let end = inside.find(|c: char| !c.is_ascii_digit() && c != ':').unwrap_or(inside.len());
        let mut numbers = inside[..end].split(':').map(|number| number.parse::<u32>().ok());
        let Some(p) = numbers.next().flatten() else { return Ok(1) };
        let compound = self.metre.is_some_and(Metre::is_compound);
        let n = if compound { 3 } else { 2 };
        let usual = match p {
            2 | 4 | 8 => 3,
            3 | 6 => 2,
            _ => n,
        };
        let q = numbers.next().flatten().unwrap_or(usual);
        let r = numbers.next().flatten().unwrap_or(p);
        let valid = (2..=9).contains(&p) && (1..=9).contains(&q) && (1..=64).contains(&r);
        if !valid {
            let message = format!("the tuplet ({} is not one that can be read", &inside[..end]);
            return Err(Fault::new(FormatErrorKind::Length, message, "Triplets are written (3abc."));
        }
        if self.tuplet.is_some() {
            let message = "a tuplet begins inside another";
            return Err(Fault::new(
                FormatErrorKind::Length,
                message,
                "Write the notes with their own lengths.",
            ));
        }
        self.tuplet = Some(Tuplet { factor: Length::new(i64::from(q), i64::from(p)), left: r });
        Ok(1 + end)
    }

    fn broken_rhythm(&mut self, c: char, rest: &str, at: usize) -> Result<usize, Fault> {
        let count = rest.chars().take_while(|&next| next == c).count();
        let help = "Write the lengths of both notes instead.";
        if count > 3 || self.next_factor.is_some() {
            return Err(Fault::new(FormatErrorKind::Length, "this broken rhythm cannot be read", help));
        }
        let short = Length::new(1, 1 << count);
        let long = Length::from_integer(2) - short;
        let (before, after) = if c == '>' { (long, short) } else { (short, long) };
        let Some(item) = self.bars.last() else {
            return Err(Fault::new(
                FormatErrorKind::Length,
                "a broken rhythm has no note before it in this bar",
                help,
            ));
        };
        let Some(length) = times(item.length, before) else {
            return Err(Fault::new(FormatErrorKind::Length, "this length cannot be kept", help));
        };
        item.length = length;
        self.next_factor = Some((after, at..at + count));
        Ok(count)
    }

    fn end_of_broken_rhythm(&mut self) -> Result<(), Fault> {
        match self.next_factor.take() {
            None => Ok(()),
            Some((_, span)) => {
                let help = "Write the lengths of both notes instead.";
                let message = "a broken rhythm has no note after it in this bar";
                Err(Fault::new(FormatErrorKind::Length, message, help).at(span))
            }
        }
    }

    /// `!trill!`, and the older `+trill+`.
    fn named_decoration(&mut self, mark: char, rest: &str) -> Result<usize, Fault> {
        let Some(name) = rest[1..].find(mark).map(|end| &rest[1..=end]) else { return Ok(1) };
        if name.len() > 32 || name.contains(['|', ' ', '"']) {
            // A lone `!` was a line break once. No decoration of the standard has a blank in it.
            if name.contains(['|', '"']) || !is_jump(name) {
                return Ok(1);
            }
            self.jump_words(name);
            return Ok(name.len() + 2);
        }
        let place = self.bars.place();
        match name.to_lowercase().as_str() {
            // ABC 2.1, 4.14. To the end, to the fine or to the coda: the other marks of the tune say it.
            "d.c." | "dacapo" | "d.c.alfine" | "d.c.alcoda" => self.jump(Jump::DaCapo),
            "d.s." | "d.s.alfine" | "d.s.alcoda" => self.jump(Jump::DalSegno),
            "fine" => self.late_mark(|marks| marks.fine = true),
            "segno" => self.bars.marks().segno = true,
            "dacoda" => self.late_mark(|marks| marks.to_coda = true),
            "coda" => self.bars.marks().coda = true,
            "0" | "1" | "2" | "3" | "4" => self.finger = name.parse().ok(),
            "trill" | "trill(" | "lowermordent" | "uppermordent" | "mordent" | "pralltriller" | "roll"
            | "turn" | "turnx" | "invertedturn" | "invertedturnx" | "slide" | "/" | "//" | "///" => {
                let text = format!("an ornament ({name}) is marked; I expect the plain note.");
                self.draft.remark("ornament", place.0, place.1, &text);
            }
            lower if lower.starts_with("8va") || lower.starts_with("8vb") || lower.starts_with("15ma") => {
                let message = "an octave line stands here, and ABC does not say whether the notes include it";
                return Err(Fault::new(
                    FormatErrorKind::Unsupported,
                    message,
                    "Write the notes as they sound.",
                ));
            }
            _ if mark == '+' && name.chars().all(|c| "ABCDEFGabcdefg^_=',/0123456789".contains(c)) => {
                let message = format!("two or more notes are written at once: +{name}+");
                let help = "A melody has one note at a time. Keep one note of the chord.";
                return Err(Fault::new(FormatErrorKind::Chord, message, help));
            }
            _ => {}
        }
        Ok(name.len() + 2)
    }

    fn jump(&mut self, jump: Jump) {
        self.late_mark(|marks| marks.jump = Some(jump));
    }

    /// A mark at the end of a bar, which may be written after its bar line.
    fn late_mark(&mut self, set: impl Fn(&mut super::super::draft::Marks)) {
        match (self.bars.is_empty(), self.bars.done.last_mut()) {
            (true, Some(before)) => set(&mut before.marks),
            _ => set(self.bars.marks()),
        }
    }
}

/// The product, if it is a length that a melody may hold.
fn times(a: Length, b: Length) -> Option<Length> {
    let numerator = a.numer().checked_mul(*b.numer())?;
    let denominator = a.denom().checked_mul(*b.denom())?;
    checked_length(numerator, denominator)
}

/// Words that send the player elsewhere.
fn is_jump(words: &str) -> bool {
    let lower = words.trim_start().to_lowercase();
    ["d.c", "d. c", "d.s", "d. s", "da capo", "dal segno"].iter().any(|jump| lower.starts_with(jump))
}

fn is_body_field(name: u8) -> bool {
    matches!(name, b'w' | b's' | b'r' | b'm')
}

/// `[K:G]` gives `G`, with its brackets three bytes more and the name one.
fn inline_field(rest: &str) -> Option<&str> {
    let bytes = rest.as_bytes();
    if bytes.len() < 4
        || bytes[0] != b'['
        || !bytes[1].is_ascii_alphabetic()
        || bytes[2] != b':'
        || bytes[3] == b'|'
    {
        return None;
    }
    rest[3..].find(']').map(|end| &rest[3..3 + end])
}

/// A line up to its comment; `\%` is a percent sign.
fn strip_comment(text: &str) -> &str {
    let mut escaped = false;
    for (at, c) in text.char_indices() {
        if c == '%' && !escaped {
            return &text[..at];
        }
        escaped = c == '\\';
    }
    text
}
