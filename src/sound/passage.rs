//! The bars that are to be heard, of a melody: which notes sound when, and where the beats are.

use crate::notation::{EventKind, Length, Melody};

/// Some bars of a melody, in whole notes from the first bar line (or from the pickup's first note).
#[derive(Debug, Clone, PartialEq)]
pub struct Passage {
    /// The notes in order; one that begins before the passage is heard from its beginning.
    pub notes: Vec<PassageNote>,
    /// The beats in order.
    pub beats: Vec<Beat>,
    /// The first and the last printed bar.
    pub bars: (u32, u32),
    /// How long it is.
    pub length: Length,
    /// Beats of a bar at its beginning, and how long each of them is.
    pub bar_beats: u32,
    pub bar_beat: Length,
    /// Beats of silence between the bar line and a pickup.
    pub before: Length,
}

/// A note of a passage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PassageNote {
    /// When it begins.
    pub start: Length,
    /// How long it is.
    pub length: Length,
    /// The sounding MIDI number.
    pub sounding: i32,
}

/// A beat of a passage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beat {
    /// When it is.
    pub at: Length,
    /// Whether it is the first of its bar.
    pub first: bool,
}

impl Passage {
    /// The bars from `first` to `last`, as printed, in playing order; of bars that a repeat plays more than
    /// once the first run that gets as far as `last` without leaving them. Where none does, because a repeat goes back
    /// before `first` on the way, it is played as the melody is, from the first time on until `last`. `None` for an end
    /// that is left out means the melody's own. `None` if there are no such bars.
    pub fn new(melody: &Melody, first: Option<u32>, last: Option<u32>) -> Option<Self> {
        let bars = melody.bars();
        let zero = Length::from_integer(0);
        let (begin, end) = match (first, last) {
            (None, None) => (0, bars.len()),
            _ => run(&bars.iter().map(|bar| bar.number).collect::<Vec<_>>(), first, last)?,
        };
        let mut starts = Vec::with_capacity(bars.len() + 1);
        let mut now = zero;
        for bar in &bars {
            starts.push(now);
            now += bar.filled();
        }
        starts.push(now);
        let (from, to) = (starts[begin], starts[end]);
        let notes = melody.events.iter().filter_map(|event| {
            let EventKind::Note { sounding, .. } = event.kind else { return None };
            let (start, stop) = (event.start.max(from), (event.start + event.length).min(to));
            (start < stop).then(|| PassageNote { start: start - from, length: stop - start, sounding })
        });
        let mut beats = Vec::new();
        for (bar, start) in bars[begin..end].iter().zip(&starts[begin..end]) {
            let mut beat = (bar.offset / bar.metre.beat()).ceil() * bar.metre.beat();
            while beat < bar.offset + bar.filled() {
                beats.push(Beat { at: start + beat - bar.offset - from, first: beat == zero });
                beat += bar.metre.beat();
            }
        }
        let opening = bars.get(begin)?;
        Some(Self {
            notes: notes.collect(),
            beats,
            bars: (opening.number, bars[end - 1].number),
            length: to - from,
            bar_beats: u32::from(opening.metre.beats),
            bar_beat: opening.metre.beat(),
            before: opening.offset / opening.metre.beat(),
        })
    }
}

