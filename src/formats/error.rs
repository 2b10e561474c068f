//! What went wrong with a melody file: where in the text, in which bar, and what to do about it.

use super::excerpt::{Excerpt, floor_boundary, sentence};
use crate::notation::{Length, beat_text};
use miette::{Diagnostic, LabeledSpan, Severity, SourceCode};
use std::fmt;
use std::ops::Range;

/// No more bytes than this are marked in the text.
const LONGEST_MARK: usize = 200;

/// The kinds of trouble, as stable words for programs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FormatErrorKind {
    /// The file cannot be opened or read.
    Unreadable,
    /// Not a format that is known here.
    UnknownFormat,
    /// Bytes that are not text in the encoding that the file declares.
    Encoding,
    /// The text breaks the rules of its format.
    Syntax,
    /// Two or more notes at once.
    Chord,
    /// A second voice.
    SecondVoice,
    /// Several parts or tunes, and no telling which.
    SeveralParts,
    /// Percussion without pitch.
    Unpitched,
    /// Quarter tones and other pitches between the semitones, or pitches out of every range.
    Pitch,
    /// A length that cannot be kept exactly.
    Length,
    /// A bar that does not hold what its metre asks for.
    BarLength,
    /// A metre that is not one.
    Metre,
    /// Repeat signs that contradict each other.
    Repeats,
    /// Music without a single note.
    NoNotes,
    /// A table without a single row.
    NoRows,
    /// Larger than a melody can be.
    TooBig,
    /// A rule file that says what it cannot mean.
    Rules,
    /// Something else that the format has and this program has not.
    Unsupported,
}

impl FormatErrorKind {
    /// A stable word, such as `second-voice`.
    pub fn code(self) -> &'static str {
        match self {
            Self::Unreadable => "unreadable",
            Self::UnknownFormat => "unknown-format",
            Self::Encoding => "encoding",
            Self::Syntax => "syntax",
            Self::Chord => "chord",
            Self::SecondVoice => "second-voice",
            Self::SeveralParts => "several-parts",
            Self::Unpitched => "unpitched",
            Self::Pitch => "pitch",
            Self::Length => "length",
            Self::BarLength => "bar-length",
            Self::Metre => "metre",
            Self::Repeats => "repeats",
            Self::NoNotes => "no-notes",
            Self::NoRows => "no-rows",
            Self::TooBig => "too-big",
            Self::Rules => "rules",
            Self::Unsupported => "unsupported",
        }
    }
}

/// A melody file that cannot be read as a melody. It displays as one line, `file:line:column: bar,
/// beat: what; what to do`, and as a [`Diagnostic`] it points into the text.
#[derive(Debug)]
pub struct FormatError(Box<Details>);

#[derive(Debug)]
struct Details {
    fault: Fault,
    source: Excerpt,
    name: String,
    line_column: Option<(usize, usize)>,
}

/// A fault as the parsers find it, before the file's name and text are known.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Fault {
    pub kind: FormatErrorKind,
    pub message: String,
    pub help: String,
    /// Bytes in the text.
    pub span: Option<Range<usize>>,
    /// Bar number and beat from 1.
    pub place: Option<(u32, Length)>,
}

impl Fault {
    pub(crate) fn new(kind: FormatErrorKind, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { kind, message: message.into(), help: help.into(), span: None, place: None }
    }

    pub(crate) fn at(mut self, span: Range<usize>) -> Self {
        self.span.get_or_insert(span);
        self
    }

    pub(crate) fn in_bar(mut self, bar: u32, beat: Length) -> Self {
        self.place.get_or_insert((bar, beat));
        self
    }

    pub(crate) fn in_file(self, name: &str, text: &str) -> FormatError {
        let mut fault = self;
        if let Some(span) = &mut fault.span {
            span.start = floor_boundary(text, span.start);
            span.end = floor_boundary(text, span.end).max(span.start);
        }
        let line_column = fault.span.as_ref().map(|span| {
            let before = &text[..span.start];
            let line_start = before.rfind('\n').map_or(0, |at| at + 1);
            (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
        });
        fault.message = sentence(&fault.message);
        fault.help = sentence(&fault.help);
        let source = Excerpt::new(name, text);
        FormatError(Box::new(Details { fault, source, name: sentence(name), line_column }))
    }
}

impl FormatError {
    /// What kind of trouble.
    pub fn kind(&self) -> FormatErrorKind {
        self.0.fault.kind
    }

    /// What is wrong, without the place.
    pub fn message(&self) -> &str {
        &self.0.fault.message
    }

    /// What to do about it.
    pub fn advice(&self) -> &str {
        &self.0.fault.help
    }

    /// Line and column in the text, both from 1; columns count characters.
    pub fn line_column(&self) -> Option<(usize, usize)> {
        self.0.line_column
    }

    /// The bar's number, where it is known.
    pub fn bar(&self) -> Option<u32> {
        self.0.fault.place.map(|(bar, _)| bar)
    }

    /// The beat in the bar, from 1, where it is known.
    pub fn beat(&self) -> Option<Length> {
        self.0.fault.place.map(|(_, beat)| beat)
    }
}

impl fmt::Display for FormatError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0.name)?;
        if let Some((line, column)) = self.0.line_column {
            write!(f, ":{line}:{column}")?;
        }
        if let Some((bar, beat)) = self.0.fault.place {
            let bar = if bar == 0 { "pickup".to_owned() } else { format!("bar {bar}") };
            write!(f, ": {bar}, beat {}", beat_text(beat))?;
        }
        write!(f, ": {}", self.0.fault.message)
    }
}

impl std::error::Error for FormatError {}

impl Diagnostic for FormatError {
    fn code<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(format!("melody::{}", self.kind().code())))
    }

    fn severity(&self) -> Option<Severity> {
        Some(Severity::Error)
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(&self.0.fault.help))
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.0.fault.span.as_ref().map(|_| &self.0.source as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let span = self.0.fault.span.clone()?;
        let end =
            floor_boundary(self.0.source.text(), span.end.min(span.start + LONGEST_MARK)).max(span.start);
        let label = LabeledSpan::new(Some("here".to_owned()), span.start, end - span.start);
        Some(Box::new(std::iter::once(label)))
    }
}
