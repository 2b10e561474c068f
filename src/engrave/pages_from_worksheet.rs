//! A worksheet becomes pages: a name line, what to do, the notes to choose from with their fingers and strings, and bars
//! to write in, with the given notes in their places.

use super::accidentals::Accidentals;
use super::columns_from_bar::UNDER_SIZE;
use super::drawing::{Anchor, Mark, What, extent};
use super::drawing_from_line::{Stem, draw_bar_line, draw_given_rest, draw_note, draw_staff};
use super::glyph::Glyph;
use super::heading::{Heading, WORDS_MM, draw_heading, draw_tempo};
use super::letters;
use super::page::{Engraved, Frame, SheetSettings};
use super::pages_from_lines::Flow;
use super::pages_from_melody::{legend_for, sentence_case, words};
use super::signatures::{draw_clef, draw_key, draw_metre};
use super::symbols_from_bars::{Symbol, SymbolKind, Under, finger_text, note_name, string_name};
use crate::notation::{Fingering, Instrument, Key, Length, Metre, Spelling, Value, WrittenValue, as_f64};
use crate::remark::Remark;

/// A sheet to write a melody on, for one instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct Worksheet {
    /// The title.
    pub title: Option<String>,
    /// The tier, where there are several: printed beside the instrument.
    pub tier: Option<String>,
    /// Who plays: decides the clef and the names of the strings.
    pub instrument: Instrument,
    /// The key signature.
    pub key: Key,
    /// The metre.
    pub metre: Metre,
    /// The tempo in beats a minute, if it is given.
    pub bpm: Option<f64>,
    /// What to do, a sentence each.
    pub instructions: Vec<String>,
    /// The notes to choose from, in the order in which they are printed; with none their staff is left out.
    pub choices: Vec<Choice>,
    /// Empty bars to try things out in, above those to fill; `None` for a line of them where that takes no further page,
    /// with staves that are a little smaller if need be.
    pub practice_bars: Option<u32>,
    /// The bars to fill.
    pub bars: Vec<WorksheetBar>,
}

/// A note to choose from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Choice {
    /// As written for the instrument.
    pub written: Spelling,
    /// How it is played, printed under it.
    pub fingering: Option<Fingering>,
}

/// A bar to fill.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WorksheetBar {
    /// What stands in it already.
    pub given: Vec<Given>,
}

/// A note or rest that stands already.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Given {
    /// Where it begins, from the start of the bar.
    pub start: Length,
    /// How long it is.
    pub length: Length,
    /// The written pitch; `None` for a rest.
    pub pitch: Option<Spelling>,
}

/// The room of a quarter note in an empty bar, at least: enough to write a head with an accidental by hand (an
/// estimate of ours; not tried with children).
const QUARTER_TO_WRITE: f64 = 4.1;
/// So many steps of a hundredth the staves may shrink, to make room for bars to try things out in.
const MOST_SHRINKING: u32 = 12;
/// Bars on a line, at most.
const MOST_BARS: usize = 4;

/// The pages of a worksheet, at least one. Under the choices stand their names, and fingers and strings where a choice
/// has a fingering; of `settings` only paper and staff count.
pub fn pages_from_worksheet(sheet: &Worksheet, settings: &SheetSettings) -> Engraved {
    let frame = Frame::new(settings.paper, settings.staff_mm);
    match sheet.practice_bars {
        Some(bars) => pages_with(sheet, frame, MOST_BARS, bars as usize),
        None => {
            let mut without = pages_with(sheet, frame, MOST_BARS, 0);
            // Smaller staves take no more bars on a line: the room to write in stays.
            let on_each = Bars::of(sheet, frame, MOST_BARS).on_each;
            let smaller = (0..=MOST_SHRINKING).map(|step| 1.0 - 0.01 * f64::from(step));
            let with = smaller
                .map(|part| Frame { space_mm: frame.space_mm * part, ..frame })
                .map(|frame| pages_with(sheet, frame, on_each, on_each))
                .find(|with| with.pages.len() <= without.pages.len());
            with.unwrap_or_else(|| {
                without.remarks.push(Remark::new(
                    "no-practice-bars",
                    "The paper has no room left for bars to try things out in; --practice-bars 2 puts some there, on one more page.",
                ));
                without
            })
        }
    }
}

