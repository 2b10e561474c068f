//! Open strings as text: one string in sentences, all four as a table with the intervals between them.

use super::string_words::{CAREFUL, elsewhere, how_far, moves_by, off_by, what_to_turn};
use super::text_for_child::wrapped;
use super::{TextSettings, words};
use crate::notation::{Fifths, Instrument};
use crate::open_string::{FourStrings, OpenStrings, Pair, Verdict, in_tune, pairs, which_to_fix_first};
use std::fmt::Write;

/// Pairs that beat less than this a second are as good as pure: nobody hears it in a bow's time.
const SLOW_BEATS: f64 = 0.5;

/// What was heard of one string.
pub fn one_string_text(heard: &FourStrings, asked: usize, settings: &TextSettings) -> String {
    let strings = heard.strings();
    let name = strings.instrument.string_names()[asked];
    let mut text = settings.heading(&format!(
        "{name} string of a {}: should be {:.2} Hz ({})",
        strings.instrument,
        strings.should_be(asked).0,
        tuning(strings)
    ));
    for line in one_string_lines(heard, asked) {
        text.push_str(&wrapped(&line));
    }
    text
}

/// What was heard of one string and what to do about it, a sentence or two each.
pub(super) fn one_string_lines(heard: &FourStrings, asked: usize) -> Vec<String> {
    let strings = heard.strings();
    let name = strings.instrument.string_names()[asked];
    match heard.verdict(asked) {
        Verdict::Read(reading) if reading.steady => {
            let cents = reading.cents.0;
            let mut lines = vec![format!(
                "{}: {:.2} Hz, {}. (While you bowed, it moved by {} up and down.)",
                words::sentence(&how_far(cents)),
                reading.pitch.0,
                off_by(cents),
                match reading.moves.0.max(0.5).round() {
                    1.0 => "1 cent".to_owned(),
                    cents => format!("{cents:.0} cents"),
                },
            )];
            lines.extend(what_to_turn(strings.instrument, cents));
            lines
        }
        Verdict::Read(reading) => vec![
            format!("{name} sounds, about {}. That is not certain.", off_by(reading.cents.0)),
            moves_by(reading.moves.0),
            "Ask again before you turn anything.".to_owned(),
        ],
        Verdict::Elsewhere(place, _) => elsewhere(strings, asked, place),
        Verdict::Swinging => vec![
            "This sounds like a stopped note: it swings like vibrato, and an open string does not."
                .to_owned(),
            format!("Lift all fingers and bow the {name} string by itself."),
        ],
        Verdict::Wandering => vec![
            "The pitch moves too much to be read.".to_owned(),
            "Bow slower and straighter, with the whole bow.".to_owned(),
        ],
        Verdict::Nothing => vec![
            format!("No tone that lasted long enough: bow the open {name} string for two seconds or more."),
            "If you did, move the microphone closer, and wait until the room is quiet.".to_owned(),
        ],
    }
}

/// What was heard of all four strings.
pub fn all_strings_text(heard: &FourStrings, settings: &TextSettings) -> String {
    let strings = heard.strings();
    let instrument = strings.instrument;
    let names = instrument.string_names();
    let readings = heard.readings();
    let mut text = settings.heading(&format!("Open strings of a {instrument} ({})", tuning(strings)));
    let _ = writeln!(text, "  string   should be      heard       off by");
    for string in 0..4 {
        let should_be = strings.should_be(string).0;
        let _ = match readings[string] {
            Some(reading) if !reading.steady => writeln!(
                text,
                "  {:<6} {should_be:>8.2} Hz {:>8.2} Hz   about: it moved by ±{:.0} cents",
                names[string], reading.pitch.0, reading.moves.0
            ),
            Some(reading) => writeln!(
                text,
                "  {:<6} {should_be:>8.2} Hz {:>8.2} Hz   {:<14} {}",
                names[string],
                reading.pitch.0,
                off_by(reading.cents.0),
                how_far(reading.cents.0)
            ),
            None => writeln!(text, "  {:<6} {should_be:>8.2} Hz          -    not heard", names[string]),
        };
    }
    let between = pairs(instrument, &readings);
    if !between.is_empty() {
        let interval = interval(instrument);
        text.push('\n');
        text.push_str(&settings.heading(&format!("Two strings together, beside a pure {interval}")));
        for pair in &between {
            let strings_fine = [pair.low, pair.low + 1]
                .iter()
                .all(|&string| readings[string].is_some_and(|one| in_tune(one.cents)));
            text.push_str(&wrapped(&pair_line(instrument, pair, strings_fine)));
        }
        if strings.fifths == Fifths::Equal {
            text.push_str(&wrapped(&format!(
                "(In equal temperament every {interval} is 2 cents {} than the pure one: that much is no fault.)",
                if instrument.tuned_in_fourths() { "wider" } else { "narrower" }
            )));
        }
    }
    text.push('\n');
    text.push_str(&settings.heading("What to do"));
    for line in what_to_do(heard) {
        text.push_str(&wrapped(&line));
    }
    text
}

