//! The sound without the metronome that clicks or beeps in it.
//!
//! The beats of a metronome are all alike and what is played at each of them is not, so their mean is the beat without the
//! music (time synchronous averaging: McFadden, Mechanical Systems and Signal Processing 1, 1987, from memory). It is taken
//! away from each of them, as loud as it is there. Where a note begins on the beat, its onset stays where it is.

use super::levels_from_samples::{Periodicity, decibels, periodicities, quantile};
use super::metronome_from_samples::{Beats, metronome};
use crate::samples::Samples;
use rustfft::{Fft, FftPlanner, num_complex::Complex};
use std::borrow::Cow;
use std::ops::Range;
use std::sync::Arc;

/// A beat is looked for from so many seconds before its place on the grid
const BEFORE: f64 = 0.010;
/// until so many after it, but not over this share of the way to the next one.
const LONGEST: f64 = 0.22;
const OF_PERIOD: f64 = 0.8;
/// So many of these seconds are compared.
const COMPARED: f64 = 0.045;
/// A beat is no further than this from its place on the grid, in seconds.
const BESIDE: f64 = 0.012;
/// There it counts for so much less than at its place.
const EVEN: f64 = 0.3;
/// A place has the beat where its sound has at least this correlation with the mean of the others,
const ALIKE: f64 = 0.5;
/// or with the first that is looked at, in which there is music too.
const ALIKE_AT_FIRST: f64 = 0.35;
/// So many alike are needed, and this share of all places: a metronome may have another beat for the first of a bar, of
/// which the longest have six beats.
const FEWEST: usize = 4;
const SHARE: f64 = 0.12;
/// The mean is made again so many times from those that are like it.
const ROUNDS: usize = 3;
/// What sounds before a beat, in these seconds before its place, counts against it in the mean.
const BESIDE_IT: (f64, f64) = (0.060, 0.010);
/// The mean is louder by so many decibels than just before it, and has lost so many in the last third of the time, or it is no
/// short sound;
const RISES: f64 = 10.0;
const FALLS: f64 = 14.0;
/// it ends where it has lost so many,
const ENDS: f64 = 40.0;
/// and fades out over so many seconds.
const FADES: f64 = 0.010;
/// Energy below which there is no sound, full scale being 1 in one sample.
const NOTHING: f64 = 1e-9;
/// A beat may be louder or softer than the middle one of all, by these factors.
const GAINS: Range<f64> = 0.0..2.0;
/// A metronome has beats of at most so many kinds, and is one of at most so many.
const KINDS: usize = 3;
const METRONOMES: usize = 2;
/// A kind of beat stands at this share at least of the places from its first to its last, where these are even.
const OF_ITS_OWN: f64 = 0.4;
/// So many of the places where something stands out the most are taken for a beat.
const SEEDS: usize = 3;
/// Without its metronome a take has most of its notes still: where fewer moments than this share have a pitch afterwards, it
/// was the music.
const STILL: f64 = 0.5;
/// A moment has a pitch from this clarity on, where it is not so many decibels softer than the loud ones.
const CLEAR: f64 = 0.7;
const SOFT: f64 = 25.0;

/// The sound without its metronome, and how many beats a minute that has; nothing where there is none, or only a count before
/// the playing.
///
/// For the ear only: nothing is written to a file, and the listener still hears what the recorder heard.
pub fn without_metronome(samples: &Samples) -> Option<(Samples, f64)> {
    let rate = samples.rate.hertz();
    let mut sound = Cow::Borrowed(&samples.mono[..]);
    let mut a_minute = None;
    for _ in 0..METRONOMES {
        let Some(beats) = metronome(&sound, rate) else { break };
        let Some(without) = taken_out(&sound, rate, beats) else { break };
        sound = Cow::Owned(without);
        a_minute.get_or_insert(60.0 / beats.period);
    }
    let a_minute = a_minute?;
    let before = periodicities(&samples.mono, rate);
    let levels: Vec<f64> = before.iter().map(|moment| moment.level).collect();
    let soft = quantile(&levels, 0.95)? - SOFT;
    let notes =
        |of: &[Periodicity]| of.iter().filter(|m| m.clarity >= CLEAR && m.level > soft).count() as f64;
    let is_music = notes(&periodicities(&sound, rate)) < STILL * notes(&before);
    (!is_music).then(|| (Samples { mono: sound.into_owned(), rate: samples.rate }, a_minute))
}