/// The pages with at most `most` bars on a line.
fn pages_with(sheet: &Worksheet, frame: Frame, most: usize, practice_bars: usize) -> Engraved {
    let mut remarks = Vec::new();
    let title = words(sheet.title.as_deref(), "title", &mut remarks);
    let instructions: Vec<String> =
        sheet.instructions.iter().filter_map(|one| words(Some(one), "text", &mut remarks)).collect();
    let told = title.clone().unwrap_or_else(|| "A sheet to write on".to_owned());
    let mut flow = Flow::new(frame, &told);
    let mut part = sentence_case(&sheet.instrument.to_string());
    if let Some(tier) = words(sheet.tier.as_deref(), "tier", &mut remarks) {
        part = format!("{part} · {tier}");
    }
    flow.fixed(|frame, top, marks| {
        let heading = Heading { title: title.as_deref(), part: Some(&part), composer: None };
        let y = draw_heading(&heading, frame, top, marks);
        draw_name_line(frame, y, marks);
        draw_instructions(&instructions, frame, y, marks)
    });
    if !sheet.choices.is_empty() {
        choice_lines(sheet, frame).into_iter().for_each(|marks| flow.line(marks));
    }
    practice_lines(sheet, frame, most, practice_bars).into_iter().for_each(|marks| flow.line(marks));
    for marks in bar_lines(sheet, frame, most, &mut remarks) {
        flow.line(marks);
    }
    let fingers: Vec<String> =
        sheet.choices.iter().filter_map(|choice| choice.fingering.as_ref().map(finger_text)).collect();
    Engraved { pages: flow.finish(legend_for(|| fingers.iter().map(String::as_str))), remarks }
}

/// “Name” and a line to write it on, at the right of the part's name.
fn draw_name_line(frame: Frame, y: f64, marks: &mut Vec<Mark>) {
    let em = frame.spaces(WORDS_MM);
    let label = "Name ";
    let right = frame.right();
    let from = right - frame.spaces(75.0);
    marks.push(Mark::words(What::Words, label, (from, y), em, Anchor::End));
    marks.push(Mark::stroke(
        What::WritingLine,
        (from + em * 0.3, y + em * 0.15),
        (right, y + em * 0.15),
        frame.spaces(0.25),
    ));
}

/// More sentences than this stand in two columns.
const MOST_IN_ONE_COLUMN: usize = 5;

/// What to do, a dash before each sentence.
fn draw_instructions(instructions: &[String], frame: Frame, top: f64, marks: &mut Vec<Mark>) -> f64 {
    let em = frame.spaces(WORDS_MM * 0.95);
    let columns = if instructions.len() > MOST_IN_ONE_COLUMN { 2 } else { 1 };
    let width = frame.width() / columns as f64;
    let room = width / em - if columns == 1 { 1.2 } else { 2.2 };
    let wrapped: Vec<Vec<String>> = instructions.iter().map(|text| letters::wrapped(text, room)).collect();
    let lines: usize = wrapped.iter().map(Vec::len).sum();
    let (mut column, mut line, mut lowest) = (0, 0, top);
    for sentence in wrapped {
        if line >= lines.div_ceil(columns) {
            (column, line) = (column + 1, 0);
        }
        let left = frame.left() + width * column as f64;
        let y = |line: usize| top + em * (1.85 + 1.35 * line as f64);
        marks.push(Mark::words(What::Words, "–", (left, y(line)), em, Anchor::Start));
        for text in sentence {
            marks.push(Mark::words(What::Words, text, (left + em, y(line)), em, Anchor::Start));
            lowest = lowest.max(y(line));
            line += 1;
        }
    }
    lowest
}

/// The notes to choose from, as whole notes without a metre.
fn choice_lines(sheet: &Worksheet, frame: Frame) -> Vec<Vec<Mark>> {
    let clef = sheet.instrument.clef();
    let fingered = sheet.choices.iter().any(|choice| choice.fingering.is_some());
    let step = if fingered { 5.2 } else { 4.6 };
    let mut header = Vec::new();
    let first = draw_key(sheet.key, None, clef, draw_clef(clef, 0.0, &mut header), &mut header) + 2.0;
    let room = ((frame.width() - first - 2.0) / step).floor().max(1.0) as usize;
    let rows = sheet.choices.len().div_ceil(room);
    let on_each = sheet.choices.len().div_ceil(rows.max(1));
    let mut lines = Vec::new();
    for (row, choices) in sheet.choices.chunks(on_each.max(1)).enumerate() {
        let mut marks = header.clone();
        for (place, choice) in choices.iter().enumerate() {
            let mut accidentals = Accidentals::default();
            accidentals.bar_line(sheet.key);
            let x = first + step * place as f64;
            let symbol =
                symbol(choice.written, Length::from_integer(1), accidentals.needed(choice.written, false));
            if let Some(y) = symbol.height(clef) {
                draw_note(&symbol, x, y, Stem { up: false, beam: None }, &mut marks);
            }
        }
        let width = first + step * on_each as f64 - step / 2.0 + 1.0;
        draw_staff(width, &mut marks);
        draw_bar_line(width, false, &mut marks);
        draw_choice_rows(sheet, choices, first, step, &mut marks);
        if row == 0 {
            headline("Notes to choose from", frame, &mut marks);
        }
        lines.push(marks);
    }
    lines
}

