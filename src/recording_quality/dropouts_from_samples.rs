//! Samples become the moments at which the recorder lost its sound, and the sound with those moments filled in.
//!
//! A recorder or a wireless microphone that cannot keep up writes zeros in the middle of a tone. To an ear that is a bow
//! lifted and set down again, to which no written note corresponds. No string does that: its level dies away, and it comes
//! back from nothing. So a moment without sound is a dropout where the sound stands at its full level up to the last sample
//! before it and from the first one after it. A noise gate, which writes zeros too, closes on a sound that has already died
//! away and opens on one that still grows. A lossy codec after the recorder leaves a little in the place of the zeros, and
//! keeps the edges: MP3 and AAC fall by 30 dB and more within 2 ms.
//!
//! What is lost is filled in from both sides, as telephones conceal lost packets (waveform substitution: ITU-T G.711
//! Appendix I, from memory): the earlier sound is repeated at the lag at which it is most like itself, the later one
//! backward likewise, and one fades into the other. Each side that is not like itself at any lag is left out.

use crate::samples::Samples;
use std::borrow::Cow;
use std::ops::Range;

/// What is this much quieter (as an amplitude: 26 dB) than the peak just before it is lost,
const LOST: f32 = 0.05;
/// if it is so for this long, in seconds: longer than a period of the lowest string, whose wave may be nearly flat between
/// its corners.
const SHORTEST: f64 = 0.028;
/// Where so many seconds of it are exact zeros it need be no longer: what is shorter is not heard as a lifted bow, and may be
/// the sound's own.
const SHORTEST_ZEROS: f64 = 0.003;
/// What is longer than this (seconds) may hide a whole note or the end of one: nothing is made up for it.
const LONGEST: f64 = 0.16;
/// The peak and the level beside it are measured in so many seconds,
const EDGE: f64 = 0.028;
/// and the level may be this far (as an amplitude: 4.5 dB) below the loudest of so many seconds.
const FULL: f64 = 0.6;
const BODY: f64 = 0.1;
/// and what comes before that is at least this share of it: a click of a count has nothing before it.
const LASTS: f64 = 0.2;
/// Sound quieter than this, of full scale, is no tone (−60 dB).
const TONE: f64 = 1e-3;
/// How far back a repetition is looked for, in seconds: at least one period of every string, and long enough that half a
/// sample more or less, at 44.1 kHz, is less than a cent.
const LAGS: (f64, f64) = (0.025, 0.050);
/// What is compared for it, in seconds.
const LIKE: f64 = 0.030;
/// It is compared at so many samples a second.
const ENOUGH: f64 = 20_000.0;
/// The least correlation of a tone with its repetition.
const PERIODIC: f64 = 0.6;
/// No more moments than this are filled in: a recording that loses more is beyond mending, and this keeps it from taking long.
const MOST: usize = 500;

/// A moment at which the recorder lost its sound in the middle of a tone.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Dropout {
    /// The samples that are lost.
    pub lost: Range<usize>,
    /// What is put in their place.
    instead: Vec<f32>,
}

/// The moments at which the recorder lost its sound in the middle of a tone, in order; at most [`MOST`].
pub(super) fn dropouts(mono: &[f32], rate: f64) -> Vec<Dropout> {
    let reach = ((LAGS.1 + LIKE) * rate) as usize;
    let mut found: Vec<Dropout> = Vec::new();
    for lost in moments_without_sound(mono, rate) {
        // What was lost just before is filled in already.
        let from = lost.start.saturating_sub(reach);
        let mut earlier = mono[from..lost.start].to_vec();
        for filled in found.iter().rev().take_while(|filled| filled.lost.end > from) {
            for (at, &one) in filled.lost.clone().zip(&filled.instead).filter(|(at, _)| *at >= from) {
                earlier[at - from] = one;
            }
        }
        let later: Vec<f32> = mono[lost.end..].iter().take(reach).rev().copied().collect();
        if let Some(instead) = between(&earlier, &later, lost.len(), rate) {
            found.push(Dropout { lost, instead });
        }
        if found.len() == MOST {
            break;
        }
    }
    found
}

