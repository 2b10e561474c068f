//! Period candidates from one window of samples.

use super::contour::{Candidate, Frame, MOST_CANDIDATES};
use super::periodicity::{LONGEST_STEP, Periodicity, is_peak, parabola, thrifty_window};
use super::refine;
use super::settings::TrackerSettings;
use crate::units::{Hertz, Seconds};

/// A longer period must beat a shorter one by this much an octave: a window that repeats after T repeats
/// after 2T as well, and an open string ringing an octave or a twelfth below the note, 18 dB softer, lifts
/// its own period a little. 0.07 with `LINES_SHARE` 0.5 took 7 % of such frames for the ringing string;
/// 0.11 with 0.4 took 2 % of frames in pink noise at 10 dB for an upper harmonic.
const OCTAVE_COST: f32 = 0.085;
/// The gain grows no further beyond so many octaves (a twelfth): no harmonic higher than the third is ever so
/// loud that it needs it, and in noise a wider reach lets upper harmonics win.
const FURTHEST_GAIN: f32 = 1.6;
/// So many moves reach any shorter period within the range (a twelfth each).
const MOST_MOVES: usize = 6;
/// How much the lines' curve counts in a candidate's strength; the waveform's has the rest. Without it low
/// basses are taken an octave too high on 1.6 % of frames, and in pink noise on 1.0 %; with 0.5 on none.
const LINES_SHARE: f32 = 0.45;
/// A bowed string's odd harmonics are about as strong as the even ones: over a whole note their median is 7 dB below
/// them in one of a hundred notes (4,900 real ones), never 25 dB; where they lie lower than this, something softer
/// sounds an octave below the note.
const RINGING_BELOW_DB: f32 = -14.0;
/// Two notes at once, such as a bowed one and one that rings, repeat together after the time that is so many periods
/// of either: a fifth, a fourth, a sixth, a major third. (A minor third meets two octaves and a third lower, where its
/// fifth and sixth multiples alone tell too little.)
const MEETING: [[usize; 2]; 4] = [[2, 3], [3, 4], [3, 5], [4, 5]];
/// The multiples of that frequency which are harmonics of neither then lie below the others by this much.
const MEETING_DB: f32 = -16.0;
/// What the period of either loses: more than any octave's cost.
const NOT_A_NOTE_COST: f32 = 0.3;
/// What the octave below loses, once, where its odd multiples are lost in noise: a low bass through a telephone may go on.
const MAYBE_NOT_A_NOTE_COST: f32 = 0.24;
/// Peaks of the waveform's curve lower than this are no candidates.
const LOWEST_PEAK: f32 = 0.3;
/// Lags a second that serve a window shorter than [`LONG_WINDOW`] seconds: its pitches are high and it is
/// short enough not to be looked at again in the middle.
const FINE_LAGS: f64 = 44_000.0;
/// Where the windows of cello and bass begin, in seconds.
const LONG_WINDOW: f64 = 0.08;
/// Lags a second that serve a long window, at least; half the transform of 44.1 kHz, and the exact tones
/// are as exact.
const COARSE_LAGS: f64 = 22_000.0;
/// Lags in the shortest period of a long window, at least.
const LAGS_A_PERIOD: f64 = 5.5;
/// A candidate this much weaker than the strongest is not measured in the middle of the window.
const NEARLY_AS_STRONG: f32 = 0.15;
/// Below this level nothing is looked for, in dB below full scale (a 16-bit file's dither is at −93).
const SILENCE_DB: f32 = -90.0;

/// Reads one window at a time.
pub(super) struct FrameReader {
    rate: f64,
    /// Lags a second: the rate over the step between lags. All lags and periods below count these steps.
    lag_rate: f64,
    window: usize,
    shortest: usize,
    longest: usize,
    curves: Periodicity,
    /// Log2 of each lag.
    octaves: Vec<f32>,
    /// The peaks of the window at hand: lag and strength.
    peaks: Vec<(usize, f32)>,
    /// The lags of those that noise made doubtful and that have lost strength for it: each once.
    doubted: Vec<usize>,
}

