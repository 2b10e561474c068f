//! The pitch trace over time: what the pitch tracker heard, between lines for the notes that the melody has.
//!
//! The contour has a point every 10 ms. A run of voiced frames becomes a path of straight lines that no frame is further
//! away from than a third of a pixel (Ramer 1972; Douglas & Peucker 1973), so that a minute takes some 20 kB.

use super::content::{Room, playing, span};
use super::svg::{Align, Elements, Figure, number};
use crate::findings::{NoteVerdict, Report};
use crate::pitch::F0;
use crate::report::words;
use crate::units::Hertz;
use std::fmt::Write;

/// How far, in pixels, the thinned path may be from a frame.
const TOLERANCE: f64 = 0.34;
/// Seconds before the first and after the last note.
const AROUND: f64 = 0.3;
/// More than this many semitones from one frame to the next is no glide: the line breaks.
const JUMP: f64 = 4.0;

/// The trace in one or more rows; `None` where nothing was heard of the melody.
pub fn trace(report: &Report, f0: &F0, room: Room) -> Option<Figure> {
    let (first, last) = playing(report)?;
    let (start, end) = ((first - AROUND).max(0.0), last + AROUND);
    let offset = report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    let heard = |midi: f64| midi - offset;
    let mut lines: Vec<(i32, String)> =
        report.notes.iter().map(|note| (note.written_midi, sign(&words::pitch(&note.written)))).collect();
    let others = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Wrong);
    let others =
        others.filter_map(|note| note.played_midi).chain(report.extra.iter().map(|extra| extra.played_midi));
    let others = others.filter(|midi| (0.0..128.0).contains(midi)).map(|midi| heard(midi).round() as i32);
    lines.extend(others.map(|midi| (midi, sign(&words::common_name(midi)))));
    lines.sort_by_key(|line| line.0);
    lines.dedup_by_key(|line| line.0);
    let (low, high) = (lines.first()?.0 as f64 - 1.2, lines.last()?.0 as f64 + 1.2);

    let width = room.width();
    let (left, right) = (44.0, 6.0);
    let (longest_row, most_rows) = match room {
        Room::Wide => (16.0, 4.0),
        Room::Narrow => (7.0, 9.0),
    };
    let rows = ((end - start) / longest_row).ceil().clamp(1.0, most_rows);
    let row_seconds = (end - start) / rows;
    let semitone = (150.0 / (high - low)).clamp(7.0, 14.0);
    let (above, below) = (16.0, 22.0);
    let row_height = above + (high - low) * semitone + below;
    let mut out = Elements::default();
    let points: Vec<(f64, f64)> = f0
        .pitches
        .iter()
        .enumerate()
        .filter_map(|(frame, pitch)| {
            let midi = pitch.map(|pitch| heard(pitch.midi(Hertz(report.melody.a4_hz)).0))?;
            (midi > low && midi < high).then_some((frame as f64 * f0.hop.0, midi))
        })
        .collect();
    let bars = bar_starts(report);
    for row in 0..rows as usize {
        let from = start + row as f64 * row_seconds;
        let to = from + row_seconds;
        let top = row as f64 * row_height + above;
        let bottom = top + (high - low) * semitone;
        let x = |seconds: f64| left + (seconds - from) / row_seconds * (width - left - right);
        let y = |midi: f64| top + (high - midi) * semitone;
        let inside = |seconds: f64| seconds >= from && seconds < to;
        for note in &report.notes {
            let Some((onset, offset)) = span(note).filter(|span| span.1 > from && span.0 < to) else {
                continue;
            };
            let (a, b) = (x(onset.max(from)), x(offset.min(to)));
            out.rect("band", [a, y(f64::from(note.written_midi) + 0.5), b - a, semitone]);
        }
        let mut label_before: Option<(f64, bool)> = None;
        for (midi, name) in &lines {
            let at = y(f64::from(*midi));
            out.line("hair", (left, at), (width - right, at));
            let second = label_before.is_some_and(|(before, second)| before - at < 10.0 && !second);
            let place = if second { left - 24.0 } else { left - 4.0 };
            out.text("small", (place, at + 3.5), 10.0, Align::End, name);
            label_before = Some((at, second));
        }
        for (bar, seconds) in bars.iter().filter(|bar| inside(bar.1)) {
            out.line("bar", (x(*seconds), top), (x(*seconds), bottom));
            if x(*seconds) < width - right - 36.0 {
                out.text("small", (x(*seconds) + 2.0, top - 4.0), 10.0, Align::Start, &format!("bar {bar}"));
            }
        }
        out.line("ink", (left, bottom), (width - right, bottom));
        for second in from.ceil() as i64..=to.floor() as i64 {
            let at = x(second as f64);
            out.line("ink", (at, bottom), (at, bottom + 3.0));
            if row_seconds < 20.0 || second % 5 == 0 {
                out.text("small", (at, bottom + 13.0), 9.0, Align::Middle, &format!("{second} s"));
            }
        }
        let row_points: Vec<(f64, f64)> = points.iter().copied().filter(|point| inside(point.0)).collect();
        let gap = 2.5 * f0.hop.0;
        let mut path = String::new();
        for run in row_points.chunk_by(|a, b| b.0 - a.0 < gap && (b.1 - a.1).abs() < JUMP) {
            let drawn: Vec<(f64, f64)> = run.iter().map(|point| (x(point.0), y(point.1))).collect();
            for (k, point) in thinned(&drawn).iter().enumerate() {
                let command = if k == 0 { 'M' } else { 'L' };
                let _ = write!(path, "{command}{} {}", number(point.0), number(point.1));
            }
        }
        out.path("trace", &path);
    }
    let names: Vec<&str> = lines.iter().map(|line| line.1.as_str()).collect();
    let label = format!(
        "Pitch over time from {start:.1} to {end:.1} seconds, between lines for {}.",
        names.join(", ")
    );
    Some(out.figure(width, rows * row_height, label))
}