/// The sound without the beats on a grid; nothing where what stands at most places is not the same short sound, or only in
/// less than half of the time.
fn taken_out(mono: &[f32], rate: f64, beats: Beats) -> Option<Vec<f32>> {
    let looks = Looks::new(mono, rate, beats);
    let mut places: Vec<usize> = (0..looks.places.len()).collect();
    let mut kinds: Vec<Kind> = Vec::new();
    while kinds.len() < KINDS
        && let Some(kind) = looks.kind(&places)
    {
        places.retain(|place| kind.fits.iter().all(|fit| fit.place != *place));
        kinds.push(kind);
    }
    let first = kinds.iter().filter_map(|kind| kind.fits.first()).map(|fit| fit.place).min()?;
    let last = kinds.iter().filter_map(|kind| kind.fits.last()).map(|fit| fit.place).max()?;
    let heard: usize = kinds.iter().map(|kind| kind.fits.len()).sum();
    if 2 * (last - first) < looks.places.len() || 2 * heard < last - first {
        return None;
    }
    // Where the music covers a beat it is there all the same.
    for place in places {
        if let Some(kind) = kinds.iter_mut().find(|kind| kind.stands_at(place)) {
            let late = middle(kind.fits.iter().map(|fit| fit.late));
            kind.covered.push(Fit { place, late, gain: kind.usual, alike: 0.0 });
        }
    }
    let mut sound: Vec<f64> = mono.iter().map(|&one| f64::from(one)).collect();
    for kind in &kinds {
        looks.take_out(&mut sound, kind);
    }
    Some(sound.into_iter().map(|one| one as f32).collect())
}

/// One kind of beat of a metronome.
struct Kind {
    /// The beat itself, from where a look begins.
    beat: Vec<f64>,
    /// Where it was heard, in order.
    fits: Vec<Fit>,
    /// Where it must be as well.
    covered: Vec<Fit>,
    /// How many times as loud as `beat` it is at the middle of its places.
    usual: f64,
    /// It stands at every so many places,
    step: usize,
    /// from this one on.
    from: usize,
}

impl Kind {
    /// Whether it stands at a place, if it is as even as where it was heard.
    fn stands_at(&self, place: usize) -> bool {
        let within = |first: &Fit, last: &Fit| (first.place..=last.place).contains(&place);
        place % self.step == self.from
            && self.fits.first().zip(self.fits.last()).is_some_and(|(first, last)| within(first, last))
    }
}

/// Every how many places there is a beat of a kind, and from which on; every one where they are not even.
fn even_places(places: &[usize]) -> (usize, usize) {
    let even = |step: &usize| places.iter().all(|place| place % step == places[0] % step);
    let step = (2..=8).rev().find(even).unwrap_or(1);
    (step, places[0] % step)
}

/// The mean of the beats from where it begins to where it has died away; nothing where it is no short sound.
fn short_sound(mut mean: Vec<f64>, rate: f64) -> Option<Vec<f64>> {
    let piece = ((0.005 * rate) as usize).max(1);
    let levels: Vec<f64> = mean
        .chunks(piece)
        .map(|piece| decibels(piece.iter().map(|one| one * one).sum::<f64>() / piece.len() as f64))
        .collect();
    let peak = (0..levels.len()).max_by(|&one, &other| levels[one].total_cmp(&levels[other]))?;
    let last = &levels[levels.len() - levels.len() / 3..];
    let rest = quantile(last, 0.5)?;
    if levels[peak] - levels[0] < RISES || levels[peak] - rest < FALLS {
        return None;
    }
    let floor = (levels[peak] - ENDS).max(rest + 3.0);
    let ends = (peak..levels.len()).find(|&k| levels[k] < floor).unwrap_or(levels.len()) * piece;
    let begins = (0..=peak).rev().find(|&k| levels[k] < levels[peak] - 30.0).unwrap_or(0) * piece;
    let fade = ((FADES * rate) as usize).max(1);
    for (n, one) in mean.iter_mut().enumerate() {
        let before_end = (ends.saturating_sub(n) as f64 / fade as f64).min(1.0);
        *one *= if n < begins { 0.0 } else { before_end };
    }
    Some(mean)
}

