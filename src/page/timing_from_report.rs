//! Timing, bar by bar: where each note began against the steady beat of the player.

use super::content::Room;
use super::svg::{Align, Elements, Figure};
use crate::engrave::HEARD_AS_ON_TIME_BEATS;
use crate::findings::{NoteFinding, NoteVerdict, Report};
use crate::notation::Melody;
use crate::report::{no_new_bow, words};

/// The bars in rows (two columns where there is room); `None` where no onset is known.
pub fn timing(report: &Report, melody: &Melody, room: Room) -> Option<Figure> {
    report.notes.iter().find(|note| note.onset_error_beats.is_some())?;
    let sheet = melody.bars();
    let bars: Vec<&[NoteFinding]> = report.notes.chunk_by(|a, b| a.bar == b.bar && b.beat > a.beat).collect();
    let columns = match room {
        Room::Wide if bars.len() > 3 => 2,
        _ => 1,
    };
    let rows = bars.len().div_ceil(columns);
    let (column, height) = (room.width() / columns as f64, 44.0);
    let mut out = Elements::default();
    let mut at_note = 0;
    for (k, bar) in bars.iter().enumerate() {
        let written = sheet.iter().find(|written| written.number == bar[0].bar);
        let beats = written.map_or(melody.metre, |written| written.metre).beats.max(1);
        let (left, top) = ((k / rows) as f64 * column, (k % rows) as f64 * height);
        let (line, mark) = (top + 26.0, top + 14.0);
        let (from, to) = (left + 52.0, left + column - 30.0);
        let x = |beat: f64| from + (beat - 1.0) / f64::from(beats) * (to - from);
        out.text("words", (left, line), 11.0, Align::Start, &words::bar(bar[0].bar));
        out.line("ink", (from, line), (to, line));
        for beat in 0..=beats {
            let at = x(f64::from(beat) + 1.0);
            out.line("hair", (at, top + 6.0), (at, line + 3.0));
        }
        let mut said_until = f64::NEG_INFINITY;
        for note in *bar {
            let here = at_note;
            at_note += 1;
            let place = words::place(note.bar, note.beat);
            let written = x(note.beat);
            if note.verdict == NoteVerdict::Missing {
                out.line("bar", (written, mark - 5.0), (written, line));
                let words = if no_new_bow(report, here) { "no new bow" } else { "not heard" };
                out.text("small", (written, line + 12.0), 9.0, Align::Middle, words);
                continue;
            }
            let Some(error) = note.onset_error_beats.filter(|error| error.is_finite()) else { continue };
            let error = error.clamp(-1.0, 1.0);
            let on_time = error.abs() < HEARD_AS_ON_TIME_BEATS;
            let at = (x(note.beat + error).clamp(from - 12.0, to + 24.0), mark);
            out.line(if on_time { "ink" } else { "accent" }, (written, line), at);
            let side = if error < 0.0 { "early" } else { "late" };
            let title = format!("{place}: {:.2} beats {side}", error.abs());
            if on_time {
                out.circle("mark", at, 3.5, &title);
            } else {
                out.diamond("hollow", at, 5.0, &title);
                if written - said_until > 48.0 {
                    let text = format!("{:.1} {side}", error.abs());
                    out.text("small", (written, line + 12.0), 9.0, Align::Middle, &text);
                    said_until = written;
                }
            }
        }
    }
    let errors = report.notes.iter().filter_map(|note| note.onset_error_beats);
    let off = errors.filter(|error| error.abs() >= HEARD_AS_ON_TIME_BEATS).count();
    let began = if off == 0 { "no note".to_owned() } else { words::count(off, "note", "notes") };
    let label = format!(
        "{}, each a line with its beats; {began} began a tenth of a beat or more early or late.",
        words::count(bars.len(), "bar", "bars"),
    );
    Some(out.figure(room.width(), rows as f64 * height, label))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_melody_bytes;
    use crate::notation::Instrument;
    use crate::report::sample_report::report;

    /// Strokes of beats are the thin lines: one more than beats in each bar.
    #[test]
    fn each_bar_has_the_beats_of_its_own_metre() {
        let text = "instrument = 'violin'\nmetre = '2/4'\nbars = ['D4 q E4', '3/4: F#4 q G4 A4', '4/4: D4 q E4 F#4 G4']";
        let melody = read_melody_bytes("m.toml", text.as_bytes()).expect("a melody").melody;
        let mut report =
            report(Instrument::Violin, &["D4", "E4", "F#4", "G4", "A4", "D4", "E4", "F#4", "G4"]);
        for (note, event) in report.notes.iter_mut().zip(&melody.events) {
            (note.bar, note.beat) = (event.bar, crate::notation::as_f64(event.beat));
        }
        for room in [Room::Wide, Room::Narrow] {
            let figure = timing(&report, &melody, room).expect("a figure");
            assert_eq!(figure.elements.matches("class=\"hair\"").count(), 3 + 4 + 5);
            assert!(figure.label.starts_with("3 bars"), "{}", figure.label);
        }
    }
}
