//! Samples become the moments at which a metronome clicks or beeps.
//!
//! Most beginners who practise with a metronome have it beside the recorder, louder there than the instrument. Two things
//! tell its beats from notes: each begins at once and is over at once in some band of the spectrum, and each stands within
//! a few milliseconds of an even grid, where people who play with a metronome scatter by ten and more (Repp,
//! "Sensorimotor synchronization", Psychonomic Bulletin & Review 12, 2005).

use super::levels_from_samples::{decibels, quantile};
use rustfft::{FftPlanner, num_complex::Complex};

/// A metronome: where its beats are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Beats {
    /// When the first one that was heard sounds, in seconds.
    pub first: f64,
    /// From one to the next, in seconds.
    pub period: f64,
}

/// Levels are looked at so often, in seconds,
const HOP: f64 = 0.005;
/// each in so many seconds,
const WINDOW: f64 = 0.010;
/// in so many bands of half an octave each
const BANDS: usize = 10;
/// from here on, in hertz.
const LOWEST: f64 = 300.0;
/// A beat rises by so many decibels above the loudest of so many looks before it,
const RISE: f64 = 8.0;
const BEFORE: usize = 6;
/// reaches its level within so many looks,
const REACHED: usize = 3;
/// and has lost as many decibels at the middle of these looks after it.
const AFTER: std::ops::Range<usize> = 29..49;
/// It is no further than this, in decibels, below the loudest that the band has.
const LOUD: f64 = 25.0;
/// No second beat within so many looks.
const APART: usize = 12;
/// From one beat to the next, in seconds: 30 to 300 beats a minute.
const PERIODS: (f64, f64) = (0.195, 2.05);
/// A beat is no further than this from its place on the grid, in seconds,
const BESIDE: f64 = 0.012;
/// and all of them together scatter no more than this, in seconds (standard deviation).
const SCATTER: f64 = 0.004;
/// So many beats are needed.
const FEWEST: usize = 8;
/// At least this share of the places of the grid has a beat that can be heard.
const HEARD: f64 = 0.6;
/// So many places without a beat end the grid.
const MISSED: usize = 6;
/// So many of the likeliest periods, and first beats, are tried.
const TRIED: usize = 12;
/// Periods are counted in steps of so many seconds.
const STEP: f64 = 0.004;

/// The grid on which the most beats stand, where there is one.
pub(super) fn metronome(mono: &[f32], rate: f64) -> Option<Beats> {
    let hop = (HOP * rate) as usize;
    let levels = band_levels(mono, hop, rate);
    let combs = (0..BANDS).filter_map(|band| {
        let of_band: Vec<f64> = levels.iter().map(|levels| levels[band]).collect();
        let times: Vec<f64> =
            short_sounds(&of_band).into_iter().map(|look| look as f64 * hop as f64 / rate).collect();
        best_comb(&times)
    });
    let fits = |comb: &Comb| {
        comb.hits >= FEWEST && comb.hits as f64 >= HEARD * comb.places as f64 && comb.scatter <= SCATTER
    };
    let best = combs.filter(fits).max_by(|one, other| one.score().total_cmp(&other.score()))?;
    // A look begins half a window before what it looks at.
    Some(Beats { first: best.first + 0.5 * WINDOW, period: best.period })
}

/// The level of each band in decibels, every so many samples.
fn band_levels(mono: &[f32], hop: usize, rate: f64) -> Vec<[f64; BANDS]> {
    let window = (WINDOW * rate) as usize;
    if hop == 0 || mono.len() < window {
        return Vec::new();
    }
    let size = window.next_power_of_two();
    let fft = FftPlanner::new().plan_fft_forward(size);
    let shape: Vec<f64> = (0..window)
        .map(|n| 0.5 - 0.5 * (std::f64::consts::TAU * n as f64 / (window - 1) as f64).cos())
        .collect();
    let line = |band: usize| (LOWEST * 2f64.powf(0.5 * band as f64) / rate * size as f64).ceil() as usize;
    let mut buffer = vec![Complex::default(); size];
    (0..=(mono.len() - window) / hop)
        .map(|look| {
            buffer.fill(Complex::default());
            let piece = &mono[look * hop..look * hop + window];
            for ((place, &one), shape) in buffer.iter_mut().zip(piece).zip(&shape) {
                place.re = f64::from(one) * shape;
            }
            fft.process(&mut buffer);
            std::array::from_fn(|band| {
                let end = line(band + 1).min(size / 2);
                decibels(buffer[line(band).min(end)..end].iter().map(|line| line.norm_sqr()).sum())
            })
        })
        .collect()
}

