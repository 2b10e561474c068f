//! A melody and what was played of it become systems: the staff as written, and under it, note below note, the staff as
//! heard. The written music has its usual engraving; its columns are only made wider where what was heard needs it.

use super::drawing::{Anchor, Mark, What, extent};
use super::drawing_from_heard::{HeardLine, draw_heard, draw_rows};
use super::drawing_from_line::{draw_bar_line, draw_line, draw_staff};
use super::drawn_from_heard::Drawn;
use super::glyph::defaults::{STAFF_LINE, THIN_BAR_LINE};
use super::heard::{Heard, HeardWords};
use super::letters;
use super::lines_from_bars::{LaidLine, Music};
use super::page::STAFF_FOR_CHILDREN_MM;
use super::return_marks::draw_returns;
use super::seats::{Seats, bar_starts};
use super::symbols_from_bars::{UnderSettings, symbols_from_bars};
use super::system::{Belongs, Group, System, Systems};
use crate::notation::{Clef, Instrument, Melody};
use crate::remark::Remark;
use std::collections::BTreeMap;

/// From staff to staff, from bottom line to top line, and from ink to ink, at least.
const BETWEEN_STAVES: f64 = 4.0;
const BETWEEN_INK: f64 = 1.0;
/// From row to row of the texts under the staff as heard.
const ROW_STEP: f64 = 1.75;
const NAME_SIZE: f64 = 1.3;

/// The systems of a melody, `width_mm` wide, with staves `staff_mm` high (3 to 20; outside of that the nearest of
/// these); a bar that is too long for the width makes all staves smaller, with a remark. A melody without notes has no
/// system. The last system may be narrower, as the last line of a page is.
pub fn systems_from_heard(melody: &Melody, heard: &Heard, width_mm: f64, staff_mm: f64) -> Systems {
    let mut remarks = Vec::new();
    let bars = melody.bars();
    let under = UnderSettings {
        instrument: melody.instrument,
        shift: melody.shift(),
        names: false,
        fingers: false,
        strings: false,
    };
    let (music_bars, found) = symbols_from_bars(&bars, under);
    remarks.extend(found);
    let clef = melody.sheet.clef.or(melody.instrument.map(Instrument::clef)).unwrap_or(Clef::Treble);
    // A printed finger would stand in the row of cents; it is on the sheet.
    let mut music_bars = music_bars;
    for symbol in music_bars.iter_mut().flat_map(|bar| &mut bar.symbols) {
        symbol.under = Default::default();
    }
    let mut music = Music::new(clef, music_bars);
    let drawn = Drawn::new(&bars, &music, heard, melody.shift(), &mut remarks);
    drawn.widen(&mut music);
    let staff = if staff_mm.is_finite() { staff_mm.clamp(3.0, 20.0) } else { STAFF_FOR_CHILDREN_MM };
    let width_mm = if width_mm.is_finite() { width_mm.clamp(20.0, 2000.0) } else { 178.0 };
    let (asked, narrowest) = (staff / 4.0, music.narrowest());
    let mut space_mm = asked;
    if narrowest > width_mm / asked {
        space_mm = width_mm / narrowest * 0.999;
        remarks.push(Remark::new(
            "smaller-staff",
            format!(
                "A bar is too long for {width_mm:.0} mm at a staff of {staff:.1} mm; the staff is {:.1} mm high instead.",
                space_mm * 4.0
            ),
        ));
    }
    let starts = bar_starts(&music);
    let maker = Maker { music: &music, drawn: &drawn, heard, width: width_mm / space_mm, space_mm };
    let lines = if drawn.places.events.is_empty() { Vec::new() } else { music.lines(maker.width) };
    let systems = lines.iter().map(|line| maker.system(line, &starts)).collect();
    Systems { systems, remarks }
}

struct Maker<'a> {
    music: &'a Music,
    drawn: &'a Drawn,
    heard: &'a Heard,
    width: f64,
    space_mm: f64,
}

