//! The staff as heard: what was played under the place where it was written, in time and space notation: heads without
//! stems, each with a line as long as it sounded (“proportional notation”; Gould, *Behind Bars*, 2011, has it in the
//! chapter on freedom and choice, from memory; the marks for what went otherwise are our own). The staff's top line is
//! y = 0.

use super::drawing::{Anchor, Mark, Shape, What};
use super::drawing_from_line::draw_ledger_lines;
use super::drawn_from_heard::{
    AROUND, BETWEEN, BOX_HALF, CENTS_SIZE, CUE, Drawn, DrawnExtra, DrawnNote, DrawnRest, Moment, Text,
    WORD_SIZE, accidental_left, box_left, width_with_gap,
};
use super::glyph::Glyph;
use super::glyph::defaults::{LEDGER_EXTENSION, LEDGER_LINE};
use super::heard::HeardState;
use super::letters;
use super::seats::{Seat, Seats};
use super::signatures::height;
use super::system::Belongs;
use crate::notation::{Clef, Value};

/// Thin lines of our own marks, and the line of a sound.
pub(super) const THIN: f64 = 0.16;
const SOUND: f64 = 0.34;
/// Strokes and gaps of dotted lines.
pub(super) const DOTTED: (f64, f64) = (0.3, 0.3);
/// From below the staff to the lane in which the length of a rest is drawn, and its height.
const SILENCE_BELOW: f64 = 0.75;
const SILENCE_HIGH: f64 = 0.8;

/// Marks with what they belong to.
pub(super) type Owned = Vec<(Belongs, Mark)>;

/// A text that waits for its row: the middle of it, and what it belongs to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    pub belongs: Belongs,
    pub middle: f64,
    pub text: Text,
    pub item: usize,
}

/// What stands on one line of the staff as heard.
#[derive(Debug, Clone, Default)]
pub(super) struct HeardLine {
    pub marks: Owned,
    pub texts: Vec<Placed>,
}

/// Draws a line; `signatures` are those that stand on it already.
pub(super) fn draw_heard(
    drawn: &Drawn,
    seats: &Seats,
    clef: Clef,
    missing: &str,
    item_of: &dyn Fn(usize) -> usize,
    signatures: &[Mark],
) -> HeardLine {
    let mut line = Line { drawn, seats, clef, item_of, out: HeardLine::default() };
    for seat in &seats.seats {
        if seat.first && seat.event == 0 {
            let before: f64 = drawn.extras_after(None).iter().map(width_with_gap).sum();
            line.extras(None, seat, seat.left, seat.left + before - BETWEEN);
        }
        let before: f64 =
            if seat.event == 0 { drawn.extras_after(None).iter().map(width_with_gap).sum() } else { 0.0 };
        let mut inked = seat.x;
        if let (true, Some(note)) = (seat.first, drawn.notes.get(&seat.event)) {
            inked = line.note(note, seat, missing);
        }
        if let (true, Some(rest)) = (seat.first, drawn.rests.get(&seat.event)) {
            inked = line.rest(rest, seat, seat.left + before);
        }
        if seat.last {
            line.extras(Some(seat.event), seat, inked + BETWEEN, seat.right);
        }
    }
    line.silences();
    line.sounds(signatures);
    line.out
}

struct Line<'a> {
    drawn: &'a Drawn,
    seats: &'a Seats,
    clef: Clef,
    item_of: &'a dyn Fn(usize) -> usize,
    out: HeardLine,
}

