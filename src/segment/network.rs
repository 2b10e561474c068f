//! A network with one hidden layer, small enough that its weights can be read.

/// The weighted sum of the hidden units, each the hyperbolic tangent of its own weighted sum of the cues.
pub(super) fn network<const CUES: usize, const HIDDEN: usize>(
    (first, first_bias): (&[[f64; CUES]; HIDDEN], &[f64; HIDDEN]),
    (second, second_bias): (&[f64; HIDDEN], f64),
    cues: &[f64; CUES],
) -> f64 {
    let unit = |(row, bias): (&[f64; CUES], &f64)| {
        let sum: f64 = row.iter().zip(cues).map(|(weight, cue)| weight * cue).sum();
        (sum + bias).tanh()
    };
    first.iter().zip(first_bias).map(unit).zip(second).map(|(unit, weight)| weight * unit).sum::<f64>()
        + second_bias
}

#[cfg(test)]
mod tests {
    use super::network;

    #[test]
    fn a_network_worked_by_hand() {
        // Hidden units tanh(2 - 1 + 0.5) and tanh(-1), out of cues 2 and 1.
        let (first, bias) = ([[1.0, -1.0], [0.0, -2.0]], [0.5, 1.0]);
        let wanted = 3.0 * 1.5_f64.tanh() - 0.5 * (-1.0_f64).tanh() + 0.25;
        let found = network((&first, &bias), (&[3.0, -0.5], 0.25), &[2.0, 1.0]);
        assert!((found - wanted).abs() < 1e-12, "{found} {wanted}");
    }
}
