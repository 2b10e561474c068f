//! How far to move a finger, from how many cents the note was off.
//!
//! Ideal string (Mersenne's law, *Harmonie universelle*, 1636: frequency is inversely proportional to
//! the sounding length): a string of length L and open frequency f₀ sounds f when it is stopped at
//! L(1 − f₀/f) from the nut, leaving L·f₀/f to sound. We differ from a real string: pressing it down
//! stretches it a little, so a real finger lands a fraction of a millimetre nearer the nut; for the
//! *difference* between two places a few millimetres apart that does not matter.

use crate::units::{Cents, Hertz, Millimetres};

/// How far from the nut the finger stops a string so that it sounds `pitch`.
///
/// `open` is the frequency of the open string (above 0), `pitch` at or above it, `string_length` the
/// length from nut to bridge. The result is from 0 (open) to below `string_length`.
pub fn finger_place(open: Hertz, pitch: Hertz, string_length: Millimetres) -> Millimetres {
    Millimetres(string_length.0 * (1.0 - open.0 / pitch.0))
}

/// How far a finger has to move toward the bridge so that a note which is `flat_by` too low sounds
/// `pitch`; negative (for a sharp note) is toward the nut.
///
/// `pitch` is the frequency the note should have had, `open` that of its open string, both at the same
/// tuning. The finger now leaves L·(f₀/f)·2^(c/1200) of the string to sound and should leave L·f₀/f, so
/// the move is L·(f₀/f)·(2^(c/1200) − 1).
pub fn finger_shift(open: Hertz, pitch: Hertz, string_length: Millimetres, flat_by: Cents) -> Millimetres {
    Millimetres(string_length.0 * (open.0 / pitch.0) * ((flat_by.0 / 1200.0).exp2() - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    const OPEN: Hertz = Hertz(100.0);
    const LENGTH: Millimetres = Millimetres(300.0);

    #[test]
    fn an_octave_is_stopped_in_the_middle_and_a_fifth_at_a_third() {
        assert_abs_diff_eq!(finger_place(OPEN, Hertz(200.0), LENGTH).0, 150.0, epsilon = 1e-9);
        assert_abs_diff_eq!(finger_place(OPEN, Hertz(150.0), LENGTH).0, 100.0, epsilon = 1e-9);
        assert_abs_diff_eq!(finger_place(OPEN, OPEN, LENGTH).0, 0.0, epsilon = 1e-9);
    }

    #[test]
    fn a_stopped_octave_that_sounds_like_the_open_string_is_half_a_string_away() {
        // 1200 cents flat of 200 Hz is 100 Hz: the finger is at the nut and belongs in the middle.
        assert_abs_diff_eq!(finger_shift(OPEN, Hertz(200.0), LENGTH, Cents(1200.0)).0, 150.0, epsilon = 1e-9);
    }

    #[test]
    fn first_finger_on_a_violin_d_string_20_cents_flat_is_a_little_over_3_mm() {
        // By hand: f0/f = 2^(−2/12) = 0.890899; 2^(20/1200) − 1 = 0.011619; 328 · 0.890899 · 0.011619 = 3.395.
        let (d4, e4) = (Hertz(293.665), Hertz(329.628));
        assert_abs_diff_eq!(finger_shift(d4, e4, Millimetres(328.0), Cents(20.0)).0, 3.395, epsilon = 0.001);
    }

    #[test]
    fn the_same_error_is_a_longer_way_on_a_bass_and_a_shorter_one_higher_up() {
        let shift = |pitch, length| finger_shift(OPEN, Hertz(pitch), Millimetres(length), Cents(20.0)).0;
        assert!(shift(112.25, 1050.0) > 3.0 * shift(112.25, 328.0));
        assert!(shift(150.0, 328.0) < shift(112.25, 328.0));
    }

    #[test]
    fn moving_the_finger_by_the_shift_puts_the_note_right() {
        for cents in [-45.0, -20.0, -3.0, 3.0, 20.0, 45.0] {
            let target = Hertz(160.0);
            let played = target.shifted(Cents(-cents));
            let moved =
                finger_place(OPEN, played, LENGTH).0 + finger_shift(OPEN, target, LENGTH, Cents(cents)).0;
            assert_abs_diff_eq!(moved, finger_place(OPEN, target, LENGTH).0, epsilon = 1e-9);
        }
    }

    #[test]
    fn a_sharp_note_moves_toward_the_nut() {
        assert!(finger_shift(OPEN, Hertz(150.0), LENGTH, Cents(-20.0)).0 < 0.0);
    }
}
