//! First-position fingers as words, and what a wrong finger may have done.
//!
//! A string is named only where the note has one place in first position; where an open string is also
//! a fourth finger, both are said.

use super::words;
use crate::notation::{Fingering, Instrument, Placement};

/// The letter of a string, 0 the lowest.
pub fn string_letter(instrument: Instrument, string: usize) -> &'static str {
    instrument.string_names()[string]
}

/// `the open D string`, `first finger on the D string`, `low second finger on the A string`.
pub fn words_for(instrument: Instrument, place: Fingering) -> String {
    let letter = string_letter(instrument, place.string);
    match place.finger {
        0 => format!("the open {letter} string"),
        _ => format!("{} on the {letter} string", finger_words(place)),
    }
}

/// `first finger`, `low second finger`.
fn finger_words(place: Fingering) -> String {
    let placed = match place.placement {
        Placement::Low => "low ",
        Placement::High => "high ",
        Placement::Extended => "stretched ",
        Placement::Open | Placement::Normal => "",
    };
    format!("{placed}{} finger", words::ordinal(place.finger))
}

/// What the hand can do about a wrong note, or `None` where nothing sure can be said.
///
/// `written` and `played` are sounding MIDI numbers.
pub fn advice(instrument: Instrument, name: &str, written: i32, played: i32) -> Option<String> {
    let wanted = instrument.fingerings(written);
    let heard = instrument.fingerings(played);
    let first = *wanted.first()?;
    let pair = wanted
        .iter()
        .flat_map(|wanted| heard.iter().map(move |heard| (*wanted, *heard)))
        .find(|(wanted, heard)| wanted.string == heard.string && wanted.finger > 0 && heard.finger > 0);
    if let Some((wanted, heard)) = pair
        && wanted.finger == heard.finger
    {
        return Some(same_finger(instrument, wanted, heard));
    }
    let way = |place: &Fingering| match place.finger {
        0 => format!("on {}", words_for(instrument, *place)),
        _ => format!("with your {}", words_for(instrument, *place)),
    };
    let need = wanted.iter().map(way).collect::<Vec<_>>().join(" or ");
    // Nobody stretches by mistake: then only what to do is said.
    let like = heard
        .iter()
        .find(|heard| heard.string == first.string)
        .or(heard.first())
        .filter(|heard| heard.placement != Placement::Extended)
        .map(|heard| match heard.finger {
            0 => format!("; yours sounded like {}", words_for(instrument, *heard)),
            _ if heard.string == first.string && wanted.len() == 1 => {
                format!("; yours sounded like the {}", finger_words(*heard))
            }
            _ => format!("; yours sounded like the {}", words_for(instrument, *heard)),
        })
        .unwrap_or_default();
    Some(format!("Play {name} {need}{like}."))
}

fn same_finger(instrument: Instrument, wanted: Fingering, heard: Fingering) -> String {
    let finger = words::sentence(words::ordinal(wanted.finger));
    let up = wanted.semitones > heard.semitones;
    let violin_like = matches!(instrument, Instrument::Violin | Instrument::Viola);
    match (wanted.finger, up) {
        (1, true) => format!("{finger} finger higher, away from the nut."),
        (1, false) => format!("{finger} finger lower, close to the nut."),
        (2, true) if violin_like => format!("{finger} finger higher, touching the third."),
        (2, false) if violin_like => format!("{finger} finger lower, touching the first."),
        (3, true) if violin_like => format!("{finger} finger higher, touching the fourth."),
        (_, true) => format!("{finger} finger higher."),
        (_, false) => format!("{finger} finger lower."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn f_sharp_played_as_f_wants_the_second_finger_higher() {
        assert_eq!(
            advice(Instrument::Violin, "F sharp", 66, 65).unwrap(),
            "Second finger higher, touching the third."
        );
        assert_eq!(
            advice(Instrument::Violin, "F natural", 65, 66).unwrap(),
            "Second finger lower, touching the first."
        );
    }

    #[test]
    fn an_open_string_that_is_also_a_fourth_finger_is_said_both_ways() {
        assert_eq!(
            advice(Instrument::Violin, "A", 69, 67).unwrap(),
            "Play A on the open A string or with your fourth finger on the D string; yours sounded like the third finger \
             on the D string."
        );
    }

    #[test]
    fn above_first_position_nothing_is_said_about_fingers() {
        assert_eq!(advice(Instrument::Violin, "E", 88, 86), None);
        assert_eq!(
            advice(Instrument::Cello, "F sharp", 54, 53).unwrap(),
            "Play F sharp with your third finger on the D string; yours sounded like the second finger."
        );
    }
}
