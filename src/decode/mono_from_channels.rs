//! Channels become one: their mean, unless one of them is silent or two of them cancel.

use crate::remark::Remark;

/// A channel this far below the loudest one (−40 dB) is taken for an unused input.
const UNUSED_CHANNEL: f64 = 1e-4;

/// When the mean keeps less than this share of the channels' own mean power, they cancel each other
/// (two equal channels keep 1, two unrelated ones 0.5, a pair with one lead swapped near 0).
const CANCELLED: f64 = 0.1;

/// One channel from several of equal length, at full scale ±1, with a remark where it is not simply
/// their mean. No channels give no samples.
pub(super) fn mono_from_channels(mut channels: Vec<Vec<f32>>) -> (Vec<f32>, Vec<Remark>) {
    if channels.len() <= 1 {
        return (channels.pop().unwrap_or_default(), Vec::new());
    }
    let power: Vec<f64> = channels.iter().map(|channel| power(channel)).collect();
    let loudest = (0..channels.len()).fold(0, |best, k| if power[k] > power[best] { k } else { best });
    let used: Vec<usize> = (0..channels.len())
        .filter(|&k| power[k] > 0.0 && power[k] >= UNUSED_CHANNEL * power[loudest])
        .collect();
    let mean = mean_of(&channels, &used);
    match used.len() {
        0 => (channels.swap_remove(loudest), Vec::new()),
        1 => {
            let remark = Remark::new(
                "one-channel-silent",
                format!(
                    "Only channel {} of {} carries sound; it was used alone.",
                    loudest + 1,
                    channels.len()
                ),
            );
            (channels.swap_remove(loudest), vec![remark])
        }
        _ => {
            let own = used.iter().map(|&k| power[k]).sum::<f64>() / used.len() as f64;
            if self::power(&mean) >= CANCELLED * own {
                return (mean, Vec::new());
            }
            let remark = Remark::new(
                "channels-cancel",
                format!(
                    "The channels are in opposite phase and would cancel each other; channel {} was used alone.",
                    loudest + 1
                ),
            );
            (channels.swap_remove(loudest), vec![remark])
        }
    }
}

/// Mean of the channels in `used`, sample by sample.
fn mean_of(channels: &[Vec<f32>], used: &[usize]) -> Vec<f32> {
    let Some((&first, rest)) = used.split_first() else { return Vec::new() };
    // The share of each before they are added: the sum of two samples that a file may hold may be beyond all numbers.
    let share = 1.0 / used.len() as f32;
    let mut mean: Vec<f32> = channels[first].iter().map(|sample| sample * share).collect();
    for &k in rest {
        for (total, sample) in mean.iter_mut().zip(&channels[k]) {
            *total += *sample * share;
        }
    }
    mean
}

/// Mean square about the mean, so that a constant offset does not count as sound.
fn power(samples: &[f32]) -> f64 {
    if samples.is_empty() {
        return 0.0;
    }
    let count = samples.len() as f64;
    let (sum, squares) = samples.iter().fold((0.0, 0.0), |(sum, squares), &sample| {
        let sample = f64::from(sample);
        (sum + sample, squares + sample * sample)
    });
    (squares / count - (sum / count).powi(2)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(gain: f32, samples: usize) -> Vec<f32> {
        (0..samples).map(|n| gain * (n as f32 * 0.1).sin()).collect()
    }

    #[test]
    fn two_equal_channels_become_their_mean() {
        let (mono, remarks) = mono_from_channels(vec![tone(0.5, 1000), tone(0.25, 1000)]);
        assert!(remarks.is_empty());
        assert!((mono[10] - 0.375 * (1.0f32).sin()).abs() < 1e-6);
    }

    #[test]
    fn channels_near_the_largest_number_are_added_without_leaving_the_numbers() {
        let large = tone(3.0e38, 1000);
        let (mono, remarks) = mono_from_channels(vec![large.clone(), large.clone()]);
        assert!(remarks.is_empty(), "{remarks:?}");
        assert_eq!(mono, large);
    }

    #[test]
    fn a_silent_channel_does_not_halve_the_other() {
        let (mono, remarks) = mono_from_channels(vec![vec![0.0; 1000], tone(0.5, 1000)]);
        assert_eq!(mono, tone(0.5, 1000));
        assert_eq!(remarks[0].code, "one-channel-silent");
        assert!(remarks[0].text.contains("channel 2 of 2"));
    }

    #[test]
    fn channels_in_opposite_phase_do_not_vanish() {
        let (mono, remarks) = mono_from_channels(vec![tone(0.4, 1000), tone(-0.5, 1000)]);
        assert_eq!(mono, tone(-0.5, 1000));
        assert_eq!(remarks[0].code, "channels-cancel");
    }

    #[test]
    fn unused_channels_of_a_surround_file_do_not_weaken_the_front() {
        let mut channels = vec![vec![0.0; 500]; 6];
        channels[0] = tone(0.5, 500);
        channels[1] = tone(0.5, 500);
        let (mono, remarks) = mono_from_channels(channels);
        assert!(remarks.is_empty());
        assert_eq!(mono, tone(0.5, 500));
    }

    #[test]
    fn silence_stays_silence() {
        let (mono, remarks) = mono_from_channels(vec![vec![0.0; 10], vec![0.0; 10]]);
        assert_eq!((mono.len(), remarks.len()), (10, 0));
        assert!(mono_from_channels(Vec::new()).0.is_empty());
    }
}