/// `F♯`.
fn sign(name: &str) -> String {
    name.replace(" sharp", "♯").replace(" flat", "♭")
}

/// When each bar begins: at the first note heard in it, less the beats before that note at the player's own tempo.
fn bar_starts(report: &Report) -> Vec<(u32, f64)> {
    let beat = report.tempo.played_bpm.filter(|bpm| *bpm > 0.0).map_or(0.0, |bpm| 60.0 / bpm);
    let mut bars: Vec<(u32, f64)> = Vec::new();
    for note in &report.notes {
        let Some((onset, _)) = span(note) else { continue };
        if bars.last().is_none_or(|bar| bar.0 != note.bar) {
            bars.push((note.bar, onset - (note.beat - 1.0) * beat));
        }
    }
    bars
}

/// The points that are needed so that no left-out one is further than [`TOLERANCE`] from the line.
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let Some(last) = points.len().checked_sub(1) else { return Vec::new() };
    let mut kept = vec![false; points.len()];
    (kept[0], kept[last]) = (true, true);
    let mut open = vec![(0, last)];
    while let Some((a, b)) = open.pop() {
        let (p, q) = (points[a], points[b]);
        let (dx, dy) = (q.0 - p.0, q.1 - p.1);
        let length = dx.hypot(dy).max(1e-9);
        let away = |k: usize| ((points[k].0 - p.0) * dy - (points[k].1 - p.1) * dx).abs() / length;
        let furthest = (a + 1..b).max_by(|&i, &j| away(i).total_cmp(&away(j)));
        if let Some(k) = furthest.filter(|&k| away(k) > TOLERANCE) {
            kept[k] = true;
            open.extend([(a, k), (k, b)]);
        }
    }
    points.iter().zip(kept).filter_map(|(point, kept)| kept.then_some(*point)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_line_keeps_its_ends_and_a_wobble_keeps_its_shape() {
        let straight: Vec<(f64, f64)> = (0..100).map(|k| (f64::from(k), 5.0)).collect();
        assert_eq!(thinned(&straight), [(0.0, 5.0), (99.0, 5.0)]);
        let wobble: Vec<(f64, f64)> =
            (0..100).map(|k| (f64::from(k), 3.0 * (f64::from(k) * 0.3).sin())).collect();
        let kept = thinned(&wobble);
        assert!(kept.len() > 10 && kept.len() < 60, "{}", kept.len());
        for (px, py) in wobble {
            let pair = kept.windows(2).find(|pair| pair[0].0 <= px && px <= pair[1].0).expect("a piece");
            let line = pair[0].1 + (pair[1].1 - pair[0].1) * (px - pair[0].0) / (pair[1].0 - pair[0].0);
            assert!((line - py).abs() < 0.6);
        }
        assert!(thinned(&[]).is_empty());
    }
}