impl FrameReader {
    pub(super) fn new(settings: &TrackerSettings) -> Self {
        let rate = settings.rate.hertz();
        let window = (settings.window.0 * rate).max(2.5 * rate / settings.lowest.0) as usize;
        let window = thrifty_window(window);
        let finest = match settings.window.0 {
            short if short < LONG_WINDOW => FINE_LAGS,
            _ => (LAGS_A_PERIOD * settings.highest.0).max(COARSE_LAGS),
        };
        let mut step = 1;
        while step < LONGEST_STEP && rate / (2 * step) as f64 >= finest {
            step *= 2;
        }
        let lag_rate = rate / step as f64;
        let longest = (lag_rate / settings.lowest.0).ceil() as usize + 1;
        let shortest = ((lag_rate / settings.highest.0).floor() as usize).clamp(4, longest - 1);
        let octaves = (0..=longest).map(|lag| (lag.max(1) as f32).log2()).collect();
        Self {
            rate,
            lag_rate,
            window,
            shortest,
            longest,
            curves: Periodicity::new(window, step, rate, settings.lowest.0),
            octaves,
            peaks: Vec::with_capacity(longest / 2 + 2),
            doubted: Vec::with_capacity(longest / 2 + 2),
        }
    }

    /// Samples in a window.
    pub(super) fn window(&self) -> usize {
        self.window
    }

    /// The frame of a window, without its time and without a decision about its pitch.
    pub(super) fn read(&mut self, samples: &[f32]) -> Frame {
        let energy = self.curves.measure(samples);
        let power = f64::from(energy) / self.window as f64;
        let level_db = level(power);
        let mut frame = Frame {
            time: Seconds(0.0),
            pitch: None,
            clarity: 0.0,
            level_db,
            candidates: [None; MOST_CANDIDATES],
            harmonic_db: -120.0,
            noise_db: level_db,
            second: None,
        };
        if level_db < SILENCE_DB {
            return frame;
        }
        self.peaks.clear();
        let (waveform, lines) = (self.curves.waveform(), self.curves.lines());
        for lag in self.shortest..=self.longest.min(waveform.len() - 2) {
            if waveform[lag] < LOWEST_PEAK || !is_peak(waveform, lag) {
                continue;
            }
            let vote = lines[lag - 1].max(lines[lag]).max(lines[lag + 1]);
            let (_, height) = parabola(waveform, lag);
            self.peaks.push((lag, (1.0 - LINES_SHARE) * height as f32 + LINES_SHARE * vote));
        }
        let Some((mut best, mut anchor)) = self.ranked() else { return frame };
        self.doubted.clear();
        while let Some((peak, cost)) = self.doubt(best[0].0) {
            self.peaks[peak].1 -= cost;
            let Some(again) = self.ranked() else { break };
            (best, anchor) = again;
        }
        // The octave's gain ranks the candidates; it must not lift noise over the threshold of voicing.
        let top = best[0];
        let gain = self.octave_gain(top.0, anchor);
        for (slot, (lag, strength)) in frame.candidates.iter_mut().zip(best) {
            if lag == 0 {
                break;
            }
            let (period, height) = self.refined(lag);
            let mut period = period * self.rate / self.lag_rate;
            let look = refine::look(period, self.rate);
            if strength > top.1 - NEARLY_AS_STRONG && look < self.window * 4 / 5 {
                let start = (self.window - look) / 2;
                period = refine::period_in(&samples[start..start + look], period).unwrap_or(period);
            }
            *slot = Some(Candidate { pitch: Hertz(self.rate / period), strength: strength - gain });
            frame.clarity = frame.clarity.max(height as f32).min(1.0);
        }
        let share = f64::from(frame.clarity);
        frame.harmonic_db = level(share * power);
        frame.noise_db = level((1.0 - share) * power);
        frame
    }

    /// The strongest peaks of the window at hand, best first, and the lag that gains were reckoned from.
    fn ranked(&self) -> Option<([(usize, f32); MOST_CANDIDATES], usize)> {
        let &(mut anchor, _) = self.peaks.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        // From the highest peak to the one that beats it, and on from there, until none does: the gain is
        // only fair near the period that it is reckoned from.
        let mut best = [(0usize, f32::NEG_INFINITY); MOST_CANDIDATES];
        for _ in 0..MOST_MOVES {
            best.fill((0, f32::NEG_INFINITY));
            for &(lag, strength) in &self.peaks {
                insert(&mut best, (lag, strength + self.octave_gain(lag, anchor)));
            }
            if best[0].0 == anchor {
                break;
            }
            anchor = best[0].0;
        }
        Some((best, anchor))
    }

