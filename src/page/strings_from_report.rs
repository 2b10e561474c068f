//! How each string that was heard open is tuned, from 50 cents low to 50 cents high.

use super::content::Room;
use super::svg::{Align, Elements, Figure};
use crate::findings::Report;
use crate::report::intonation::GOOD_STRING_CENTS;
use crate::report::tuning::flat_or_sharp;
use crate::report::words;

/// The end of the scale, in cents.
const END: f64 = 50.0;

/// A line for each string; `None` where none was heard open.
pub fn strings(report: &Report, room: Room) -> Option<Figure> {
    let heard = &report.tuning.strings;
    heard.first()?;
    let (left, right, height) = (28.0, 96.0, 26.0);
    let width = room.width();
    let x = |cents: f64| left + (cents.clamp(-END, END) + END) / (2.0 * END) * (width - left - right);
    let mut out = Elements::default();
    let bottom = heard.len() as f64 * height;
    let good = [x(-GOOD_STRING_CENTS), 2.0, x(GOOD_STRING_CENTS) - x(-GOOD_STRING_CENTS), bottom];
    out.rect("tape", good);
    out.hatch("hatch", good, 4.0);
    let mut said = Vec::new();
    for (k, string) in heard.iter().enumerate() {
        let y = k as f64 * height + 15.0;
        let name = words::harmless(&string.string);
        let off = match string.cents.abs() {
            near if near < 0.5 => "in tune".to_owned(),
            far => format!("{far:.0} cents {}", flat_or_sharp(string.cents)),
        };
        out.text("words", (0.0, y + 4.0), 12.0, Align::Start, &name);
        out.line("cord", (left, y), (width - right, y));
        out.line("ink", (x(0.0), y - 8.0), (x(0.0), y + 8.0));
        out.circle("mark", (x(string.cents), y), 4.5, &off);
        out.text("words", (width - right + 8.0, y + 4.0), 12.0, Align::Start, &off);
        said.push(format!("{name}: {off}"));
    }
    for (cents, words) in [(-END, "50 low"), (0.0, "in tune"), (END, "50 high")] {
        out.text("small", (x(cents), bottom + 14.0), 10.0, Align::Middle, words);
    }
    Some(out.figure(width, bottom + 20.0, format!("Open strings, in cents. {}.", said.join("; "))))
}
