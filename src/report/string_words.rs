//! What to say about an open string: where it is and what the hand can do, as one or two short sentences.
//!
//! Clockwise tightens a fine tuner, most of them reach about a semitone, bass strings hang on geared machines, and
//! strings are tuned by grown-ups where it takes more than that: common practice, no single source.

use super::words;
use crate::notation::Instrument;
use crate::open_string::{FINE_TUNER_CENTS, OpenStrings, Place, in_tune};
use crate::units::Cents;

/// From here on a string is more than a little off, in cents.
const MORE_THAN_A_LITTLE: f64 = 10.0;

/// The caution that belongs to every peg.
pub(super) const CAREFUL: &str = "A string that is far off is a job for your teacher or another grown-up: a string \
    under tension can snap. Small turns, faces away from the strings, and never tighten past the note.";

/// `12 cents low`, `3 cents high`, `exactly right`.
pub(super) fn off_by(cents: f64) -> String {
    match cents.round() {
        0.0 => "exactly right".to_owned(),
        one if one.abs() == 1.0 => format!("1 cent {}", words::low_or_high(cents)),
        many => format!("{:.0} cents {}", many.abs(), words::low_or_high(cents)),
    }
}

/// `in tune`, `a little low`, `too low`, and so on.
pub(super) fn how_far(cents: f64) -> String {
    // Judged as it is printed.
    match cents.abs().round() {
        _ if in_tune(Cents(cents)) => "in tune".to_owned(),
        off if off <= MORE_THAN_A_LITTLE => format!("a little {}", words::low_or_high(cents)),
        _ => format!("too {}", words::low_or_high(cents)),
    }
}

/// What to turn, and which way, for a string at most 50 cents off; empty where it is in tune.
pub(super) fn what_to_turn(instrument: Instrument, cents: f64) -> Vec<String> {
    if in_tune(Cents(cents)) {
        return Vec::new();
    }
    debug_assert!(cents.abs() <= FINE_TUNER_CENTS + 1e-9);
    if instrument.has_tuning_machines() {
        let way = if cents < 0.0 { "tighten" } else { "loosen" };
        return vec![format!(
            "Ask your teacher or another grown-up to {way} it with you at the tuning machine: very small turns, faces away \
             from the strings, and listen after each turn."
        )];
    }
    let (way, does) = match cents < 0.0 {
        true => ("right (clockwise)", "tightens"),
        false => ("left (anticlockwise)", "loosens"),
    };
    vec![
        format!(
            "Turn the fine tuner a little to the {way}: that {does} the string. Bow again and listen after each small turn."
        ),
        "No fine tuner on this string, or it will not turn any more? Then ask your teacher or another grown-up to turn the \
         peg with you: small turns, faces away from the strings."
            .to_owned(),
    ]
}

