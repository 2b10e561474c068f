//! Numbers, pitches and places as words.

use crate::findings::Report;
use crate::formats::is_unseen;
use crate::notation::{HeardNames, Key, Spelling, bar_text};

/// `Bar 2, beat 3`, `Pickup, beat 4`.
pub fn place(bar: u32, beat: f64) -> String {
    format!("{}, beat {}", bar_text(bar), position(beat))
}

/// A place in the middle of a sentence: `bar 2, beat 3`, `pickup, beat 4`.
pub fn in_sentence(place: &str) -> String {
    let mut letters = place.chars();
    letters.next().map_or(String::new(), |first| first.to_lowercase().chain(letters).collect())
}

/// A bar in the middle of a sentence: `bar 2`, `the pickup`.
pub fn bar(bar: u32) -> String {
    if bar == 0 { "the pickup".to_owned() } else { format!("bar {bar}") }
}

/// `Bar 2, beat 3 to beat 4`, `Bar 2, beat 3 to bar 3, beat 1`.
pub fn from_place_to((bar, beat): (u32, f64), (last_bar, last_beat): (u32, f64)) -> String {
    let first = place(bar, beat);
    match bar == last_bar {
        true => format!("{first} to beat {}", position(last_beat)),
        false => format!("{first} to {}", in_sentence(&place(last_bar, last_beat))),
    }
}

/// A position in a bar: `3`, `2 and a half`, `1 and two thirds` in a triplet, or a decimal for what has no short name.
pub fn position(beat: f64) -> String {
    let whole = (beat + 1e-3).floor();
    let part = beat - whole;
    let known = PARTS.iter().find(|(known, _)| (part - known).abs() < 1e-3);
    match known {
        _ if part < 1e-3 => format!("{whole:.0}"),
        Some((_, words)) => format!("{whole:.0} and {words}"),
        None => format!("{beat:.2}"),
    }
}

/// The parts of a beat that notes begin at: those of even notes, then those of triplets.
const PARTS: [(f64, &str); 11] = [
    (0.5, "a half"),
    (0.25, "a quarter"),
    (0.75, "three quarters"),
    (0.125, "an eighth"),
    (0.375, "three eighths"),
    (0.625, "five eighths"),
    (0.875, "seven eighths"),
    (1.0 / 3.0, "a third"),
    (2.0 / 3.0, "two thirds"),
    (1.0 / 6.0, "a sixth"),
    (5.0 / 6.0, "five sixths"),
];

/// A length to the nearest quarter of a beat: `half a beat`, `1 beat`, `2 and a half beats`. The two lengths of a triplet
/// have their own names: `a third of a beat`.
pub fn beats(length: f64) -> String {
    if (length * 3.0 - 1.0).abs() < 1e-3 {
        return "a third of a beat".to_owned();
    }
    if (length * 3.0 - 2.0).abs() < 1e-3 {
        return "two thirds of a beat".to_owned();
    }
    let quarters = (length.max(0.0) * 4.0).round() as i64;
    match (quarters / 4, quarters % 4) {
        (0, 0) => "no time at all".to_owned(),
        (0, 1) => "a quarter of a beat".to_owned(),
        (0, 2) => "half a beat".to_owned(),
        (0, _) => "three quarters of a beat".to_owned(),
        (1, 0) => "1 beat".to_owned(),
        (whole, 0) => format!("{whole} beats"),
        (whole, 1) => format!("{whole} and a quarter beats"),
        (whole, 2) => format!("{whole} and a half beats"),
        (whole, _) => format!("{whole} and three quarters beats"),
    }
}

/// The side of the pitch that a note, a string or an instrument is off to. A child has one pair of words for it: flat and
/// sharp are in the names of notes.
pub fn low_or_high(cents: f64) -> &'static str {
    if cents < 0.0 { "low" } else { "high" }
}

/// `1 note`, `3 notes`.
pub fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

/// `1`, `1 and 2`, `1, 2 and 5`.
pub fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

/// Places in one sentence: `bar 1, beat 2 and bar 2, beat 4`; of more, semicolons keep them apart.
pub fn places(places: &[String]) -> String {
    match places {
        [] | [_] | [_, _] => list(places),
        [rest @ .., last] => format!("{}; and {last}", rest.join("; ")),
    }
}