/// How the mean beat fits at one place of the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Fit {
    place: usize,
    /// How much later than its place, in samples.
    late: f64,
    /// How many times as loud as the mean.
    gain: f64,
    /// Correlation, −1 to 1.
    alike: f64,
}

/// The sound around each place of a grid.
struct Looks<'a> {
    mono: &'a [f32],
    rate: f64,
    /// The first sample of each look; may lie before the sound.
    places: Vec<isize>,
    /// Samples of a look, of the part that is compared, and of the way a beat may be beside its place.
    length: usize,
    compared: usize,
    beside: usize,
    size: usize,
    forward: Arc<dyn Fft<f64>>,
    back: Arc<dyn Fft<f64>>,
}

impl<'a> Looks<'a> {
    fn new(mono: &'a [f32], rate: f64, beats: Beats) -> Self {
        let samples = |seconds: f64| (seconds * rate) as usize;
        let length = samples(BEFORE) + samples(LONGEST.min(OF_PERIOD * beats.period));
        let beside = samples(BESIDE);
        let size = (length + 2 * beside).next_power_of_two();
        let mut planner = FftPlanner::new();
        // Also before the first beat that was heard and after the last.
        let first = beats.first - (beats.first / beats.period).floor() * beats.period;
        let until = mono.len() as f64 / rate - 0.5 * COMPARED;
        let places = (0..)
            .map(|k| first + f64::from(k) * beats.period)
            .take_while(|&at| at < until)
            .map(|at| ((at - BEFORE) * rate).round() as isize)
            .collect();
        Self {
            mono,
            rate,
            places,
            length,
            compared: samples(COMPARED).min(length),
            beside,
            size,
            forward: planner.plan_fft_forward(size),
            back: planner.plan_fft_inverse(size),
        }
    }

    /// A sample that may lie outside the sound.
    fn sample(&self, at: isize) -> f64 {
        usize::try_from(at).ok().and_then(|at| self.mono.get(at)).map_or(0.0, |&one| f64::from(one))
    }

    /// Mean power of the time of a place from so many seconds after its beginning to so many.
    fn power(&self, place: usize, from: f64, to: f64) -> f64 {
        let at = |seconds: f64| self.places[place] + (seconds * self.rate) as isize;
        let (from, to) = (at(from), at(to));
        let sum: f64 = (from..to).map(|at| self.sample(at).powi(2)).sum();
        sum / (to - from).max(1) as f64
    }

    /// The power of what sounds just before a beat; never nothing.
    fn noise(&self, place: usize) -> f64 {
        self.power(place, BEFORE - BESIDE_IT.0, BEFORE - BESIDE_IT.1) + 1e-9
    }

    /// The power of the beginning of a beat.
    fn attack(&self, place: usize) -> f64 {
        self.power(place, BEFORE, BEFORE + 0.03)
    }

    /// The spectrum of the sound around a place, with the time on both sides that it may be beside it.
    fn spectrum(&self, place: usize) -> Vec<Complex<f64>> {
        let from = self.places[place] - self.beside as isize;
        let sound =
            (0..self.length + 2 * self.beside).map(|n| Complex::new(self.sample(from + n as isize), 0.0));
        let mut buffer: Vec<_> = sound.collect();
        buffer.resize(self.size, Complex::default());
        self.forward.process(&mut buffer);
        buffer
    }

    /// A spectrum moved by so many samples to the left, as sound.
    fn moved_left(&self, mut spectrum: Vec<Complex<f64>>, by: f64) -> Vec<f64> {
        let size = self.size as f64;
        for (line, value) in spectrum.iter_mut().enumerate() {
            let signed = if line <= self.size / 2 { line as f64 } else { line as f64 - size };
            // The line at half the rate has no phase of its own.
            let turn = if line == self.size / 2 { 0.0 } else { std::f64::consts::TAU * signed * by / size };
            *value *= Complex::from_polar(1.0 / size, turn);
        }
        self.back.process(&mut spectrum);
        spectrum.into_iter().map(|value| value.re).collect()
    }

