//! Where the symbols of a line stand for what is drawn under them: the room of each, and where any moment of the music
//! lies between them.

use super::columns_from_bar::{BEFORE_BAR_LINE, body, is_centred};
use super::drawn_from_heard::{BETWEEN, Places};
use super::lines_from_bars::{FINAL, LaidLine, Music};
use crate::notation::as_f64;

/// A symbol on a line. Places are spaces, times whole notes from the start of the melody.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seat {
    pub event: usize,
    /// The left edge of its head or rest.
    pub x: f64,
    /// Where its own room begins and ends; no other symbol's ink is in it.
    pub left: f64,
    pub right: f64,
    /// The width of its written head or rest.
    pub width: f64,
    pub start: f64,
    /// A beat of its metre in whole notes.
    pub beat: f64,
    /// Whether it is the first and the last symbol of its event.
    pub first: bool,
    pub last: bool,
    /// It is the rest of a whole bar.
    pub centred: bool,
}

/// The symbols of a line.
#[derive(Debug, Clone)]
pub(super) struct Seats {
    pub seats: Vec<Seat>,
    /// By bar: when it begins and ends, where its heads begin and where its room ends.
    bars: Vec<BarSpan>,
    pub start: f64,
    pub end: f64,
}

#[derive(Debug, Clone, Copy)]
struct BarSpan {
    start: f64,
    end: f64,
    right: f64,
    /// Its seats, from and before.
    seats: (usize, usize),
}

/// When each bar begins, and the end of the last one.
pub(super) fn bar_starts(music: &Music) -> Vec<f64> {
    let mut starts = vec![0.0];
    let mut at = 0.0;
    for bar in &music.bars {
        at += bar.symbols.iter().map(|symbol| as_f64(symbol.length)).sum::<f64>();
        starts.push(at);
    }
    starts
}

impl Seats {
    pub fn new(music: &Music, line: &LaidLine, places: &Places, starts: &[f64]) -> Self {
        let mut seats = Vec::new();
        let mut bars = Vec::new();
        for (bar, place) in line.bars.clone().zip(&line.places) {
            let music_bar = &music.bars[bar];
            let columns = &music.columns[bar];
            let last_bar = bar + 1 == music.bars.len();
            let right = place.right - BEFORE_BAR_LINE - if last_bar { FINAL } else { 0.0 };
            let from = seats.len();
            let mut start = starts[bar];
            for (at, symbol) in music_bar.symbols.iter().enumerate() {
                let event = places.event_of_item[symbol.item];
                let own = &places.symbols[event];
                seats.push(Seat {
                    event,
                    x: place.heads[at],
                    left: place.heads[at] - columns[at].left,
                    right: match place.heads.get(at + 1) {
                        Some(next) => next - columns[at + 1].left - BETWEEN,
                        None => right,
                    },
                    width: body(symbol).width(),
                    start,
                    beat: as_f64(music_bar.metre.beat()),
                    first: own.first() == Some(&(bar, at)),
                    last: own.last() == Some(&(bar, at)),
                    centred: is_centred(music_bar),
                });
                start += as_f64(symbol.length);
            }
            bars.push(BarSpan { start: starts[bar], end: start, right, seats: (from, seats.len()) });
        }
        let start = bars.first().map_or(0.0, |bar| bar.start);
        let end = bars.last().map_or(start, |bar| bar.end);
        Self { seats, bars, start, end }
    }

    /// Where a moment lies. At a bar line there are two places: the end of the bar before (`ending`) and the start of
    /// the next.
    pub fn x_at(&self, time: f64, ending: bool) -> f64 {
        const TINY: f64 = 1e-9;
        let inside = |bar: &&BarSpan| if ending { time <= bar.end + TINY } else { time < bar.end - TINY };
        let Some(bar) = self.bars.iter().find(inside).or(self.bars.last()) else { return 0.0 };
        let seats = &self.seats[bar.seats.0..bar.seats.1];
        let Some(first) = seats.first() else { return bar.right };
        if time <= bar.start {
            return first.x;
        }
        let at = seats.iter().rposition(|seat| seat.start <= time - if ending { TINY } else { -TINY });
        let at = at.unwrap_or(0);
        let (from, start) = (seats[at].x, seats[at].start);
        let (to, end) = seats.get(at + 1).map_or((bar.right, bar.end), |next| (next.x, next.start));
        let part = if end > start { ((time - start) / (end - start)).clamp(0.0, 1.0) } else { 0.0 };
        from + (to - from) * part
    }

    /// The left end of the music, after clef and signatures.
    pub fn left(&self) -> f64 {
        self.seats.first().map_or(0.0, |seat| seat.left)
    }

    /// The right end of the music.
    pub fn right(&self) -> f64 {
        self.bars.last().map_or(0.0, |bar| bar.right)
    }
}