/// Bars in order as words: `bar 2`, `bars 1, 3 and 5 to 7`, `the pickup and bar 1`.
pub fn bars(bars: &[u32]) -> String {
    if let [0, rest @ ..] = bars {
        let pickup = bar(0);
        return if rest.is_empty() { pickup } else { format!("{pickup} and {}", self::bars(rest)) };
    }
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for &bar in bars {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == bar => *last = bar,
            _ => runs.push((bar, bar)),
        }
    }
    let mut words = Vec::new();
    for (first, last) in runs {
        match last - first {
            0 => words.push(first.to_string()),
            1 => words.extend([first.to_string(), last.to_string()]),
            _ => words.push(format!("{first} to {last}")),
        }
    }
    format!("{} {}", if bars.len() == 1 { "bar" } else { "bars" }, list(&words))
}

/// A finger's number as a word.
pub fn ordinal(finger: u8) -> &'static str {
    match finger {
        1 => "first",
        2 => "second",
        3 => "third",
        _ => "fourth",
    }
}

/// The sentence with its first letter large.
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// Text from a file without control characters and without what turns the direction of writing or cannot be seen, so
/// that a title cannot steer a terminal or pretend to be another text.
pub fn harmless(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_control() && !is_unseen(*letter)).collect()
}

/// A written pitch such as `F#4` taken apart: letter, semitones of its accidental, octave.
pub fn spelled(written: &str) -> Option<(char, i32, i32)> {
    let letter = written.chars().next().filter(|letter| ('A'..='G').contains(letter))?;
    let rest = &written[1..];
    let octave = rest.trim_start_matches(['#', 'b']);
    let alter = rest[..rest.len() - octave.len()].chars().map(|mark| if mark == '#' { 1 } else { -1 }).sum();
    Some((letter, alter, octave.parse().ok()?))
}

/// A written pitch such as `F#4` as a word without its octave: `F sharp`.
pub fn pitch(written: &str) -> String {
    spelled(written).map_or_else(|| written.to_owned(), |(letter, alter, _)| named(letter, alter, false))
}

/// The names of the notes that were judged and of their key, by which a report names what was heard beside them.
pub fn names(report: &Report) -> HeardNames {
    let written = report.notes.iter().filter_map(|note| note.written.parse::<Spelling>().ok());
    HeardNames::of(written, Key::new(report.melody.key_fifths.into()).unwrap_or_default())
}

/// The played and the written pitch as words that differ: `F natural` beside `F sharp`.
///
/// `semitones` is how far the played pitch is from the written one; `names` are those of the sheet.
pub fn played_and_written(names: &HeardNames, written: &str, semitones: i32) -> (String, String) {
    let Ok(sheet) = written.parse::<Spelling>() else {
        return (format!("{semitones:+} semitones from it"), written.to_owned());
    };
    let played = names.name(sheet.midi().saturating_add(semitones), Some(sheet));
    if semitones % 12 == 0 {
        let octaves = (semitones / 12).unsigned_abs() as usize;
        let way = if semitones > 0 { "higher" } else { "lower" };
        let far = if octaves == 1 { "an octave".to_owned() } else { format!("{octaves} octaves") };
        return (format!("{} {far} {way}", said(played, false)), said(sheet, false));
    }
    let one_letter = played.letter == sheet.letter;
    (said(played, one_letter), said(sheet, one_letter))
}

/// The commonest name of a MIDI number's pitch class.
pub fn common_name(midi: i32) -> String {
    heard_name(&HeardNames::default(), midi)
}

/// The name of a MIDI number's pitch class beside a sheet.
pub fn heard_name(names: &HeardNames, midi: i32) -> String {
    said(names.name(midi.rem_euclid(12), None), false)
}

fn said(pitch: Spelling, say_natural: bool) -> String {
    named(format!("{:?}", pitch.letter).chars().next().unwrap_or('?'), pitch.alter.into(), say_natural)
}