impl Maker<'_> {
    fn system(&self, line: &LaidLine, starts: &[f64]) -> System {
        let words = printable(&self.heard.words);
        let seats = Seats::new(self.music, line, &self.drawn.places, starts);
        let mut upper = draw_line(self.music, line);
        if line.bars.start == 0 {
            draw_name(&words.as_written, &mut upper);
        }
        let item_of = |event: usize| self.drawn.places.events[event].item;
        let mut staff = self.lower_staff(line);
        let signatures: Vec<Mark> = staff
            .iter()
            .filter(|mark| matches!(mark.what, What::KeySignature | What::TimeSignature))
            .cloned()
            .collect();
        let mut lower =
            draw_heard(self.drawn, &seats, self.music.clef, &words.missing, &item_of, &signatures);
        let (_, low) = extent(lower.marks.iter().map(|(_, mark)| mark).chain(&staff));
        self.row_label(&words.cents, low, &seats, &lower, &mut staff);
        draw_rows(&mut lower, low, ROW_STEP);
        let all: Vec<Mark> = lower.marks.iter().map(|(_, mark)| mark.clone()).chain(staff.clone()).collect();
        let (high, _) = extent(&all);
        // The name stands on what ink there is at the left, so that it is no higher than it must be.
        let mut named = all;
        let before = named.len();
        draw_name(&words.as_heard, &mut named);
        staff.extend(named.drain(before..));
        let base = extent(staff.iter()).0.min(high) - 0.4;
        let returns = draw_returns(&self.heard.returns, self.drawn, &seats, line.width, base);
        let mut below = lower.marks;
        below.extend(returns);
        self.joined(line, upper, staff, below, &seats)
    }

    /// The lines, the clef, the key and the bar lines of the staff as heard.
    fn lower_staff(&self, line: &LaidLine) -> Vec<Mark> {
        let mut marks = Vec::new();
        draw_staff(line.width, &mut marks);
        self.music.draw_header(line.bars.start, &mut marks);
        for (bar, place) in line.bars.clone().zip(&line.places) {
            if bar > line.bars.start {
                self.music.draw_change(bar, place.left, &mut marks);
            }
            draw_bar_line(place.right, bar + 1 == self.music.bars.len(), &mut marks);
        }
        if let (true, Some(last)) = (line.bars.end < self.music.bars.len(), line.places.last()) {
            self.music.draw_change(line.bars.end, last.right, &mut marks);
        }
        marks
    }

    /// The word before the row of cents, smaller where there is little room, where there are any cents.
    fn row_label(&self, text: &str, low: f64, seats: &Seats, lower: &HeardLine, staff: &mut Vec<Mark>) {
        let cents = |text: &str| text == "0" || text.starts_with(['+', '−']);
        if text.is_empty() || !lower.texts.iter().any(|placed| cents(&placed.text.text)) {
            return;
        }
        let room = seats.left() - 0.5;
        let size = NAME_SIZE.min(room / letters::width(text));
        if size > 0.7 {
            let y = low + 0.55 + letters::capital_height() * super::drawn_from_heard::CENTS_SIZE;
            staff.push(Mark::words(What::RowLabel, text, (0.0, y), size, Anchor::Start));
        }
    }

    /// Both staves in one system, its top left corner at 0.
    fn joined(
        &self,
        line: &LaidLine,
        upper: Vec<Mark>,
        staff: Vec<Mark>,
        below: Vec<(Belongs, Mark)>,
        seats: &Seats,
    ) -> System {
        let (top, bottom) = extent(&upper);
        let (high, _) = extent(staff.iter().chain(below.iter().map(|(_, mark)| mark)));
        let down = (bottom + BETWEEN_INK - high).max(4.0 + BETWEEN_STAVES);
        let mut groups: BTreeMap<Belongs, Vec<Mark>> = BTreeMap::new();
        let mut add = |belongs: Belongs, mark: Mark, y: f64| {
            groups.entry(belongs).or_default().push(mark.moved(0.0, y - top));
        };
        let half = STAFF_LINE / 2.0;
        let x = THIN_BAR_LINE / 2.0;
        let joint = Mark::stroke(What::SystemLine, (x, -half), (x, down + 4.0 + half), THIN_BAR_LINE);
        add(Belongs::Staff, joint, 0.0);
        for mark in upper {
            let belongs = mark.item.map_or(Belongs::Staff, |item| self.owner(item));
            add(belongs, mark, 0.0);
        }
        for mark in staff {
            add(Belongs::Staff, mark, down);
        }
        for (belongs, mark) in below {
            add(belongs, mark, down);
        }
        let (_, height) = extent(groups.values().flatten());
        let mut groups: Vec<Group> = groups
            .into_iter()
            .map(|(belongs, marks)| {
                let room = self.room(belongs, &marks, seats, height);
                Group { belongs, room, marks }
            })
            .collect();
        groups.sort_by_key(|group| self.order(group.belongs));
        let number = |bar: usize| self.music.bars.get(bar).map_or(0, |bar| bar.number);
        System {
            space_mm: self.space_mm,
            width: self.width,
            height,
            bars: (number(line.bars.start), number(line.bars.end.saturating_sub(1))),
            groups,
        }
    }

    fn owner(&self, item: usize) -> Belongs {
        let places = &self.drawn.places;
        let event = places.event_of_item[item];
        let (bar, place) = places.symbols[event][0];
        match self.music.bars[bar].symbols[place].height(self.music.clef) {
            Some(_) => Belongs::Note(event),
            None => Belongs::Rest(event),
        }
    }

    /// The order of playing: an extra and a return come after their event.
    fn order(&self, belongs: Belongs) -> (u8, usize, u8, usize) {
        match belongs {
            Belongs::Staff => (0, 0, 0, 0),
            Belongs::Note(event) | Belongs::Rest(event) => (1, event + 1, 0, 0),
            Belongs::Extra(number) => {
                (1, self.heard.extras[number].after.map_or(0, |event| event + 1), 1, number)
            }
            Belongs::Return(number) => (1, self.heard.returns[number].after + 1, 2, number),
        }
    }

    fn room(&self, belongs: Belongs, marks: &[Mark], seats: &Seats, height: f64) -> [f64; 4] {
        if let Belongs::Note(event) | Belongs::Rest(event) = belongs {
            let own = || seats.seats.iter().filter(|seat| seat.event == event);
            if own().next().is_some() {
                let left = own().map(|seat| seat.left).fold(f64::INFINITY, f64::min);
                let right = own().map(|seat| seat.right).fold(0.0, f64::max);
                return [left, 0.0, right, height];
            }
        }
        super::drawing::bounds_of(marks)
    }
}

fn printable(words: &HeardWords) -> HeardWords {
    let printable = |text: &str| letters::printable(text).0;
    HeardWords {
        as_written: printable(&words.as_written),
        as_heard: printable(&words.as_heard),
        cents: printable(&words.cents),
        missing: printable(&words.missing),
    }
}

/// The name of a staff, over the ink at its left end.
fn draw_name(text: &str, marks: &mut Vec<Mark>) {
    if text.is_empty() {
        return;
    }
    let right = letters::width(text) * NAME_SIZE + 0.8;
    let (top, _) = extent(marks.iter().filter(|mark| mark.bounds()[0] < right));
    let y = top - 0.35 - letters::DESCENT * NAME_SIZE;
    marks.push(Mark::words(What::StaffName, text, (0.4, y), NAME_SIZE, Anchor::Start));
}
