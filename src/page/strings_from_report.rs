//! How each string that was heard open, or on which everything is off together, is tuned: four strings hang from one nut, and each ends as far below or above a
//! level line as it is low or high. A slack string hangs down further.

use super::content::Room;
use super::svg::{Align, Elements, Figure};
use crate::findings::Report;
use crate::report::intonation::GOOD_STRING_CENTS;
use crate::report::tuning::off_by;
use crate::report::words;

/// Pixels of a cent, and the cents beyond which nothing is drawn further.
const CENT: f64 = 0.8;
const FURTHEST: f64 = 50.0;
/// From the nut to the level line, in pixels.
const HANGING: f64 = 62.0;
/// How thick the strings are drawn, low to high, in pixels.
const THICK: [f64; 4] = [4.0, 3.2, 2.4, 1.6];

/// The four strings, low to high; `None` where none is known.
pub fn strings(report: &Report, room: Room) -> Option<Figure> {
    let names = report.melody.instrument.string_names();
    let heard = names.map(|name| {
        let string = report.tuning.strings.iter().find(|string| string.string == name)?;
        Some(off_by(report, string)).filter(|cents| cents.is_finite())
    });
    heard.iter().flatten().next()?;
    let width = room.width();
    let (left, right) = match room {
        Room::Wide => (110.0, 570.0),
        Room::Narrow => (38.0, width),
    };
    let (top, column) = (22.0, (right - left) / 4.0);
    let (nut, level) = (top + 5.0, top + 5.0 + HANGING);
    // As far down as the lowest string hangs.
    let lowest = heard.iter().flatten().fold(0.0, |far: f64, cents| far.max(-cents)).min(FURTHEST);
    let below = level + lowest * CENT + 20.0;
    let mut out = Elements::default();
    out.rect("nut", [left, top, right - left, 5.0]);
    out.text("small", (left - 5.0, level + 3.5), 10.0, Align::End, "in tune");
    out.line("bar", (left, level), (right, level));
    for (k, (name, cents)) in names.into_iter().zip(heard).enumerate() {
        let x = left + (k as f64 + 0.5) * column;
        out.text("words", (x, top - 7.0), 13.0, Align::Middle, name);
        let Some(cents) = cents else { continue };
        let end = level - cents.clamp(-FURTHEST, FURTHEST) * CENT;
        out.rect("nut", [x - THICK[k] / 2.0, nut, THICK[k], end - nut]);
        out.rect("nut", [x - 5.0, end - 1.5, 10.0, 3.0]);
        let lines = match (said(cents), cents.round() != 0.0 && cents.abs() <= GOOD_STRING_CENTS) {
            (said, true) => said
                .split_once(" (")
                .map_or(vec![said.clone()], |(first, second)| vec![first.to_owned(), format!("({second}")]),
            (said, false) => vec![said],
        };
        for (row, line) in lines.iter().enumerate() {
            out.text("words", (x, below + 14.0 * row as f64), 11.0, Align::Middle, line);
        }
    }
    let (open, silent): (Vec<_>, Vec<_>) =
        names.into_iter().zip(heard).partition(|(_, cents)| cents.is_some());
    let open: Vec<String> =
        open.iter().map(|(name, cents)| format!("{name} {}", said(cents.unwrap_or(0.0)))).collect();
    let silent: Vec<String> = silent.iter().map(|(name, _)| (*name).to_owned()).collect();
    let not = match silent.is_empty() {
        true => String::new(),
        false => format!("; not surely heard: {}", words::list(&silent)),
    };
    Some(out.figure(width, below + 20.0, format!("Strings: {}{not}.", open.join("; "))))
}

/// `in tune`, `in tune (1 cent low)`, `22 cents low`.
fn said(cents: f64) -> String {
    let count = words::count(cents.abs().round() as usize, "cent", "cents");
    let off = format!("{count} {}", words::low_or_high(cents));
    match cents.abs() {
        near if near.round() == 0.0 => "in tune".to_owned(),
        near if near <= GOOD_STRING_CENTS => format!("in tune ({off})"),
        _ => off,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::StringTuning;
    use crate::notation::{Fifths, Instrument};
    use crate::report::sample_report::report;

    fn tuned(strings: &[(&str, f64)]) -> Report {
        let mut report = report(Instrument::Viola, &["D4"]);
        let tuning = |&(string, cents): &(&str, f64)| StringTuning { string: string.into(), cents, notes: 2 };
        report.tuning.strings = strings.iter().map(tuning).collect();
        report
    }

    #[test]
    fn the_words_have_a_side_and_small_ones_are_in_tune() {
        let all = [-22.4, -1.2, 4.9, 5.2, 0.3].map(said);
        assert_eq!(
            all,
            ["22 cents low", "in tune (1 cent low)", "in tune (5 cents high)", "5 cents high", "in tune"]
        );
    }

    /// The foot of a string is the rectangle 10 pixels wide.
    fn feet(figure: &Figure) -> Vec<f64> {
        let svg = figure.svg("wide");
        let tree = roxmltree::Document::parse(&svg).expect("well-formed");
        let number = |node: &roxmltree::Node<'_, '_>, name: &str| -> f64 {
            node.attribute(name).and_then(|value| value.parse().ok()).expect("a number")
        };
        tree.descendants()
            .filter(|node| node.has_tag_name("rect") || node.tag_name().name() == "rect")
            .filter(|node| number(node, "width") == 10.0)
            .map(|node| number(&node, "y") + 1.5)
            .collect()
    }

    #[test]
    fn a_low_string_hangs_below_the_level_line_and_a_high_one_ends_above_it() {
        for room in [Room::Wide, Room::Narrow] {
            let report = tuned(&[("C", -22.0), ("G", 0.0), ("A", 10.0)]);
            let figure = strings(&report, room).expect("a figure");
            let [low, level, high] = feet(&figure)[..] else { panic!("three strings were heard") };
            assert!((low - level - 17.6).abs() < 0.11 && (level - high - 8.0).abs() < 0.11);
            assert_eq!(
                figure.label,
                "Strings: C 22 cents low; G in tune; A 10 cents high; not surely heard: D."
            );
        }
    }

    #[test]
    fn a_string_tuned_in_pure_fifths_is_in_tune_where_those_are_asked_for() {
        let mut report = tuned(&[("C", -5.87)]);
        report.melody.fifths = Fifths::Pure;
        assert!(strings(&report, Room::Wide).expect("a figure").label.contains("C in tune;"));
        assert_eq!(strings(&tuned(&[]), Room::Wide), None);
        assert_eq!(strings(&tuned(&[("X", 3.0)]), Room::Narrow), None);
    }
}
