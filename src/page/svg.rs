//! SVG, element by element: names come from the code, text and values are escaped, numbers are short.
//!
//! Colours are classes and `currentColor`, so that one style sheet decides them; hatching is drawn as lines, because a
//! pattern that stands in a hidden drawing is not painted by every browser, and a figure must also stand alone.

use std::fmt::Write;

/// A drawing. Its lengths are CSS pixels at the width that it was drawn for (96 to the inch).
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
    /// What it shows, in one sentence, for people who cannot see it.
    pub label: String,
    /// The elements inside the root element.
    pub elements: String,
}

impl Figure {
    /// The figure as one SVG element, without XML header. `class` tells the page for which width it is.
    pub fn svg(&self, class: &str) -> String {
        let (width, height) = (number(self.width), number(self.height));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"{}\" role=\"img\" aria-label=\"{}\" width=\"{width}\" \
             height=\"{height}\" viewBox=\"0 0 {width} {height}\">{}</svg>",
            escaped(class),
            escaped(&self.label),
            self.elements
        )
    }
}

/// Elements in the order of painting.
#[derive(Debug, Default)]
pub struct Elements(String);

/// Where a text stands against its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

impl Elements {
    /// A straight line.
    pub fn line(&mut self, class: &str, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) {
        let numbers = [("x1", x1), ("y1", y1), ("x2", x2), ("y2", y2)];
        self.element("line", class, &numbers, None);
    }

    /// A rectangle by its corner and size.
    pub fn rect(&mut self, class: &str, [x, y, width, height]: [f64; 4]) {
        let numbers = [("x", x), ("y", y), ("width", width.max(0.0)), ("height", height.max(0.0))];
        self.element("rect", class, &numbers, None);
    }

    /// A circle with a text that a pointer shows.
    pub fn circle(&mut self, class: &str, (cx, cy): (f64, f64), r: f64, title: &str) {
        self.element("circle", class, &[("cx", cx), ("cy", cy), ("r", r)], Some(title));
    }

    /// A square on its corner, `r` from its middle to a corner, with a text that a pointer shows.
    pub fn diamond(&mut self, class: &str, (x, y): (f64, f64), r: f64, title: &str) {
        let n = number;
        let path = format!(
            "M{} {}L{} {}L{} {}L{} {}Z",
            n(x - r),
            n(y),
            n(x),
            n(y - r),
            n(x + r),
            n(y),
            n(x),
            n(y + r)
        );
        let _ =
            write!(self.0, "<path class=\"{class}\" d=\"{path}\"><title>{}</title></path>", escaped(title));
    }

    /// A path by its data, which is made by the code and never read from a file.
    pub fn path(&mut self, class: &str, data: &str) {
        let _ = write!(self.0, "<path class=\"{class}\" d=\"{data}\"/>");
    }

    /// Lines from lower left to upper right over a rectangle, `every` apart.
    pub fn hatch(&mut self, class: &str, [x, y, width, height]: [f64; 4], every: f64) {
        let mut data = String::new();
        let mut at = every;
        while at < width + height {
            // The line from the left or lower edge to the upper or right one.
            let (x1, y1) = if at <= height { (x, y + at) } else { (x + at - height, y + height) };
            let (x2, y2) = if at <= width { (x + at, y) } else { (x + width, y + at - width) };
            let _ = write!(data, "M{} {}L{} {}", number(x1), number(y1), number(x2), number(y2));
            at += every;
        }
        self.path(class, &data);
    }

    /// Words; `size` is their font size.
    pub fn text(&mut self, class: &str, (x, y): (f64, f64), size: f64, align: Align, words: &str) {
        let anchor = match align {
            Align::Start => "start",
            Align::Middle => "middle",
            Align::End => "end",
        };
        let _ = write!(
            self.0,
            "<text class=\"{class}\" x=\"{}\" y=\"{}\" font-size=\"{}\" text-anchor=\"{anchor}\">{}</text>",
            number(x),
            number(y),
            number(size),
            escaped(words)
        );
    }

    /// The figure that they make.
    pub fn figure(self, width: f64, height: f64, label: String) -> Figure {
        Figure { width, height, label, elements: self.0 }
    }

    fn element(&mut self, name: &str, class: &str, numbers: &[(&str, f64)], title: Option<&str>) {
        let _ = write!(self.0, "<{name} class=\"{class}\"");
        for (key, value) in numbers {
            let _ = write!(self.0, " {key}=\"{}\"", number(*value));
        }
        match title {
            Some(title) => {
                let _ = write!(self.0, "><title>{}</title></{name}>", escaped(title));
            }
            None => self.0.push_str("/>"),
        }
    }
}

/// A tenth of a pixel is finer than what is seen; what is not a number becomes 0.
pub fn number(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let tenths = (value * 10.0).round() / 10.0;
    if tenths == 0.0 { "0".to_owned() } else { format!("{tenths}") }
}

/// Text for an element or for a value in double quotes. Control characters, which XML cannot hold, are left out.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => {}
            letter if letter.is_control() => {}
            letter => out.push(letter),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_never_none() {
        assert_eq!([1.04, -0.04, 1e3, f64::NAN, f64::INFINITY].map(number), ["1", "0", "1000", "0", "0"]);
        assert_eq!(number(12.34), "12.3");
    }

    #[test]
    fn hatching_stays_inside_its_rectangle() {
        let mut elements = Elements::default();
        elements.hatch("h", [10.0, 20.0, 30.0, 7.0], 4.0);
        let figure = elements.figure(50.0, 50.0, String::new());
        let data = figure.elements.split('"').nth(3).expect("the path's data").to_owned();
        let numbers: Vec<f64> = data
            .split(['M', 'L', ' '])
            .filter(|n| !n.is_empty())
            .map(|n| n.parse().expect("a number"))
            .collect();
        assert!(numbers.len() >= 32);
        for point in numbers.chunks(2) {
            assert!((10.0..=40.0).contains(&point[0]) && (20.0..=27.0).contains(&point[1]), "{point:?}");
        }
    }

    #[test]
    fn hostile_words_stay_words() {
        let mut elements = Elements::default();
        elements.text("t", (0.0, 0.0), 10.0, Align::Start, "</text><script>alert(\"1\")</script>\u{0}'");
        let svg = elements.figure(1.0, 1.0, "\" onload=\"x".to_owned()).svg("wide");
        assert!(!svg.contains("<script") && !svg.contains("\" onload"), "{svg}");
        roxmltree::Document::parse(&svg).expect("well-formed");
    }
}
