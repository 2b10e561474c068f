//! A seeded generator of random numbers that gives the same takes on every machine and forever.

/// SplitMix64 (Steele, Lea & Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014).
#[derive(Debug, Clone)]
pub struct Random {
    state: u64,
}

impl Random {
    /// A generator for one seed and one stream of it: streams of the same seed are independent.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut fresh = Self { state: seed ^ stream.wrapping_mul(0xA24B_AED4_963E_E407) };
        fresh.bits();
        fresh.bits();
        fresh
    }

    fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in 0 (included) to 1 (excluded).
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Uniform on a logarithmic scale between two positive values.
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// A whole number from 0 to `count` − 1; 0 if `count` is 0.
    pub fn below(&mut self, count: usize) -> usize {
        ((self.unit() * count as f64) as usize).min(count.saturating_sub(1))
    }

    /// True with the given probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// A normal deviate (Box & Muller 1958).
    pub fn normal(&mut self, mean: f64, deviation: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        mean + deviation * radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// A normal deviate held within ± `limit` of the mean.
    pub fn clipped_normal(&mut self, mean: f64, deviation: f64, limit: f64) -> f64 {
        mean + self.normal(0.0, deviation).clamp(-limit, limit)
    }

    /// One of the items.
    pub fn pick<'a, T>(&mut self, items: &'a [T]) -> &'a T {
        &items[self.below(items.len())]
    }

    /// An index, each with its weight.
    pub fn weighted(&mut self, weights: &[f64]) -> usize {
        let mut left = self.unit() * weights.iter().sum::<f64>();
        for (index, weight) in weights.iter().enumerate() {
            left -= weight;
            if left < 0.0 {
                return index;
            }
        }
        weights.len() - 1
    }
}
