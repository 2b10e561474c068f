//! A page becomes SVG 1.1: each glyph once as a path, used where it stands; words as text in our own font, which the
//! file carries along. Lengths are points (1/72 inch), the same numbers as in the PDF.

use super::drawing::{Anchor, Mark, Shape};
use super::glyph::Glyph;
use super::letters;
use super::page::{Page, PlacedFigure};
use std::collections::BTreeSet;
use std::fmt::Write;

/// One millimetre in points.
pub(super) const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// The page as an SVG file.
pub fn svg_from_page(page: &Page) -> String {
    svg(page, true)
}

/// The page as SVG, with or without the font in it (who draws it with the font at hand does not need it).
pub(super) fn svg(page: &Page, with_font: bool) -> String {
    let (width_mm, height_mm) = page.paper.millimetres();
    let scale = page.space_mm * POINTS_PER_MM;
    let mut out = String::new();
    let (width, height) = (width_mm * POINTS_PER_MM, height_mm * POINTS_PER_MM);
    // Writing into a String cannot fail, here and below.
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" version=\"1.1\" \
         role=\"img\" width=\"{}mm\" height=\"{}mm\" viewBox=\"0 0 {} {}\">",
        number(width_mm),
        number(height_mm),
        number(width),
        number(height)
    );
    let _ = writeln!(out, "<title>{}</title>", escaped(&page.title));
    out.push_str("<defs>\n");
    if with_font {
        let _ = writeln!(
            out,
            "<style>@font-face {{ font-family: \"{}\"; src: url(data:font/ttf;base64,{}); }}</style>",
            letters::FAMILY,
            base64(letters::FONT)
        );
    }
    for glyph in glyphs(page) {
        let outline = glyph.outline();
        let _ = writeln!(out, "<path id=\"{}\" d=\"{}\"/>", outline.name, outline.path);
    }
    out.push_str("</defs>\n");
    let _ = writeln!(out, "<rect width=\"{}\" height=\"{}\" fill=\"#fff\"/>", number(width), number(height));
    let _ = writeln!(out, "<g fill=\"#000\" font-family=\"'{}'\">", letters::FAMILY);
    for mark in &page.marks {
        write_mark(&mut out, mark, scale, "");
    }
    out.push_str("</g>\n");
    for figure in &page.figures {
        write_figure(&mut out, figure);
    }
    out.push_str("</svg>\n");
    out
}

/// A figure in a viewport of its own, so that its unit is the millimetre and none of its ink is outside.
fn write_figure(out: &mut String, figure: &PlacedFigure) {
    let points = |millimetres: f64| number(millimetres * POINTS_PER_MM);
    let _ = writeln!(
        out,
        "<svg class=\"figure\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" viewBox=\"0 0 {} {}\">{}</svg>",
        points(figure.at_mm.0),
        points(figure.at_mm.1),
        points(figure.size_mm.0),
        points(figure.size_mm.1),
        number(figure.size_mm.0),
        number(figure.size_mm.1),
        figure.svg
    );
}

fn glyphs(page: &Page) -> BTreeSet<Glyph> {
    let mut named = BTreeSet::new();
    page.marks
        .iter()
        .filter_map(|mark| match mark.shape {
            Shape::Glyph { glyph, .. } => Some(glyph),
            _ => None,
        })
        .filter(|glyph| named.insert(glyph.outline().name))
        .collect()
}