    /// The sound of a place from so many samples later on.
    fn moved(&self, place: usize, late: f64) -> Vec<f64> {
        let mut sound = self.moved_left(self.spectrum(place), self.beside as f64 + late);
        sound.truncate(self.length);
        sound
    }

    /// How the mean fits at each of some places.
    fn fits(&self, mean: &[f64], places: &[usize]) -> Vec<Fit> {
        let head = &mean[..self.compared];
        let power: f64 = head.iter().map(|one| one * one).sum();
        let mut pattern: Vec<Complex<f64>> = head.iter().map(|&one| Complex::new(one, 0.0)).collect();
        pattern.resize(self.size, Complex::default());
        self.forward.process(&mut pattern);
        let fit = |&place: &usize| {
            let spectrum = self.spectrum(place);
            let mut product: Vec<Complex<f64>> =
                spectrum.iter().zip(&pattern).map(|(one, other)| one * other.conj()).collect();
            self.back.process(&mut product);
            let at = |lag: usize| product[lag].re / self.size as f64;
            // A long beep fits as well a few of its periods later.
            let likely =
                |lag: usize| at(lag) * (1.0 - EVEN * (lag as f64 / self.beside as f64 - 1.0).powi(2));
            let lag = (0..=2 * self.beside)
                .max_by(|&one, &other| likely(one).total_cmp(&likely(other)))
                .unwrap_or(0);
            // The top of the parabola through three values.
            let (mut late, mut most) = (lag as f64, at(lag));
            if (1..2 * self.beside).contains(&lag) {
                let (left, right) = (at(lag - 1), at(lag + 1));
                let bend = left - 2.0 * most + right;
                if bend < 0.0 && left <= most && right <= most {
                    let by = 0.5 * (left - right) / bend;
                    late += by;
                    most -= 0.25 * (left - right) * by;
                }
            }
            let from = self.places[place] - self.beside as isize + lag as isize;
            let own: f64 = (0..self.compared).map(|n| self.sample(from + n as isize).powi(2)).sum();
            Fit {
                place,
                late: late - self.beside as f64,
                gain: most / power.max(f64::MIN_POSITIVE),
                // In digital silence nothing is like anything.
                alike: if own > NOTHING { most / (power * own).sqrt().max(f64::MIN_POSITIVE) } else { 0.0 },
            }
        };
        places.iter().map(fit).collect()
    }

    /// The mean of the beats, those in silence counting the most; nothing of none.
    fn mean(&self, fits: &[Fit]) -> Option<Vec<f64>> {
        let usual = middle(fits.iter().map(|fit| self.noise(fit.place)));
        let mut sum = vec![0.0; self.length];
        let mut weights = 0.0;
        for fit in fits {
            let weight = fit.gain * fit.gain / (self.noise(fit.place) + 0.02 * usual);
            weights += weight;
            for (sum, one) in sum.iter_mut().zip(self.moved(fit.place, fit.late)) {
                *sum += weight * one / fit.gain;
            }
        }
        (weights > 0.0 && weights.is_finite()).then(|| sum.into_iter().map(|one| one / weights).collect())
    }

    /// The kind of beat that the most alike of some places have; nothing where none have the same short sound.
    fn kind(&self, places: &[usize]) -> Option<Kind> {
        let alone = |place: usize| self.attack(place) / self.noise(place);
        // What comes before the first sample is no silence.
        let begins = (BESIDE_IT.0 * self.rate) as isize;
        let mut seeds: Vec<usize> =
            places.iter().copied().filter(|&place| self.places[place] >= begins).collect();
        seeds.sort_by(|&one, &other| alone(other).total_cmp(&alone(one)).then(one.cmp(&other)));
        seeds.truncate(SEEDS);
        seeds.into_iter().find_map(|seed| self.kind_like(seed, places))
    }

