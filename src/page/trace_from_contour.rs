//! Inside each note: how it began and where it stayed, each note by itself on the line of its own pitch.
//!
//! The contour has a point every 10 ms. A run of voiced frames becomes a path of straight lines that no frame is further
//! away from than a third of a pixel (Ramer 1972; Douglas & Peucker 1973), so that a minute takes some 20 kB.

use super::content::{Room, playing, span};
use super::list_from_report::played_name;
use super::svg::{Align, Elements, Figure, number};
use crate::findings::{NoteFinding, NoteVerdict, Report};
use crate::pitch::F0;
use crate::report::{TextSettings, intonation, words};
use crate::units::Hertz;
use std::fmt::Write;

/// How far, in pixels, the thinned path may be from a frame.
const TOLERANCE: f64 = 0.34;
/// What is drawn reaches so far above and below the pitch, in cents; pixels of a cent.
const REACH: f64 = 75.0;
const CENT: f64 = 0.4;
/// Pixels of a second, and the least and greatest width of a note.
const SECOND: f64 = 42.0;
const WIDTHS: (f64, f64) = (30.0, 120.0);
/// Between two notes, and between two bars, in pixels.
const BETWEEN: f64 = 9.0;
const BETWEEN_BARS: f64 = 22.0;
/// Over the notes of a row (the bar's number), and under them (their names).
const ABOVE: f64 = 20.0;
const BELOW: f64 = 17.0;
/// Beside a row: a box reaches further than its note.
const LEFT: f64 = AROUND + 1.0;
/// How much wider than its note a box is, on each side.
const AROUND: f64 = 3.0;

/// The notes, whole bars in a row where they fit; `None` where nothing was heard of the melody.
pub fn trace(report: &Report, f0: &F0, room: Room) -> Option<Figure> {
    playing(report)?;
    let width = room.width();
    let high = 2.0 * REACH * CENT;
    let row_high = ABOVE + high + BELOW;
    let mut out = Elements::default();
    let (mut x, mut row, mut drawn) = (LEFT, 0, 0);
    for bar in report.notes.chunk_by(|a, b| a.bar == b.bar) {
        let wide = bar.iter().map(note_width).sum::<f64>() + BETWEEN * (bar.len() - 1) as f64;
        if x > LEFT && x + wide > width - LEFT {
            (x, row) = (LEFT, row + 1);
        }
        for (k, note) in bar.iter().enumerate() {
            let wide = note_width(note);
            // A bar that is longer than a row goes on in the next one.
            if x > LEFT && x + wide > width - LEFT {
                (x, row) = (LEFT, row + 1);
            }
            let top = f64::from(row) * row_high + ABOVE;
            if k == 0 {
                out.text("small", (x, top - 5.0), 10.0, Align::Start, &words::bar(note.bar));
            }
            drawn += usize::from(one_note(report, f0, note, [x, top, wide, high], &mut out));
            x += wide + BETWEEN;
        }
        x += BETWEEN_BARS - BETWEEN;
    }
    let label = format!(
        "The pitch inside {}, from its beginning to its end, against its place. The list of notes has the numbers.",
        match drawn {
            1 => "1 note".to_owned(),
            many => format!("each of {many} notes"),
        }
    );
    Some(out.figure(width, f64::from(row + 1) * row_high, label))
}

/// As wide as it was long, within limits.
fn note_width(note: &NoteFinding) -> f64 {
    let seconds = span(note).map_or(0.0, |(onset, offset)| offset - onset);
    (seconds * SECOND).clamp(WIDTHS.0, WIDTHS.1)
}

