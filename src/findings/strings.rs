//! How each string is tuned, from notes that must be open.

use super::report::StringTuning;
use crate::notation::Instrument;

/// A right note with its measured deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// Sounding MIDI number as written.
    pub midi: i32,
    /// Played minus written, in cents, at the report's A.
    pub cents: f64,
}

/// Tuning of the strings that were heard open. On violin and viola the fourth finger gives the pitch of
/// the next open string, so there an open string counts only where no written note lies below it on the
/// string before: then a beginner in first position plays it open (common practice).
pub fn string_tuning(instrument: Instrument, notes: &[Deviation]) -> Vec<StringTuning> {
    let open = instrument.open_strings();
    let mut tunings = Vec::new();
    for (k, &midi) in open.iter().enumerate() {
        let fourth_finger = matches!(instrument, Instrument::Violin | Instrument::Viola) && k > 0;
        if fourth_finger && notes.iter().any(|n| n.midi > open[k - 1] && n.midi < midi) {
            continue;
        }
        let mut cents: Vec<f64> = notes.iter().filter(|n| n.midi == midi).map(|n| n.cents).collect();
        if cents.is_empty() {
            continue;
        }
        cents.sort_by(f64::total_cmp);
        let middle = 0.5 * (cents[(cents.len() - 1) / 2] + cents[cents.len() / 2]);
        tunings.push(StringTuning {
            string: instrument.string_names()[k].to_owned(),
            cents: middle,
            notes: cents.len(),
        });
    }
    tunings
}