/// The bars from `first` to `last` as they are played, as a range of indices.
fn run(numbers: &[u32], first: Option<u32>, last: Option<u32>) -> Option<(usize, usize)> {
    let asked = first.unwrap_or(0)..=last.unwrap_or(u32::MAX);
    let inside = || numbers.iter().copied().filter(|number| asked.contains(number));
    let (lowest, highest) = (inside().min()?, inside().max()?);
    // Not the second half of a bar that is cut in two.
    let begins =
        || (0..numbers.len()).filter(|&at| numbers[at] == lowest && (at == 0 || numbers[at - 1] != lowest));
    let end_of = |at: usize| at + numbers[at..].iter().take_while(|number| **number == highest).count();
    for begin in begins() {
        let bars = numbers[begin..].iter().copied();
        let bars = bars.take_while(|number| asked.contains(number) && *number >= lowest);
        let end = begin + bars.count();
        let Some(reached) = numbers[begin..end].iter().rposition(|number| *number == highest) else {
            continue;
        };
        match last {
            Some(_) => return Some((begin, begin + reached + 1)),
            None if end == numbers.len() => return Some((begin, end)),
            None => {}
        }
    }
    let begin = begins().next()?;
    match last {
        None => Some((begin, numbers.len())),
        Some(_) => {
            let reached = (begin..numbers.len()).find(|&at| numbers[at] == highest)?;
            Some((begin, end_of(reached)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_melody_bytes;

    fn passage(bars: &str, first: Option<u32>, last: Option<u32>) -> Option<Passage> {
        let text = format!("instrument = 'violin'\n{bars}");
        Passage::new(&read_melody_bytes("m.toml", text.as_bytes()).unwrap().melody, first, last)
    }

    #[test]
    fn bars_are_cut_out_at_their_bar_lines_and_a_tied_note_is_heard_from_there() {
        let bars = "bars = ['D4 w', 'E4 h F#4 h ~', 'F#4 h rest h', 'G4 w']";
        let found = passage(bars, Some(3), Some(3)).unwrap();
        assert_eq!(found.length, Length::from_integer(1));
        assert_eq!(
            found.notes,
            [PassageNote { start: Length::from_integer(0), length: Length::new(1, 2), sounding: 66 }]
        );
        assert_eq!(found.beats.len(), 4);
        assert_eq!(found.bars, (3, 3));
        // The note that goes on is heard to the end of the passage.
        let found = passage(bars, None, Some(2)).unwrap();
        assert_eq!(found.notes.last().unwrap().length, Length::new(1, 2));
        assert_eq!(passage(bars, Some(9), None), None);
        assert_eq!(passage(bars, Some(3), Some(2)), None);
    }

    #[test]
    fn repeats_are_played_and_a_run_that_gets_to_the_last_bar_is_taken() {
        let bars = "bars = ['|: D4 w', 'E4 w :|', 'F#4 w']";
        assert_eq!(passage(bars, None, None).unwrap().length, Length::from_integer(5));
        let found = passage(bars, Some(2), Some(3)).unwrap();
        assert_eq!(found.notes.iter().map(|note| note.sounding).collect::<Vec<_>>(), [64, 66]);
    }

    /// The played bars of the range, by number.
    fn played(numbers: &[u32], first: Option<u32>, last: Option<u32>) -> Vec<u32> {
        run(numbers, first, last).map_or_else(Vec::new, |(begin, end)| numbers[begin..end].to_vec())
    }

    #[test]
    fn a_repeat_that_goes_back_before_the_first_bar_is_played_until_the_last_bar_is_reached() {
        // A pickup, bar 1, the first ending, bar 1 again, the second ending, a last bar.
        let endings = [0, 1, 2, 1, 3, 4];
        assert_eq!(played(&endings, Some(2), Some(3)), [2, 1, 3]);
        assert_eq!(played(&endings, Some(2), None), [2, 1, 3, 4]);
        assert_eq!(played(&endings, Some(1), Some(3)), [1, 2, 1, 3]);
        assert_eq!(played(&endings, Some(1), Some(2)), [1, 2]);
        assert_eq!(played(&endings, Some(3), None), [3, 4]);
        assert_eq!(played(&endings, None, Some(3)), [0, 1, 2, 1, 3]);
        assert_eq!(played(&endings, Some(2), Some(99)), [2, 1, 3, 4]);
        // Da capo al fine: the end is in bar 2, the second time.
        assert_eq!(played(&[1, 2, 3, 1, 2], Some(2), None), [2, 3, 1, 2]);
        assert_eq!(played(&[1, 2, 3, 1, 2], Some(2), Some(3)), [2, 3]);
        // A plain repeat: straight on the second time.
        assert_eq!(played(&[1, 2, 1, 2, 3], Some(2), None), [2, 3]);
        assert_eq!(played(&[1, 2, 1, 2, 3], Some(1), Some(2)), [1, 2, 1, 2]);
        // A bar that a repeat sign cuts in two.
        assert_eq!(played(&[1, 2, 2, 3], Some(2), Some(2)), [2, 2]);
    }

    #[test]
    fn a_pickup_has_its_beat_and_what_is_before_it() {
        let found = passage("pickup = 'A4 q'\nbars = ['D4 w', 'E4 w']", None, None).unwrap();
        assert_eq!((found.before, found.bar_beats), (Length::from_integer(3), 4));
        let first: Vec<bool> = found.beats.iter().map(|beat| beat.first).collect();
        assert_eq!(first, [false, true, false, false, false, true, false, false, false]);
        assert_eq!(found.beats[1].at, Length::new(1, 4));
    }
}
