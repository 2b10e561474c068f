//! A system becomes an SVG element for an HTML page: glyphs are defined once a page and called by their names, ink is
//! `currentColor`, and what belongs to a note, a rest, an extra or a return is one group that a script can find.

use super::drawing::Shape;
use super::glyph::Glyph;
use super::letters;
use super::svg_from_page::{base64, escaped, number, write_mark};
use super::system::{Belongs, Group, System};
use std::collections::BTreeMap;
use std::fmt::Write;

/// What a reader who does not see a group is told, and whether the keyboard reaches it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Told {
    /// The ARIA role, such as `button`; none if empty.
    pub role: String,
    /// The label; none if empty.
    pub label: String,
    /// Whether the tabulator key comes to it.
    pub focusable: bool,
}

/// How a system is written for a page.
pub struct SystemSvg<'a> {
    /// Stands before the id of each glyph: letters, digits, `-` and `_` (others are left out); the same as in
    /// [`glyph_definitions`].
    pub prefix: &'a str,
    /// What a reader who does not see the system is told that it is.
    pub label: &'a str,
    /// The same for its groups, the staff itself apart.
    pub told: &'a dyn Fn(Belongs) -> Option<Told>,
}

/// The letters before an id, of those that an id and a reference may have; never none.
fn id_prefix(prefix: &str) -> String {
    let kept: String =
        prefix.chars().filter(|letter| letter.is_ascii_alphanumeric() || "-_".contains(*letter)).collect();
    if kept.starts_with(|letter: char| letter.is_ascii_alphabetic()) { kept } else { format!("g{kept}") }
}

/// The outlines of all glyphs that systems use, as an SVG element without a size, once for a page: write it before the
/// first system. Ids are the prefix and the SMuFL name.
pub fn glyph_definitions<'a>(systems: impl IntoIterator<Item = &'a System>, prefix: &str) -> String {
    let mut glyphs: BTreeMap<&str, Glyph> = BTreeMap::new();
    for mark in systems.into_iter().flat_map(System::marks) {
        if let Shape::Glyph { glyph, .. } = mark.shape {
            glyphs.insert(glyph.outline().name, glyph);
        }
    }
    let prefix = id_prefix(prefix);
    let mut out = "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"glyphs\" width=\"0\" height=\"0\" aria-hidden=\"true\" \
                   focusable=\"false\"><defs>\n"
        .to_owned();
    for (name, glyph) in glyphs {
        // Writing into a String cannot fail, here and below.
        let _ = writeln!(out, "<path id=\"{prefix}{name}\" d=\"{}\"/>", glyph.outline().path);
    }
    out.push_str("</defs></svg>\n");
    out
}

/// The rule of CSS that brings the letters in which systems are measured and written, with the font in it.
pub fn letters_font_face() -> String {
    format!(
        "@font-face{{font-family:\"{}\";src:url(data:font/ttf;base64,{})format(\"truetype\")}}",
        letters::FAMILY,
        base64(letters::FONT)
    )
}

/// One system as an SVG element without XML header. Its `viewBox` is in millimetres, and so are its width and height;
/// CSS may make it smaller. Groups are
/// `<g class="note" data-note="EVENT" …>` with the classes and attributes `note`, `rest`, `extra` and `return`; in each
/// of them comes first an invisible `<rect class="room">` that answers to pointers, then marks whose classes are
/// [`What::class`](super::What::class).
pub fn svg_from_system(system: &System, how: &SystemSvg) -> String {
    let scale = system.space_mm;
    let prefix = id_prefix(how.prefix);
    // Half a line more on every side: a line on the edge is not cut.
    let around = 0.1 * scale;
    let (width, height) = (system.width * scale + 2.0 * around, system.height * scale + 2.0 * around);
    let mut out = String::new();
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"system\" role=\"group\" aria-label=\"{}\" width=\"{}mm\" \
         height=\"{}mm\" viewBox=\"{} {} {} {}\" fill=\"currentColor\" font-family=\"'{}'\">",
        escaped(how.label),
        number(width),
        number(height),
        number(-around),
        number(-around),
        number(width),
        number(height),
        letters::FAMILY
    );
    for group in &system.groups {
        write_group(&mut out, group, how, scale, &prefix);
    }
    out.push_str("</svg>\n");
    out
}

fn write_group(out: &mut String, group: &Group, how: &SystemSvg, scale: f64, prefix: &str) {
    let named = match group.belongs {
        Belongs::Staff => None,
        Belongs::Note(event) => Some(("note", event)),
        Belongs::Rest(event) => Some(("rest", event)),
        Belongs::Extra(place) => Some(("extra", place)),
        Belongs::Return(place) => Some(("return", place)),
    };
    match named {
        None => out.push_str("<g class=\"staff\" aria-hidden=\"true\">\n"),
        Some((class, index)) => {
            let _ = write!(out, "<g class=\"{class}\" data-{class}=\"{index}\"");
            if let Some(told) = (how.told)(group.belongs) {
                if !told.role.is_empty() {
                    let _ = write!(out, " role=\"{}\"", escaped(&told.role));
                }
                if !told.label.is_empty() {
                    let _ = write!(out, " aria-label=\"{}\"", escaped(&told.label));
                }
                if told.focusable {
                    out.push_str(" tabindex=\"0\"");
                }
            }
            out.push_str(">\n");
            let [left, top, right, bottom] = group.room;
            let _ = writeln!(
                out,
                "<rect class=\"room\" fill=\"none\" pointer-events=\"all\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
                number(left * scale),
                number(top * scale),
                number((right - left) * scale),
                number((bottom - top) * scale)
            );
        }
    }
    for mark in &group.marks {
        write_mark(out, mark, scale, prefix);
    }
    out.push_str("</g>\n");
}