/// One mark, `scale` units for a staff space; glyphs are called by their SMuFL name after `prefix`.
pub(super) fn write_mark(out: &mut String, mark: &Mark, scale: f64, prefix: &str) {
    let class = mark.what.class();
    // A file is SVG 1.1, which only knows XLink; in an HTML page glyphs have a prefix, and SVG 2 calls them by `href`.
    let link = if prefix.is_empty() { "xlink:href" } else { "href" };
    let n = |value: f64| number(value * scale);
    let point = |(x, y): (f64, f64)| format!("{} {}", n(x), n(y));
    let _ = match &mark.shape {
        Shape::Glyph { glyph, x, y, scale: size } => writeln!(
            out,
            "<use class=\"{class}\" {link}=\"#{prefix}{}\" transform=\"translate({} {}) scale({})\"/>",
            glyph.outline().name,
            n(*x),
            n(*y),
            number(size * scale)
        ),
        // Filled, because the renderer loses some level strokes between two rows of pixels.
        Shape::Stroke { .. } => {
            let [left, top, right, bottom] = mark.bounds();
            writeln!(
                out,
                "<path class=\"{class}\" d=\"M{} {}H{}V{}H{}Z\"/>",
                n(left),
                n(top),
                n(right),
                n(bottom),
                n(left)
            )
        }
        Shape::Area([a, b, c, d]) => writeln!(
            out,
            "<path class=\"{class}\" d=\"M{}L{}L{}L{}Z\"/>",
            point(*a),
            point(*b),
            point(*c),
            point(*d)
        ),
        Shape::Crescent { from, to, outer, inner } => {
            let reach = (to.0 - from.0) * 0.2;
            let bow = |height: f64| ((from.0 + reach, from.1 + height), (to.0 - reach, to.1 + height));
            let ((a, b), (c, d)) = (bow(*outer), bow(*inner));
            writeln!(
                out,
                "<path class=\"{class}\" d=\"M{}C{} {} {}C{} {} {}Z\"/>",
                point(*from),
                point(a),
                point(b),
                point(*to),
                point(d),
                point(c),
                point(*from)
            )
        }
        Shape::Line { points, width, dash } => {
            let path: Vec<String> = points.iter().map(|&at| point(at)).collect();
            writeln!(
                out,
                "<path class=\"{class}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"{}\"{} d=\"M{}\"/>",
                n(*width),
                dashes(*dash, scale),
                path.join("L")
            )
        }
        Shape::Ring { centre, radii, width, dash } => writeln!(
            out,
            "<ellipse class=\"{class}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"{}\"{} cx=\"{}\" cy=\"{}\" rx=\"{}\" ry=\"{}\"/>",
            n(*width),
            dashes(*dash, scale),
            n(centre.0),
            n(centre.1),
            n(radii.0),
            n(radii.1)
        ),
        Shape::Words { text, x, y, size, anchor } => {
            let anchor = match anchor {
                Anchor::Start => "start",
                Anchor::Middle => "middle",
                Anchor::End => "end",
            };
            writeln!(
                out,
                "<text class=\"{class}\" x=\"{}\" y=\"{}\" font-size=\"{}\" text-anchor=\"{anchor}\">{}</text>",
                n(*x),
                n(*y),
                n(*size),
                escaped(text)
            )
        }
    };
}

fn dashes(dash: Option<(f64, f64)>, scale: f64) -> String {
    dash.map_or(String::new(), |(on, off)| {
        format!(" stroke-dasharray=\"{} {}\"", number(on * scale), number(off * scale))
    })
}

/// A thousandth of a point is finer than any printer.
pub(super) fn number(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

pub(super) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// RFC 4648, section 4.
pub(super) fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let word = (0..3).fold(0u32, |word, at| word << 8 | u32::from(chunk.get(at).copied().unwrap_or(0)));
        for digit in 0..4 {
            let shown = digit <= chunk.len();
            let place = (word >> (18 - 6 * digit) & 63) as usize;
            out.push(if shown { char::from(DIGITS[place]) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The test vectors of RFC 4648, section 10.
    #[test]
    fn base64_is_that_of_the_standard() {
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn numbers_are_short_and_text_is_escaped() {
        assert_eq!((number(1.5), number(-0.0001), number(12.0)), ("1.5".into(), "0".into(), "12".into()));
        assert_eq!(escaped("<Fog & \"Ice\">"), "&lt;Fog &amp; &quot;Ice&quot;&gt;");
    }
}
