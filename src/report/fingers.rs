//! First-position fingers as words, and what a wrong finger may have done.
//!
//! A string is named only where the note has one place in first position; where an open string is also
//! a fourth finger, both are said.

use super::words;
use crate::notation::{Fingering, Instrument, Placement, Spelling};

/// The letter of a string, 0 the lowest.
pub fn string_letter(instrument: Instrument, string: usize) -> &'static str {
    instrument.string_names()[string]
}

/// Where a note is played in first position, the usual place first. `name` is its name as the player reads it, such as
/// `Ab4`, and `sounding` its MIDI number.
pub fn places(instrument: Instrument, name: &str, sounding: i32) -> Vec<Fingering> {
    match name.parse::<Spelling>() {
        Ok(written) => instrument.fingerings_of(written, sounding),
        Err(_) => instrument.fingerings(sounding),
    }
}

/// `the open D string`, `first finger on the D string`, `low second finger on the A string`.
pub fn words_for(instrument: Instrument, place: Fingering) -> String {
    let letter = string_letter(instrument, place.string);
    match place.finger {
        0 => format!("the open {letter} string"),
        _ => format!("{} on the {letter} string", finger_words(place)),
    }
}

/// `first finger`, `low second finger`, `first finger in half position`.
fn finger_words(place: Fingering) -> String {
    let (placed, moved) = match place.placement {
        Placement::Low => ("low ", ""),
        Placement::High => ("high ", ""),
        Placement::Extended => ("stretched ", ""),
        Placement::Half => ("", " in half position"),
        Placement::Open | Placement::Normal => ("", ""),
    };
    format!("{placed}{} finger{moved}", words::ordinal(place.finger))
}

/// What the hand can do about a wrong note, or `None` where nothing sure can be said.
///
/// `name` is the written note in words; `wanted` and `heard` are the places of the written and of the played note.
pub fn advice(
    instrument: Instrument,
    name: &str,
    wanted: &[Fingering],
    heard: &[Fingering],
) -> Option<String> {
    let first = *wanted.first()?;
    let pair = wanted
        .iter()
        .flat_map(|wanted| heard.iter().map(move |heard| (*wanted, *heard)))
        .find(|(wanted, heard)| wanted.string == heard.string && wanted.finger > 0 && heard.finger > 0);
    if let Some((wanted, heard)) = pair
        && wanted.finger == heard.finger
        && first.finger > 0
    {
        return Some(same_finger(instrument, wanted, heard));
    }
    let way = |place: &Fingering| match place.finger {
        0 => format!("on {}", words_for(instrument, *place)),
        _ => format!("with your {}", words_for(instrument, *place)),
    };
    let need = wanted.iter().map(way).collect::<Vec<_>>().join(" or ");
    let same_string = heard.iter().find(|heard| heard.string == first.string);
    let like = match (heard.first(), same_string) {
        // The fourth finger sounds like the next open string, which is the usual place.
        (Some(open), Some(finger)) if open.finger == 0 && finger != open => {
            format!("{} or the {}", words_for(instrument, *open), words_for(instrument, *finger))
        }
        (_, Some(heard)) | (Some(heard), None) => match heard.placement {
            // Nobody stretches or changes position by mistake: then only what to do is said.
            Placement::Extended | Placement::Half => String::new(),
            Placement::Open => words_for(instrument, *heard),
            _ if heard.string == first.string && wanted.len() == 1 => {
                format!("the {}", finger_words(*heard))
            }
            _ => format!("the {}", words_for(instrument, *heard)),
        },
        (None, None) => String::new(),
    };
    let like = if like.is_empty() { like } else { format!("; yours sounded like {like}") };
    Some(format!("Play {name} {need}{like}."))
}

fn same_finger(instrument: Instrument, wanted: Fingering, heard: Fingering) -> String {
    let finger = words::sentence(words::ordinal(wanted.finger));
    let up = wanted.semitones > heard.semitones;
    let violin_like = matches!(instrument, Instrument::Violin | Instrument::Viola);
    match (wanted.finger, up) {
        (1, false) if wanted.placement == Placement::Half => {
            "Move your whole hand back a semitone, into half position.".to_owned()
        }
        (1, true) if heard.placement == Placement::Half => {
            "Move your whole hand up a semitone, out of half position.".to_owned()
        }
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

    fn said(instrument: Instrument, written: &str, played: &str) -> Option<String> {
        let places = |name: &str| {
            let sounding = name.parse::<Spelling>().unwrap().midi() + instrument.sounding_shift();
            places(instrument, name, sounding)
        };
        advice(instrument, &words::pitch(written), &places(written), &places(played))
    }

    #[test]
    fn f_sharp_played_as_f_wants_the_second_finger_higher() {
        assert_eq!(
            said(Instrument::Violin, "F#4", "F4").unwrap(),
            "Second finger higher, touching the third."
        );
        assert_eq!(
            said(Instrument::Violin, "F4", "F#4").unwrap(),
            "Second finger lower, touching the first."
        );
    }

    #[test]
    fn an_open_string_that_is_also_a_fourth_finger_is_said_both_ways() {
        assert_eq!(
            said(Instrument::Violin, "A4", "G4").unwrap(),
            "Play A on the open A string or with your fourth finger on the D string; yours sounded like the third finger \
             on the D string."
        );
    }

    #[test]
    fn above_first_position_nothing_is_said_about_fingers() {
        assert_eq!(said(Instrument::Violin, "E6", "D6"), None);
        assert_eq!(
            said(Instrument::Cello, "F#3", "F3").unwrap(),
            "Play F sharp with your third finger on the D string; yours sounded like the second finger."
        );
    }

    /// The usual place of D is the open string, which is where a sheet with fingers puts it.
    #[test]
    fn an_open_string_played_for_a_finger_is_named_before_the_fourth_finger() {
        assert_eq!(
            said(Instrument::Violin, "B3", "D4").unwrap(),
            "Play B with your second finger on the G string; yours sounded like the open D string or the fourth \
             finger on the G string."
        );
        assert_eq!(
            said(Instrument::Violin, "E4", "D4").unwrap(),
            "Play E with your first finger on the D string; yours sounded like the open D string."
        );
    }

    #[test]
    fn a_diminished_fifth_above_the_string_is_the_low_fourth_finger() {
        assert_eq!(said(Instrument::Violin, "B5", "Bb5").unwrap(), "Fourth finger higher.");
        assert_eq!(
            said(Instrument::Violin, "Eb5", "D5").unwrap(),
            "Play E flat with your low fourth finger on the A string; yours sounded like the third finger."
        );
        assert_eq!(
            said(Instrument::Violin, "D#5", "D5").unwrap(),
            "Third finger higher, touching the fourth."
        );
        // A is an open string first: which finger was on D is not known.
        let a_flat = said(Instrument::Violin, "A4", "Ab4").unwrap();
        assert!(a_flat.starts_with("Play A on the open A string or with your fourth finger"), "{a_flat}");
    }

    #[test]
    fn on_the_bass_the_semitone_above_a_string_is_half_position() {
        let half = |written, played| said(Instrument::Bass, written, played).unwrap();
        assert_eq!(half("F2", "F#2"), "Move your whole hand back a semitone, into half position.");
        assert_eq!(half("F#2", "F2"), "Move your whole hand up a semitone, out of half position.");
        assert_eq!(
            half("F2", "E2"),
            "Play F with your first finger in half position on the E string; yours sounded like the open E string."
        );
    }
}
