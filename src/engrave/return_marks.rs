//! Where a player stopped and went back: two dotted uprights at the stop, and from there a line over the staff as heard
//! to the note from which it went on, ending in an arrow head over it; the words stand on the line. Each return has a
//! lane of its own where lanes would touch; one that goes to another line leaves at the edge and comes in there.

use super::drawing::{Anchor, Mark, Shape, What};
use super::drawing_from_heard::THIN;
use super::drawn_from_heard::Drawn;
use super::glyph::Glyph;
use super::heard::HeardReturn;
use super::letters;
use super::seats::Seats;
use super::system::Belongs;
use crate::notation::Value;

const WORDS: f64 = 1.4;
/// From lane to lane without words, and for each row of words.
const LANE: f64 = 1.0;
const WORDS_STEP: f64 = 1.6;
const DOTS: (f64, f64) = (0.25, 0.35);

/// What of a return is on one line.
#[derive(Debug, Clone, Default)]
struct Part {
    number: usize,
    /// The stop, if it is on this line.
    stop: Option<f64>,
    /// The note from which it went on, if it is on this line.
    to: Option<f64>,
    /// The ends of the line over the staff.
    line: (f64, f64),
    rows: Vec<String>,
    words: f64,
}

impl Part {
    fn reach(&self) -> (f64, f64) {
        let (mut left, mut right) = self.line;
        if !self.rows.is_empty() {
            let width = self.rows.iter().map(|row| letters::width(row) * WORDS).fold(0.0, f64::max);
            left = left.min(self.words);
            right = right.max(self.words + width);
        }
        (left - 0.6, right + 0.6)
    }

    fn height(&self) -> f64 {
        LANE + WORDS_STEP * self.rows.len() as f64
    }
}

/// Draws the returns that touch a line `width` wide, from `base` upward: the highest ink of the staff as heard is below
/// `base`. The marks, and the height of all lanes.
pub(super) fn draw_returns(
    returns: &[HeardReturn],
    drawn: &Drawn,
    seats: &Seats,
    width: f64,
    base: f64,
) -> Vec<(Belongs, Mark)> {
    let mut marks = Vec::new();
    // Lanes from the staff up: where each begins, its height, and what is in it.
    let mut lanes: Vec<Vec<Part>> = Vec::new();
    for part in
        returns.iter().enumerate().filter_map(|(number, back)| part(number, back, drawn, seats, width))
    {
        let free = |lane: &Vec<Part>| {
            let (left, right) = part.reach();
            lane.iter().all(|other| other.reach().0 >= right || left >= other.reach().1)
        };
        match lanes.iter().position(free) {
            Some(lane) => lanes[lane].push(part),
            None => lanes.push(vec![part]),
        }
    }
    let mut y = base;
    for lane in lanes {
        let high = lane.iter().map(Part::height).fold(0.0, f64::max);
        for part in &lane {
            let own = part_marks(part, y - 0.5, base);
            marks.extend(own.into_iter().map(|mark| (Belongs::Return(part.number), mark)));
        }
        y -= high;
    }
    marks
}

fn part(number: usize, back: &HeardReturn, drawn: &Drawn, seats: &Seats, width: f64) -> Option<Part> {
    let (from, to) = (drawn.places.events.get(back.after)?, drawn.places.events.get(back.to)?);
    let stop =
        seats.seats.iter().find(|seat| seat.event == back.after && seat.last).map(|seat| seat.right - 0.1);
    let half = Glyph::Head(Value::Quarter).width() / 2.0;
    let arrives = seats.seats.iter().find(|seat| seat.event == back.to && seat.first).map(|seat| {
        let shift = drawn.notes.get(&back.to).map_or(0.0, |note| note.shift);
        seat.x + shift + half
    });
    let backward = to.start <= from.start;
    let line = match (stop, arrives) {
        (Some(stop), Some(arrives)) => (stop.min(arrives), stop.max(arrives)),
        (Some(stop), None) if backward => (0.5, stop),
        (Some(stop), None) => (stop, width - 0.1),
        (None, Some(arrives)) if backward => (arrives, width - 0.1),
        (None, Some(arrives)) => (0.1, arrives),
        (None, None) => return None,
    };
    let text = letters::printable(back.label.as_deref().unwrap_or("")).0;
    let mut rows = Vec::new();
    let mut words = 0.0;
    if stop.is_some() {
        rows = letters::wrapped(&text, (width - 0.6) / WORDS);
        let wide = rows.iter().map(|row| letters::width(row) * WORDS).fold(0.0, f64::max);
        // Over the middle of the line, inside the system.
        words = ((line.0 + line.1 - wide) / 2.0).min(width - wide).max(0.5);
    }
    Some(Part { number, stop, to: arrives, line, rows, words })
}

fn part_marks(part: &Part, y: f64, base: f64) -> Vec<Mark> {
    let mut marks = Vec::new();
    let line = |points| Mark::line(What::ReturnLine, points, THIN * 1.3, None);
    let mut points = vec![(part.line.0, y), (part.line.1, y)];
    if let Some(to) = part.to {
        // Down to the note, where its head is told by the arrow.
        let tip = base + 0.35;
        let foot = (to, tip - 0.3);
        if to <= part.line.0 {
            points.insert(0, foot);
        } else {
            points.push(foot);
        }
        let head = [(to - 0.42, tip - 0.75), (to + 0.42, tip - 0.75), (to, tip), (to, tip)];
        marks.push(Mark { what: What::ReturnLine, shape: Shape::Area(head), item: None });
    } else if let Some(stop) = part.stop {
        // It goes on at an edge.
        let left = part.line.1 == stop;
        let (tip, back) = if left { (part.line.0, 0.8) } else { (part.line.1, -0.8) };
        let head = [(tip + back, y - 0.42), (tip + back, y + 0.42), (tip, y), (tip, y)];
        marks.push(Mark { what: What::ReturnLine, shape: Shape::Area(head), item: None });
        points[if left { 0 } else { 1 }].0 += back / 2.0;
    }
    marks.push(line(points));
    if let Some(stop) = part.stop {
        for x in [stop - 0.22, stop + 0.1] {
            marks.push(Mark::line(What::ReturnLine, vec![(x, y), (x, 4.5)], THIN, Some(DOTS)));
        }
    }
    let count = part.rows.len();
    for (row, text) in part.rows.iter().enumerate() {
        let at = y - 0.45 - WORDS_STEP * (count - 1 - row) as f64;
        marks.push(Mark::words(What::ReturnWords, text.clone(), (part.words, at), WORDS, Anchor::Start));
    }
    marks
}
