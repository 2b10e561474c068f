//! A period in the middle of the window: where the pitch moves (vibrato, a scoop), a short look tells the
//! pitch of the moment, and a long one tells an average.

use super::periodicity::vertex;

/// A look this long is enough for a pitch of 174 Hz or more, in seconds: R5 on vibrato rose from 87 to
/// 98 % against a look of 120 ms, and the exact tones stay within 0.1 cent at 20 dB.
const SHORTEST_LOOK: f64 = 0.046;
/// A look has at least so many periods.
const PERIODS: f64 = 8.0;

/// How many samples around the frame's centre are looked at for a period (in samples).
pub(super) fn look(period: f64, rate: f64) -> usize {
    (PERIODS * period).max(SHORTEST_LOOK * rate) as usize
}

/// The period of `samples` near `period`, from the square difference at growing multiples of it; `None`
/// where it does not repeat there.
pub(super) fn period_in(samples: &[f32], period: f64) -> Option<f64> {
    let mut period = period;
    let mut multiple = 1.0;
    loop {
        let mut lag = (period * multiple).round() as usize;
        if lag + 2 > samples.len() / 2 || lag < 3 {
            return None;
        }
        let mut left = difference(samples, lag - 1);
        let mut here = difference(samples, lag);
        let mut right = difference(samples, lag + 1);
        for _ in 0..6 {
            if left < here {
                (lag, right, here) = (lag - 1, here, left);
                if lag < 3 {
                    return None;
                }
                left = difference(samples, lag - 1);
            } else if right < here {
                (lag, left, here) = (lag + 1, here, right);
                right = difference(samples, lag + 1);
            } else {
                break;
            }
        }
        if left < here || right < here {
            return None;
        }
        let refined = vertex(lag, -left, -here, -right).0 / multiple;
        if (refined / period - 1.0).abs() > 0.03 {
            return None;
        }
        period = refined;
        let most = (samples.len() as f64 / 2.0 - 3.0) / period;
        if most < multiple + 1.0 {
            return Some(period);
        }
        multiple = (multiple * 4.0).min(most.floor());
    }
}

/// The square difference of a window and itself `lag` later, over the energy of both parts: 1 − n(τ).
fn difference(samples: &[f32], lag: usize) -> f64 {
    const LANES: usize = 8;
    let (head, tail) = (&samples[..samples.len() - lag], &samples[lag..]);
    let (mut apart, mut energy) = ([0.0f32; LANES], [0.0f32; LANES]);
    let (a, b) = (head.chunks_exact(LANES), tail.chunks_exact(LANES));
    let (rest_a, rest_b) = (a.remainder(), b.remainder());
    for (a, b) in a.zip(b) {
        for lane in 0..LANES {
            let gap = a[lane] - b[lane];
            apart[lane] += gap * gap;
            energy[lane] += a[lane] * a[lane] + b[lane] * b[lane];
        }
    }
    for (lane, (a, b)) in rest_a.iter().zip(rest_b).enumerate() {
        apart[lane] += (a - b) * (a - b);
        energy[lane] += a * a + b * b;
    }
    let sum = |lanes: [f32; LANES]| lanes.into_iter().map(f64::from).sum::<f64>();
    sum(apart) / sum(energy).max(1e-30)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_period_is_found_between_the_samples() {
        for truth in [17.31, 100.25, 400.6] {
            let samples: Vec<f32> = (0..4000)
                .map(|at| {
                    let phase = std::f64::consts::TAU * f64::from(at) / truth;
                    (phase.sin() + 0.5 * (2.0 * phase + 1.0).sin()) as f32
                })
                .collect();
            assert_abs_diff_eq!(period_in(&samples, truth * 1.004).unwrap(), truth, epsilon = truth * 1e-5);
        }
    }

    #[test]
    fn a_window_that_does_not_repeat_has_no_period_there() {
        let samples: Vec<f32> = (0..4000).map(|at| (at as f32 / 4000.0).powi(2)).collect();
        assert_eq!(period_in(&samples, 100.0), None);
    }
}