    /// Where the peak at a lag stands in the list and what it loses, if nothing seems to sound at that pitch of its own:
    /// something softer sounds along an octave below the note (a string that rings, the room's memory of the note
    /// before), or two notes sound whose periods meet there.
    fn doubt(&mut self, lag: usize) -> Option<(usize, f32)> {
        let at = self.peaks.iter().position(|&(other, _)| other == lag)?;
        let octave_above =
            self.peaks.iter().any(|&(other, _)| (2 * other).abs_diff(lag) <= 2 + lag / 50 && other < lag);
        let multiples = self.curves.multiples(self.lag_rate / lag as f64);
        let ringing_below = || multiples.odd_over_even().is_some_and(|odd| odd < RINGING_BELOW_DB);
        let meeting = |&divisors: &[usize; 2]| {
            multiples.over_both_around(divisors).is_some_and(|between| between < MEETING_DB)
                && !multiples.sounds_beside(divisors)
        };
        if (octave_above && ringing_below()) || MEETING.iter().any(meeting) {
            // Taken down twice at most.
            (self.peaks[at].1 > NOT_A_NOTE_COST).then_some((at, NOT_A_NOTE_COST))
        } else if octave_above && !self.doubted.contains(&lag) && multiples.are_empty_where_odd() {
            self.doubted.push(lag);
            Some((at, MAYBE_NOT_A_NOTE_COST))
        } else {
            None
        }
    }

    /// What a lag gains over another for being shorter (loses for being longer).
    fn octave_gain(&self, lag: usize, over: usize) -> f32 {
        OCTAVE_COST * (self.octaves[over] - self.octaves[lag]).clamp(-FURTHEST_GAIN, FURTHEST_GAIN)
    }

    /// The period near a peak, from the peak at its largest usable multiple (which divides the error by
    /// that multiple), and the height at one period.
    fn refined(&self, lag: usize) -> (f64, f64) {
        let curve = self.curves.waveform();
        let (mut period, height) = parabola(curve, lag);
        let mut multiple = 2;
        while period * f64::from(multiple) < (curve.len() - 5) as f64 {
            let near = (period * f64::from(multiple)).round() as usize;
            let reach = 2.min(lag / 3);
            let Some(peak) = (near - reach..=near + reach).find(|&at| is_peak(curve, at)) else { break };
            let (at, far) = parabola(curve, peak);
            if far < 0.7 * height {
                break;
            }
            period = at / f64::from(multiple);
            multiple *= 2;
        }
        (period, height)
    }
}

/// Puts a peak in its place, strongest first; the weakest falls out.
fn insert(best: &mut [(usize, f32); MOST_CANDIDATES], mut new: (usize, f32)) {
    for slot in best {
        if new.1 > slot.1 {
            std::mem::swap(slot, &mut new);
        }
    }
}