/// At which looks something begins at once and is over at once, from the level of a band at each look.
fn short_sounds(levels: &[f64]) -> Vec<usize> {
    let loudest = quantile(levels, 0.99).unwrap_or_default();
    let max = |piece: &[f64]| piece.iter().copied().fold(f64::MIN, f64::max);
    let mut found = Vec::new();
    let mut look = BEFORE;
    while look + AFTER.end + 1 < levels.len() {
        let before = max(&levels[look - BEFORE..look]);
        let peak = max(&levels[look + 1..=look + REACHED]);
        let begins = levels[look + 1] - before >= RISE && peak > loudest - LOUD;
        if begins {
            let after = &levels[look + 1 + AFTER.start..look + 1 + AFTER.end];
            if quantile(after, 0.5).is_some_and(|after| peak - after >= RISE) {
                found.push(look + 1);
                look += APART;
                continue;
            }
        }
        look += 1;
    }
    found
}

/// Moments on an even grid.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Comb {
    first: f64,
    period: f64,
    hits: usize,
    places: usize,
    scatter: f64,
}

impl Comb {
    /// More for more beats, less for places without one.
    fn score(&self) -> f64 {
        (self.hits * self.hits) as f64 / self.places as f64
    }
}

/// The comb that explains the most of these moments (seconds, in order).
fn best_comb(times: &[f64]) -> Option<Comb> {
    let mut apart: Vec<f64> = Vec::new();
    for (place, &one) in times.iter().enumerate() {
        let within = times[place + 1..].iter().map(|other| other - one);
        apart.extend(within.skip_while(|&d| d < PERIODS.0).take_while(|&d| d < PERIODS.1));
    }
    let mut counts = vec![0usize; (PERIODS.1 / STEP) as usize + 3];
    for distance in &apart {
        counts[(distance / STEP) as usize] += 1;
    }
    // A distance may fall on either side of a step.
    let mut steps: Vec<(usize, usize)> =
        counts.windows(2).map(|two| two[0] + two[1]).enumerate().map(|(step, count)| (count, step)).collect();
    steps.sort_by(|one, other| other.0.cmp(&one.0).then(one.1.cmp(&other.1)));
    let mut best: Option<Comb> = None;
    for &(count, step) in steps.iter().take(TRIED) {
        if count + 1 < FEWEST / 2 {
            break;
        }
        let range = step as f64 * STEP..(step + 2) as f64 * STEP;
        let near: Vec<f64> = apart.iter().copied().filter(|distance| range.contains(distance)).collect();
        let Some(period) = quantile(&near, 0.5) else { continue };
        for start in 0..times.len().min(TRIED) {
            let comb = comb_from(&times[start..], period);
            if best.is_none_or(|best| comb.score() > best.score()) {
                best = Some(comb);
            }
        }
    }
    best
}

