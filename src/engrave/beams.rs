//! Which notes are beamed together, and where beams and stems lie.
//!
//! Beams follow the beat of the metre, in compound metres the dotted beat (Gould, *Behind Bars*, 2011, chapter “Beams”;
//! common practice for beginners: no beam over two beats). Stems are an octave, 3.5 spaces, long and reach the middle
//! line from ledger notes; a beam leans by half the interval of its outer notes, at most 1.25 spaces, lies level where
//! an inner note comes nearer to it than both outer ones, and never floats between two lines: its edge sits on,
//! straddles or hangs from a staff line (Ross, *The Art of Music Engraving and Processing*, on beams; the numbers are
//! from memory).

use super::drawing::{Mark, Shape, What};
use super::glyph::defaults::{BEAM, BEAM_GAP, STEM};
use super::symbols_from_bars::{MusicBar, Symbol};
use crate::notation::{Length, Metre};

/// The stem of a single note, one octave.
pub(super) const STEM_LENGTH: f64 = 3.5;

/// The stem of the note nearest to its beam, at least.
const SHORTEST_BEAMED: f64 = 3.25;

/// How far a beam that has no partner reaches.
const STUB: f64 = 1.1;

/// Places of the symbols of a bar that share a beam, each group at least two.
pub(super) fn groups(bar: &MusicBar) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut open: Option<usize> = None;
    for (place, symbol) in bar.symbols.iter().enumerate() {
        let beat = beat_group(bar.metre, symbol.start);
        if symbol.beams() == 0 {
            open = None;
        } else if open == Some(beat) {
            if let Some(group) = groups.last_mut() {
                group.push(place);
            }
        } else {
            open = Some(beat);
            groups.push(vec![place]);
        }
    }
    groups.retain(|group| group.len() > 1);
    groups
}

/// The number of the beam group in which `position` of a bar lies.
fn beat_group(metre: Metre, position: Length) -> usize {
    let beats = u32::from(metre.beats);
    let eighths: Vec<i64> = match (metre.unit, beats) {
        (8, _) if beats % 3 == 0 => vec![3],
        (8, 5) => vec![3, 2],
        (8, 7) => vec![2, 2, 3],
        (8, _) => vec![2],
        (16, _) if beats % 3 == 0 => return whole_steps(position, Length::new(3, 16)),
        (1 | 2, _) => vec![4],
        _ => vec![2],
    };
    let mut end = Length::from_integer(0);
    for (group, length) in eighths.iter().cycle().enumerate().take(4096) {
        end += Length::new(*length, 8);
        if position < end {
            return group;
        }
    }
    usize::MAX
}

fn whole_steps(position: Length, step: Length) -> usize {
    usize::try_from((position / step).floor().to_integer()).unwrap_or(0)
}

/// A note under a beam.
#[derive(Debug, Clone, Copy)]
pub(super) struct Beamed<'a> {
    pub symbol: &'a Symbol,
    /// The left edge of its head.
    pub x: f64,
    /// The height of its head.
    pub y: f64,
}

/// Whether the stems of a beamed group point up: the note farthest from the middle line decides, down where both sides
/// are as far (common practice; Gould, chapter “Beams”).
pub(super) fn group_points_up(heights: &[f64]) -> bool {
    let lowest = heights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let highest = heights.iter().copied().fold(f64::INFINITY, f64::min);
    lowest - 2.0 > 2.0 - highest
}

/// Where the stem of a note stands: the middle of its width.
pub(super) fn stem_x(head_x: f64, up: bool) -> f64 {
    // stemUpSE and stemDownNW are the outer edge of the stem (SMuFL 1.4, “glyphsWithAnchors”).
    let head = super::glyph::Glyph::Head(crate::notation::Value::Quarter).outline();
    if up { head_x + head.stem_up.0 - STEM / 2.0 } else { head_x + head.stem_down.0 + STEM / 2.0 }
}

/// The free end of the stem of a single note.
pub(super) fn stem_tip(y: f64, up: bool, beams: usize) -> f64 {
    let longer = 0.75 * beams.saturating_sub(2) as f64;
    if up { (y - STEM_LENGTH - longer).min(2.0) } else { (y + STEM_LENGTH + longer).max(2.0) }
}

