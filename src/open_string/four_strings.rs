//! Steady stretches become the reading of each string, and the strings are held against each other.
//!
//! Two strings a pure fifth apart share a partial: the third of the lower one is the second of the higher one. If the
//! fifth is not pure these two beat as often a second as they differ (Helmholtz, *On the Sensations of Tone*, on beats
//! of upper partials): |3·f_low − 2·f_high|. Of two strings a fourth apart (bass) it is |4·f_low − 3·f_high|.

use super::ear::Moment;
use super::place_from_pitch::{OpenStrings, Place, in_tune};
use super::tone_from_frames::{Sound, Steadiness, Stretch, Tone};
use crate::notation::Instrument;
use crate::units::{Cents, Hertz, Seconds};

/// An open string as it was heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StringReading {
    /// 0 (lowest) to 3.
    pub string: usize,
    /// Its pitch.
    pub pitch: Hertz,
    /// From the pitch it should have.
    pub cents: Cents,
    /// How far it moved: half the range.
    pub moves: Cents,
    /// Where it was heard.
    pub from: Seconds,
    /// Until when.
    pub to: Seconds,
    /// Whether the bow was steady; if not, the pitch is about so.
    pub steady: bool,
}

/// The steady stretches of a take, as they come, and what they say about the four strings.
#[derive(Debug, Clone, PartialEq)]
pub struct FourStrings {
    strings: OpenStrings,
    stretches: Vec<Stretch>,
    /// Moments at which something moved too much to be read, and the pitches of those that swung.
    wandering: usize,
    swinging: Vec<Hertz>,
    /// Tones that moved while they could still be read, and when.
    moving: Vec<(Seconds, Tone)>,
}

/// So many moments (10 ms each) must sound alike before something is said about an unsteady tone.
const MOMENTS: usize = 30;
/// A string that moved for this many times as long as it was steady was not steady.
const MOSTLY: f64 = 2.0;

/// What a take says about one string that was asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// It was heard; [`StringReading::steady`] says how well.
    Read(StringReading),
    /// Something else was heard, steady: of the longer stretches the one nearest to the string.
    Elsewhere(Place, Stretch),
    /// A tone that swings like vibrato: a stopped note.
    Swinging,
    /// A tone that moves too much to be read.
    Wandering,
    /// No tone long enough.
    Nothing,
}

impl FourStrings {
    /// Nothing heard yet.
    pub fn new(strings: OpenStrings) -> Self {
        Self { strings, stretches: Vec::new(), wandering: 0, swinging: Vec::new(), moving: Vec::new() }
    }

    /// What the strings should sound.
    pub fn strings(&self) -> &OpenStrings {
        &self.strings
    }

    /// Everything steady that was heard, in order.
    pub fn stretches(&self) -> &[Stretch] {
        &self.stretches
    }

    /// The next moment.
    pub fn hear(&mut self, moment: &Moment) {
        self.stretches.extend(moment.ended);
        if let Sound::Tone(tone) = moment.sound {
            match tone.steadiness {
                Steadiness::Steady => {}
                Steadiness::Moving => self.moving.push((moment.time, tone)),
                Steadiness::Wandering => self.wandering += 1,
                Steadiness::Swinging => self.swinging.push(tone.pitch),
            }
        }
    }

    /// What was heard of one string that was asked for.
    pub fn verdict(&self, asked: usize) -> Verdict {
        if let Some(reading) = self.reading(asked) {
            return Verdict::Read(reading);
        }
        let length = |stretch: &Stretch| stretch.to.0 - stretch.from.0;
        let longest = self.stretches.iter().map(length).fold(0.0, f64::max);
        let off = |stretch: &Stretch| stretch.pitch.cents_above(self.strings.should_be(asked)).0.abs();
        let long = self.stretches.iter().filter(|stretch| length(stretch) >= 0.5 * longest);
        if let Some(stretch) = long.min_by(|a, b| off(a).total_cmp(&off(b))) {
            return Verdict::Elsewhere(self.strings.place(stretch.pitch, asked), *stretch);
        }
        match (self.swinging.len(), self.wandering) {
            (swinging, wandering) if swinging.max(wandering) < MOMENTS => Verdict::Nothing,
            (swinging, wandering) if swinging >= wandering => Verdict::Swinging,
            _ => Verdict::Wandering,
        }
    }