    /// The kind of beat that some places have in common with one of them.
    fn kind_like(&self, seed: usize, places: &[usize]) -> Option<Kind> {
        let mut mean = self.moved(seed, 0.0);
        let mut fits: Vec<Fit> = Vec::new();
        for round in 0..ROUNDS {
            fits = self.fits(&mean, places);
            fits.retain(|fit| fit.alike >= if round == 0 { ALIKE_AT_FIRST } else { ALIKE });
            if fits.len() < FEWEST {
                return None;
            }
            mean = self.mean(&fits)?;
        }
        let (step, from) = even_places(&fits.iter().map(|fit| fit.place).collect::<Vec<_>>());
        let usual = middle(fits.iter().map(|fit| fit.gain));
        let beat = short_sound(mean, self.rate)?;
        let kind = Kind { beat, fits, covered: Vec::new(), usual, step, from };
        let its_own = (0..self.places.len()).filter(|&place| kind.stands_at(place)).count();
        let heard = kind.fits.len() as f64;
        (heard >= SHARE * self.places.len() as f64 && heard >= OF_ITS_OWN * its_own as f64).then_some(kind)
    }

    /// Takes a kind of beat out of the sound at all of its places, as loud as it is there (least squares).
    fn take_out(&self, sound: &mut [f64], kind: &Kind) {
        let mut beat: Vec<Complex<f64>> = vec![Complex::default(); self.beside];
        beat.extend(kind.beat.iter().map(|&one| Complex::new(one, 0.0)));
        beat.resize(self.size, Complex::default());
        self.forward.process(&mut beat);
        for fit in kind.fits.iter().chain(&kind.covered) {
            let there = self.moved_left(beat.clone(), -fit.late);
            let from = self.places[fit.place] - self.beside as isize;
            let at = |n: usize| usize::try_from(from + n as isize).ok().filter(|&at| at < self.mono.len());
            let (mut product, mut power) = (0.0, 0.0);
            for (n, &one) in there.iter().enumerate() {
                product += at(n).map_or(0.0, |at| sound[at]) * one;
                power += one * one;
            }
            let gain = (product / power.max(f64::MIN_POSITIVE))
                .clamp(GAINS.start * kind.usual, GAINS.end * kind.usual);
            for (n, one) in there.into_iter().enumerate() {
                if let Some(at) = at(n) {
                    sound[at] -= gain * one;
                }
            }
        }
    }
}

