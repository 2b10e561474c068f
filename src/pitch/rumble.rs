//! Samples without rumble and without a constant offset, from samples: a second-order Butterworth high-pass
//! (bilinear transform; Oppenheim & Schafer, *Discrete-Time Signal Processing*, chapter on filter design,
//! from memory).

/// The filter; it starts as if the first sample had been there for ever, so that an offset is no step.
#[derive(Debug, Clone)]
pub(super) struct RumbleFilter {
    gain: f64,
    feedback: [f64; 2],
    state: Option<[f64; 2]>,
}

impl RumbleFilter {
    /// Half power at `cut` hertz, 12 dB an octave below it.
    pub(super) fn new(cut: f64, rate: f64) -> Self {
        let k = (std::f64::consts::PI * (cut / rate).min(0.45)).tan();
        let norm = 1.0 / (1.0 + std::f64::consts::SQRT_2 * k + k * k);
        let feedback = [2.0 * (k * k - 1.0) * norm, (1.0 - std::f64::consts::SQRT_2 * k + k * k) * norm];
        Self { gain: norm, feedback, state: None }
    }

    /// As if no sample had come yet.
    pub(super) fn reset(&mut self) {
        self.state = None;
    }

    /// The next sample; one that is not finite counts as 0.
    #[inline]
    pub(super) fn next(&mut self, sample: f32) -> f32 {
        let x = if sample.is_finite() { f64::from(sample) } else { 0.0 };
        // Transposed direct form II with numerator gain · (1, −2, 1); at rest under a constant x the
        // output is 0 and the states are −gain · x and gain · x.
        let [first, second] = self.state.unwrap_or([-self.gain * x, self.gain * x]);
        let y = self.gain * x + first;
        self.state =
            Some([second - 2.0 * self.gain * x - self.feedback[0] * y, self.gain * x - self.feedback[1] * y]);
        y as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_constant_offset_leaves_nothing_from_the_first_sample_on() {
        let mut filter = RumbleFilter::new(50.0, 44_100.0);
        assert!((0..1000).all(|_| filter.next(0.3).abs() < 1e-6));
    }

    #[test]
    fn the_cut_has_half_power_and_an_octave_below_12_db_less() {
        // Butterworth, order 2: power 1 / (1 + (cut / f)^4).
        for (ratio, power) in [(1.0, 0.5), (0.5, 1.0 / 17.0), (8.0, 0.99976)] {
            let mut filter = RumbleFilter::new(50.0, 44_100.0);
            let out: Vec<f64> = (0..88_200)
                .map(|at| {
                    let phase = std::f64::consts::TAU * 50.0 * ratio * f64::from(at) / 44_100.0;
                    f64::from(filter.next(phase.sin() as f32))
                })
                .collect();
            let measured = 2.0 * out[44_100..].iter().map(|y| y * y).sum::<f64>() / 44_100.0;
            assert_abs_diff_eq!(measured, power, epsilon = 0.002);
        }
    }
}