/// Draws a note into its room (left, top, width, height); whether anything was heard of it.
fn one_note(
    report: &Report,
    f0: &F0,
    note: &NoteFinding,
    [left, top, wide, high]: [f64; 4],
    out: &mut Elements,
) -> bool {
    let (middle, right) = (top + high / 2.0, left + wide);
    let named = |out: &mut Elements, name: &str| {
        out.text("words", (left + wide / 2.0, top + high + 11.0), 11.0, Align::Middle, &signs(name));
    };
    let written = words::pitch(&note.written);
    let (Some((onset, offset)), Some(place)) = (span(note), place(report, note)) else {
        out.line("hair", (left, middle), (right, middle));
        named(out, &written);
        return false;
    };
    let good = intonation::IN_TUNE_CENTS * CENT;
    out.line("hair", (left, middle), (right, middle));
    for (end, tick) in [(left, 4.0), (right, -4.0)] {
        out.path(
            "bracket",
            &format!(
                "M{} {}H{}V{}H{}",
                number(end + tick),
                number(middle - good),
                number(end),
                number(middle + good),
                number(end + tick)
            ),
        );
    }
    let points: Vec<(f64, f64)> = frames(report, f0, (onset, offset), place)
        .map(|(seconds, cents)| {
            (left + 2.0 + (seconds - onset) / (offset - onset) * (wide - 4.0), middle - cents * CENT)
        })
        .collect();
    let gap = 2.5 * f0.hop.0 / (offset - onset) * (wide - 4.0);
    let mut path = String::new();
    for run in points.chunk_by(|a, b| b.0 - a.0 < gap) {
        for (k, point) in thinned(run).iter().enumerate() {
            let command = if k == 0 { 'M' } else { 'L' };
            let _ = write!(path, "{command}{} {}", number(point.0), number(point.1));
        }
    }
    out.path("trace", &path);
    if let Some(first) = points.first() {
        out.circle("mark", *first, 2.4, &format!("{}: it began here", words::place(note.bar, note.beat)));
    }
    match (note.verdict, played_name(report, note)) {
        (NoteVerdict::Wrong, Some(played)) => {
            // A box, as on the staff: another note than the written one.
            out.rect("board", [left - AROUND, top + 3.0, wide + 2.0 * AROUND, high - 6.0]);
            named(out, &played);
        }
        (NoteVerdict::Unsure, _) => named(out, &format!("{written}?")),
        _ => named(out, &written),
    }
    true
}

/// What is drawn of a note: seconds, and cents from `place`.
fn frames(
    report: &Report,
    f0: &F0,
    (onset, offset): (f64, f64),
    place: f64,
) -> impl Iterator<Item = (f64, f64)> {
    let a4 = Hertz(report.melody.a4_hz);
    f0.pitches.iter().enumerate().filter_map(move |(frame, pitch)| {
        let seconds = frame as f64 * f0.hop.0;
        let cents = 100.0 * (pitch.filter(|_| seconds >= onset && seconds < offset)?.midi(a4).0 - place);
        (cents.abs() < REACH).then_some((seconds, cents))
    })
}

/// Whether there is a note that was heard and has no line, as one below the lowest string.
pub fn has_note_without_line(report: &Report, f0: &F0) -> bool {
    let heard = report.notes.iter().filter_map(|note| span(note).zip(place(report, note)));
    heard.into_iter().any(|(times, place)| frames(report, f0, times, place).next().is_none())
}

/// The pitch that stands in the middle, as a MIDI number: where the note belongs on its string as that is tuned; of
/// another note its own nearest semitone.
fn place(report: &Report, note: &NoteFinding) -> Option<f64> {
    let whole = report.tuning.offset_cents.filter(|cents| cents.is_finite()).unwrap_or(0.0);
    let written = f64::from(note.written_midi);
    let midi = match note.verdict {
        NoteVerdict::Right => {
            let found = intonation::of(report, note, &TextSettings::default());
            let allowed = found.zip(note.cents).map(|(found, cents)| cents - found.finger_cents);
            written + allowed.unwrap_or(whole) / 100.0
        }
        NoteVerdict::Wrong => (note.played_midi? - whole / 100.0).round() + whole / 100.0,
        NoteVerdict::Unsure => written + whole / 100.0,
        NoteVerdict::Missing => return None,
    };
    midi.is_finite().then_some(midi)
}

