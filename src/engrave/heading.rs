//! The words at the head of a page: title, part, composer, tempo.

use super::drawing::{Anchor, Mark, Shape, What};
use super::glyph::Glyph;
use super::letters;
use super::page::Frame;
use crate::notation::{Metre, Value};

/// Letters of the title, of a title that is too long for that, and of the other words, in millimetres (the em).
const TITLE_MM: f64 = 8.4;
const LONG_TITLE_MM: f64 = 5.6;
pub(super) const WORDS_MM: f64 = 4.4;
/// Longer titles are cut.
const MOST_LINES: usize = 4;

/// What stands at the head of a melody.
pub(super) struct Heading<'a> {
    pub title: Option<&'a str>,
    /// At the left: who plays.
    pub part: Option<&'a str>,
    /// At the right: who wrote it.
    pub composer: Option<&'a str>,
}

/// Draws a heading from `top` down; the place below it.
pub(super) fn draw_heading(heading: &Heading, frame: Frame, top: f64, marks: &mut Vec<Mark>) -> f64 {
    let mut y = top;
    if let Some(title) = heading.title.filter(|title| !title.is_empty()) {
        let middle = (frame.left() + frame.right()) / 2.0;
        let fits = |size: f64, lines: usize| {
            let broken = letters::wrapped(title, frame.width() / frame.spaces(size));
            (broken.len() <= lines).then_some((size, broken))
        };
        let (size, lines) =
            fits(TITLE_MM, 2).or_else(|| fits(LONG_TITLE_MM, MOST_LINES)).unwrap_or_else(|| {
                (LONG_TITLE_MM, cut(title, frame.width() / frame.spaces(LONG_TITLE_MM), MOST_LINES))
            });
        let em = frame.spaces(size);
        for line in lines {
            y += em * 1.15;
            marks.push(Mark::words(What::Title, line, (middle, y), em, Anchor::Middle));
        }
        y += em * 0.3;
    }
    let em = frame.spaces(WORDS_MM);
    let sides = [
        (What::Part, heading.part, frame.left(), Anchor::Start),
        (What::Composer, heading.composer, frame.right(), Anchor::End),
    ];
    let mut lowest = y;
    for (what, text, x, anchor) in sides {
        let Some(text) = text.filter(|text| !text.is_empty()) else { continue };
        let mut at = y;
        for line in cut(text, frame.width() * 0.48 / em, 2) {
            at += em * 1.25;
            marks.push(Mark::words(what, line, (x, at), em, anchor));
        }
        lowest = lowest.max(at);
    }
    lowest
}

/// Text in at most so many lines, the last one ending in an ellipsis if there was more.
fn cut(text: &str, room: f64, most: usize) -> Vec<String> {
    let mut lines = letters::wrapped(text, room);
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            while !last.is_empty() && letters::width(last) + letters::width("…") > room {
                last.pop();
            }
            last.push('…');
        }
    }
    lines
}

/// The tempo mark: a note of one beat, and how many of them a minute has. Its baseline is `y`.
pub(super) fn draw_tempo(metre: Metre, bpm: f64, (x, y): (f64, f64), em: f64, marks: &mut Vec<Mark>) {
    let value = match metre.unit {
        1 => Value::Whole,
        2 => Value::Half,
        4 => Value::Quarter,
        8 => Value::Eighth,
        16 => Value::Sixteenth,
        _ => Value::ThirtySecond,
    };
    let glyph = Glyph::TempoNote(value);
    // The note is about as high as the letters are (common practice).
    let scale = em / 2.6;
    marks.push(Mark {
        what: What::Tempo,
        shape: Shape::Glyph { glyph, x, y: y - 0.4 * scale, scale },
        item: None,
    });
    let rounded = (bpm * 10.0).round() / 10.0;
    let after = x + glyph.outline().advance * scale + em * 0.3;
    marks.push(Mark::words(What::Tempo, format!("= {rounded}"), (after, y), em, Anchor::Start));
}
