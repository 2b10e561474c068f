//! Samples become remarks on the recording, and the reason why it cannot be judged where it cannot.

use super::clipping_from_samples::clipping;
use super::dropouts_from_samples::dropouts;
use super::hum_from_pauses::hum;
use super::levels_from_samples::{MOMENT, Periodicity, frame_levels, offset, periodicities, quantile};
use crate::remark::Remark;
use crate::samples::Samples;

/// What is wrong with a recording.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Quality {
    /// What a player can change next time: `silence`, `too-quiet`, `quiet`, `clipping`, `too-noisy`,
    /// `noisy`, `hum`, `dropouts`, `dc-offset`, `very-short`.
    pub remarks: Vec<Remark>,
    /// Why no note can be heard; `None` where the take can be judged.
    pub unjudgeable: Option<Unjudgeable>,
}

/// Why no note can be heard in a recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unjudgeable {
    /// Nothing sounds.
    Silence,
    /// Something sounds, too quietly to be told from the recorder's own noise.
    TooQuiet,
    /// There is sound, and no moment of it is a note.
    TooNoisy,
}

/// Below this level (decibels below full scale) nothing sounds: the last bit of 16 hisses at −101 dB.
const NOTHING: f64 = -85.0;

/// Sound without a single note in it is an empty room up to this level, and noise above it.
const ROOM: f64 = -50.0;

/// The loudest part of a take below this level earns a remark.
const QUIET: f64 = -45.0;

/// A moment is a note when tone is at least 2.3 times the noise (3.7 dB): clarity = s / (s + n).
const NOTE_CLARITY: f64 = 0.7;

/// Less time of notes than this (seconds) is no playing.
const SHORTEST_PLAYING: f64 = 0.15;

/// Below this signal-to-noise ratio, in decibels, a recording is noisy; refused below [`REFUSED_SNR`].
const NOISY_SNR: f64 = 10.0;

/// The lowest signal-to-noise ratio at which notes are still judged when they are also quiet.
const REFUSED_SNR: f64 = 6.0;

/// An offset above this share of full scale earns a remark.
const OFFSET: f64 = 0.01;

/// Shorter recordings than this, in seconds, earn a remark.
const VERY_SHORT: f64 = 1.0;

/// Flat tops before clipping is mentioned.
const FEWEST_TOPS: usize = 3;

/// Listens to the recording and not to the playing. Cannot fail: an empty recording is silence.
pub fn inspect(samples: &Samples) -> Quality {
    let (mono, rate) = (&samples.mono[..], samples.rate.hertz());
    let frame = (rate * 0.02) as usize;
    let offset = offset(mono, frame);
    let levels = frame_levels(mono, frame, offset);
    let loudest = levels.iter().copied().fold(-200.0, f64::max);
    let mut quality = Quality::default();
    if samples.duration().0 < VERY_SHORT && !mono.is_empty() {
        quality.say("very-short", format!(
                    "The recording lasts only {:.2} s. Start it before you play, and stop it after the last note.",
                    samples.duration().0
                ));
    }
    if loudest < NOTHING {
        return quality.refuse(
            Unjudgeable::Silence,
            "silence",
            "Nothing sounds in the recording. Check that the right microphone is chosen and switched on."
                .to_owned(),
        );
    }
    let moments = periodicities(mono, rate);
    let notes: Vec<Periodicity> = moments
        .iter()
        .copied()
        .filter(|moment| moment.clarity >= NOTE_CLARITY && moment.level > NOTHING)
        .collect();
    let listened = mono.len() as f64 / rate >= 2.0 * SHORTEST_PLAYING && !moments.is_empty();
    if listened && (notes.len() as f64) * MOMENT < SHORTEST_PLAYING {
        quality.without_notes(loudest);
        return quality;
    }
    quality.level_and_noise(&levels, &notes);
    quality.clipping(mono, rate);
    if quality.unjudgeable.is_none() {
        quality.dropouts(mono, rate);
    }
    if let Some(hum) = hum(mono, rate, offset) {
        quality.say(
            "hum",
            format!(
                "A mains hum of {:.0} Hz sounds through the pauses ({:.0} dB below full scale). \
                 Move the microphone away from chargers and lamps.",
                hum.hertz, -hum.level
            ),
        );
    }
    if offset.abs() > OFFSET {
        quality.say(
            "dc-offset",
            format!(
                "The recorder adds a constant offset of {:.1} % of full scale. It does no harm here.",
                100.0 * offset
            ),
        );
    }
    quality
}

impl Quality {
    fn say(&mut self, code: &str, text: String) {
        self.remarks.push(Remark::new(code, text));
    }

    fn refuse(mut self, why: Unjudgeable, code: &str, text: String) -> Self {
        self.say(code, text);
        self.unjudgeable = Some(why);
        self
    }

