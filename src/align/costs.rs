//! The prices of a reading.

use serde::{Deserialize, Serialize};

/// Prices of a reading in nats (natural logarithm; about: how many times e less likely).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Costs {
    /// Another pitch than the written one. At most 3.5, so that the melody cannot outshout the sound.
    pub wrong: f64,
    /// A written note left out.
    pub missing: f64,
    /// A written note left out that has the pitch of the one before: one long bow for two.
    pub merged: f64,
    /// Leaving out more notes than that in one go, such as a line of the sheet,
    pub leap: f64,
    /// and that much more for each note that it goes on by.
    pub leap_note: f64,
    /// A note that is not written.
    pub extra: f64,
    /// Going back.
    pub restart: f64,
    /// Going back without a halt.
    pub no_halt: f64,
    /// The shortest silence that is a halt, in seconds.
    pub halt: f64,
    /// Going back after a wrong note costs that much less: it is what makes a player stop.
    pub stumbled: f64,
    /// Another extra note after an extra note.
    pub extra_again: f64,
    /// A written note that is only brushed.
    pub brush: f64,
    /// The share of its length below which it is.
    pub brush_share: f64,
    /// Scale of the logarithm of played over expected inter-onset interval.
    pub timing_scale: f64,
    /// The most that coming late costs: a child looks for the next note, and often holds this one meanwhile.
    pub late: f64,
    /// Least onset evidence (log odds, melody unseen) for two notes of one pitch without a pause between.
    pub split: f64,
    /// What a split with less evidence costs.
    pub unheard_split: f64,
    /// Noise or talk in a pause inside the melody.
    pub talk: f64,
    /// Weight of the onset evidence against the evidence of pitch.
    pub onset: f64,
    /// Weight of an onset passed over in a pause (clicks, talk) against one passed over in a note.
    pub onset_in_pause: f64,
    /// The most that an extra note costs for coming at another time than the next note's or, after the last note, than
    /// its written end.
    pub before_extra: f64,
    /// Going on after an extra note, instead of the price of timing.
    pub after_extra: f64,
}

impl Default for Costs {
    fn default() -> Self {
        Self {
            wrong: 3.5,
            missing: 5.0,
            merged: 4.0,
            leap: 18.0,
            leap_note: 0.8,
            extra: 2.7,
            restart: 7.0,
            no_halt: 3.0,
            halt: 0.2,
            stumbled: 2.0,
            brush: 3.0,
            extra_again: 1.0,
            brush_share: 0.25,
            timing_scale: 0.16,
            late: 3.5,
            split: -3.0,
            unheard_split: 1.0,
            talk: 6.0,
            onset: 0.85,
            onset_in_pause: 0.8,
            before_extra: 2.0,
            after_extra: 0.8,
        }
    }
}
