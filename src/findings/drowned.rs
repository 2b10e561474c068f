//! Whether a note that was not heard may have been played while something else was loud: the wind, a door, a chair.

use crate::pitch::Contour;
use crate::segment::Envelope;
use crate::units::Seconds;

/// Noise is loud where it is at most so much softer than the notes, in dB,
const LOUD: f32 = 10.0;
/// and a note drowns in it where it fills this share of the note's time.
const SHARE: f64 = 0.7;

/// Whether between two played notes something without a pitch is as loud as the notes usually are (dB below full scale), for
/// most of the `lasts` seconds that a written note between them should last. Where several were not heard there, it is asked
/// of each.
pub(super) fn may_have_drowned(
    lasts: f64,
    (from, to): (Seconds, Seconds),
    usual: f32,
    contour: &Contour,
    envelope: &Envelope,
) -> bool {
    let noise = contour
        .between(from, to)
        .iter()
        .filter(|frame| frame.pitch.is_none() && envelope.peak(frame.time, frame.time) > usual - LOUD);
    noise.count() as f64 * contour.hop.0 >= SHARE * lasts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Hertz;

    /// Three seconds with notes at −20 dB but for the second from 1 s on, in which something has this level and, perhaps, a
    /// pitch; whether a note of so many seconds may be in it.
    fn found(level: f32, pitch: Option<Hertz>, lasts: f64) -> bool {
        let between = |time: f64| (1.0..2.0).contains(&time);
        let note = Some(Hertz(220.0));
        let contour =
            Contour::of_pitches((0..300).map(|k| if between(f64::from(k) * 0.01) { pitch } else { note }));
        let envelope = Envelope::of_levels(3.0, -100.0, |time| if between(time) { level } else { -20.0 });
        may_have_drowned(lasts, (Seconds(1.0), Seconds(2.0)), -20.0, &contour, &envelope)
    }

    #[test]
    fn a_note_drowns_in_noise_as_loud_as_the_notes_and_not_in_silence_or_another_note() {
        assert!(found(-15.0, None, 1.0) && found(-28.0, None, 1.0));
        assert!(!found(-32.0, None, 1.0) && !found(-80.0, None, 1.0), "it would have been heard");
        assert!(!found(-15.0, Some(Hertz(247.0)), 1.0), "another note");
        assert!(found(-15.0, None, 1.35) && !found(-15.0, None, 1.5), "too short for it");
    }
}
