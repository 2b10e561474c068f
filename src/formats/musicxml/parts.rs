//! The parts of a score: what they are called and the bars they have, whichever way round the file
//! nests them.

use super::draft_from_score::opening;
use crate::notation::Instrument;
use roxmltree::Node;
use std::ops::Range;

/// One part.
pub(super) struct Part<'d> {
    id: &'d str,
    names: Vec<String>,
    sound: Option<String>,
    pub(super) measures: Vec<Measure<'d>>,
    pub(super) span: Range<usize>,
}

/// One bar of one part.
pub(super) struct Measure<'d> {
    /// The element with the number.
    pub(super) head: Node<'d, 'd>,
    /// The element with the notes (the same one in a partwise score).
    pub(super) body: Node<'d, 'd>,
}

impl Part<'_> {
    /// What people call it.
    pub(super) fn label(&self) -> &str {
        self.names.first().map_or(self.id, String::as_str)
    }

    /// The instrument that its names or its sound say.
    pub(super) fn named_instrument(&self) -> Option<Instrument> {
        self.names.iter().find_map(|name| Instrument::from_part_name(name)).or_else(|| {
            // The standard sound ids of MusicXML 4.0 (sounds.xml).
            let sound = self.sound.as_deref()?;
            [
                ("strings.violin", Instrument::Violin),
                ("strings.fiddle", Instrument::Violin),
                ("strings.viola", Instrument::Viola),
                ("strings.cello", Instrument::Cello),
                ("strings.contrabass", Instrument::Bass),
            ]
            .into_iter()
            .find(|(id, _)| sound == *id || sound.strip_prefix(id).is_some_and(|rest| rest.starts_with('.')))
            .map(|(_, instrument)| instrument)
        })
    }

    /// Whether anything in it sounds.
    pub(super) fn has_notes(&self) -> bool {
        let note = |node: Node| {
            node.has_tag_name("note")
                && node.children().any(|c| c.has_tag_name("pitch") || c.has_tag_name("unpitched"))
        };
        self.measures.iter().any(|measure| measure.body.children().any(note))
    }
}

/// The parts of a partwise or timewise score, in score order.
pub(super) fn parts_of<'d>(root: Node<'d, 'd>) -> Vec<Part<'d>> {
    let mut parts: Vec<Part> = Vec::new();
    let listed: Vec<Node> = root.children().filter(|node| node.has_tag_name("part-list")).collect();
    let listed =
        listed.into_iter().flat_map(|list| list.children()).filter(|node| node.has_tag_name("score-part"));
    for entry in listed {
        let within = |name: &'static str| {
            entry.descendants().filter(move |node| node.has_tag_name(name)).filter_map(|node| node.text())
        };
        let names = within("part-name").chain(within("instrument-name")).chain(within("part-abbreviation"));
        let names = names.map(|name| name.split_whitespace().collect::<Vec<_>>().join(" "));
        parts.push(Part {
            id: entry.attribute("id").unwrap_or(""),
            names: names.filter(|name| !name.is_empty()).collect(),
            sound: within("instrument-sound").next().map(|sound| sound.trim().to_owned()),
            measures: Vec::new(),
            span: opening(entry),
        });
    }
    for outer in root.children().filter(Node::is_element) {
        for inner in outer.children().filter(Node::is_element) {
            let (part, head) = match (outer.tag_name().name(), inner.tag_name().name()) {
                ("part", "measure") => (outer, inner),
                ("measure", "part") => (inner, outer),
                _ => continue,
            };
            let id = part.attribute("id").unwrap_or("");
            let known = parts.iter().position(|known| known.id == id).unwrap_or_else(|| {
                let span = opening(part);
                parts.push(Part { id, names: Vec::new(), sound: None, measures: Vec::new(), span });
                parts.len() - 1
            });
            parts[known].measures.push(Measure { head, body: inner });
        }
    }
    parts
}