/// The ends of the stems of a beamed group, which are the beam's outer edge.
pub(super) fn beam_tips(notes: &[Beamed], up: bool) -> Vec<f64> {
    let (Some(first), Some(last)) = (notes.first(), notes.last()) else { return Vec::new() };
    // Everything upward: for stems that point down the staff is turned over.
    let turned = |y: f64| if up { y } else { 4.0 - y };
    let most_beams = notes.iter().map(|note| note.symbol.beams()).max().unwrap_or(1);
    let shortest = SHORTEST_BEAMED
        + if most_beams >= 2 { 0.25 } else { 0.0 }
        + 0.75 * most_beams.saturating_sub(2) as f64;
    let (from, to) = (turned(first.y), turned(last.y));
    let inner = notes[1..notes.len() - 1].iter().map(|note| turned(note.y)).fold(f64::INFINITY, f64::min);
    let run = stem_x(last.x, up) - stem_x(first.x, up);
    let lean = if inner < from.min(to) || run <= 0.0 {
        0.0
    } else {
        let asked = ((to - from).abs() / 2.0).min(1.25).min(run * 0.25);
        (asked / 0.25).floor() * 0.25 * (to - from).signum()
    };
    let along =
        |note: &Beamed| if run > 0.0 { (stem_x(note.x, up) - stem_x(first.x, up)) / run } else { 0.0 };
    let start = notes
        .iter()
        .map(|note| (turned(note.y) - shortest).min(2.0) - lean * along(note))
        .fold(f64::INFINITY, f64::min);
    let start = snapped(start);
    notes.iter().map(|note| turned(start + lean * along(note))).collect()
}

/// A height for a beam's upper edge, not lower than asked, where the beam hangs from (0), sits on (.5) or straddles
/// (.75) a line; outside the staff any quarter.
fn snapped(edge: f64) -> f64 {
    let quarter = (edge * 4.0).floor() / 4.0;
    let floats = (quarter - quarter.floor() - 0.25).abs() < 1e-9 && (0.0..4.0).contains(&quarter);
    if floats { quarter - 0.25 } else { quarter }
}

/// The beams of a group.
pub(super) fn draw_beams(notes: &[Beamed], tips: &[f64], up: bool, marks: &mut Vec<Mark>) {
    let most = notes.iter().map(|note| note.symbol.beams()).max().unwrap_or(0);
    let (Some(first), Some(last)) = (notes.first(), notes.last()) else { return };
    let (x_first, x_last) = (stem_x(first.x, up), stem_x(last.x, up));
    let slope = (tips[tips.len() - 1] - tips[0]) / (x_last - x_first).max(1e-9);
    let edge = |x: f64| tips[0] + slope * (x - x_first);
    let inward = if up { 1.0 } else { -1.0 };
    let mut draw = |from: f64, to: f64, level: usize| {
        let outer = inward * (level as f64) * (BEAM + BEAM_GAP);
        let inner = outer + inward * BEAM;
        marks.push(Mark {
            what: What::Beam,
            shape: Shape::Area([
                (from, edge(from) + outer),
                (to, edge(to) + outer),
                (to, edge(to) + inner),
                (from, edge(from) + inner),
            ]),
            item: None,
        });
    };
    for level in 0..most {
        let mut place = 0;
        while place < notes.len() {
            if notes[place].symbol.beams() <= level {
                place += 1;
                continue;
            }
            let end = (place..notes.len())
                .take_while(|&at| notes[at].symbol.beams() > level)
                .last()
                .unwrap_or(place);
            let (left, right) =
                (stem_x(notes[place].x, up) - STEM / 2.0, stem_x(notes[end].x, up) + STEM / 2.0);
            if end > place {
                draw(left, right, level);
            } else if stub_points_left(notes, place) {
                draw(right - STUB, right, level);
            } else {
                draw(left, left + STUB, level);
            }
            place = end + 1;
        }
    }
}