/// Two strings together. Where one of them is to be tuned the two are not called fine.
fn pair_line(instrument: Instrument, pair: &Pair, strings_fine: bool) -> String {
    let names = instrument.string_names();
    let wide = match pair.cents_wide.0.round() {
        0.0 => "pure".to_owned(),
        cents => format!(
            "{:.0} {} {}",
            cents.abs(),
            if cents.abs() == 1.0 { "cent" } else { "cents" },
            match (cents > 0.0, in_tune(pair.cents_wide)) {
                (true, true) if strings_fine => "wider than pure: fine",
                (false, true) if strings_fine => "narrower than pure: fine",
                (true, true) => "wider than pure",
                (false, true) => "narrower than pure",
                (true, false) => "too wide",
                (false, false) => "too narrow",
            }
        ),
    };
    let beats = match pair.beats {
        slow if slow < SLOW_BEATS => "hardly a beat to be heard".to_owned(),
        beats => format!("{beats:.1} beats a second"),
    };
    format!("{} and {}: {wide}, {beats}.", names[pair.low], names[pair.low + 1])
}

/// What to fix first, in sentences.
pub(super) fn what_to_do(heard: &FourStrings) -> Vec<String> {
    let instrument = heard.strings().instrument;
    let names = instrument.string_names();
    let readings = heard.readings();
    let order = which_to_fix_first(instrument, &readings);
    let mut lines = Vec::new();
    let missing: Vec<usize> = (0..4).filter(|&string| readings[string].is_none()).collect();
    for &string in &missing {
        lines.extend(heard.perhaps_slack(string).map(|stretch| {
            format!(
                "The {} string was not heard near its pitch, but at {:.1} s there was a tone {:.0} cents below it. If that was \
                 the open {} string, it is much too slack. {CAREFUL}",
                names[string],
                stretch.from.0,
                stretch.pitch.cents_above(heard.strings().should_be(string)).0.abs(),
                names[string],
            )
        }));
    }
    // What may be dangerous comes first.
    let first_line = lines.len();
    for &string in missing.iter().filter(|&&string| heard.perhaps_slack(string).is_none()) {
        lines.push(if heard.swings_near(string) {
            format!(
                "Near {} there was only a tone that swings like vibrato, a stopped note: bow the open string, no finger down.",
                names[string]
            )
        } else {
            format!(
                "The {} string was not heard, or not near its pitch: bow it by itself, two seconds long, no finger down.",
                names[string]
            )
        });
    }
    for reading in readings.iter().flatten().filter(|reading| !reading.steady) {
        lines.push(format!("{} was not steady. {}", names[reading.string], moves_by(reading.moves.0)));
    }
    let Some((&first, rest)) = order.split_first() else {
        let steady = readings.iter().flatten().filter(|reading| reading.steady).count();
        if steady > 0 {
            let all = steady == 4;
            lines.insert(
                0,
                format!(
                    "{} in tune.",
                    if all { "All four strings are" } else { "What was heard steadily is" }
                ),
            );
        }
        return lines;
    };
    let cents = readings[first].map_or(0.0, |reading| reading.cents.0);
    let mut fix = vec![format!("Begin with {}: it is {}.", names[first], off_by(cents))];
    fix.extend(what_to_turn(instrument, cents));
    if !rest.is_empty() {
        let rest: Vec<String> = rest
            .iter()
            .map(|&string| {
                let cents = readings[string].map_or(0.0, |reading| reading.cents.0);
                format!("{} ({})", names[string], off_by(cents))
            })
            .collect();
        fix.push(format!("Then {}: A comes first, the others follow outwards from it.", words::list(&rest)));
    }
    fix.push(
        "Then check all four again: one string that is tightened lets the others down a little.".to_owned(),
    );
    lines.splice(first_line..first_line, fix);
    lines
}

fn tuning(strings: &OpenStrings) -> String {
    let fifths = match (strings.fifths, strings.instrument) {
        (Fifths::Equal, _) => "equal temperament".to_owned(),
        (Fifths::Pure, instrument) => format!("pure {}s", interval(instrument)),
    };
    format!("A4 at {} Hz, {fifths}", strings.a4.0)
}

/// The interval between neighbouring strings.
pub(super) fn interval(instrument: Instrument) -> &'static str {
    if instrument.tuned_in_fourths() { "fourth" } else { "fifth" }
}
