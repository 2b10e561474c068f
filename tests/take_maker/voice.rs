//! Whose recordings a take is made of, and what it is made to sound like.
//!
//! There are two players of the violin, the cello and the bass and one of the viola, and a child has another instrument
//! than any. For training, a *borrowed*
//! voice takes the notes of any instrument nearby, read faster or slower to fit, through a body that nobody built: a
//! model that has only met two violins leans on how those two sound (trained without the studio's violin it called
//! three times as many of that violin's quiet moments onsets).

use super::beginner_take::{RATE, Style};
use super::filters::Section;
use super::random::Random;
use super::sources::Sources;
use fingertape::notation::Instrument;

/// Where the notes come from, and the body that they sound through.
#[derive(Debug, Clone, PartialEq)]
pub struct Voice {
    pub instrument: Instrument,
    pub player: &'static str,
    /// Notes are taken from so many semitones above the ones that are played.
    pub above: f64,
    /// Resonances of the body: hertz, Q, gain.
    pub body: Vec<(f64, f64, f64)>,
}

/// Notes are borrowed from at most so many semitones away, so that attacks stay attacks.
const FURTHEST: f64 = 13.0;

impl Voice {
    /// One of the players of an instrument. The studio players have many more recordings than the font's.
    pub fn of(sources: &Sources, instrument: Instrument, random: &mut Random) -> Self {
        let players = sources.players(instrument);
        let player = if players.len() > 1 && random.chance(0.7) { players[1] } else { players[0] };
        Self { instrument, player, above: 0.0, body: Vec::new() }
    }

    /// A voice that nobody recorded.
    pub fn borrowed(sources: &Sources, instrument: Instrument, random: &mut Random) -> Self {
        let lowest = |instrument: Instrument| f64::from(instrument.open_strings()[0]);
        let near: Vec<Instrument> = Instrument::ALL
            .into_iter()
            .filter(|other| (lowest(*other) - lowest(instrument)).abs() < FURTHEST)
            .collect();
        let from = *random.pick(&near);
        let player = *random.pick(&sources.players(from));
        let apart = lowest(from) - lowest(instrument);
        let above = (apart + random.between(-4.0, 4.0)).clamp(-FURTHEST, FURTHEST);
        // A wooden body has narrow resonances as well, so that each harmonic swells as vibrato moves it over them.
        let resonance = |random: &mut Random, (low, high): (f64, f64)| {
            let gain = 10f64.powf(random.between(-9.0, 9.0) / 20.0);
            (random.log_between(150.0, 6000.0), random.log_between(low, high), gain)
        };
        let mut body: Vec<_> = (0..4).map(|_| resonance(random, (0.5, 3.0))).collect();
        body.extend((0..14).map(|_| resonance(random, (6.0, 30.0))));
        Self { instrument: from, player, above, body }
    }

    /// What the truth calls it.
    pub fn name(&self) -> String {
        if self.body.is_empty() {
            self.player.into()
        } else {
            format!("{:?} {}", self.instrument, self.player)
        }
    }

    /// How a child with a borrowed voice bows: with more of a player's own movement of pitch than most.
    pub fn style(&self, random: &mut Random) -> Style {
        let mut style = Style::any(random);
        if !self.body.is_empty() {
            style.own_movement = random.between(0.1, 1.3);
            style.vibrato_cents = if random.chance(0.4) { random.between(8.0, 40.0) } else { 0.0 };
            style.level_wobble_db *= random.between(0.7, 1.6);
        }
        style
    }

    /// The sound through the body.
    pub fn resound(&self, mix: &mut [f32]) {
        for &(hertz, q, gain) in &self.body {
            let mut band = Section::band_pass(hertz, q, RATE);
            for sample in mix.iter_mut() {
                let x = f64::from(*sample);
                *sample = (x + (gain - 1.0) * band.push(x)) as f32;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_resonance_lifts_its_own_frequency_by_its_gain_and_leaves_others() {
        let voice =
            Voice { instrument: Instrument::Viola, player: "x", above: 0.0, body: vec![(1000.0, 2.0, 2.0)] };
        let loudness = |hertz: f64| {
            let tone = |k: usize| (std::f64::consts::TAU * hertz * k as f64 / RATE).sin() as f32;
            let mut mix: Vec<f32> = (0..44100).map(tone).collect();
            voice.resound(&mut mix);
            mix[22050..].iter().fold(0.0f32, |most, x| most.max(x.abs()))
        };
        assert!((loudness(1000.0) - 2.0).abs() < 0.02, "{}", loudness(1000.0));
        assert!((loudness(50.0) - 1.0).abs() < 0.02 && (loudness(15000.0) - 1.0).abs() < 0.05);
    }
}
