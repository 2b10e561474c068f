//! One line about what sounds now, for the live view: words and a signed number of cents, at most 78 columns.

use super::string_words::how_far;
use super::words;
use crate::notation::Instrument;
use crate::open_string::{OpenStrings, Place, Sound, Steadiness, Tone, in_tune};
use crate::units::Cents;

/// What sounds now when a string (0 to 3) was asked for, and in silence the last steady reading of it, since the hand
/// that turns a tuner cannot bow. Never wider than 78 columns.
pub fn string_line(strings: &OpenStrings, asked: usize, sound: Sound, last: Option<Cents>) -> String {
    let name = strings.instrument.string_names()[asked];
    match sound {
        Sound::Nothing => match last {
            Some(cents) => {
                format!("{name} string        waiting for the bow (last: {} cents)", signed(cents.0))
            }
            None => format!("{name} string        waiting for the bow"),
        },
        Sound::Settling => format!("{name} string        listening"),
        Sound::Tone(tone) => tone_line(strings, asked, tone),
    }
}

/// What a reader of lines is told, and what decides whether it is new: the words without the number, and the number.
pub fn said_aloud(strings: &OpenStrings, asked: usize, sound: Sound) -> Option<(String, i32)> {
    let Sound::Tone(tone) = sound else { return None };
    let line = tone_line(strings, asked, tone);
    let cents = tone.pitch.cents_above(strings.should_be(asked)).0.round() as i32;
    Some((line, cents))
}

fn tone_line(strings: &OpenStrings, asked: usize, tone: Tone) -> String {
    let names = strings.instrument.string_names();
    let name = names[asked];
    let place = strings.place(tone.pitch, asked);
    let open = strings.instrument.open_strings()[asked];
    let note = |cents: f64| words::common_name(open + (cents / 100.0).round() as i32);
    match (tone.steadiness, place) {
        (Steadiness::Swinging, _) => {
            "It swings like vibrato: a stopped note? Lift all fingers and bow again.".to_owned()
        }
        (Steadiness::Wandering, _) => {
            "The pitch moves too much to read: bow slower and straighter.".to_owned()
        }
        (Steadiness::Moving, Place::Asked { cents }) => format!(
            "{name} string  {:>5}   about; moves by ±{:.0} cents: bow slower and straighter",
            signed(cents.0),
            tone.moves.0
        ),
        (Steadiness::Steady, Place::Asked { cents }) => {
            format!("{name} string  {:>5} cents   {}", signed(cents.0), near(strings.instrument, cents.0))
        }
        (_, Place::Other { string, .. }) => format!("That is the {} string, not {name}.", names[string]),
        (_, Place::Harmonic { number, .. }) => {
            let above = if number == 3 {
                "an octave and a fifth"
            } else if number == 2 {
                "an octave"
            } else {
                "two octaves"
            };
            format!("That is {above} above {name}: lift all fingers, bow again.")
        }
        (_, Place::OctaveBelow { .. }) => format!("That is {name} an octave too low for this instrument."),
        (_, Place::Slack { cents }) => format!(
            "{}, {:.0} cents below {name}: another string? If it is {name}, ask a grown-up.",
            note(cents.0),
            cents.0.abs()
        ),
        (_, Place::Above { cents }) => {
            format!("{}, {:.0} cents above {name}: a stopped note? Lift all fingers.", note(cents.0), cents.0)
        }
        (_, Place::Note { midi, .. }) => {
            format!("That is {}: a stopped note or another string, not {name}.", words::common_name(midi))
        }
    }
}

/// `+7`, `-12`, `0`: a plain hyphen, which every screen reader says.
fn signed(cents: f64) -> String {
    let rounded = cents.round() as i32;
    if rounded == 0 { "0".to_owned() } else { format!("{rounded:+}") }
}

fn near(instrument: Instrument, cents: f64) -> String {
    let words = how_far(cents);
    if in_tune(Cents(cents)) {
        return words;
    }
    let turn = match (instrument.has_tuning_machines(), words::low_or_high(cents)) {
        (true, _) => "with a grown-up: a very small turn",
        (_, "low") => "fine tuner a little to the right",
        _ => "fine tuner a little to the left",
    };
    format!("{words}: {turn}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Fifths;
    use crate::units::Hertz;

    #[test]
    fn every_line_fits_a_narrow_terminal() {
        for instrument in Instrument::ALL {
            let strings = OpenStrings { instrument, a4: Hertz(440.0), fifths: Fifths::Equal };
            for (asked, cents) in (0..4).flat_map(|asked| (-3000..3000).step_by(7).map(move |c| (asked, c))) {
                let pitch = strings.should_be(asked).shifted(Cents(f64::from(cents)));
                for steadiness in
                    [Steadiness::Steady, Steadiness::Moving, Steadiness::Wandering, Steadiness::Swinging]
                {
                    let line = string_line(
                        &strings,
                        asked,
                        Sound::Tone(Tone { pitch, moves: Cents(14.9), steadiness }),
                        None,
                    );
                    assert!(line.chars().count() <= 78, "{}: {line}", line.chars().count());
                }
            }
        }
    }

    #[test]
    fn the_number_has_its_sign_and_the_words_say_what_to_do() {
        let strings = OpenStrings { instrument: Instrument::Violin, a4: Hertz(440.0), fifths: Fifths::Equal };
        let line = |cents: f64| {
            let pitch = strings.should_be(1).shifted(Cents(cents));
            string_line(
                &strings,
                1,
                Sound::Tone(Tone { pitch, moves: Cents(1.0), steadiness: Steadiness::Steady }),
                None,
            )
        };
        assert_eq!(line(-12.2), "D string    -12 cents   too low: fine tuner a little to the right");
        assert_eq!(line(0.3), "D string      0 cents   in tune");
        assert_eq!(line(8.0), "D string     +8 cents   a little high: fine tuner a little to the left");
        assert_eq!(line(702.0), "That is the A string, not D.");
        let silence = |last| string_line(&strings, 1, Sound::Nothing, last);
        assert_eq!(silence(Some(Cents(-12.2))), "D string        waiting for the bow (last: -12 cents)");
        assert_eq!(silence(None), "D string        waiting for the bow");
    }
}