    /// There is sound and no note in it.
    fn without_notes(&mut self, loudest: f64) {
        let (why, code, text) = if loudest < ROOM {
            (
                Unjudgeable::Silence,
                "silence",
                "Only faint noise can be heard, and no note. Check that the right microphone is chosen, \
                 and play close to it.",
            )
        } else {
            (
                Unjudgeable::TooNoisy,
                "too-noisy",
                "There is sound in the recording, but no note can be made out in it. Record in a quieter \
                 place, closer to the instrument.",
            )
        };
        self.say(code, text.to_owned());
        self.unjudgeable = Some(why);
    }

    /// How loud the notes are, and how far above the noise.
    fn level_and_noise(&mut self, levels: &[f64], notes: &[Periodicity]) {
        let note_levels: Vec<f64> = notes.iter().map(|note| note.level).collect();
        let Some(loud) = quantile(&note_levels, 0.9) else { return };
        // Two views of the noise: what is left in the pauses, and what is not periodic in the louder
        // half of the notes. A take without pauses lacks the first, scratchy bowing spoils the second;
        // the kinder one counts.
        let floor = quantile(levels, 0.05).unwrap_or(loud);
        let middle = quantile(&note_levels, 0.5).unwrap_or(loud);
        let clarities: Vec<f64> =
            notes.iter().filter(|note| note.level >= middle).map(|note| note.clarity).collect();
        let clarity = quantile(&clarities, 0.75).unwrap_or(1.0).min(0.999_999);
        let snr = (loud - floor).max(10.0 * (clarity / (1.0 - clarity)).log10());
        if loud < QUIET && snr < REFUSED_SNR {
            self.unjudgeable = Some(Unjudgeable::TooQuiet);
            self.say(
                "too-quiet",
                format!(
                    "The notes are {:.0} dB below full scale and drown in the recorder's own noise. \
                     Move the microphone closer or turn its level up.",
                    -loud
                ),
            );
        } else if loud < QUIET {
            self.say(
                "quiet",
                format!(
                    "The recording is quiet ({:.0} dB below full scale). Move the microphone closer next time.",
                    -loud
                ),
            );
        }
        if snr < NOISY_SNR && self.unjudgeable.is_none() {
            self.say(
                "noisy",
                format!(
                    "The recording is noisy: the notes are only {snr:.0} dB above the noise. \
                     Record in a quieter place, closer to the instrument."
                ),
            );
        }
    }

    fn clipping(&mut self, mono: &[f32], rate: f64) {
        let stretches = clipping(mono, rate);
        let tops: usize = stretches.iter().map(|stretch| stretch.tops).sum();
        if tops < FEWEST_TOPS {
            return;
        }
        let places: Vec<String> = stretches
            .iter()
            .take(3)
            .map(|stretch| {
                format!("{:.2} to {:.2} s", stretch.first as f64 / rate, (stretch.last + 1) as f64 / rate)
            })
            .collect();
        let more = match stretches.len() {
            0..=3 => String::new(),
            4 => " and in one more place".to_owned(),
            count => format!(" and in {} more places", count - 3),
        };
        self.say(
            "clipping",
            format!(
                "The sound was too loud for the recorder and is distorted (clipped) from {}{more}. \
                 Move the microphone further away or turn its level down.",
                places.join(", ")
            ),
        );
    }