/// A beam without a partner points into its group, toward the note with which it fills the longer value.
fn stub_points_left(notes: &[Beamed], place: usize) -> bool {
    if place == 0 {
        return false;
    }
    if place + 1 == notes.len() {
        return true;
    }
    let symbol = notes[place].symbol;
    let pair = symbol.value.value.length() * 2;
    // The second of two halves of a longer value belongs to what came before.
    !(symbol.start / pair).is_integer()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engrave::symbols_from_bars::{UnderSettings, symbols_from_bars};
    use crate::formats::read_melody_bytes;
    use crate::notation::Clef;

    fn bar(metre: &str, notes: &str) -> MusicBar {
        let text = format!("metre = '{metre}'\nbars = ['{notes}']");
        let melody = read_melody_bytes("bar.toml", text.as_bytes()).expect("a bar").melody;
        let under =
            UnderSettings { instrument: None, shift: 0, names: false, fingers: false, strings: false };
        symbols_from_bars(&melody.bars(), under).0.remove(0)
    }

    fn sizes(metre: &str, notes: &str) -> Vec<usize> {
        groups(&bar(metre, notes)).iter().map(Vec::len).collect()
    }

    /// Common practice (Gould, *Behind Bars*, 2011, “Beams”): by the beat, in compound metres by the dotted beat.
    #[test]
    fn beams_follow_the_beat_of_the_metre() {
        assert_eq!(sizes("4/4", "A4 e A4 A4 A4 A4 A4 A4 A4"), [2, 2, 2, 2]);
        assert_eq!(sizes("3/4", "A4 e A4 A4 q A4 s A4 A4 A4"), [2, 4]);
        assert_eq!(sizes("2/2", "A4 e A4 A4 A4 A4 A4 A4 A4"), [4, 4]);
        assert_eq!(sizes("3/8", "A4 e A4 A4"), [3]);
        assert_eq!(sizes("6/8", "A4 e A4 A4 A4 A4 A4"), [3, 3]);
        assert_eq!(sizes("12/8", "A4 e A4 A4 A4 q A4 e A4 A4 A4 A4 q."), [3, 3]);
        assert_eq!(sizes("5/8", "A4 e A4 A4 A4 A4"), [3, 2]);
    }

    #[test]
    fn a_rest_or_a_longer_note_ends_a_beam_and_one_note_alone_has_a_flag() {
        assert_eq!(sizes("4/4", "A4 e rest e A4 q A4 e. A4 s rest e A4 e"), [2]);
        assert_eq!(sizes("4/4", "A4 e A4 q A4 e A4 h"), Vec::<usize>::new());
    }

    #[test]
    fn the_note_farthest_from_the_middle_line_turns_the_stems_of_a_beam() {
        assert!(group_points_up(&[1.5, 4.0]));
        assert!(!group_points_up(&[0.0, 3.5]));
        // As far on both sides: down.
        assert!(!group_points_up(&[1.0, 3.0]));
    }

    fn tips(notes: &str, spacing: f64) -> (Vec<f64>, Vec<f64>, bool) {
        let bar = bar("4/4", notes);
        let heights: Vec<f64> = bar.symbols.iter().filter_map(|one| one.height(Clef::Treble)).collect();
        let place = &groups(&bar)[0];
        let notes: Vec<Beamed> = place
            .iter()
            .enumerate()
            .map(|(at, &symbol)| Beamed {
                symbol: &bar.symbols[symbol],
                x: spacing * at as f64,
                y: heights[symbol],
            })
            .collect();
        let up = group_points_up(&notes.iter().map(|note| note.y).collect::<Vec<_>>());
        (notes.iter().map(|note| note.y).collect(), beam_tips(&notes, up), up)
    }

    /// Ross, *The Art of Music Engraving and Processing*, on beams (from memory): level beams sit on, straddle or hang
    /// from a line; stems are an octave, and a little less under a beam.
    #[test]
    fn beams_lean_with_their_notes_and_leave_every_stem_long_enough() {
        // A4 and E4: heights 2.5 and 4, stems up, the beam leans down to the right.
        let (heights, ends, up) = tips("A4 e E4 rest h.", 4.0);
        assert!(up && ends[1] > ends[0], "{ends:?}");
        assert!(heights.iter().zip(&ends).all(|(y, tip)| y - tip >= 3.25), "{heights:?} {ends:?}");
        // A4 between F4 and E4 comes nearest to the beam above: the beam lies level.
        let (_, ends, up) = tips("F4 s A4 F4 E4 rest h.", 3.0);
        assert!(up && ends.iter().all(|tip| (tip - ends[0]).abs() < 1e-9), "{ends:?}");
        // Ledger notes: the beam reaches the middle line.
        let (_, ends, up) = tips("G3 e A3 rest h.", 4.0);
        assert!(up && ends.iter().all(|&tip| tip <= 2.0 + 1e-9), "{ends:?}");
    }

    #[test]
    fn level_beams_never_float_between_two_lines() {
        for quarter in -8..16 {
            let edge = snapped(f64::from(quarter) / 4.0);
            let place = edge.rem_euclid(1.0);
            assert!(edge <= f64::from(quarter) / 4.0);
            assert!((place - 0.25).abs() > 1e-9 || !(0.0..4.0).contains(&edge), "{edge}");
        }
    }
}