    /// Whether something near a string was heard that swings as a stopped note does.
    pub fn swings_near(&self, string: usize) -> bool {
        let near =
            |pitch: &&Hertz| self.strings.nearest(**pitch).is_some_and(|(nearest, _)| nearest == string);
        self.swinging.iter().filter(near).count() >= MOMENTS
    }

    /// The reading of a string: of the steady stretches that are it (at most 50 cents off) and at least half as
    /// long as the longest of them, the last, since the string may have been tuned in between. Where it moved most of the
    /// time, or was never steady, the middle of all that could be read of it.
    pub fn reading(&self, string: usize) -> Option<StringReading> {
        let is_it = |pitch: Hertz| self.strings.nearest(pitch).is_some_and(|(nearest, _)| nearest == string);
        let own: Vec<&Stretch> = self.stretches.iter().filter(|stretch| is_it(stretch.pitch)).collect();
        let moving: Vec<&(Seconds, Tone)> =
            self.moving.iter().filter(|(_, tone)| is_it(tone.pitch)).collect();
        let length = |stretch: &Stretch| stretch.to.0 - stretch.from.0;
        let steady: f64 = own.iter().map(|stretch| length(stretch)).sum();
        let reference = self.strings.should_be(string);
        if !moving.is_empty() && moving.len() >= MOMENTS && 0.01 * moving.len() as f64 > MOSTLY * steady {
            return Some(about(string, reference, &moving));
        }
        let longest = own.iter().map(|stretch| length(stretch)).fold(0.0, f64::max);
        let &&Stretch { from, to, pitch, moves } =
            own.iter().rfind(|stretch| length(stretch) >= 0.5 * longest)?;
        let cents = pitch.cents_above(reference);
        Some(StringReading { string, pitch, cents, moves, from, to, steady: true })
    }

    /// All four, low to high; `None` where a string was not heard.
    pub fn readings(&self) -> [Option<StringReading>; 4] {
        [0, 1, 2, 3].map(|string| self.reading(string))
    }

    /// For a string that was not heard: the last steady tone that may be it, hanging slack (50 to 250 cents low).
    pub fn perhaps_slack(&self, string: usize) -> Option<Stretch> {
        let slack =
            |stretch: &&Stretch| matches!(self.strings.place(stretch.pitch, string), Place::Slack { .. });
        if self.reading(string).is_some() { None } else { self.stretches.iter().rfind(slack).copied() }
    }
}

/// The middle of an unsteady tone.
fn about(string: usize, reference: Hertz, moving: &[&(Seconds, Tone)]) -> StringReading {
    let middle = |value: &dyn Fn(&Tone) -> f64| {
        let mut values: Vec<f64> = moving.iter().map(|(_, tone)| value(tone)).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    let pitch = Hertz(middle(&|tone| tone.pitch.0));
    let moves = Cents(middle(&|tone| tone.moves.0));
    let (from, to) = (moving[0].0, moving[moving.len() - 1].0);
    StringReading { string, pitch, cents: pitch.cents_above(reference), moves, from, to, steady: false }
}

/// Two neighbouring strings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// The lower string, 0 to 2.
    pub low: usize,
    /// How much wider than the pure interval they are: above 0 too wide, below 0 too narrow.
    pub cents_wide: Cents,
    /// How often they beat in a second when they are bowed together.
    pub beats: f64,
}