fn draw_choice_rows(sheet: &Worksheet, choices: &[Choice], first: f64, step: f64, marks: &mut Vec<Mark>) {
    let (_, bottom) = extent(marks.iter());
    let mut y = bottom + 0.7 + letters::capital_height() * UNDER_SIZE;
    let finger = |choice: &Choice| choice.fingering.as_ref().map(finger_text);
    let string =
        |choice: &Choice| choice.fingering.as_ref().and_then(|way| string_name(sheet.instrument, way));
    let rows: [(What, &str, Vec<Option<String>>); 3] = [
        (What::Name, "note", choices.iter().map(|choice| Some(note_name(choice.written))).collect()),
        (What::Finger, "finger", choices.iter().map(finger).collect()),
        (What::StringName, "string", choices.iter().map(string).collect()),
    ];
    for (what, label, texts) in rows {
        if texts.iter().all(Option::is_none) {
            continue;
        }
        marks.push(Mark::words(What::RowLabel, label, (0.0, y), 1.25, Anchor::Start));
        for (place, text) in texts.into_iter().enumerate() {
            let x = first + step * place as f64 + Glyph::Head(Value::Whole).width() / 2.0;
            if let Some(text) = text {
                marks.push(Mark::words(what, text, (x, y), UNDER_SIZE, Anchor::Middle));
            }
        }
        y += 2.15;
    }
}

fn symbol(pitch: Spelling, length: Length, accidental: bool) -> Symbol {
    let value =
        WrittenValue::of(length).unwrap_or(WrittenValue { value: Value::Quarter, dots: 0, tuplet: None });
    Symbol {
        start: Length::from_integer(0),
        length,
        value,
        kind: SymbolKind::Note { pitch, accidental, tied: false },
        item: 0,
        under: Under::default(),
    }
}

/// The head of every line of bars, and how many bars it takes.
struct Bars {
    header: Vec<Mark>,
    after_key: f64,
    on_each: usize,
}

impl Bars {
    fn of(sheet: &Worksheet, frame: Frame, most: usize) -> Self {
        let clef = sheet.instrument.clef();
        let mut header = Vec::new();
        let after_key = draw_key(sheet.key, None, clef, draw_clef(clef, 0.0, &mut header), &mut header);
        let after_metre = draw_metre(sheet.metre, after_key, &mut Vec::new());
        let quarters = as_f64(sheet.metre.bar()) * 4.0;
        let fits =
            ((frame.width() - after_metre) / (quarters * QUARTER_TO_WRITE + 1.5)).floor().max(1.0) as usize;
        let on_each = bars_on_a_line(sheet.bars.len(), fits.clamp(1, most.max(1)));
        Self { header, after_key, on_each }
    }
}

/// The bars to try things out in: without numbers, beats and bar lines at the end, because nothing is counted in them.
fn practice_lines(sheet: &Worksheet, frame: Frame, most: usize, count: usize) -> Vec<Vec<Mark>> {
    let Bars { header, after_key, on_each } = Bars::of(sheet, frame, most);
    let width = (frame.width() - after_key) / on_each as f64;
    let mut lines = Vec::new();
    for line in 0..count.div_ceil(on_each) {
        let bars = (count - line * on_each).min(on_each);
        let mut marks = header.clone();
        draw_staff(after_key + width * bars as f64, &mut marks);
        for bar in 1..=bars {
            draw_bar_line(after_key + width * bar as f64, false, &mut marks);
        }
        if line == 0 {
            headline("Bars to try things out in", frame, &mut marks);
        }
        lines.push(marks);
    }
    lines
}

/// Words over a line of music, at its left end.
fn headline(text: &str, frame: Frame, marks: &mut Vec<Mark>) {
    let (top, _) = extent(marks.iter());
    marks.push(Mark::words(What::Words, text, (0.0, top - 0.9), frame.spaces(WORDS_MM), Anchor::Start));
}

