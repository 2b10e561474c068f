//! What is heard now, on one line that is redrawn, or as new lines for a screen reader and for files.

use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

/// A new line is printed after this time at the soonest. A redrawn line never waits: it changes seldom enough, and
/// what sounds is to be seen within 80 ms (150 ms for a bass).
const NEW_LINE: Duration = Duration::from_millis(1000);
/// A new line is worth printing when its number has moved by so much.
const WORTH_SAYING: i32 = 3;

/// How a live view shows itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// One line that is redrawn in place.
    Redrawn,
    /// A new line for what is new.
    Plain,
    /// Nothing until the end.
    Silent,
}

impl Style {
    /// Redrawn on a terminal unless plain lines are wished for.
    pub fn choose(plain: bool, silent: bool) -> Self {
        match (silent, plain || !std::io::stdout().is_terminal()) {
            (true, _) => Self::Silent,
            (false, true) => Self::Plain,
            (false, false) => Self::Redrawn,
        }
    }
}

/// The view. Writing to a screen that is gone is no error here: the listening ends by itself.
pub struct LiveLine {
    style: Style,
    drawn: String,
    at: Option<Instant>,
    said: Option<(String, i32)>,
}

impl LiveLine {
    /// An empty view.
    pub fn new(style: Style) -> Self {
        Self { style, drawn: String::new(), at: None, said: None }
    }

    /// How it shows itself.
    pub fn style(&self) -> Style {
        self.style
    }

    /// What is heard now: the line, and for plain lines its number; `None` where there is nothing to say.
    pub fn show(&mut self, line: &str, said: Option<(String, i32)>) {
        let since = self.at.map_or(Duration::MAX, |at| at.elapsed());
        match self.style {
            Style::Redrawn if line != self.drawn => {
                self.put(format_args!("\r{line}\x1b[K"));
                self.drawn = line.to_owned();
            }
            Style::Plain if since >= NEW_LINE => {
                let Some((line, number)) = said else { return };
                if self.said.as_ref().is_none_or(|before| is_new(before, &line, number)) {
                    self.put(format_args!("{line}\n"));
                    self.said = Some((line, number));
                    self.at = Some(Instant::now());
                }
            }
            _ => {}
        }
    }

    /// A line that stays.
    pub fn note(&mut self, line: &str) {
        match self.style {
            Style::Redrawn => self.put(format_args!("\r\x1b[K{line}\n")),
            Style::Plain => self.put(format_args!("{line}\n")),
            Style::Silent => {}
        }
        self.drawn.clear();
        self.said = None;
    }

    /// Leaves the line for what is printed after it.
    pub fn close(&mut self) {
        if self.style == Style::Redrawn {
            self.put(format_args!("\r\x1b[K"));
        }
    }

    fn put(&self, text: std::fmt::Arguments<'_>) {
        let mut out = std::io::stdout().lock();
        let _ = out.write_fmt(text).and_then(|()| out.flush());
    }
}

/// Whether a line says something else than the one before: other words, or a number that has moved.
fn is_new((before, number_before): &(String, i32), line: &str, number: i32) -> bool {
    let words = |text: &str| text.chars().filter(|c| c.is_alphabetic()).collect::<String>();
    words(before) != words(line) || (number - number_before).abs() >= WORTH_SAYING
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_new_when_its_words_or_its_number_have_changed() {
        let before = ("D string   -12 cents   too low".to_owned(), -12);
        assert!(!is_new(&before, "D string   -11 cents   too low", -11));
        assert!(is_new(&before, "D string    -9 cents   too low", -9));
        assert!(is_new(&before, "D string   -12 cents   a little low", -12));
    }
}