impl Line<'_> {
    fn push(&mut self, belongs: Belongs, marks: Vec<Mark>) {
        self.out.marks.extend(marks.into_iter().map(|mark| (belongs, mark)));
    }

    fn text(&mut self, belongs: Belongs, middle: f64, item: usize, texts: &[Text]) {
        for text in texts {
            self.out.texts.push(Placed { belongs, middle, text: text.clone(), item });
        }
    }

    /// A note at its place; where its ink ends.
    fn note(&mut self, note: &DrawnNote, seat: &Seat, missing: &str) -> f64 {
        let belongs = Belongs::Note(seat.event);
        let item = (self.item_of)(seat.event);
        let y = height(self.clef, note.pitch.staff_step());
        let x = seat.x + note.shift;
        let glyph = Glyph::Head(Value::Quarter);
        let width = glyph.width();
        let middle = x + width / 2.0;
        let mut marks = Vec::new();
        let end = seat.x + note.reach.right;
        if note.shift != 0.0 {
            let at = seat.x + width / 2.0;
            let (top, bottom) = ((y - 0.8).min(-0.5), (y + 0.8).max(4.5));
            marks.push(Mark::line(
                What::WrittenPlace,
                vec![(at, top), (at, bottom)],
                0.14,
                Some((0.22, 0.28)),
            ));
        }
        if note.state == HeardState::Missing {
            let extras = !self.drawn.extras_after(Some(seat.event)).is_empty();
            // Between bar lines and to the next ink, unless something sounded there after all.
            let right = if extras { seat.x + note.reach.right } else { seat.right };
            let from = seat.x - 0.3;
            marks.push(closed(What::MissingRoom, [from, y - 0.85, right, y + 0.85], THIN, Some(DOTTED)));
            self.missing_words(missing, from, right, seat, item, note);
        } else {
            draw_ledger_lines(x, y, width, item, &mut marks);
            if note.accidental {
                let glyph = Glyph::of_alter(note.pitch.alter);
                marks.push(Mark::glyph(What::Accidental, glyph, x - accidental_left(note.pitch, y, 1.0), y));
            }
            match note.state {
                HeardState::Unsure => marks.push(Mark {
                    what: What::UnsureHead,
                    shape: Shape::Ring {
                        centre: (middle, y),
                        radii: (width / 2.0 + 0.02, 0.5),
                        width: 0.2,
                        dash: Some((0.36, 0.22)),
                    },
                    item: None,
                }),
                _ => marks.push(Mark::glyph(What::HeardHead, glyph, x, y)),
            }
            if matches!(note.state, HeardState::Other { .. }) {
                let from = x - box_left(note.pitch, note.accidental, y) + 0.06;
                let to = x + width + AROUND;
                // A natural and a flat are higher than the head that they stand before.
                let (top, bottom) = match note.accidental {
                    true => {
                        let [_, top, _, bottom] = Glyph::of_alter(note.pitch.alter).outline().bounds;
                        (y + top - 0.25, y + bottom + 0.25)
                    }
                    false => (y - BOX_HALF, y + BOX_HALF),
                };
                let (top, bottom) = (top.min(y - BOX_HALF), bottom.max(y + BOX_HALF));
                marks.push(closed(What::HeardBox, [from, top, to, bottom], THIN, None));
            }
        }
        self.push(belongs, marks.into_iter().map(|mark| mark.of(item)).collect());
        self.text(belongs, middle, item, &note.texts);
        end
    }

    /// The word under an empty room, broken to fit, or nothing where it does not.
    fn missing_words(&mut self, words: &str, from: f64, to: f64, seat: &Seat, item: usize, note: &DrawnNote) {
        if !note.texts.is_empty() {
            return;
        }
        let size = WORD_SIZE;
        let room = (to - from + 0.3) / size;
        let words = letters::printable(words).0;
        if words.split_whitespace().any(|word| letters::width(word) > room) {
            return;
        }
        for (row, text) in letters::wrapped(&words, room).into_iter().enumerate() {
            let text = Text { what: What::HeardWord, row: row + 1, text };
            self.text(Belongs::Note(seat.event), (from + to) / 2.0, item, &[text]);
        }
    }

    /// A rest; where its ink ends. Its length is drawn later, below all ink in its room.
    fn rest(&mut self, rest: &DrawnRest, seat: &Seat, left: f64) -> f64 {
        let belongs = Belongs::Rest(seat.event);
        let item = (self.item_of)(seat.event);
        let crowded = !self.drawn.extras_after(Some(seat.event)).is_empty();
        let x = if seat.centred && !crowded { (left + seat.right - seat.width) / 2.0 } else { seat.x };
        // Where no silence was heard there is no rest to draw.
        if rest.played_beats.is_none_or(|beats| beats > 0.0) {
            let value = self.drawn.places.events[seat.event].value;
            let y = if value == Value::Whole { 1.0 } else { 2.0 };
            let mark = Mark::glyph(What::HeardRest, Glyph::Rest(value), x, y).of(item);
            self.push(belongs, vec![mark]);
        }
        self.text(belongs, x + seat.width / 2.0, item, &rest.texts);
        seat.x + rest.reach.right
    }

    /// Extras side by side, each as near to its moment as the room from `from` to `to` lets it.
    fn extras(&mut self, after: Option<usize>, seat: &Seat, from: f64, to: f64) {
        let drawn = self.drawn;
        let extras = drawn.extras_after(after);
        let start = after.map_or(seat.start, |event| drawn.places.events[event].start);
        let mut lefts: Vec<f64> = Vec::new();
        let mut at = from;
        for extra in extras {
            let moment = start + extra.beats_after * seat.beat;
            let wished = match after {
                Some(_) => self.seats.x_at(moment, true) - extra.reach.left,
                None => from,
            };
            at = at.max(wished);
            lefts.push(at);
            at += width_with_gap(extra);
        }
        let mut end = to;
        for (left, extra) in lefts.iter_mut().zip(extras).rev() {
            *left = left.min(end - extra.reach.left - extra.reach.right);
            end = *left - BETWEEN;
        }
        for (left, extra) in lefts.into_iter().zip(extras) {
            self.extra(extra, left + extra.reach.left, seat);
        }
    }

    fn extra(&mut self, extra: &DrawnExtra, x: f64, seat: &Seat) {
        let y = height(self.clef, extra.pitch.staff_step());
        let belongs = Belongs::Extra(extra.number);
        let glyph = Glyph::Head(Value::Quarter);
        let width = glyph.width() * CUE;
        let mut marks = Vec::new();
        cue_ledger_lines(x, y, width, &mut marks);
        let small =
            |what, glyph, x| Mark { what, shape: Shape::Glyph { glyph, x, y, scale: CUE }, item: None };
        if extra.accidental {
            let at = x - accidental_left(extra.pitch, y, CUE);
            marks.push(small(What::Accidental, Glyph::of_alter(extra.pitch.alter), at));
        }
        marks.push(small(What::ExtraHead, glyph, x));
        self.push(belongs, marks);
        self.text(belongs, x + width / 2.0, (self.item_of)(seat.event), &extra.texts);
    }

    /// How much of each rest was silence: a bracket below the staff as long as that, then hatching for the sound that
    /// ran into the rest.
    fn silences(&mut self) {
        for seat in self.seats.seats.iter().filter(|seat| seat.first) {
            let Some(rest) = self.drawn.rests.get(&seat.event) else { continue };
            let item = (self.item_of)(seat.event);
            let (left, right) = (seat.x - rest.reach.left, self.room_end(seat));
            let low = self
                .out
                .marks
                .iter()
                .map(|(_, mark)| mark.bounds())
                .filter(|bounds| bounds[2] > left - BETWEEN && bounds[0] < right + BETWEEN)
                .map(|bounds| bounds[3])
                .fold(4.0, f64::max);
            let top = low + SILENCE_BELOW - 0.25;
            let bottom = top + SILENCE_HIGH;
            let mut marks = Vec::new();
            match rest.played_beats {
                None => marks.push(bracket(left, right, top, bottom, Some(DOTTED))),
                Some(beats) => {
                    let written = self.drawn.places.events[seat.event].length / seat.beat;
                    let part = if written > 0.0 { (beats / written).max(0.0) } else { 1.0 };
                    let silent = left + (right - left) * part.min(1.0);
                    if part > 1.05 {
                        // Open to the right: it went on.
                        let half = THIN / 2.0;
                        let points = vec![(left + half, top), (left + half, bottom), (right - 0.3, bottom)];
                        marks.push(Mark::line(What::Silence, points, THIN, None));
                    } else if silent > left + 0.2 {
                        marks.push(bracket(left, silent, top, bottom, None));
                    }
                    // A twentieth is not seen and not heard.
                    if part < 0.95 && right - silent > 0.3 {
                        hatch([silent + 0.15, top + 0.1, right, bottom], &mut marks);
                    }
                    if part > 1.05 {
                        let tip = (right + 0.1, bottom);
                        let back = tip.0 - 0.7;
                        let arrow = [(back, tip.1 - 0.45), tip, (back, tip.1 + 0.45), (back, tip.1)];
                        marks.push(Mark { what: What::Silence, shape: Shape::Area(arrow), item: None });
                    }
                }
            }
            let marks = marks.into_iter().map(|mark| mark.of(item)).collect();
            self.push(Belongs::Rest(seat.event), marks);
        }
    }

    /// The end of the room of a rest's last symbol on this line.
    fn room_end(&self, seat: &Seat) -> f64 {
        let own = self.seats.seats.iter().filter(|other| other.event == seat.event);
        own.map(|other| other.right).fold(seat.x, f64::max)
    }

    /// How long each note sounded: a line from its head on, up to the next ink in its way.
    fn sounds(&mut self, signatures: &[Mark]) {
        let obstacles: Vec<(Belongs, [f64; 4])> = self
            .out
            .marks
            .iter()
            .filter(|(_, mark)| !matches!(mark.what, What::WrittenPlace | What::LedgerLine | What::Silence))
            .map(|&(belongs, ref mark)| (belongs, mark.bounds()))
            .chain(signatures.iter().map(|mark| (Belongs::Staff, mark.bounds())))
            .collect();
        let mut lines = Vec::new();
        for (&event, note) in &self.drawn.notes {
            let Some(ratio) = note.ratio.filter(|_| note.state != HeardState::Missing) else { continue };
            let Moment { start, length, beat, .. } = self.drawn.places.events[event];
            let end = start + note.late_beats * beat + ratio * length;
            let seat = self.seats.seats.iter().find(|seat| seat.first && seat.event == event);
            let y = height(self.clef, note.pitch.staff_step());
            let from = match seat {
                Some(seat) => {
                    let boxed = matches!(note.state, HeardState::Other { .. });
                    let after = if boxed { AROUND } else { 0.0 };
                    seat.x + note.shift + Glyph::Head(Value::Quarter).width() + after + 0.08
                }
                // It began on an earlier line.
                None if start < self.seats.start && end > self.seats.start + 1e-9 => self.seats.left(),
                None => continue,
            };
            let to = if end > self.seats.end { self.seats.right() } else { self.seats.x_at(end, true) };
            // A sound ends before the next head, not under it.
            let to = to - 0.4;
            let belongs = Belongs::Note(event);
            let stop = obstacles
                .iter()
                .filter(|(other, bounds)| {
                    *other != belongs
                        && bounds[2] > from
                        && bounds[0] < to + 0.4
                        && bounds[1] < y + SOUND
                        && bounds[3] > y - SOUND
                })
                .map(|(_, bounds)| bounds[0] - 0.4)
                .fold(to, f64::min);
            if stop > from + 0.15 {
                let dash = (note.state == HeardState::Unsure).then_some((0.35, 0.3));
                let item = (self.item_of)(event);
                let line = Mark::line(What::SoundLine, vec![(from, y), (stop, y)], SOUND, dash).of(item);
                lines.push((belongs, line));
            }
        }
        self.out.marks.extend(lines);
    }
}

