//! What an inter-onset interval costs that is not as written.

/// Log-likelihood of the logarithm of played over expected interval: Student's t with three degrees of
/// freedom (heavy tails: a child hesitates), tabulated because it is asked for at every edge.
pub(super) struct TimingTable {
    values: Vec<f64>,
}

impl TimingTable {
    const STEP: f64 = 0.005;
    const LAST: usize = 1200;

    pub fn new(scale: f64) -> Self {
        let at = |k: usize| {
            let x = k as f64 * Self::STEP / scale;
            -2.0 * (x * x / 3.0).ln_1p()
        };
        Self { values: (0..=Self::LAST).map(at).collect() }
    }

    pub fn at(&self, log_ratio: f64) -> f64 {
        self.values[((log_ratio.abs() / Self::STEP + 0.5) as usize).min(Self::LAST)]
    }
}

#[cfg(test)]
mod tests {
    use super::TimingTable;

    #[test]
    fn times_between_two_entries_of_the_table_take_the_nearer_one() {
        let table = TimingTable::new(0.16);
        let step = TimingTable::STEP;
        assert_eq!(table.at(0.0), 0.0);
        for k in [0.0, 1.0, 40.0] {
            assert_eq!(table.at((k + 0.4) * step), table.at(k * step));
            assert_eq!(table.at((k + 0.6) * step), table.at((k + 1.0) * step));
            assert!(table.at((k + 1.0) * step) < table.at(k * step));
        }
    }
}