/// Stretches, in order, in which the sound is gone at once and back at once.
fn moments_without_sound(mono: &[f32], rate: f64) -> Vec<Range<usize>> {
    let samples = |seconds: f64| ((seconds * rate) as usize).max(1);
    let (edge, body) = (samples(EDGE), samples(BODY));
    let peak = |piece: &[f32]| piece.iter().fold(0.0, |peak: f32, one| peak.max(one.abs()));
    // The peak of the time just before each millisecond.
    let step = samples(0.001);
    let peaks: Vec<f32> = mono.chunks(step).map(peak).collect();
    let before: Vec<f32> = (0..peaks.len())
        .map(|k| peaks[k.saturating_sub(edge / step)..k].iter().copied().fold(0.0, f32::max))
        .collect();
    let mut found = Vec::new();
    let mut at = 0;
    while at < mono.len() {
        let floor = LOST * before[at / step];
        let run = mono[at..].iter().take_while(|one| one.abs() <= floor).count();
        let lost = at..at + run;
        let long_enough = run >= samples(SHORTEST)
            || mono[lost.clone()]
                .split(|&one| one != 0.0)
                .any(|zeros| zeros.len() >= samples(SHORTEST_ZEROS));
        if long_enough && run <= samples(LONGEST) {
            let earlier = &mono[at.saturating_sub(body)..at];
            let later = &mono[lost.end..(lost.end + body).min(mono.len())];
            if stands(earlier.rchunks_exact(edge))
                && stands(later.chunks_exact(edge))
                && peak(&mono[lost.clone()]) <= 2.0 * LOST * peak(&later[..edge])
            {
                found.push(lost);
            }
        }
        at += run.max(1);
    }
    found
}

/// Whether the sound is as loud as a tone, in the piece beside what is lost, which comes first, as loud as further away, and
/// not only there.
fn stands<'a>(pieces: impl Iterator<Item = &'a [f32]>) -> bool {
    let levels: Vec<f64> = pieces.map(rms).collect();
    let [beside, others @ ..] = &levels[..] else { return false };
    let most = others.iter().copied().fold(0.0, f64::max);
    *beside > TONE && most > LASTS * beside && *beside > FULL * most
}

fn rms(piece: &[f32]) -> f64 {
    let power: f64 = piece.iter().map(|&one| f64::from(one).powi(2)).sum();
    (power / piece.len().max(1) as f64).sqrt()
}

/// The sound with its dropouts filled in; as it is where there are none.
///
/// For the ear only: nothing is written to a file, and the listener still hears what the recorder heard.
pub fn without_dropouts(samples: &Samples) -> Cow<'_, Samples> {
    let lost = dropouts(&samples.mono, samples.rate.hertz());
    if lost.is_empty() {
        return Cow::Borrowed(samples);
    }
    let mut filled = samples.clone();
    for Dropout { lost, instead } in lost {
        filled.mono[lost].copy_from_slice(&instead);
    }
    Cow::Owned(filled)
}

/// So many samples between an earlier sound and a later one, which is given backward; nothing where neither is a tone.
fn between(earlier: &[f32], later: &[f32], length: usize, rate: f64) -> Option<Vec<f32>> {
    let later = continued(later, length, rate).map(|mut sound| {
        sound.reverse();
        sound
    });
    match (continued(earlier, length, rate), later) {
        (Some(earlier), Some(later)) => {
            let share = |place: usize| (place as f32 + 0.5) / length as f32;
            let faded = |place: usize| (1.0 - share(place)) * earlier[place] + share(place) * later[place];
            Some((0..length).map(faded).collect())
        }
        (one, other) => one.or(other),
    }
}

