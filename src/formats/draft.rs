//! What every reader makes first: bars as they stand in the file, repeat signs unplayed and pitches
//! as the file spells them.

use crate::notation::{Clef, Instrument, Key, Length, Metre, Spelling, bar_text, beat_text};
use crate::remark::Remark;
use crate::units::Hertz;
use std::ops::Range;

/// A file's music before repeats are played out.
#[derive(Debug, Default)]
pub(crate) struct Draft {
    pub title: Option<String>,
    pub composer: Option<String>,
    pub instrument: Option<Instrument>,
    pub clef: Option<Clef>,
    pub a4: Option<Hertz>,
    pub tempo: Option<Tempo>,
    /// Semitones from the file's pitches to the written ones.
    pub to_written: i32,
    /// Semitones from the file's pitches to the sounding ones.
    pub to_sounding: i32,
    pub says_sounding: bool,
    /// Whether an octave clef, not a transposition, says it.
    pub says_octave_clef: bool,
    pub bars: Vec<DraftBar>,
    pub remarks: Vec<Remark>,
}

/// Notes of length `unit` a minute.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Tempo {
    pub per_minute: f64,
    pub unit: Length,
}

#[derive(Debug, Clone)]
pub(crate) struct DraftBar {
    /// The number that the file prints, if it says one.
    pub number: Option<u32>,
    /// Where the bar's first item stands, if the file says so.
    pub offset: Option<Length>,
    pub metre: Metre,
    /// Whether the bar ought to be as long as its metre says.
    pub measured: bool,
    pub key: Key,
    pub items: Vec<DraftItem>,
    pub marks: Marks,
    /// The bytes of the text that it stands in.
    pub span: Range<usize>,
}

#[derive(Debug, Clone)]
pub(crate) struct DraftItem {
    pub length: Length,
    pub pitch: Option<Spelling>,
    /// A tie leaves it towards the next note.
    pub tie_start: bool,
    pub finger: Option<u8>,
    pub span: Range<usize>,
}

/// Repeat signs and jumps of one bar.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Marks {
    pub repeat_start: bool,
    /// How often the section is played in all, from the sign at the bar's end.
    pub repeat_end: Option<u32>,
    /// The endings that it belongs to.
    pub endings: Vec<u32>,
    /// Whether an ending bracket begins here.
    pub ending_start: bool,
    pub segno: bool,
    pub coda: bool,
    pub fine: bool,
    pub to_coda: bool,
    pub jump: Option<Jump>,
    /// A double bar, a final bar or a new section ends here.
    pub section_end: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Jump {
    DaCapo,
    DalSegno,
}

impl DraftBar {
    pub(crate) fn filled(&self) -> Length {
        self.items.iter().map(|item| item.length).sum()
    }
}

impl Draft {
    /// Adds a remark that names bar and beat.
    pub(crate) fn remark(&mut self, code: &str, bar: u32, beat: Length, text: &str) {
        self.remarks.push(Remark::new(code, format!("{}, beat {}: {text}", bar_text(bar), beat_text(beat))));
    }
}

/// Many remarks of one kind become the first few and a count.
pub(crate) fn shortened(remarks: Vec<Remark>) -> Vec<Remark> {
    const EACH: usize = 4;
    let mut out: Vec<Remark> = Vec::new();
    let mut more: Vec<(String, usize)> = Vec::new();
    for remark in remarks {
        if out.contains(&remark) {
            continue;
        }
        if out.iter().filter(|kept| kept.code == remark.code).count() < EACH {
            out.push(remark);
        } else if let Some((_, count)) = more.iter_mut().find(|(code, _)| *code == remark.code) {
            *count += 1;
        } else {
            more.push((remark.code, 1));
        }
    }
    out.extend(more.into_iter().map(|(code, count)| {
        Remark::new(
            &code,
            format!("The same is true in {count} more place{}.", if count == 1 { "" } else { "s" }),
        )
    }));
    out
}
