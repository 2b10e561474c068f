//! Sound as the rooms pass it on: one channel of samples with its rate.

use crate::units::{SampleRate, Seconds};

/// One channel of sound. Samples are finite; full scale is ±1.
#[derive(Debug, Clone, PartialEq)]
pub struct Samples {
    /// The samples, oldest first.
    pub mono: Vec<f32>,
    /// How many of them make a second.
    pub rate: SampleRate,
}

impl Samples {
    /// How long the sound lasts.
    pub fn duration(&self) -> Seconds {
        Seconds(self.mono.len() as f64 / self.rate.hertz())
    }

    /// The constant that a poor recorder adds to every sample: their mean, 0 where there are none.
    pub fn offset(&self) -> f64 {
        let sum: f64 = self.mono.iter().map(|&one| f64::from(one)).sum();
        sum / self.mono.len().max(1) as f64
    }
}