/// The comb that begins at the first of some moments with about this period: each hit settles it better (least squares).
fn comb_from(times: &[f64], guess: f64) -> Comb {
    let start = times[0];
    let mut comb = Comb { first: start, period: guess, hits: 1, places: 1, scatter: 0.0 };
    // Sums over the hits of place, place squared, time, place times time and time squared; times from the start on.
    let (mut n, mut k, mut kk, mut t, mut kt, mut tt) = (1.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut place, mut next, mut missed) = (0usize, 1usize, 0usize);
    while missed < MISSED {
        place += 1;
        let due = comb.first + comb.period * place as f64;
        while next + 1 < times.len() && (times[next + 1] - due).abs() <= (times[next] - due).abs() {
            next += 1;
        }
        let Some(&time) = times.get(next) else { break };
        if (time - due).abs() >= BESIDE {
            if due > times[times.len() - 1] {
                break;
            }
            missed += 1;
            continue;
        }
        missed = 0;
        let (p, since) = (place as f64, time - start);
        n += 1.0;
        k += p;
        kk += p * p;
        t += since;
        kt += p * since;
        tt += since * since;
        comb.hits += 1;
        comb.places = place + 1;
        if comb.hits >= 3 {
            comb.period = (n * kt - k * t) / (n * kk - k * k);
            comb.first = start + (t - comb.period * k) / n;
            let spread = (tt - t * t / n) - comb.period * (kt - k * t / n);
            comb.scatter = (spread.max(0.0) / n).sqrt();
        }
    }
    comb
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE: f64 = 44_100.0;

    /// Twenty seconds of bowed notes, about one every 0.7 s, which fade in and out.
    fn bowed() -> Vec<f32> {
        let sample = |n: usize| {
            let time = n as f64 / RATE;
            // As even as people play.
            let begins = |note: usize| 0.7 * note as f64 + 0.02 * ((note * 7 % 5) as f64 - 2.0);
            let note = (0..29).rev().find(|&note| begins(note) <= time).unwrap_or(0);
            let inside = time - begins(note).max(0.0);
            let hertz = 220.0 * 2f64.powf([0.0, 2.0, 4.0, 5.0, 4.0][note % 5] / 12.0);
            let level = (inside / 0.04).min((0.62 - inside) / 0.06).clamp(0.0, 1.0);
            let wave: f64 = (1..12).map(|h| (TAU * hertz * f64::from(h) * time).sin() / f64::from(h)).sum();
            (0.1 * level * wave) as f32
        };
        (0..(20.0 * RATE) as usize).map(sample).collect()
    }

    /// The same with a beep of 30 ms at each of some moments.
    fn with_beeps(mut sound: Vec<f32>, moments: &[f64]) -> Vec<f32> {
        for moment in moments {
            for n in 0..(0.03 * RATE) as usize {
                let since = n as f64 / RATE;
                let beep = 0.3 * (TAU * 1000.0 * since).sin() * (-since / 0.01).exp();
                sound[(moment * RATE) as usize + n] += beep as f32;
            }
        }
        sound
    }

    #[test]
    fn an_even_beep_is_a_metronome_wherever_its_first_one_is() {
        for (first, period) in [(0.5, 0.7), (0.11, 0.6), (3.2, 1.2)] {
            let moments: Vec<f64> =
                (0..).map(|k| first + period * f64::from(k)).take_while(|&at| at < 19.5).collect();
            let found = metronome(&with_beeps(bowed(), &moments), RATE).expect("one");
            let places = (found.first - first) / period;
            assert!((found.period - period).abs() < 0.001, "{found:?}");
            assert!((places - places.round()).abs() * period < 0.006, "{found:?}, from {first}");
        }
    }

    #[test]
    fn notes_and_uneven_sounds_are_no_metronome() {
        assert_eq!(metronome(&bowed(), RATE), None);
        // A foot that taps, up to 30 ms from the beat; seven beeps of a count.
        let taps: Vec<f64> =
            (0..26).map(|k| 0.5 + 0.7 * f64::from(k) + 0.03 * f64::from(k * 7 % 5 - 2) / 2.0).collect();
        assert_eq!(metronome(&with_beeps(bowed(), &taps), RATE), None);
        let count: Vec<f64> = (0..7).map(|k| 0.3 + 0.5 * f64::from(k)).collect();
        assert_eq!(metronome(&with_beeps(bowed(), &count), RATE), None);
    }

    #[test]
    fn nothing_is_heard_in_what_is_too_short_or_at_a_rate_without_looks() {
        assert_eq!(metronome(&[], RATE), None);
        assert_eq!(metronome(&[0.5; 100], RATE), None);
        assert_eq!(metronome(&[0.5; 1000], 1.0), None);
        assert_eq!(metronome(&[0.0; 44_100], RATE), None);
    }
}
