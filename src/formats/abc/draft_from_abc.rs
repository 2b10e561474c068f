//! The text of an ABC file becomes a draft: which tune, which voice, then line by line.

use super::super::draft::Draft;
use super::super::error::{Fault, FormatErrorKind};
use super::super::melody_from_draft::settle_by_habit;
use super::fields::{VoiceField, voice_field};
use super::music::Reader;
use crate::notation::{Clef, Instrument};
use crate::remark::Remark;

/// Whether a text without a telling name is ABC: it has a key field, and a reference number or a
/// metre before.
pub(crate) fn looks_like_abc(text: &str) -> bool {
    let field = |name: &str| text.lines().any(|line| line.starts_with(name));
    text.starts_with("%abc") || (field("K:") && (field("X:") || field("M:") || field("L:")))
}

pub(crate) fn draft_from_abc(text: &str, wanted: Option<Instrument>) -> Result<Draft, Fault> {
    let lines = tune_lines(text)?;
    let mut remarks = Vec::new();
    let voice = choose_voice(&lines, wanted, &mut remarks)?;
    let mut reader = Reader::new(voice);
    for line in &lines {
        reader.line(line)?;
    }
    let (mut draft, voice) = reader.finish()?;
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

/// The lines of the only tune. Before its X: field stand the file's own header and free text.
fn tune_lines(text: &str) -> Result<Vec<Line<'_>>, Fault> {
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
    // An empty line ends the tune once it has begun; directives and comments before it count too.
    let mut kept: Vec<Line> =
        lines[..first].iter().filter(|line| line.text.starts_with("%%")).copied().collect();
    let begun = |line: &&Line| !line.text.trim().is_empty();
    kept.extend(lines[first..].iter().skip_while(|line| line.text.trim().is_empty()).take_while(begun));
    Ok(kept)
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