/// The middle of some values; 0 of none.
fn middle(values: impl Iterator<Item = f64>) -> f64 {
    quantile(&values.collect::<Vec<_>>(), 0.5).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;
    use std::f64::consts::TAU;

    const RATE: u32 = 44_100;

    fn time(n: usize) -> f64 {
        n as f64 / f64::from(RATE)
    }

    /// Sixteen seconds, each with another tone, which fades in over 40 ms and out again.
    fn tones() -> Vec<f32> {
        let sample = |n: usize| {
            let inside = time(n).fract();
            let hertz = 196.0 * 2f64.powf((time(n) as usize * 5 % 12) as f64 / 12.0);
            let level = (inside / 0.04).min((0.9 - inside) / 0.05).clamp(0.0, 1.0);
            let wave: f64 =
                (1..10).map(|h| (TAU * hertz * f64::from(h) * time(n)).sin() / f64::from(h)).sum();
            (0.1 * level * wave) as f32
        };
        (0..16 * RATE as usize).map(sample).collect()
    }

    /// A beep every half second, higher for every fourth, `gain` times full scale, each `late` later than even.
    fn beeps(gain: f64, late: impl Fn(usize) -> f64) -> Vec<f32> {
        let mut sound = vec![0.0; 16 * RATE as usize];
        for beat in 0..31 {
            let hertz = if beat % 4 == 0 { 1500.0 } else { 1000.0 };
            let begins = 0.31 + 0.5 * beat as f64 + late(beat);
            let first = (begins * f64::from(RATE)).ceil() as usize;
            for (n, one) in sound.iter_mut().enumerate().skip(first).take(RATE as usize / 20) {
                let since = time(n) - begins;
                *one = (gain * (TAU * hertz * since).sin() * (-since / 0.010).exp()) as f32;
            }
        }
        sound
    }

    fn sum(one: &[f32], other: &[f32]) -> Samples {
        let mono = one.iter().zip(other).map(|(one, other)| one + other).collect();
        Samples { mono, rate: SampleRate(RATE) }
    }

    fn power(sound: impl Iterator<Item = f32>) -> f64 {
        sound.map(|one| f64::from(one).powi(2)).sum()
    }

    #[test]
    fn beeps_are_gone_and_the_tones_are_as_they_were() {
        // The second metronome is not quite even, as a busy telephone's.
        // What is left is mostly the music that the mean of eight first beats of bars still has in it.
        for (gain, late, most) in [(0.5, 0.0, -12.0), (0.5, 0.001, -12.0), (1.0, 0.0, -15.0)] {
            let beeps = beeps(gain, |beat| late * (beat % 3) as f64);
            let (heard, a_minute) = without_metronome(&sum(&tones(), &beeps)).expect("a metronome");
            assert!((a_minute - 120.0).abs() < 0.5, "{a_minute}");
            let left = power(heard.mono.iter().zip(&tones()).map(|(one, other)| one - other));
            let decibels = 10.0 * (left / power(beeps.iter().copied())).log10();
            assert!(decibels < most, "{decibels} dB are left of beeps of {gain}, {late} s late");
        }
    }

    #[test]
    fn a_take_without_a_metronome_stays_as_it_is() {
        assert!(without_metronome(&sum(&tones(), &[0.0; 16 * RATE as usize])).is_none());
    }

    #[test]
    fn a_count_before_the_playing_is_no_metronome_in_it() {
        let mut count = beeps(0.5, |_| 0.0);
        count[6 * RATE as usize..].fill(0.0);
        assert!(without_metronome(&sum(&tones(), &count)).is_none());
    }

    #[test]
    fn digital_silence_is_like_no_beat() {
        // Half of the beats stand in exact silence but for themselves; two seconds in three are exact zeros between them.
        let beeps = beeps(0.5, |_| 0.0);
        let tones: Vec<f32> =
            tones().iter().enumerate().map(|(n, one)| if time(n) % 3.0 < 2.0 { 0.0 } else { *one }).collect();
        let (heard, _) = without_metronome(&sum(&tones, &beeps)).expect("a metronome");
        let left = power(heard.mono.iter().zip(&tones).map(|(one, other)| one - other));
        assert!(10.0 * (left / power(beeps.iter().copied())).log10() < -12.0);
    }

    #[test]
    fn one_pitch_of_many_that_comes_again_on_an_even_grid_stays() {
        // A machine's staccato, four notes a second; of every five the first is the same.
        let note = |n: usize| {
            let (number, inside) = ((time(n) / 0.25) as usize, time(n) % 0.25);
            let step =
                if number.is_multiple_of(5) { 0 } else { [2, 4, 5, 7, 9, 11, 12, 14, 3, 1][number * 7 % 10] };
            let hertz = 293.66 * 2f64.powf(f64::from(step) / 12.0);
            let level = (inside / 0.003).min((0.13 - inside) / 0.01).clamp(0.0, 1.0);
            let wave: f64 = (1..8).map(|h| (TAU * hertz * f64::from(h) * inside).sin() / f64::from(h)).sum();
            (0.2 * level * wave) as f32
        };
        let mono: Vec<f32> = (0..16 * RATE as usize).map(note).collect();
        assert!(without_metronome(&Samples { mono, rate: SampleRate(RATE) }).is_none());
    }

    #[test]
    fn the_same_short_note_again_and_again_is_music_however_even() {
        // A machine's pizzicato: nothing else sounds, and its quarter of a second is not over in a moment.
        let pluck = |n: usize| {
            let since = time(n) % 0.5;
            (0.4 * (TAU * 293.66 * 2.0 * time(n)).sin() * (-since / 0.06).exp()) as f32
        };
        let mono: Vec<f32> = (0..16 * RATE as usize).map(pluck).collect();
        assert!(without_metronome(&Samples { mono, rate: SampleRate(RATE) }).is_none());
    }
}
