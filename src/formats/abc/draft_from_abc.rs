//! The text of an ABC file becomes a draft: which tune, which voice, then line by line.

use super::super::draft::Draft;
use super::super::error::{Fault, FormatErrorKind};
use super::super::melody_from_draft::settle_by_habit;
use super::fields::{VoiceField, voice_field};
use super::music::Reader;
use crate::notation::{Clef, Instrument};
use crate::remark::Remark;

/// Whether a text without a telling name is ABC: it has a key field, and a reference number, a metre or a unit length.
pub(crate) fn looks_like_abc(text: &str) -> bool {
    let field = |name: &str| text.lines().any(|line| line.starts_with(name));
    text.starts_with("%abc") || (field("K:") && (field("X:") || field("M:") || field("L:")))
}

pub(crate) fn draft_from_abc(text: &str, wanted: Option<Instrument>) -> Result<Draft, Fault> {
    let tune = tune_lines(text)?;
    let mut remarks = Vec::new();
    let voice = choose_voice(&tune.lines, wanted, &mut remarks)?;
    let mut reader = Reader::new(voice);
    for line in &tune.header {
        reader.line(line)?;
    }
    let composer = reader.draft.composer.take();
    for line in &tune.lines {
        reader.line(line)?;
    }
    if !reader.in_body && !tune.lines.is_empty() {
        return Err(no_key(&tune, text));
    }
    let (mut draft, voice) = reader.finish()?;
    draft.composer = draft.composer.or(composer);
    if let Some(line) = tune.left {
        let text = format!(
            "Line {}: an empty line ends a tune in ABC, so I did not read what comes after it; if it belongs to the \
             tune, take the empty line out.",
            line_number(text, line.start)
        );
        remarks.push(Remark::new("after-the-tune", text));
    }
    remarks.append(&mut draft.remarks);
    draft.remarks = remarks;
    settle(&mut draft, &voice);
    Ok(draft)
}

/// One line, without its comment, and where it starts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line<'a> {
    pub text: &'a str,
    pub start: usize,
}

/// The only tune of a file.
struct Tune<'a> {
    /// What the file says for all of its tunes.
    header: Vec<Line<'a>>,
    lines: Vec<Line<'a>>,
    /// The first line behind the empty one that ends the tune.
    left: Option<Line<'a>>,
}

/// The fields that a file header may hold (ABC 2.1, 3: the table of information fields): what it says holds for every
/// tune of the file (2.2.2).
const FILE_FIELDS: &str = "ABCDFGHILMmNORrSUZ";

fn line_number(text: &str, at: usize) -> usize {
    text[..at].matches('\n').count() + 1
}

/// The lines of the only tune. Before its X: field stand the file's own header and free text.
fn tune_lines(text: &str) -> Result<Tune<'_>, Fault> {
    let mut lines = Vec::new();
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        let bare = line.trim_end_matches(['\n', '\r']);
        lines.push(Line { text: bare, start: at });
        at += line.len();
    }
    let tunes: Vec<usize> = (0..lines.len()).filter(|&at| lines[at].text.starts_with("X:")).collect();
    if let [_, second, ..] = tunes[..] {
        let title = |&at: &usize| {
            let title = lines[at..].iter().find_map(|line| line.text.strip_prefix("T:"));
            title.unwrap_or(&lines[at].text[2..]).trim().to_owned()
        };
        let titles: Vec<String> = tunes.iter().take(5).map(title).collect();
        let more = if tunes.len() > 5 { ", …" } else { "" };
        let message = format!("there are {} tunes in this file: {}{more}", tunes.len(), titles.join(", "));
        let help = "Keep the tune that is played in a file of its own.";
        let line = lines[second];
        return Err(Fault::new(FormatErrorKind::SeveralParts, message, help)
            .at(line.start..line.start + line.text.len()));
    }
    let first = tunes.first().copied().unwrap_or(0);
    let empty = |line: &&Line| line.text.trim().is_empty();
    let block = |lines: &[Line<'_>]| {
        let before = lines.iter().take_while(empty).count();
        before..before + lines[before..].iter().take_while(|line| !empty(line)).count()
    };
    // The header is the first block of lines; directives count wherever they stand before the tune.
    let of_file = block(&lines[..first]);
    let field = |line: &Line| {
        let mut letters = line.text.chars();
        letters.next().is_some_and(|name| FILE_FIELDS.contains(name)) && letters.next() == Some(':')
    };
    let header = lines[..first].iter().enumerate();
    let header = header
        .filter(|(at, line)| line.text.starts_with("%%") || (of_file.contains(at) && field(line)))
        .map(|(_, line)| *line);
    // An empty line ends the tune once it has begun.
    let tune = block(&lines[first..]);
    let after = &lines[first + tune.end..];
    Ok(Tune {
        header: header.collect(),
        lines: lines[first..][tune].to_vec(),
        left: after.iter().find(|line| !empty(line) && !line.text.starts_with('%')).copied(),
    })
}

