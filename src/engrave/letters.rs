//! The letters of titles, names and numbers: Fingertape Letters, a subset of a typeface made for people who learn to
//! read (LICENSE-THIRD-PARTY says whose), and how wide a text is in it.

use std::sync::LazyLock;
use ttf_parser::Face;

/// The font file, embedded wherever words are drawn.
pub(super) const FONT: &[u8] = include_bytes!("fonts/fingertape-letters.ttf");

/// Its family name.
pub(super) const FAMILY: &str = "Fingertape Letters";

static FACE: LazyLock<Face<'static>> =
    LazyLock::new(|| Face::parse(FONT, 0).expect("the font that is built in is a font"));

/// The width of `text`, where the em is 1; without kerning.
pub fn width(text: &str) -> f64 {
    let em = f64::from(FACE.units_per_em());
    let advance = |letter: char| {
        let glyph = FACE.glyph_index(letter).unwrap_or_default();
        f64::from(FACE.glyph_hor_advance(glyph).unwrap_or(0))
    };
    text.chars().map(advance).sum::<f64>() / em
}

/// From the baseline up to the top of capitals, where the em is 1.
pub(super) fn capital_height() -> f64 {
    f64::from(FACE.capital_height().unwrap_or(1400)) / f64::from(FACE.units_per_em())
}

/// From the baseline down to the lowest descender, where the em is 1.
pub(super) const DESCENT: f64 = 0.27;

/// `text` with blanks made one, and what the font cannot show replaced by `?`; and whether anything was.
pub fn printable(text: &str) -> (String, bool) {
    let mut replaced = false;
    let mut out = String::new();
    for word in text.split_whitespace() {
        if !out.is_empty() {
            out.push(' ');
        }
        for letter in word.chars() {
            if letter.is_control() {
                continue;
            }
            if FACE.glyph_index(letter).is_some() {
                out.push(letter);
            } else if out.ends_with('?') && replaced {
                // One mark for a run of them.
            } else {
                out.push('?');
                replaced = true;
            }
        }
    }
    (out, replaced)
}

/// `text` broken into lines no wider than `room` (in ems), at blanks where that is possible.
pub(super) fn wrapped(text: &str, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let joined = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width(&joined) <= room {
            line = joined;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            line.push(letter);
            if width(&line) > room && line.chars().count() > 1 {
                line.pop();
                lines.push(std::mem::take(&mut line));
                line.push(letter);
            }
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_has_its_name_and_the_letters_that_sheets_need() {
        let names: Vec<String> = FACE
            .names()
            .into_iter()
            .filter(|name| name.name_id == 1)
            .filter_map(|name| name.to_string())
            .collect();
        assert_eq!(names, [FAMILY]);
        let sheet = "ABCDEFGabcdefg0123456789 ♯♭ – — … “Šárka” Łódź Ørsted Weiß ñ ç Чайка ½ ↑ ↓";
        assert_eq!(printable(sheet), (sheet.to_owned(), false));
        assert!(width("W") > width("i"));
    }

    #[test]
    fn what_the_font_lacks_becomes_a_question_mark_and_is_told() {
        assert_eq!(printable("灯 Lanterns\n\tof 運河"), ("? Lanterns of ?".to_owned(), true));
        assert_eq!(printable("really?"), ("really?".to_owned(), false));
    }

    #[test]
    fn long_lines_break_at_blanks_and_long_words_anywhere() {
        let lines = wrapped("the quick brown fox", width("brown fox") + 0.01);
        assert_eq!(lines, ["the quick", "brown fox"]);
        let word = "m".repeat(40);
        let lines = wrapped(&word, width("mmmmmmmmmm") + 0.01);
        assert_eq!(lines, ["m".repeat(10), "m".repeat(10), "m".repeat(10), "m".repeat(10)]);
        assert!(wrapped("", 10.0).is_empty());
    }
}
