//! One place where a melody does something else than its sheet asks.

use super::words;
use crate::notation::{Event, Length, bar_text};

/// A place where the melody does something else than the sheet asks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Breach {
    /// The word of the rule, such as `largest_leap`.
    pub rule: &'static str,
    /// The bar as printed; `None` if it is about the whole melody.
    pub bar: Option<u32>,
    /// The beat in the bar, from 1; `None` if it is about a whole bar or the whole melody.
    pub beat: Option<Length>,
    /// What is so, beginning small and without a full stop.
    pub what: String,
    /// What the writer can do.
    pub to_do: String,
    /// Whether doing it puts another note there, so that nothing else need be said of this place.
    pub replaces: bool,
}

impl Breach {
    /// About one note or rest.
    pub fn at(event: &Event, what: impl Into<String>, to_do: impl Into<String>) -> Self {
        Self::in_bar(event.bar, Some(event.beat), what, to_do)
    }

    /// About a bar, or a place in it.
    pub fn in_bar(bar: u32, beat: Option<Length>, what: impl Into<String>, to_do: impl Into<String>) -> Self {
        Self { rule: "", bar: Some(bar), beat, what: what.into(), to_do: to_do.into(), replaces: false }
    }

    /// About the whole melody.
    pub fn of_all(what: impl Into<String>, to_do: impl Into<String>) -> Self {
        Self { rule: "", bar: None, beat: None, what: what.into(), to_do: to_do.into(), replaces: false }
    }

    /// The whole sentence for the writer: `Bar 2, beat 3: B flat is not on your list; you may use D E.`
    pub fn sentence(&self) -> String {
        let said = format!("{}; {}.", self.what, self.to_do);
        match (self.bar, self.beat) {
            (Some(bar), Some(beat)) => format!("{}, beat {}: {said}", bar_text(bar), words::position(beat)),
            (Some(bar), None) => format!("{}: {said}", bar_text(bar)),
            _ => words::sentence(&said),
        }
    }
}