fn named(letter: char, alter: i32, say_natural: bool) -> String {
    let mark = match alter {
        -2 => " double flat",
        -1 => " flat",
        1 => " sharp",
        2 => " double sharp",
        _ if say_natural => " natural",
        _ => "",
    };
    format!("{letter}{mark}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_singular() {
        assert_eq!(count(1, "note", "notes"), "1 note");
        assert_eq!(count(0, "note", "notes"), "0 notes");
        assert_eq!(bars(&[4]), "bar 4");
        assert_eq!(beats(1.1), "1 beat");
        assert_eq!(beats(0.45), "half a beat");
        assert_eq!(beats(1.5), "1 and a half beats");
        assert_eq!(beats(0.02), "no time at all");
    }

    #[test]
    fn bars_in_a_row_are_drawn_together() {
        assert_eq!(bars(&[1, 2]), "bars 1 and 2");
        assert_eq!(bars(&[1, 3, 5, 6, 7]), "bars 1, 3 and 5 to 7");
    }

    #[test]
    fn positions_between_beats_have_words() {
        assert_eq!(position(3.0), "3");
        assert_eq!(position(2.5), "2 and a half");
        assert_eq!(position(1.75), "1 and three quarters");
        assert_eq!([position(2.333_333), position(1.666_667)], ["2 and a third", "1 and two thirds"]);
        assert_eq!([position(4.166_667), position(1.875)], ["4 and a sixth", "1 and seven eighths"]);
        assert_eq!(position(2.2), "2.20");
        assert_eq!(position(2.999_999_9), "3");
    }

    #[test]
    fn a_triplets_rest_has_its_own_length() {
        assert_eq!([beats(1.0 / 3.0), beats(2.0 / 3.0)], ["a third of a beat", "two thirds of a beat"]);
    }

    #[test]
    fn what_stands_before_bar_1_is_the_pickup() {
        assert_eq!(place(0, 4.0), "Pickup, beat 4");
        assert_eq!(from_place_to((0, 4.0), (1, 2.0)), "Pickup, beat 4 to bar 1, beat 2");
        assert_eq!([bars(&[0]), bars(&[0, 1, 2])], ["the pickup", "the pickup and bars 1 and 2"]);
        assert_eq!(in_sentence(&place(0, 4.0)), "pickup, beat 4");
    }

    #[test]
    fn a_stretch_names_its_bar_once() {
        assert_eq!(from_place_to((2, 3.0), (2, 4.0)), "Bar 2, beat 3 to beat 4");
        assert_eq!(from_place_to((2, 3.0), (3, 1.5)), "Bar 2, beat 3 to bar 3, beat 1 and a half");
    }

    #[test]
    fn a_wrong_note_keeps_the_letter_where_it_can() {
        let said = |written, semitones| played_and_written(&HeardNames::default(), written, semitones);
        assert_eq!(said("F#4", -1), ("F natural".into(), "F sharp".into()));
        assert_eq!(said("F4", 1), ("F sharp".into(), "F natural".into()));
        assert_eq!(said("Bb3", 1), ("B natural".into(), "B flat".into()));
        assert_eq!(said("F#4", 1), ("G".into(), "F sharp".into()));
        assert_eq!(said("E4", -2), ("D".into(), "E".into()));
        assert_eq!(said("E4", 7), ("B".into(), "E".into()));
        assert_eq!(said("D4", -12), ("D an octave lower".into(), "D".into()));
        assert_eq!(said("D4", 24), ("D 2 octaves higher".into(), "D".into()));
    }

    #[test]
    fn nobody_is_told_of_an_e_sharp_or_a_c_flat() {
        let said = |written, semitones| played_and_written(&HeardNames::default(), written, semitones);
        assert_eq!(said("E4", 1), ("F".into(), "E".into()));
        assert_eq!(said("B4", 1), ("C".into(), "B".into()));
        assert_eq!(said("C4", -1), ("B".into(), "C".into()));
        assert_eq!(said("F4", -1), ("E".into(), "F".into()));
    }

    #[test]
    fn a_title_cannot_steer_the_terminal() {
        assert_eq!(harmless("Rain\u{1b}[2J\n"), "Rain[2J");
        assert_eq!(harmless("Rain\u{202e}gnp.\u{2066}\u{200f}\u{feff}"), "Raingnp.");
    }
}
