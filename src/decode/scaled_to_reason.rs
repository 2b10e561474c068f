//! Floating point files may hold samples so large that nothing can be reckoned with their squares; they are made smaller.

use crate::remark::Remark;

/// No recorder makes samples beyond this: 120 dB above full scale.
const BEYOND_REASON: f32 = 1_048_576.0;

/// Where samples are beyond reason, all are made smaller by one power of two, which changes nothing but how loud they are, so
/// that the largest is at most 1, and a remark says so. Samples must be finite.
pub(super) fn scaled_to_reason(samples: &mut [f32]) -> Option<Remark> {
    let peak = samples.iter().fold(0.0f32, |peak, sample| peak.max(sample.abs()));
    if peak <= BEYOND_REASON {
        return None;
    }
    // In 64 bits, because half of the way 2¹²⁸ would be beyond the numbers of 32.
    let share = 0.5f64.powi(f64::from(peak).log2().ceil() as i32);
    samples.iter_mut().for_each(|sample| *sample = (f64::from(*sample) * share) as f32);
    Some(Remark::new(
        "far-too-large",
        "The samples of the file are far beyond full scale; they were made smaller.",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_beyond_reason_is_made_smaller_and_only_its_loudness_changes() {
        let tone: Vec<f32> = (0..1000).map(|n| (n as f32 * 0.1).sin()).collect();
        let mut hot: Vec<f32> = tone.iter().map(|sample| sample * 1000.0).collect();
        let before = hot.clone();
        assert!(scaled_to_reason(&mut hot).is_none());
        assert_eq!(hot, before);
        for gain in [2.0e6f32, 1.0e30, f32::MAX] {
            let mut large: Vec<f32> = tone.iter().map(|sample| sample * gain).collect();
            let before = large.clone();
            assert_eq!(scaled_to_reason(&mut large).unwrap().code, "far-too-large");
            let peak = large.iter().fold(0.0f32, |peak, sample| peak.max(sample.abs()));
            assert!((0.5..=1.0).contains(&peak), "{peak}");
            for (small, large) in large.iter().zip(&before).filter(|(_, large)| **large != 0.0) {
                let share = f64::from(*small) / f64::from(*large) * f64::from(gain);
                assert!((0.5..=1.01).contains(&share), "{share}");
            }
        }
    }
}
