//! Whether a string is plucked at a moment. The networks know bowed notes; a note that comes at once and falls at once
//! looks to them like a tap or a click. A pluck has what neither has: a clear pitch that stays.

use super::envelope::Envelope;
use crate::pitch::Contour;
use crate::units::Seconds;

/// Log odds of an onset, at least, where a string is plucked.
pub(super) const PLUCKED: f64 = 2.5;

/// The place of a candidate is as exact as this, in seconds.
const PLACE: f64 = 0.03;
/// What sounded before is the loudest moment of so many seconds.
const BEFORE: f64 = 0.05;
/// Within so many seconds the level is higher than that
const AT_ONCE: f64 = 0.02;
/// by so many dB,
const STEP_UP: f32 = 8.0;
/// and within as many seconds as `BEFORE` by so many.
const WHOLE_STEP_UP: f32 = 10.0;
/// What is softer than this is silence, in dB below full scale.
const SILENCE: f32 = -100.0;
/// From so many seconds after the step to so many
const PITCHED: (f64, f64) = (0.03, 0.10);
/// the pitch stays within so many cents of its median,
const STILL: f64 = 30.0;
/// in so many frames of 10 ms,
const FRAMES: usize = 6;
/// and is as clear as this;
const CLEAR: f32 = 0.9;
/// by then the level has fallen by so many dB,
const FALLEN: f32 = 2.0;
/// and half of the way there by this share of them: a metronome's beep holds its level and ends at once.
const FALLEN_HALFWAY: f32 = 0.3;

/// Whether a string is plucked within 30 ms of a moment.
pub(super) fn is_plucked(contour: &Contour, envelope: &Envelope, time: f64) -> bool {
    let Some(at) = steepest(envelope, time) else { return false };
    let before = loudest_before(envelope, at);
    let top = envelope.peak(Seconds(at), Seconds(at + BEFORE));
    let at_once = envelope.peak(Seconds(at), Seconds(at + AT_ONCE));
    let fallen = |after: f64| top - envelope.peak(Seconds(at + after), Seconds(at + after + AT_ONCE));
    let later = fallen(PITCHED.1);
    top - before >= WHOLE_STEP_UP
        && at_once - before >= STEP_UP
        && later >= FALLEN
        && fallen(0.5 * PITCHED.1) >= FALLEN_HALFWAY * later
        && has_a_still_pitch(contour, at)
}