/// Mean square in dB below full scale, not under −120.
fn level(power: f64) -> f32 {
    (10.0 * power.max(1e-12).log10()) as f32
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Instrument;
    use crate::pitch::{Contour, contour};
    use crate::samples::Samples;
    use crate::units::SampleRate;

    #[test]
    fn a_sawtooth_has_its_pitch_within_a_cent() {
        let rate = 44_100;
        for (instrument, hz) in [
            (Instrument::Violin, 440.0),
            (Instrument::Bass, 41.2),
            (Instrument::Cello, 65.4),
            (Instrument::Violin, 1318.5),
        ] {
            let mono = (0..rate)
                .map(|i| {
                    let t = f64::from(i) / f64::from(rate);
                    (1..=12)
                        .map(|l| 0.1 / f64::from(l) * (std::f64::consts::TAU * hz * f64::from(l) * t).sin())
                        .sum::<f64>() as f32
                })
                .collect();
            let rate = SampleRate(rate as u32);
            let line =
                contour(&Samples { mono, rate }, TrackerSettings::for_instrument(rate, Some(instrument)));
            assert_eq!(line.frames.len(), 101);
            // Half a window (60 ms for the bass) from the cut ends.
            for frame in &line.frames[6..94] {
                let cents = frame
                    .pitch
                    .unwrap_or_else(|| panic!("no pitch at {:?} of {hz}", frame.time))
                    .cents_above(Hertz(hz))
                    .0;
                assert!(cents.abs() < 1.0, "{cents} c at {:?}", frame.time);
            }
        }
    }

    /// A second at 44.1 kHz of notes at these pitches (hertz) and strengths, fifteen harmonics each, read for an instrument.
    fn read(notes: &[(f64, f64)], instrument: Instrument) -> Contour {
        let rate = 44_100;
        let harmonics = |&(hz, gain): &(f64, f64), t: f64| {
            (1..=15)
                .map(|k| {
                    gain / f64::from(k).sqrt()
                        * (std::f64::consts::TAU * hz * f64::from(k) * t + f64::from(k)).sin()
                })
                .sum::<f64>()
        };
        let mono = (0..rate)
            .map(|i| {
                let t = f64::from(i) / f64::from(rate);
                (0.05 * notes.iter().map(|note| harmonics(note, t)).sum::<f64>()) as f32
            })
            .collect();
        let rate = SampleRate(rate as u32);
        contour(&Samples { mono, rate }, TrackerSettings::for_instrument(rate, Some(instrument)))
    }

    #[test]
    fn a_string_that_rings_an_octave_below_does_not_take_the_note() {
        let line = read(&[(392.0, 1.0), (196.0, 0.16)], Instrument::Violin);
        for frame in &line.frames[6..94] {
            let cents = frame.pitch.expect("a pitch").cents_above(Hertz(392.0)).0;
            assert!(cents.abs() < 50.0, "{cents} c at {:?}", frame.time);
        }
    }

    #[test]
    fn two_strings_together_are_never_read_as_the_note_where_their_periods_meet() {
        // A cello's strings with a note on the one above: fifth, fourth, sixth and thirds, equally tempered.
        for semitones in [3.0, 4.0, 5.0, 7.0, 9.0] {
            for (lower, softer) in [(98.0, 1.0), (98.0, 0.7), (146.8, 1.0), (146.8, 0.7), (220.0, 1.0)] {
                let upper = lower * f64::exp2(semitones / 12.0);
                let line = read(&[(lower, 1.0), (upper, softer)], Instrument::Cello);
                for frame in &line.frames[6..94] {
                    let of = |hz| frame.pitch.map_or(0.0, |pitch| pitch.cents_above(Hertz(hz)).0.abs());
                    let off = of(lower).min(of(upper));
                    assert!(
                        off < 60.0,
                        "{semitones} above {lower} Hz: {:?} at {:?}",
                        frame.pitch,
                        frame.time
                    );
                }
            }
        }
    }

    /// Plucked at the quarter of its length a string has no fourth harmonic and no eighth, as if the third and the fifth
    /// were two notes: but it sounds itself.
    #[test]
    fn a_string_that_is_plucked_at_the_quarter_of_its_length_is_a_note() {
        let rate = SampleRate(44_100);
        let sample = |i: u32| {
            let partial = |k: u32| {
                let k = f64::from(k);
                let turns = k * 415.3 * f64::from(i) / 44_100.0;
                (k * std::f64::consts::FRAC_PI_4).sin() / k * (std::f64::consts::TAU * turns + k).sin()
            };
            (0.1 * (1..=11).map(partial).sum::<f64>()) as f32
        };
        let samples = Samples { mono: (0..44_100).map(sample).collect(), rate };
        let line = contour(&samples, TrackerSettings::for_instrument(rate, Some(Instrument::Violin)));
        for frame in &line.frames[6..94] {
            let cents = frame.pitch.expect("a pitch").cents_above(Hertz(415.3)).0;
            assert!(cents.abs() < 1.0, "{cents} c at {:?}", frame.time);
        }
    }

    #[test]
    fn silence_has_no_pitch() {
        let rate = SampleRate(8000);
        let line =
            contour(&Samples { mono: vec![0.0; 8000], rate }, TrackerSettings::for_instrument(rate, None));
        assert!(line.frames.iter().all(|frame| frame.pitch.is_none()));
    }
}
