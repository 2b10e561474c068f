//! A table of the contour, one row a frame.

use crate::pitch::Contour;
use std::fmt::Write;

/// The contour as CSV (RFC 4180 with line feeds): `time_s` the centre of the frame in seconds with 3
/// decimals; `hz` with 5 decimals, so that a step is below 0.001 cents at 41 Hz, and empty where
/// nothing with a pitch sounds; `clarity` 0 to 1 with 3 decimals.
pub fn contour_csv(contour: &Contour) -> String {
    let mut table = String::with_capacity(32 * (contour.frames.len() + 1));
    table.push_str("time_s,hz,clarity\n");
    for frame in &contour.frames {
        let hz = frame.pitch.map_or(String::new(), |pitch| format!("{:.5}", pitch.0));
        // Writing to a String cannot fail.
        let _ = writeln!(table, "{:.3},{hz},{:.3}", frame.time.0, frame.clarity);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Frame;
    use crate::units::{Hertz, Seconds};

    #[test]
    fn an_unvoiced_frame_has_an_empty_pitch() {
        let frame = |time, pitch, clarity| Frame {
            time: Seconds(time),
            pitch,
            clarity,
            level_db: -20.0,
            candidates: Default::default(),
            harmonic_db: -20.0,
            noise_db: -120.0,
            second: None,
        };
        let frames = vec![frame(0.0, None, 0.0), frame(0.01, Some(Hertz(41.203_444_6)), 0.987_6)];
        let table = contour_csv(&Contour { hop: Seconds(0.01), frames });
        assert_eq!(table, "time_s,hz,clarity\n0.000,,0.000\n0.010,41.20344,0.988\n");
    }

    #[test]
    fn a_step_of_the_last_digit_is_far_below_what_the_ear_can_measure() {
        // The lowest open string, E1: 41.2 Hz.
        let step = Hertz(41.20345).cents_above(Hertz(41.20344));
        assert!(step.0 < 0.001, "{step:?}");
    }
}
