//! Noise that is the same every time.

/// A stream of random numbers from a seed: SplitMix64 (Steele, Lea & Flood, *Fast Splittable
/// Pseudorandom Number Generators*, OOPSLA 2014; constants from memory, checked in a test against the
/// numbers commonly published for seed 1234567).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Noise {
    state: u64,
}

impl Noise {
    /// A stream that depends on nothing but the seed.
    pub fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// Uniform from −1 to below 1.
    pub fn uniform(&mut self) -> f64 {
        // 53 bits fill a double's mantissa.
        (self.bits() >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stream_is_splitmix64() {
        let mut noise = Noise::new(1_234_567);
        let first: Vec<u64> = (0..3).map(|_| noise.bits()).collect();
        assert_eq!(first, [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]);
    }

    #[test]
    fn uniform_numbers_fill_their_range_and_average_to_nothing() {
        let mut noise = Noise::new(7);
        let many: Vec<f64> = (0..20_000).map(|_| noise.uniform()).collect();
        assert!(many.iter().all(|x| (-1.0..1.0).contains(x)));
        let mean = many.iter().sum::<f64>() / many.len() as f64;
        // The standard error is 1/sqrt(3 · 20000) = 0.004.
        assert!(mean.abs() < 0.02, "{mean}");
    }
}