/// The bars to write in: as many on each line, all of one width, with their beats numbered.
fn bar_lines(sheet: &Worksheet, frame: Frame, most: usize, remarks: &mut Vec<Remark>) -> Vec<Vec<Mark>> {
    let Bars { header, after_key, on_each } = Bars::of(sheet, frame, most);
    let mut out = Vec::new();
    let mut accidentals = Accidentals::default();
    for (line, bars) in sheet.bars.chunks(on_each).enumerate() {
        let mut marks = header.clone();
        let start = if line == 0 { draw_metre(sheet.metre, after_key, &mut marks) } else { after_key };
        if line > 0 {
            let number = (line * on_each + 1).to_string();
            marks.push(Mark::words(What::BarNumber, number, (0.0, -1.9), 1.45, Anchor::Start));
        }
        let bar_width = (frame.width() - start) / on_each as f64;
        draw_staff(start + bar_width * bars.len() as f64, &mut marks);
        let mut beats = Vec::new();
        for (place, bar) in bars.iter().enumerate() {
            let left = start + bar_width * place as f64;
            let number = line * on_each + place;
            accidentals.bar_line(sheet.key);
            let inside = Inside { left: left + 1.5, width: bar_width - 2.0, full: as_f64(sheet.metre.bar()) };
            draw_given(sheet, bar, number, inside, &mut accidentals, &mut marks, remarks);
            draw_bar_line(left + bar_width, number + 1 == sheet.bars.len(), &mut marks);
            for beat in 0..sheet.metre.beats {
                let x = inside.at(sheet.metre.beat() * i64::from(beat))
                    + Glyph::Head(Value::Quarter).width() / 2.0;
                beats.push((x, beat + 1));
            }
        }
        let (top, bottom) = extent(&marks);
        let y = (bottom + 1.5).max(6.9);
        for (x, beat) in beats {
            marks.push(Mark::words(What::Beat, beat.to_string(), (x, y), 1.2, Anchor::Middle));
        }
        if line == 0 {
            let y = top.min(-1.4) - 1.0;
            let text = "Your melody";
            let em = frame.spaces(WORDS_MM);
            marks.push(Mark::words(What::Words, text, (0.0, y), em, Anchor::Start));
            if let Some(bpm) = sheet.bpm {
                let x = em * (letters::width(text) + 1.5);
                draw_tempo(sheet.metre, bpm, (x, y), frame.spaces(WORDS_MM * 1.1), &mut marks);
            }
        }
        out.push(marks);
    }
    out
}

/// Bars on each line, at most `most`: as many as leave no line short, or else as many as come nearest to that.
fn bars_on_a_line(bars: usize, most: usize) -> usize {
    let even = (2..=most).rev().find(|on_each| bars.is_multiple_of(*on_each));
    even.unwrap_or_else(|| bars.div_ceil(bars.div_ceil(most).max(1)).max(1))
}

/// The inside of an empty bar.
#[derive(Clone, Copy)]
struct Inside {
    left: f64,
    width: f64,
    /// The length of the bar in whole notes.
    full: f64,
}

impl Inside {
    fn at(self, start: Length) -> f64 {
        self.left + self.width * as_f64(start) / self.full
    }
}

fn draw_given(
    sheet: &Worksheet,
    bar: &WorksheetBar,
    number: usize,
    inside: Inside,
    accidentals: &mut Accidentals,
    marks: &mut Vec<Mark>,
    remarks: &mut Vec<Remark>,
) {
    let clef = sheet.instrument.clef();
    for given in &bar.given {
        let zero = Length::from_integer(0);
        let one_symbol = WrittenValue::of(given.length).is_some_and(|value| value.tuplet.is_none());
        if !one_symbol || given.start < zero || given.start + given.length > sheet.metre.bar() {
            remarks.push(Remark::new(
                "given-not-printed",
                format!(
                    "Bar {}: a given note or rest does not fit its bar as one symbol; it is not printed.",
                    number + 1
                ),
            ));
            continue;
        }
        let x = inside.at(given.start);
        match given.pitch {
            Some(pitch) => {
                let symbol = symbol(pitch, given.length, accidentals.needed(pitch, false));
                if let Some(y) = symbol.height(clef) {
                    draw_note(&symbol, x, y, Stem { up: y > 2.0, beam: None }, marks);
                }
            }
            None => draw_given_rest(given.length, x, marks),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_of_a_worksheet_are_evenly_filled_where_that_is_possible() {
        for (bars, most, on_each) in
            [(8, 3, 2), (8, 4, 4), (12, 3, 3), (7, 3, 3), (5, 4, 3), (1, 4, 1), (0, 4, 4), (9, 2, 2)]
        {
            assert_eq!(bars_on_a_line(bars, most), on_each, "{bars} bars, at most {most}");
        }
    }
}
