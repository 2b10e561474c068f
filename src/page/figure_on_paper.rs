//! A figure as it is printed: what the style sheet says by classes is said by attributes, in black and grey, because a
//! printed page has no style sheet.

use super::content::Room;
use super::svg::{Align, Elements, Figure};

/// The room of a heading over a drawing, in its pixels.
const HEADING: f64 = 18.0;

/// What each class of a figure is on paper. The names are those of `style.css`, and so are the widths; the colours are
/// those of its part for print.
const ON_PAPER: &[(&str, &str)] = &[
    ("ink", "stroke=\"#000\" stroke-width=\"1\""),
    ("hair", "stroke=\"#bbb\" stroke-width=\"1\""),
    ("bar", "stroke=\"#777\" stroke-width=\"1\" stroke-dasharray=\"3 3\""),
    ("cord", "stroke=\"#777\" stroke-width=\"1.5\""),
    ("accent", "stroke=\"#8a3b12\" stroke-width=\"2\""),
    ("board", "fill=\"none\" stroke=\"#777\" stroke-width=\"1\""),
    ("tape", "fill=\"#e8e8e8\""),
    ("bracket", "fill=\"none\" stroke=\"#000\" stroke-width=\"1\""),
    ("hatch", "fill=\"none\" stroke=\"#777\" stroke-width=\"0.7\""),
    ("nut", "fill=\"#000\""),
    ("mark", "fill=\"#000\""),
    ("hollow", "fill=\"#fff\" stroke=\"#8a3b12\" stroke-width=\"2\""),
    ("trace", "fill=\"none\" stroke=\"#000\" stroke-width=\"1.4\" stroke-linejoin=\"round\""),
    ("small", "fill=\"#444\""),
    ("words", "fill=\"#000\""),
];

impl Figure {
    /// The figure as one SVG element for a printed page, and its size in millimetres when it is `width_mm` wide.
    pub(super) fn on_paper(&self, width_mm: f64) -> (String, (f64, f64)) {
        let mut elements = self.elements.clone();
        for (class, attributes) in ON_PAPER {
            elements = elements.replace(&format!("class=\"{class}\""), attributes);
        }
        let height_mm = width_mm * self.height / self.width.max(1.0);
        let svg = format!(
            "<svg width=\"{width_mm:.3}\" height=\"{height_mm:.3}\" viewBox=\"0 0 {:.3} {:.3}\">{elements}</svg>",
            self.width, self.height
        );
        (svg, (width_mm, height_mm))
    }
}

/// Drawings for phones, two beside each other and each under its heading, as drawings for paper.
pub(super) fn two_abreast(drawings: &[(String, Figure)]) -> Vec<Figure> {
    drawings.chunks(2).map(abreast).collect()
}

fn abreast(drawings: &[(String, Figure)]) -> Figure {
    let width = Room::Wide.width();
    let high = |least: f64, one: &(String, Figure)| least.max(one.1.height);
    let height = drawings.iter().fold(0.0, high) + HEADING;
    let mut elements = String::new();
    for (place, (heading, figure)) in drawings.iter().enumerate() {
        let left = if place == 0 { 0.0 } else { width - figure.width };
        let mut words = Elements::default();
        words.text("words", (left, HEADING - 5.0), 12.0, Align::Start, heading);
        elements.push_str(&words.figure(width, height, String::new()).elements);
        elements
            .push_str(&format!("<g transform=\"translate({left:.1} {HEADING:.1})\">{}</g>", figure.elements));
    }
    let label = drawings.iter().map(|one| one.1.label.as_str()).collect::<Vec<_>>().join(" ");
    Figure { width, height, label, elements }
}

#[cfg(test)]
mod tests {
    use super::super::policy::STYLE;
    use super::*;

    #[test]
    fn every_class_of_a_figure_has_its_look_on_paper_and_on_the_screen() {
        for (class, _) in ON_PAPER.iter().filter(|(class, _)| *class != "words") {
            assert!(STYLE.contains(&format!(".{class}")), "{class}");
        }
        let mut out = Elements::default();
        out.line("ink", (0.0, 0.0), (5.0, 5.0));
        out.text("words", (1.0, 1.0), 9.0, Align::Start, "class=\"ink\"");
        let (svg, size) = out.figure(100.0, 50.0, String::new()).on_paper(180.0);
        assert_eq!(size, (180.0, 90.0));
        assert_eq!(svg.matches("class=").count(), 1, "only the words, which are escaped: {svg}");
        assert!(svg.contains("class=&quot;ink&quot;"), "{svg}");
    }
}