    /// Where the recorder lost its sound. The ear fills that in, so nobody is told to play again for it.
    fn dropouts(&mut self, mono: &[f32], rate: f64) {
        let lost = dropouts(mono, rate);
        let Some(first) = lost.first() else { return };
        let times = match lost.len() {
            1 => "once".to_owned(),
            2 => "twice".to_owned(),
            count => format!("{count} times"),
        };
        self.say(
            "dropouts",
            format!(
                "The recorder lost the sound for a moment {times}, first at {:.2} s; I listened across it. \
                 Close other programs while you record, and keep a wireless microphone near.",
                first.lost.start as f64 / rate
            ),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;
    use std::f64::consts::TAU;

    const RATE: u32 = 22_050;

    fn noise(seed: u32) -> impl FnMut() -> f64 {
        let mut state = seed;
        move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / 8_388_608.0 - 1.0
        }
    }

    /// Half a second of pause, then notes of half a second with a pause of 0.2 s after each.
    fn take(notes: &[f64], gain: f64, hiss: f64) -> Vec<f32> {
        let mut noise = noise(11);
        let count = ((0.5 + 0.7 * notes.len() as f64) * f64::from(RATE)) as usize;
        (0..count)
            .map(|n| {
                let t = n as f64 / f64::from(RATE) - 0.5;
                let (note, into) = ((t / 0.7).floor(), t.rem_euclid(0.7));
                let tone = match notes.get(note.max(-1.0) as usize) {
                    Some(&hertz) if t >= 0.0 && into < 0.5 => {
                        let wave: f64 = (1..7)
                            .filter(|&h| f64::from(h) * hertz < 9000.0)
                            .map(|h| (TAU * hertz * into * f64::from(h)).sin() / f64::from(h))
                            .sum();
                        wave * (into / 0.04).min(1.0) * ((0.5 - into) / 0.03).min(1.0)
                    }
                    _ => 0.0,
                };
                (gain * tone + hiss * noise()) as f32
            })
            .collect()
    }

    fn look(mono: Vec<f32>) -> Quality {
        inspect(&Samples { mono, rate: SampleRate(RATE) })
    }

    fn codes(quality: &Quality) -> Vec<&str> {
        quality.remarks.iter().map(|remark| remark.code.as_str()).collect()
    }

    #[test]
    fn a_good_take_on_any_instrument_earns_no_remark() {
        for notes in [[41.2, 49.0, 55.0, 61.7], [65.4, 98.0, 146.8, 220.0], [196.0, 293.7, 440.0, 659.3]] {
            let quality = look(take(&notes, 0.3, 0.002));
            assert_eq!(quality, Quality::default(), "{notes:?}");
        }
    }

    #[test]
    fn silence_is_silence_whether_digital_or_an_empty_room() {
        for hiss in [0.0, 1e-5, 0.001] {
            let quality = look(take(&[], 0.0, hiss).repeat(4));
            assert_eq!(quality.unjudgeable, Some(Unjudgeable::Silence), "hiss {hiss}");
            assert_eq!(codes(&quality), ["silence"]);
        }
        assert_eq!(look(Vec::new()).unjudgeable, Some(Unjudgeable::Silence));
    }

    #[test]
    fn a_quiet_take_is_judged_when_its_noise_is_quieter_still() {
        let quality = look(take(&[196.0, 293.7, 440.0], 0.002, 0.00002));
        assert_eq!((codes(&quality), quality.unjudgeable), (vec!["quiet"], None));
    }

    #[test]
    fn loud_noise_without_a_note_is_refused_as_noise() {
        let quality = look(take(&[], 0.0, 0.3).repeat(4));
        assert_eq!((codes(&quality), quality.unjudgeable), (vec!["too-noisy"], Some(Unjudgeable::TooNoisy)));
    }

    #[test]
    fn a_noisy_take_is_judged_with_a_remark() {
        let quality = look(take(&[196.0, 293.7, 440.0, 220.0], 0.2, 0.25));
        assert_eq!((codes(&quality), quality.unjudgeable), (vec!["noisy"], None));
    }

    #[test]
    fn clipping_is_reported_with_its_place() {
        let mut mono = take(&[196.0, 293.7, 440.0], 0.3, 0.002);
        let from = (1.2 * f64::from(RATE)) as usize;
        let to = (1.7 * f64::from(RATE)) as usize;
        mono[from..to].iter_mut().for_each(|sample| *sample = (*sample * 6.0).clamp(-1.0, 1.0));
        let quality = look(mono);
        assert_eq!(codes(&quality), ["clipping"]);
        assert!(quality.remarks[0].text.contains("1.2"), "{}", quality.remarks[0].text);
    }

    #[test]
    fn sound_that_the_recorder_lost_is_mentioned_with_its_place() {
        let mut mono = take(&[196.0, 293.7, 440.0], 0.3, 0.002);
        // The second note sounds from 1.2 s to 1.7.
        for (from, to) in [(1.41, 1.45), (0.75, 0.76)] {
            mono[(from * f64::from(RATE)) as usize..(to * f64::from(RATE)) as usize].fill(0.0);
        }
        let quality = look(mono);
        assert_eq!((codes(&quality), quality.unjudgeable), (vec!["dropouts"], None));
        let text = &quality.remarks[0].text;
        assert!(text.contains("a moment twice, first at 0.75 s"), "{text}");
    }

    #[test]
    fn an_offset_is_mentioned_and_does_not_hide_silence() {
        let mut mono = take(&[196.0, 293.7, 440.0], 0.2, 0.002);
        mono.iter_mut().for_each(|sample| *sample += 0.05);
        assert_eq!(codes(&look(mono)), ["dc-offset"]);
        assert_eq!(look(vec![0.2; 44_100]).unjudgeable, Some(Unjudgeable::Silence));
    }

    #[test]
    fn a_very_short_recording_is_mentioned() {
        let mono = take(&[196.0], 0.3, 0.002)[11_025..17_000].to_vec();
        assert!(codes(&look(mono)).contains(&"very-short"));
    }

    #[test]
    fn one_long_open_string_without_pauses_is_a_good_take() {
        let mut noise = noise(5);
        let mono = (0..RATE * 3)
            .map(|n| {
                let t = f64::from(n) / f64::from(RATE);
                let wave: f64 = (1..7).map(|h| (TAU * 146.8 * t * f64::from(h)).sin() / f64::from(h)).sum();
                (0.2 * wave + 0.003 * noise()) as f32
            })
            .collect();
        assert_eq!(look(mono), Quality::default());
    }
}