/// So many samples more of a sound, each that of one lag before; `None` where the sound is not like itself at any lag.
fn continued(sound: &[f32], length: usize, rate: f64) -> Option<Vec<f32>> {
    let (like, shortest, longest) =
        ((LIKE * rate) as usize, ((LAGS.0 * rate) as usize).max(1), (LAGS.1 * rate) as usize);
    let end = sound.len();
    let last = &sound[end.checked_sub(like)?..];
    // At a high rate the cosine of two pieces of sound says as much from every second or eighth sample, and so do the lags.
    let stride = (rate / ENOUGH).max(1.0) as usize;
    let product = |one: &[f32], other: &[f32]| -> f64 {
        let pairs = one.iter().zip(other).step_by(stride);
        pairs.map(|(&one, &other)| f64::from(one) * f64::from(other)).sum()
    };
    let power = product(last, last);
    let alike = |lag: usize| {
        let other = &sound[end - like - lag..end - lag];
        (lag, product(last, other) / (power * product(other, other)).sqrt().max(f64::MIN_POSITIVE))
    };
    let by_likeness = |one: &(usize, f64), other: &(usize, f64)| one.1.total_cmp(&other.1);
    let longest = longest.min(end - like);
    let (near, _) = (shortest..=longest).step_by(stride).map(alike).max_by(by_likeness)?;
    let around = near.saturating_sub(stride).max(shortest)..=(near + stride).min(longest);
    let (lag, most) = around.map(alike).max_by(by_likeness)?;
    (most >= PERIODIC).then(|| (0..length).map(|place| sound[end - lag + place % lag]).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;
    use std::f64::consts::TAU;

    const RATE: u32 = 44_100;

    #[test]
    fn silence_between_the_clicks_of_a_count_is_not_lost() {
        // As `play` counts 360 beats a minute.
        let click = |n: u32| {
            let since = f64::from(n % (RATE / 6)) / f64::from(RATE);
            if since > 0.05 {
                0.0
            } else {
                (0.6 * (TAU * 1500.0 * since).sin() * (-since / 0.008).exp()) as f32
            }
        };
        let clicks: Vec<f32> = (0..2 * RATE).map(click).collect();
        assert_eq!(dropouts(&clicks, f64::from(RATE)), []);
    }

    /// A second of a tone of six harmonics at a level between 0 and 1, which a function of the time in seconds says.
    fn tone(hertz: f64, level: impl Fn(f64) -> f64) -> Vec<f32> {
        let sample = |n: u32| {
            let time = f64::from(n) / f64::from(RATE);
            let wave: f64 = (1..7).map(|h| (TAU * hertz * f64::from(h) * time).sin() / f64::from(h)).sum();
            (0.3 * level(time) * wave) as f32
        };
        (0..RATE).map(sample).collect()
    }

    fn at(seconds: f64) -> usize {
        (seconds * f64::from(RATE)) as usize
    }

    fn found(mono: &[f32]) -> Vec<(usize, usize)> {
        dropouts(mono, f64::from(RATE)).into_iter().map(|d| (d.lost.start, d.lost.end)).collect()
    }

    fn steady(_: f64) -> f64 {
        1.0
    }

    #[test]
    fn zeros_in_the_middle_of_a_tone_are_a_dropout_from_3_to_160_milliseconds() {
        for hertz in [41.2, 196.0, 659.3] {
            for (length, lost) in [(0.002, false), (0.004, true), (0.05, true), (0.15, true), (0.17, false)] {
                let mut mono = tone(hertz, steady);
                mono[at(0.5)..at(0.5 + length)].fill(0.0);
                let near = |&(start, end): &(usize, usize)| {
                    start.abs_diff(at(0.5)) < 40 && end.abs_diff(at(0.5 + length)) < 40
                };
                let found = found(&mono);
                assert_eq!(
                    (found.len(), found.iter().all(near)),
                    (usize::from(lost), true),
                    "{hertz} Hz, {length} s: {found:?}"
                );
            }
        }
    }

    #[test]
    fn what_a_lossy_codec_leaves_in_the_place_of_zeros_is_a_dropout_too() {
        // 30 dB below the tone.
        let mono = tone(220.0, |time| if (0.5..0.55).contains(&time) { 0.03 } else { 1.0 });
        assert_eq!(found(&mono).len(), 1);
    }

    #[test]
    fn a_bow_and_a_noise_gate_leave_no_dropout() {
        let within = |time: f64, from: f64, to: f64| ((time - from) / (to - from)).clamp(0.0, 1.0);
        // A string that dies away by 60 dB in 0.1 s, and one that comes as fast as any bow: within 10 ms.
        let bow = |time: f64| 1.0 - within(time, 0.45, 0.5) + within(time, 0.6, 0.61);
        assert_eq!(found(&tone(220.0, bow)), []);
        // A gate that closes at −15 dB, and opens there.
        let gated = |time: f64| {
            let level = 1.0 - within(time, 0.35, 0.5) + within(time, 0.6, 0.65);
            if level < 0.18 { 0.0 } else { level }
        };
        assert_eq!(found(&tone(220.0, gated)), []);
        // Nothing before or after.
        assert_eq!(found(&tone(220.0, |time| f64::from(time > 0.1))), []);
        assert_eq!(found(&tone(220.0, |time| f64::from(time < 0.9))), []);
        assert_eq!(found(&tone(220.0, |_| 0.0)), []);
        // A bass that a telephone made thin: corners with hardly anything between them.
        let mut thin = vec![0.005f32; RATE as usize];
        (0..thin.len()).step_by(1070).for_each(|corner| thin[corner] = 0.5);
        assert_eq!(found(&thin), []);
    }

    #[test]
    fn a_steady_tone_is_filled_in_to_within_a_hundredth_of_itself() {
        for hertz in [41.2, 146.8, 440.0, 1318.5] {
            let whole = tone(hertz, steady);
            let mut mono = whole.clone();
            mono[at(0.5)..at(0.56)].fill(0.0);
            let lost = Samples { mono, rate: SampleRate(RATE) };
            let filled = without_dropouts(&lost);
            let error: f64 =
                filled.mono.iter().zip(&whole).map(|(&one, &other)| f64::from(one - other).powi(2)).sum();
            let power: f64 = whole[at(0.5)..at(0.56)].iter().map(|&one| f64::from(one).powi(2)).sum();
            assert!(error < 0.01 * power, "{hertz} Hz: {:.4}", error / power);
        }
    }

    #[test]
    fn two_clicks_lose_nothing_of_the_soft_tone_between_them() {
        for soft in [0.0, 0.02] {
            let mut mono = tone(220.0, |_| soft);
            for click in [0.5, 0.6] {
                mono[at(click)..at(click + 0.004)].iter_mut().enumerate().for_each(|(n, one)| {
                    *one += 0.7 * (n as f32 * n as f32 * 0.013).sin();
                });
            }
            assert_eq!(found(&mono), [], "{soft}");
        }
    }

    #[test]
    fn of_a_recording_that_loses_too_much_the_first_part_is_mended() {
        let mut mono = tone(220.0, steady).repeat(60);
        for lost in (2000..mono.len() - 2000).step_by(at(0.1)) {
            mono[lost..lost + at(0.01)].fill(0.0);
        }
        assert_eq!(found(&mono).len(), MOST);
    }

    #[test]
    fn noise_is_not_made_up_and_what_has_no_dropout_stays_as_it_is() {
        let mut state = 1u32;
        let mut noise = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state as f32 / u32::MAX as f32 - 0.5
        };
        let mut mono: Vec<f32> = (0..RATE).map(|_| noise()).collect();
        mono[at(0.5)..at(0.55)].fill(0.0);
        assert_eq!(moments_without_sound(&mono, f64::from(RATE)).len(), 1);
        assert_eq!(found(&mono), []);
        let whole = Samples { mono: tone(220.0, steady), rate: SampleRate(RATE) };
        assert!(matches!(without_dropouts(&whole), Cow::Borrowed(_)));
    }
}