/// A rectangle drawn as a line.
fn closed(what: What, [left, top, right, bottom]: [f64; 4], width: f64, dash: Option<(f64, f64)>) -> Mark {
    let points = vec![(left, top), (right, top), (right, bottom), (left, bottom), (left, top - width / 2.0)];
    Mark::line(what, points, width, dash)
}

/// The length of a silence: open above, so that nothing is in it.
fn bracket(left: f64, right: f64, top: f64, bottom: f64, dash: Option<(f64, f64)>) -> Mark {
    let half = THIN / 2.0;
    let (left, right) = (left + half, (right - half).max(left + 2.0 * half));
    Mark::line(What::Silence, vec![(left, top), (left, bottom), (right, bottom), (right, top)], THIN, dash)
}

/// Slanted strokes that fill a box.
fn hatch([left, top, right, bottom]: [f64; 4], marks: &mut Vec<Mark>) {
    const STEP: f64 = 0.42;
    let lean = (bottom - top) * 0.6;
    let count = ((right - left - lean) / STEP).floor().max(0.0) as usize;
    for stroke in 0..=count {
        let x = left + STEP * stroke as f64;
        let to = (x + lean).min(right);
        marks.push(Mark::line(What::SoundInRest, vec![(x, bottom), (to, top)], THIN, None));
    }
}

fn cue_ledger_lines(x: f64, y: f64, width: f64, marks: &mut Vec<Mark>) {
    let reach = LEDGER_EXTENSION * CUE;
    let (from, to) = if y < 0.0 { (y.ceil() as i32, -1) } else { (5, y.floor() as i32) };
    for line in from..=to {
        let y = f64::from(line);
        marks.push(Mark::stroke(What::LedgerLine, (x - reach, y), (x + width + reach, y), LEDGER_LINE));
    }
}

/// Rows of texts under the lowest ink; the lowest row's baseline.
pub(super) fn draw_rows(line: &mut HeardLine, low: f64, from_row: f64) -> f64 {
    let first = low + 0.55 + letters::capital_height() * CENTS_SIZE;
    let mut lowest = first;
    for placed in std::mem::take(&mut line.texts) {
        let y = first + from_row * placed.text.row as f64;
        lowest = lowest.max(y);
        let mark = Mark::words(
            placed.text.what,
            placed.text.text.clone(),
            (placed.middle, y),
            placed.text.size(),
            Anchor::Middle,
        );
        line.marks.push((placed.belongs, mark.of(placed.item)));
    }
    lowest
}
