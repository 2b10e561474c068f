//! The text of a MusicXML score becomes a draft of the one part that is to be played.

use super::super::draft::Draft;
use super::super::error::{Fault, FormatErrorKind};
use super::draft_from_part::draft_from_part;
use super::parts::{Part, parts_of};
use super::settle_pitches::settle_pitches;
use super::xml_within_bounds::within_bounds;
use crate::notation::Instrument;
use crate::remark::Remark;
use crate::units::Hertz;
use roxmltree::{Document, Node, ParsingOptions};

/// No score has more XML nodes than this.
const MOST_NODES: u32 = 2_000_000;

/// Reads a score; of several parts the one for `wanted` is taken.
pub(crate) fn draft_from_score(text: &str, wanted: Option<Instrument>) -> Result<Draft, Fault> {
    within_bounds(text)?;
    let options = ParsingOptions { allow_dtd: true, nodes_limit: MOST_NODES, ..Default::default() };
    let document = Document::parse_with_options(text, options).map_err(|error| syntax(&error, text))?;
    let root = document.root_element();
    if !matches!(root.tag_name().name(), "score-partwise" | "score-timewise") {
        let message =
            format!("this XML file is not a MusicXML score: it begins with <{}>", root.tag_name().name());
        let help = "Export the melody as MusicXML (.musicxml or .mxl).";
        return Err(Fault::new(FormatErrorKind::UnknownFormat, message, help).at(opening(root)));
    }
    let parts = parts_of(root);
    let mut remarks = Vec::new();
    let part = choose(&parts, wanted, root, &mut remarks)?;
    let mut draft = draft_from_part(part)?;
    remarks.append(&mut draft.remarks);
    draft.remarks = remarks;
    draft.title = title(root);
    draft.composer = composer(root);
    draft.a4 = a4(root);
    settle_pitches(&mut draft, part);
    Ok(draft)
}

fn syntax(error: &roxmltree::Error, text: &str) -> Fault {
    let place = error.pos();
    let line_start: usize =
        text.split_inclusive('\n').take(place.row.saturating_sub(1) as usize).map(str::len).sum();
    let line = text[line_start.min(text.len())..].lines().next().unwrap_or("");
    let column: usize = line.chars().take(place.col.saturating_sub(1) as usize).map(char::len_utf8).sum();
    let at = (line_start + column).min(text.len());
    let message = format!("this is not well-formed XML: {error}");
    Fault::new(FormatErrorKind::Syntax, message, "Export the melody again.").at(at..at)
}

/// The bytes of an element's opening tag.
pub(super) fn opening(node: Node) -> std::ops::Range<usize> {
    let range = node.range();
    let text = node.document().input_text();
    let end =
        text.get(range.clone()).and_then(|text| text.find('>')).map_or(range.end, |at| range.start + at + 1);
    range.start..end
}

fn choose<'a, 'd>(
    parts: &'a [Part<'d>],
    wanted: Option<Instrument>,
    root: Node,
    remarks: &mut Vec<Remark>,
) -> Result<&'a Part<'d>, Fault> {
    let sounding: Vec<&Part> = parts.iter().filter(|part| part.has_notes()).collect();
    match sounding[..] {
        [] => {
            let message = "there is not a single note in it";
            Err(Fault::new(FormatErrorKind::NoNotes, message, "Write at least one note.").at(opening(root)))
        }
        [only] => {
            if parts.len() > 1 {
                let text =
                    format!("Of {} parts only “{}” has notes; I read that one.", parts.len(), only.label());
                remarks.push(Remark::new("part-chosen", text));
            }
            Ok(only)
        }
        _ => {
            let fitting: Vec<&&Part> = sounding
                .iter()
                .filter(|part| wanted.is_some() && part.named_instrument() == wanted)
                .collect();
            if let [only] = fitting[..] {
                let text = format!("The score has {} parts; I read “{}”.", sounding.len(), only.label());
                remarks.push(Remark::new("part-chosen", text));
                return Ok(only);
            }
            let names: Vec<String> = sounding.iter().map(|part| format!("“{}”", part.label())).collect();
            let message = format!("the score has {} parts: {}", names.len(), names.join(", "));
            let help =
                "Say the instrument if only one part is for it, or export the one part that is played.";
            Err(Fault::new(FormatErrorKind::SeveralParts, message, help).at(sounding[1].span.clone()))
        }
    }
}

fn text_of(node: Node) -> Option<String> {
    let text = node.text()?.split_whitespace().collect::<Vec<_>>().join(" ");
    (!text.is_empty()).then_some(text)
}

fn title(root: Node) -> Option<String> {
    let child = |node: Node<'_, '_>, name: &str| {
        let found = node.children().find(|child| child.has_tag_name(name));
        found.and_then(text_of)
    };
    let work = root.children().find(|child| child.has_tag_name("work"));
    work.and_then(|work| child(work, "work-title")).or_else(|| child(root, "movement-title"))
}

fn composer(root: Node) -> Option<String> {
    let identification = root.children().find(|child| child.has_tag_name("identification"))?;
    let composer = identification.children().find(|child| {
        child.has_tag_name("creator") && child.attribute("type").is_none_or(|kind| kind == "composer")
    })?;
    text_of(composer)
}

/// The pitch of A4 as our own writer notes it.
fn a4(root: Node) -> Option<Hertz> {
    let field =
        |node: &Node| node.has_tag_name("miscellaneous-field") && node.attribute("name") == Some("a4-hertz");
    let identification = root.children().find(|child| child.has_tag_name("identification"))?;
    let a4 = identification.descendants().find(field)?.text()?.trim().parse().ok()?;
    (300.0..=600.0).contains(&a4).then_some(Hertz(a4))
}