/// Where, within [`PLACE`] of a moment, the level steps up most.
fn steepest(envelope: &Envelope, time: f64) -> Option<f64> {
    let hop = envelope.hop.0;
    let reach = (PLACE / hop).round() as i32;
    (-reach..=reach)
        .map(|k| time + f64::from(k) * hop)
        .filter(|&at| at > BEFORE)
        .map(|at| (at, envelope.peak(Seconds(at), Seconds(at + BEFORE)) - loudest_before(envelope, at)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(at, _)| at)
}

fn loudest_before(envelope: &Envelope, at: f64) -> f32 {
    envelope.peak(Seconds(at - BEFORE), Seconds(at - envelope.hop.0)).max(SILENCE)
}

fn has_a_still_pitch(contour: &Contour, at: f64) -> bool {
    let frame = |time: f64| (time / contour.hop.0).round() as usize;
    let last = frame(at + PITCHED.1).min(contour.frames.len().saturating_sub(1));
    let frames = contour.frames.get(frame(at + PITCHED.0)..=last).unwrap_or_default();
    let mut cents: Vec<f64> = frames
        .iter()
        .filter(|f| f.clarity > CLEAR)
        .filter_map(|f| f.pitch.map(|pitch| 1200.0 * (pitch.0 / 440.0).log2()))
        .collect();
    cents.sort_by(f64::total_cmp);
    let Some(&median) = cents.get(cents.len() / 2) else { return false };
    cents.iter().filter(|&&c| (c - median).abs() < STILL).count() >= FRAMES
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Hertz;

    /// When the string is plucked, in seconds.
    const AT: f64 = 1.0;

    /// Two seconds of a level (dB) and a pitch (cents above A4), by the seconds since the pluck.
    fn sound(level: impl Fn(f64) -> f32, pitch: impl Fn(f64) -> Option<f64>) -> (Contour, Envelope) {
        let frames = (0..200).map(|k| pitch(f64::from(k) * 0.01 - AT));
        let hertz = |cents: Option<f64>| cents.map(|cents| Hertz(440.0 * (cents / 1200.0).exp2()));
        let envelope = Envelope::of_levels(2.0, -100.0, |time| level(time - AT));
        (Contour::of_pitches(frames.map(hertz)), envelope)
    }

    /// At once from −60 dB to −20, then down by so many dB in a second.
    fn falling(by: f32) -> impl Fn(f64) -> f32 {
        move |since| if since < 0.0 { -60.0 } else { -20.0 - by * since as f32 }
    }

    fn still(since: f64) -> Option<f64> {
        (since >= 0.0).then_some(200.0)
    }

    fn plucked((contour, envelope): &(Contour, Envelope)) -> bool {
        is_plucked(contour, envelope, AT)
    }

    #[test]
    fn a_note_that_comes_at_once_falls_at_once_and_has_a_still_pitch_is_plucked() {
        for by in [30.0, 60.0, 200.0] {
            let sound = sound(falling(by), still);
            for away in [-0.03, 0.0, 0.03] {
                assert!(is_plucked(&sound.0, &sound.1, AT + away), "{by} {away}");
            }
            assert!(!is_plucked(&sound.0, &sound.1, AT + 0.2) && !is_plucked(&sound.0, &sound.1, AT - 0.2));
        }
    }

    #[test]
    fn a_string_that_still_rings_is_plucked_again_where_it_gets_10_db_louder() {
        let again = |by: f32| {
            sound(
                move |since| if since < 0.0 { -20.0 - by } else { -20.0 - 60.0 * since as f32 },
                |_| Some(0.0),
            )
        };
        assert!(plucked(&again(12.0)) && !plucked(&again(9.0)));
    }

    #[test]
    fn a_bow_that_holds_its_note_or_swells_into_it_does_not_pluck() {
        assert!(!plucked(&sound(falling(0.0), still)) && !plucked(&sound(falling(10.0), still)));
        let swelling = |since: f64| {
            (-60.0 + 500.0 * since.max(0.0) as f32).min(-20.0) - 200.0 * (since - 0.08).max(0.0) as f32
        };
        assert!(!plucked(&sound(swelling, still)));
    }

    #[test]
    fn a_tap_a_click_and_a_word_are_not_plucked() {
        assert!(!plucked(&sound(falling(200.0), |_| None)));
        assert!(
            !plucked(&sound(falling(200.0), |since| still(since).filter(|_| since < 0.07))),
            "a click of 70 ms"
        );
        assert!(!plucked(&sound(falling(60.0), |since| Some(1500.0 * since))), "a voice that rises");
        let beep = |since: f64| if (0.0..0.09).contains(&since) { -20.0 } else { -60.0 };
        assert!(!plucked(&sound(beep, |since| still(since).filter(|_| since < 0.12))), "a metronome's beep");
        let mut hoarse = sound(falling(60.0), still);
        hoarse.0.frames.iter_mut().for_each(|frame| frame.clarity = 0.85);
        assert!(!plucked(&hoarse));
    }

    #[test]
    fn at_either_end_of_a_take_nothing_is_plucked() {
        let (contour, envelope) = sound(falling(60.0), still);
        assert!(!is_plucked(&contour, &envelope, 0.0) && !is_plucked(&contour, &envelope, 1.99));
        let nothing = Contour { hop: Seconds(0.01), frames: Vec::new() };
        assert!(!is_plucked(&nothing, &envelope, AT));
    }
}