/// `F♯`; in which octave is said in the list.
fn signs(name: &str) -> String {
    let octave =
        name.find(" an octave").or_else(|| name.find(" octaves").and_then(|at| name[..at].rfind(' ')));
    name[..octave.unwrap_or(name.len())].replace(" sharp", "♯").replace(" flat", "♭").replace(" natural", "")
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
    fn under_a_note_stands_its_letter_alone() {
        let names = ["F sharp", "B flat", "F natural", "D an octave lower", "F sharp 2 octaves higher", "G"];
        assert_eq!(names.map(signs), ["F♯", "B♭", "F", "D", "F♯", "G"]);
    }
    use crate::notation::Instrument;
    use crate::report::sample_report::{report, unheard, wrong};
    use crate::units::Seconds;

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

    /// 440 Hz is A4; a semitone below it is 415.3 Hz.
    #[test]
    fn a_note_stands_on_its_own_line_and_another_note_in_a_box() {
        let mut report = report(Instrument::Violin, &["A4", "A4", "A4", "A4"]);
        wrong(&mut report, 1, -1.0);
        unheard(&mut report, 2, NoteVerdict::Missing);
        let hertz = |seconds: f64| if (0.75..1.45).contains(&seconds) { 415.3 } else { 440.0 };
        let pitches = (0..320).map(|frame| Some(Hertz(hertz(f64::from(frame) * 0.01)))).collect();
        let f0 = F0 { hop: Seconds(0.01), pitches };
        for room in [Room::Wide, Room::Narrow] {
            let figure = trace(&report, &f0, room).expect("a figure");
            assert!(figure.label.contains("each of 3 notes"), "{}", figure.label);
            let middle = number(ABOVE + REACH * CENT);
            assert_eq!(figure.elements.matches("class=\"board\"").count(), 1);
            assert_eq!(figure.elements.matches("class=\"bracket\"").count(), 6);
            let lines: Vec<&str> = figure.elements.split("class=\"trace\" d=\"").skip(1).collect();
            assert_eq!(lines.len(), 3);
            for line in lines {
                let data = line.split('"').next().expect("an end");
                let heights: Vec<&str> = data
                    .split(['M', 'L'])
                    .filter_map(|point| point.split_once(' '))
                    .map(|point| point.1)
                    .collect();
                assert!(heights.iter().all(|height| *height == middle), "{heights:?} {middle}");
            }
        }
    }

    #[test]
    fn boxes_stay_inside_the_figure() {
        let mut report = report(Instrument::Violin, &["A4", "A4"]);
        wrong(&mut report, 0, -1.0);
        let f0 = F0 { hop: Seconds(0.01), pitches: vec![Some(Hertz(415.3)); 320] };
        let figure = trace(&report, &f0, Room::Narrow).expect("a figure");
        let board = figure.elements.split("class=\"board\" x=\"").nth(1).expect("a box");
        let left: f64 = board.split('"').next().expect("an end").parse().expect("a number");
        assert!(left >= 0.5, "{left}");
    }

    #[test]
    fn a_note_whose_pitch_was_not_followed_is_told() {
        let mut report = report(Instrument::Violin, &["A4", "A4"]);
        let followed = F0 { hop: Seconds(0.01), pitches: vec![Some(Hertz(440.0)); 320] };
        assert!(!has_note_without_line(&report, &followed));
        let not = F0 { pitches: vec![None; 320], ..followed.clone() };
        assert!(has_note_without_line(&report, &not));
        unheard(&mut report, 0, NoteVerdict::Missing);
        unheard(&mut report, 1, NoteVerdict::Missing);
        assert!(!has_note_without_line(&report, &not), "what was not heard has no place for a line");
    }

    #[test]
    fn bars_are_kept_whole_and_a_bar_longer_than_a_row_goes_on_in_the_next() {
        let f0 = F0 { hop: Seconds(0.01), pitches: vec![Some(Hertz(440.0)); 4_000] };
        let high = |notes: usize, room: Room| {
            let report = report(Instrument::Violin, &vec!["A4"; notes]);
            let figure = trace(&report, &f0, room).expect("a figure");
            assert_eq!(figure.elements.matches(">bar ").count(), notes.div_ceil(4));
            (figure.height / (ABOVE + 2.0 * REACH * CENT + BELOW)).round() as usize
        };
        // Four of the least width and their gaps: 147 pixels a bar.
        assert_eq!([4, 8, 16].map(|notes| high(notes, Room::Narrow)), [1, 1, 2]);
        assert_eq!([4, 16, 20].map(|notes| high(notes, Room::Wide)), [1, 1, 2]);
        let mut long = report(Instrument::Violin, &["A4"; 12]);
        long.notes.iter_mut().for_each(|note| note.bar = 1);
        let figure = trace(&long, &f0, Room::Narrow).expect("a figure");
        assert!(figure.height > 100.0 && figure.elements.matches(">bar ").count() == 1);
    }
}