/// The pairs of neighbouring strings that were both heard steadily.
pub fn pairs(instrument: Instrument, readings: &[Option<StringReading>; 4]) -> Vec<Pair> {
    let heard =
        |string: usize| readings[string].filter(|reading| reading.steady).map(|reading| reading.pitch);
    (0..3)
        .filter_map(|low| {
            let (lower, higher) = (heard(low)?, heard(low + 1)?);
            let (n, m) = partials(instrument);
            let pure = lower.0 * n / m;
            Some(Pair {
                low,
                cents_wide: higher.cents_above(Hertz(pure)),
                beats: beats_a_second(instrument, lower, higher),
            })
        })
        .collect()
}

/// How often two neighbouring strings beat in a second: the distance of the partial that they share.
pub fn beats_a_second(instrument: Instrument, lower: Hertz, higher: Hertz) -> f64 {
    let (n, m) = partials(instrument);
    (n * lower.0 - m * higher.0).abs()
}

/// The shared partial of two neighbouring strings: its number on the lower and on the higher string.
fn partials(instrument: Instrument) -> (f64, f64) {
    if instrument.tuned_in_fourths() { (4.0, 3.0) } else { (3.0, 2.0) }
}

/// The strings in the order in which they are tuned: A, then outwards from it, down and then up (common practice).
fn from_a(instrument: Instrument) -> Vec<usize> {
    let a = instrument.string_names().iter().position(|name| *name == "A").unwrap_or(3);
    std::iter::once(a).chain((0..a).rev()).chain(a + 1..4).collect()
}

/// Which string to ask for next, of those that were neither heard nor passed over.
pub fn next_to_hear(instrument: Instrument, done: &[bool; 4]) -> Option<usize> {
    from_a(instrument).into_iter().find(|&string| !done[string])
}