/// The K: field is the last line before the music (ABC 2.1, 3.1.14); without it nothing is music.
fn no_key(tune: &Tune, text: &str) -> Fault {
    let message = "the tune has no K: field, and in ABC the music begins after it";
    let music = tune.lines.iter().find(|line| {
        !line.text.starts_with('%') && line.text.chars().nth(1).is_none_or(|second| second != ':')
    });
    let help = match (music, tune.left) {
        (None, Some(left)) => format!(
            "An empty line ends a tune: take out the one before line {}, or write the key, as in K:D, before it.",
            line_number(text, left.start)
        ),
        _ => "Write the key, as in K:D, on a line of its own before the music.".to_owned(),
    };
    let fault = Fault::new(FormatErrorKind::Syntax, message, help);
    match music.or(tune.lines.last()) {
        Some(line) => fault.at(line.start..line.start + line.text.len()),
        None => fault,
    }
}

/// The voice to read: `None` if the tune does not name voices.
fn choose_voice(
    lines: &[Line],
    wanted: Option<Instrument>,
    remarks: &mut Vec<Remark>,
) -> Result<Option<String>, Fault> {
    let mut voices: Vec<(String, VoiceField, Line)> = Vec::new();
    for line in lines {
        let whole = line.text.strip_prefix("V:").into_iter();
        let inline =
            line.text.match_indices("[V:").filter_map(|(at, _)| line.text[at + 3..].split(']').next());
        for text in whole.chain(inline) {
            let (id, field) = voice_field(text.split('%').next().unwrap_or(""));
            match voices.iter_mut().find(|(known, ..)| *known == id) {
                Some((_, known, _)) if known.name.is_none() => known.name = field.name,
                Some(_) => {}
                None => voices.push((id, field, *line)),
            }
        }
    }
    match &voices[..] {
        [] => Ok(None),
        [(only, ..)] => Ok(Some(only.clone())),
        [_, second, ..] => {
            let fits = |(_, field, _): &&(String, VoiceField, Line)| {
                wanted.is_some() && field.instrument() == wanted
            };
            let fitting: Vec<_> = voices.iter().filter(fits).collect();
            let label = |(id, field, _): &(String, VoiceField, Line)| {
                field.name.clone().unwrap_or_else(|| id.clone())
            };
            if let [only] = fitting[..] {
                let text = format!("The tune has {} voices; I read “{}”.", voices.len(), label(only));
                remarks.push(Remark::new("part-chosen", text));
                return Ok(Some(only.0.clone()));
            }
            let names: Vec<String> = voices.iter().map(|voice| format!("“{}”", label(voice))).collect();
            let message = format!("the tune has {} voices: {}", voices.len(), names.join(", "));
            let help =
                "Say the instrument if only one voice is named after it, or keep one voice in the file.";
            let line = second.2;
            Err(Fault::new(FormatErrorKind::SeveralParts, message, help)
                .at(line.start..line.start + line.text.len()))
        }
    }
}

fn settle(draft: &mut Draft, voice: &VoiceField) {
    draft.clef = voice.clef;
    draft.instrument = voice.instrument().or(match voice.clef {
        Some(Clef::Alto) => Some(Instrument::Viola),
        Some(Clef::Bass) if voice.transpose == Some(-12) => Some(Instrument::Bass),
        Some(Clef::Bass | Clef::Tenor) => Some(Instrument::Cello),
        _ => None,
    });
    match voice.transpose {
        Some(semitones) => {
            draft.says_sounding = true;
            draft.to_sounding = semitones;
            let habit = draft.instrument.map_or(semitones, Instrument::sounding_shift);
            draft.to_written = semitones - habit;
        }
        None => settle_by_habit(draft),
    }
}
