//! A live check moves on by itself: a string was heard long enough, or nobody bowed for a while.

use super::ear::Moment;
use super::four_strings::next_to_hear;
use super::place_from_pitch::OpenStrings;
use super::tone_from_frames::{Sound, Steadiness};
use crate::units::Seconds;

/// So many steady moments (10 ms each) in a row are enough of one string.
const ENOUGH: usize = 80;

/// What a moment changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Nothing: listen on.
    On,
    /// This string was heard long enough.
    Heard(usize),
    /// Nobody bowed for a while: this string is passed over.
    PassedOver(usize),
}

/// Which string is asked for now. Time is that of the moments; there is no clock here.
#[derive(Debug, Clone)]
pub struct Session {
    strings: OpenStrings,
    patience: Seconds,
    all: bool,
    asked: Option<usize>,
    done: [bool; 4],
    steady: (usize, usize),
    last_sound: Seconds,
}

impl Session {
    /// Asks for one string (0 to 3) until nobody has bowed for `patience`, or for all four, from A outwards.
    pub fn new(strings: OpenStrings, one: Option<usize>, patience: Seconds) -> Self {
        let done = [false; 4];
        let asked = one.or_else(|| next_to_hear(strings.instrument, &done));
        Self { strings, patience, all: one.is_none(), asked, done, steady: (0, 0), last_sound: Seconds(0.0) }
    }

    /// The string asked for; `None` when there is nothing left to ask for.
    pub fn asked(&self) -> Option<usize> {
        self.asked
    }

    /// The string that a sound is shown beside: the one asked for; of all four any that was not heard yet, and `None`
    /// while one that was heard goes on.
    pub fn beside(&self, sound: Sound) -> Option<usize> {
        let asked = self.asked?;
        match sound {
            Sound::Tone(tone) if self.all => match self.strings.nearest(tone.pitch) {
                Some((string, _)) => (!self.done[string]).then_some(string),
                None => Some(asked),
            },
            _ => Some(asked),
        }
    }

    /// The next moment.
    pub fn next(&mut self, moment: &Moment) -> Step {
        let Some(asked) = self.asked else { return Step::On };
        if moment.sound != Sound::Nothing {
            self.last_sound = moment.time;
        }
        if moment.time.0 - self.last_sound.0 > self.patience.0 {
            self.last_sound = moment.time;
            self.finish(asked);
            return Step::PassedOver(asked);
        }
        let string = match moment.sound {
            Sound::Tone(tone) if tone.steadiness == Steadiness::Steady => self.strings.nearest(tone.pitch),
            _ => None,
        };
        let Some((string, _)) = string.filter(|_| self.all) else {
            self.steady.1 = 0;
            return Step::On;
        };
        self.steady = if self.steady.0 == string { (string, self.steady.1 + 1) } else { (string, 1) };
        if self.steady.1 < ENOUGH || self.done[string] {
            return Step::On;
        }
        self.finish(string);
        Step::Heard(string)
    }

    fn finish(&mut self, string: usize) {
        self.done[string] = true;
        self.asked = if self.all { next_to_hear(self.strings.instrument, &self.done) } else { None };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::{Fifths, Instrument};
    use crate::open_string::Tone;
    use crate::units::{Cents, Hertz};

    fn run(session: &mut Session, from: f64, seconds: f64, hertz: Option<f64>) -> Vec<Step> {
        let moments = (seconds * 100.0) as usize;
        let sound = hertz.map_or(Sound::Nothing, |hertz| {
            Sound::Tone(Tone { pitch: Hertz(hertz), moves: Cents(1.0), steadiness: Steadiness::Steady })
        });
        (0..moments)
            .map(|k| session.next(&Moment { time: Seconds(from + k as f64 * 0.01), sound, ended: None }))
            .filter(|step| *step != Step::On)
            .collect()
    }

    fn violin() -> OpenStrings {
        OpenStrings { instrument: Instrument::Violin, a4: Hertz(440.0), fifths: Fifths::Equal }
    }

    #[test]
    fn all_four_are_asked_for_from_a_outwards_and_any_string_is_welcome() {
        let mut session = Session::new(violin(), None, Seconds(10.0));
        assert_eq!(session.asked(), Some(2));
        assert_eq!(run(&mut session, 0.0, 2.0, Some(440.0)), [Step::Heard(2)]);
        assert_eq!(session.asked(), Some(1));
        let sound = |hertz| {
            Sound::Tone(Tone { pitch: Hertz(hertz), moves: Cents(1.0), steadiness: Steadiness::Steady })
        };
        assert_eq!(session.beside(sound(440.0)), None);
        assert_eq!(session.beside(sound(196.0)), Some(0));
        assert_eq!(session.beside(sound(233.0)), Some(1));
        assert_eq!(run(&mut session, 2.0, 2.0, Some(196.0)), [Step::Heard(0)]);
        assert_eq!(session.asked(), Some(1));
        assert_eq!(run(&mut session, 4.0, 12.0, None), [Step::PassedOver(1)]);
        assert_eq!(run(&mut session, 16.0, 2.0, Some(660.0)), [Step::Heard(3)]);
        assert_eq!(session.asked(), None);
    }

    #[test]
    fn one_string_is_listened_to_until_nobody_bows() {
        let mut session = Session::new(violin(), Some(1), Seconds(5.0));
        assert_eq!(run(&mut session, 0.0, 30.0, Some(293.0)), []);
        assert_eq!(run(&mut session, 30.0, 6.0, None), [Step::PassedOver(1)]);
        assert_eq!(session.asked(), None);
    }
}