/// The strings that are, surely, more than 5 cents off, in the order in which to tune them: A first, then outwards.
pub fn which_to_fix_first(instrument: Instrument, readings: &[Option<StringReading>; 4]) -> Vec<usize> {
    let off = |string: &usize| readings[*string].is_some_and(|r| r.steady && !in_tune(r.cents));
    from_a(instrument).into_iter().filter(off).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Fifths;
    use crate::units::Seconds;
    use approx::assert_abs_diff_eq;

    fn at(from: f64, to: f64, hertz: f64) -> Stretch {
        Stretch { from: Seconds(from), to: Seconds(to), pitch: Hertz(hertz), moves: Cents(1.0) }
    }

    fn heard(instrument: Instrument, stretches: &[Stretch]) -> FourStrings {
        let mut four = FourStrings::new(OpenStrings { instrument, a4: Hertz(440.0), fifths: Fifths::Equal });
        stretches.iter().for_each(|stretch| {
            four.hear(&Moment { time: stretch.to, sound: Sound::Nothing, ended: Some(*stretch) });
        });
        four
    }

    /// By hand: 3 · 293.665 − 2 · 440 = 880.995 − 880 = 0.995; the equal fifth is 1.955 cents narrow.
    #[test]
    fn an_equal_fifth_on_d_and_a_beats_once_a_second_and_a_pure_one_does_not() {
        let four = heard(Instrument::Violin, &[at(0.0, 1.0, 293.665), at(2.0, 3.0, 440.0)]);
        let pairs = pairs(Instrument::Violin, &four.readings());
        assert_eq!(pairs.len(), 1);
        assert_eq!(pairs[0].low, 1);
        assert_abs_diff_eq!(pairs[0].beats, 0.995, epsilon = 1e-3);
        assert_abs_diff_eq!(pairs[0].cents_wide.0, -1.955, epsilon = 3e-3);
        assert_abs_diff_eq!(
            beats_a_second(Instrument::Violin, Hertz(880.0 / 3.0), Hertz(440.0)),
            0.0,
            epsilon = 1e-9
        );
    }

    /// By hand: A1 = 55 Hz, D2 = 73.416 Hz: |4 · 55 − 3 · 73.416| = 0.248.
    #[test]
    fn a_bass_is_held_against_pure_fourths() {
        assert_abs_diff_eq!(
            beats_a_second(Instrument::Bass, Hertz(55.0), Hertz(73.416)),
            0.248,
            epsilon = 1e-3
        );
        assert_abs_diff_eq!(
            beats_a_second(Instrument::Bass, Hertz(55.0), Hertz(220.0 / 3.0)),
            0.0,
            epsilon = 1e-9
        );
    }

    #[test]
    fn strings_are_tuned_from_a_outwards() {
        assert_eq!(from_a(Instrument::Violin), [2, 1, 0, 3]);
        assert_eq!(from_a(Instrument::Cello), [3, 2, 1, 0]);
        assert_eq!(from_a(Instrument::Bass), [1, 0, 2, 3]);
        assert_eq!(next_to_hear(Instrument::Violin, &[false, true, true, false]), Some(0));
        assert_eq!(next_to_hear(Instrument::Violin, &[true; 4]), None);
        // G 20 cents high, A 10 cents low: A comes first, E in tune is not named.
        let four = heard(
            Instrument::Violin,
            &[at(0.0, 1.0, 195.998 * 1.0116), at(1.0, 2.0, 440.0 * 0.9942), at(2.0, 3.0, 659.255)],
        );
        assert_eq!(which_to_fix_first(Instrument::Violin, &four.readings()), [2, 0]);
    }

    /// By hand: 440 · 2^(5.4/1200) = 441.375 Hz and 440 · 2^(5.6/1200) = 441.426 Hz.
    #[test]
    fn what_is_printed_as_5_cents_is_not_to_be_tuned() {
        let first = |hertz: f64| {
            let four = heard(Instrument::Violin, &[at(0.0, 1.0, hertz)]);
            which_to_fix_first(Instrument::Violin, &four.readings())
        };
        assert_eq!((first(441.375), first(441.426)), (vec![], vec![2]));
    }

    #[test]
    fn the_last_long_stretch_counts_and_a_brush_does_not() {
        let four = heard(
            Instrument::Violin,
            &[at(0.0, 2.0, 436.0), at(3.0, 5.0, 439.0), at(6.0, 6.5, 444.0), at(7.0, 9.0, 523.25)],
        );
        assert_eq!(four.reading(2).map(|reading| reading.from), Some(Seconds(3.0)));
        assert_eq!(four.reading(3), None);
        assert_eq!(four.perhaps_slack(2), None);
    }

    #[test]
    fn a_verdict_prefers_what_was_steady_and_admits_what_was_not() {
        let tone = |hertz: f64, steadiness| Moment {
            time: Seconds(0.0),
            sound: Sound::Tone(Tone { pitch: Hertz(hertz), moves: Cents(9.0), steadiness }),
            ended: None,
        };
        let mut four = heard(Instrument::Violin, &[]);
        assert_eq!(four.verdict(2), Verdict::Nothing);
        (0..40).for_each(|_| four.hear(&tone(440.0, Steadiness::Swinging)));
        assert_eq!(four.verdict(2), Verdict::Swinging);
        (0..40).for_each(|_| four.hear(&tone(440.0, Steadiness::Moving)));
        assert!(
            matches!(four.verdict(2), Verdict::Read(reading) if !reading.steady && reading.moves == Cents(9.0))
        );
        assert_eq!(four.verdict(1), Verdict::Swinging);
        let elsewhere = heard(Instrument::Violin, &[at(0.0, 1.0, 440.0), at(2.0, 2.4, 220.0)]);
        assert!(matches!(elsewhere.verdict(1), Verdict::Elsewhere(Place::Other { string: 2, .. }, _)));
        assert!(matches!(elsewhere.verdict(2), Verdict::Read(_)));
    }

    #[test]
    fn a_string_that_was_not_heard_may_hang_slack() {
        // C sharp 4, a semitone below D.
        let four = heard(Instrument::Violin, &[at(0.0, 2.0, 277.18)]);
        assert_eq!(four.reading(1), None);
        assert_eq!(four.perhaps_slack(1).map(|stretch| stretch.pitch), Some(Hertz(277.18)));
        assert_eq!(four.perhaps_slack(0), None);
    }
}