/// What a tone is that is not the string asked for, and what to do; one sentence each.
pub(super) fn elsewhere(strings: &OpenStrings, asked: usize, place: Place) -> Vec<String> {
    let names = strings.instrument.string_names();
    let name = names[asked];
    let open = strings.instrument.open_strings()[asked];
    let note = |semitones: f64| words::common_name(open + semitones.round() as i32);
    match place {
        Place::Asked { .. } => Vec::new(),
        Place::Other { string, .. } => vec![
            format!("That is the {} string, not the {name} string.", names[string]),
            format!("Bow the {name} string, by itself."),
        ],
        Place::Harmonic { number, .. } => vec![
            format!(
                "That is {}, {} above the open {name} string: a finger may be touching the string lightly.",
                note(if number == 3 { 19.0 } else { 12.0 * f64::from(number / 2) }),
                match number {
                    2 => "an octave",
                    3 => "an octave and a fifth",
                    _ => "two octaves",
                }
            ),
            "Lift all fingers, and bow halfway between bridge and fingerboard.".to_owned(),
        ],
        Place::OctaveBelow { .. } => vec![
            format!("That is {name} an octave below this string."),
            format!(
                "Is this a {}? If it is another instrument, say so with --instrument.",
                strings.instrument
            ),
        ],
        // No finger makes a note below the lowest open string.
        Place::Slack { cents } if asked == 0 => vec![
            format!(
                "I hear a tone near {}, {:.0} cents below the open {name} string, the lowest of a {}: that string hangs much \
                 too slack.",
                note(cents.0 / 100.0),
                cents.0.abs(),
                strings.instrument
            ),
            format!("Do not turn the peg alone. {CAREFUL}"),
        ],
        Place::Slack { cents } => vec![
            format!(
                "I hear a tone near {}, {:.0} cents below {name}: a finger on another string, or the {name} string hangs much \
                 too slack.",
                note(cents.0 / 100.0),
                cents.0.abs()
            ),
            format!("If it is the open {name} string, do not turn the peg alone. {CAREFUL}"),
        ],
        Place::Above { cents } => vec![
            format!(
                "This sounds like a stopped note ({}, {:.0} cents above {name}): lift all fingers and bow again.",
                note(cents.0 / 100.0),
                cents.0
            ),
            format!("If no finger is down, the string is much too tight: turn nothing, step back. {CAREFUL}"),
        ],
        Place::Note { midi, .. } => vec![
            format!(
                "This sounds like {}: a stopped note or another string, not the open {name} string.",
                words::common_name(midi)
            ),
            format!("Lift all fingers and bow the {name} string by itself."),
        ],
    }
}

/// What to do about an unsteady tone.
pub(super) fn moves_by(moves: f64) -> String {
    format!("The pitch moves by ±{moves:.0} cents: bow slower and straighter.")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Fifths;
    use crate::units::Hertz;

    #[test]
    fn low_is_to_be_tightened_and_high_is_to_be_loosened() {
        let low = what_to_turn(Instrument::Violin, -12.0).join(" ");
        let high = what_to_turn(Instrument::Violin, 12.0).join(" ");
        assert!(low.contains("right (clockwise): that tightens"), "{low}");
        assert!(high.contains("left (anticlockwise): that loosens"), "{high}");
        for cents in [-5.4, 5.0, 5.49] {
            assert_eq!(how_far(cents), "in tune");
            assert_eq!(what_to_turn(Instrument::Violin, cents), Vec::<String>::new());
        }
        assert_eq!(
            (how_far(5.5).as_str(), what_to_turn(Instrument::Violin, 5.5).len()),
            ("a little high", 2)
        );
        assert!(what_to_turn(Instrument::Bass, -20.0)[0].contains("grown-up"));
    }

    #[test]
    fn cents_have_a_side_and_one_is_singular() {
        assert_eq!(off_by(-12.4), "12 cents low");
        assert_eq!(off_by(0.9), "1 cent high");
        assert_eq!(off_by(-0.4), "exactly right");
        assert_eq!(
            (how_far(-5.0).as_str(), how_far(7.0).as_str(), how_far(-11.0).as_str()),
            ("in tune", "a little high", "too low")
        );
    }

    /// Whatever sounds, a child is never told to tighten a string that is far off.
    #[test]
    fn a_string_that_is_far_off_is_left_to_a_grown_up() {
        for instrument in Instrument::ALL {
            let strings = OpenStrings { instrument, a4: Hertz(440.0), fifths: Fifths::Equal };
            for asked in 0..4 {
                for cents in (-2400..3600).step_by(10) {
                    let pitch = strings.should_be(asked).shifted(Cents(f64::from(cents)));
                    let place = strings.place(pitch, asked);
                    let said = elsewhere(&strings, asked, place).join(" ");
                    assert!(!said.contains("tightens"), "{said}");
                    if asked == 0 && cents < 0 {
                        assert!(!said.contains("a finger on another string"), "{said}");
                    }
                    if matches!(place, Place::Slack { .. } | Place::Above { .. }) {
                        assert!(said.contains("grown-up") && said.contains("can snap"), "{said}");
                    }
                }
            }
        }
    }
}
