//! How well each stretch of sound fits each pitch, and how well it fits a pause: prefix sums of
//! per-frame log-likelihoods.

use super::boundaries::Boundary;
use super::envelope::Envelope;
use super::whistles::whistles;
use crate::pitch::Contour;
use crate::units::{Hertz, Seconds};

/// Log-likelihood sums over the frames of a take. All values are natural logarithms, relative to a
/// perfect match of pitch, tempered because neighbouring frames share most of their window.
#[derive(Debug, Clone)]
pub struct Evidence {
    /// Time from frame to frame.
    pub hop: Seconds,
    /// The lowest semitone hypothesis (sounding MIDI number).
    pub lowest: i32,
    /// `pitch[h][f]`: sum over the frames before `f` under the hypothesis `lowest + h` being bowed.
    pub pitch: Vec<Vec<f32>>,
    /// `other[f]`: the same for something bowed without a definite pitch.
    pub other: Vec<f32>,
    /// `pause[f]`: the same for nothing being bowed (silence, or a string ringing on).
    pub pause: Vec<f32>,
    /// `inside[f]`: sum over the boundaries before frame `f` of the log-likelihood that none of
    /// them is an onset (of candidates close together only the likeliest counts).
    pub inside: Vec<f32>,
}

/// Hop over window: 10 ms frames of windows of about 46 ms overlap, so they are not independent witnesses.
const TEMPER: f64 = 0.22;

/// Width of the pitch likelihood in semitones: beginners are within some 25 cents.
const SPREAD: f64 = 0.25;
/// Share of frames in a note whose pitch is anything (attacks, slips, tracker errors).
const STRAY: f64 = 0.05;
/// Semitones over which a stray pitch spreads.
const STRAY_SPAN: f64 = 60.0;
/// A frame without pitch inside a bowed note (scratch), in nats.
const UNVOICED_IN_NOTE: f64 = -2.2;
/// A frame as quiet as the room inside a bowed note.
const QUIET_IN_NOTE: f64 = -6.0;
/// A driven frame inside a pause.
const DRIVEN_IN_PAUSE: f64 = -6.0;
/// A ringing frame inside a pause.
const RINGING_IN_PAUSE: f64 = -0.4;
/// The third harmonic lies this many semitones above its fundamental.
const TWELFTH: f64 = 19.02;
/// The price of hearing a frame as the twelfth above the note, in nats.
const SLIP: f64 = 2.0;
/// The price of hearing a frame of a whistle as the note an octave below it, in nats.
const WHISTLE: f64 = 1.0;
/// A voiced frame inside something without a definite pitch.
const OTHER_FRAME: f64 = -3.6;

impl Evidence {
    /// Sums the evidence. `tuning` is the instrument's offset in semitones (played − nominal at `a4`),
    /// `lowest..=highest` the semitone hypotheses (sounding MIDI numbers).
    pub fn new(
        contour: &Contour,
        envelope: &Envelope,
        boundaries: &[Boundary],
        a4: Hertz,
        tuning: f64,
        (lowest, highest): (i32, i32),
    ) -> Self {
        let n = contour.frames.len();
        let hypotheses = (highest - lowest + 1).max(1) as usize;
        let mut pitch = vec![vec![0.0_f32; n + 1]; hypotheses];
        let (mut other, mut pause, mut inside) = (vec![0.0; n + 1], vec![0.0; n + 1], vec![0.0; n + 1]);
        let noise = f64::from(envelope.percentile(0.03));
        let loud = f64::from(envelope.percentile(0.9));
        let stray = STRAY / STRAY_SPAN;
        let peak = (1.0 - STRAY) * student3(0.0) / SPREAD + stray;
        let mut whistling = vec![false; n];
        for whistle in whistles(contour, envelope) {
            whistling[whistle].fill(true);
        }
        let mut next_boundary = 0;
        for (f, frame) in contour.frames.iter().enumerate() {
            let level = f64::from(envelope.level_db[envelope.index(frame.time)]);
            let driven = driven(envelope, frame.time, level, loud);
            let quiet = level < noise + 4.0 && level < loud - 20.0;
            let heard = frame.pitch.map(|p| p.midi(a4).0 - tuning);
            let second = frame.second.map(|p| p.midi(a4).0 - tuning);
            let (p, o) = match heard {
                _ if quiet => (QUIET_IN_NOTE, QUIET_IN_NOTE),
                None => (UNVOICED_IN_NOTE, UNVOICED_IN_NOTE),
                Some(_) => (0.0, OTHER_FRAME),
            };
            for (h, sums) in pitch.iter_mut().enumerate() {
                let hypothesis = f64::from(lowest + h as i32);
                let fit = |midi: f64| {
                    let off = midi - hypothesis;
                    (((1.0 - STRAY) * student3(off / SPREAD) / SPREAD + stray) / peak).ln()
                };
                // Where two strings sound, neither is more the note than the other.
                let second = second.map_or(f64::NEG_INFINITY, fit);
                let value = match heard {
                    // A third harmonic much stronger than the fundamental may have been taken for the pitch.
                    Some(midi) if !quiet && whistling[f] => {
                        fit(midi).max(fit(midi - 12.0) - WHISTLE).max(second)
                    }
                    Some(midi) if !quiet => fit(midi).max(fit(midi - TWELFTH) - SLIP).max(second),
                    _ => p,
                };
                sums[f + 1] = sums[f] + (TEMPER * value) as f32;
            }
            other[f + 1] = other[f] + (TEMPER * o) as f32;
            let g = match heard {
                _ if quiet => 0.0,
                None => -0.8 * driven,
                Some(_) => RINGING_IN_PAUSE + (DRIVEN_IN_PAUSE - RINGING_IN_PAUSE) * driven,
            };
            pause[f + 1] = pause[f] + (TEMPER * g) as f32;
            inside[f + 1] = inside[f];
            while next_boundary < boundaries.len()
                && (boundaries[next_boundary].time.0 / contour.hop.0).round() as usize <= f
            {
                if boundaries[next_boundary].leads {
                    inside[f + 1] -= softplus(boundaries[next_boundary].llr) as f32;
                }
                next_boundary += 1;
            }
        }
        Self { hop: contour.hop, lowest, pitch, other, pause, inside }
    }

    /// The frame at a time, at most the number of frames.
    pub fn frame(&self, time: Seconds) -> usize {
        ((time.0 / self.hop.0).round().max(0.0) as usize).min(self.pause.len() - 1)
    }
}

/// How likely the bow drives the string at a time, 0 to 1: a free string only ever gets quieter, a bowed one
/// holds its level. Slow decays (60 dB in 2 s) fall by 30 dB/s, faster ones more.
fn driven(envelope: &Envelope, time: Seconds, level: f64, loud: f64) -> f64 {
    let reach = 0.06;
    let (a, b) = (envelope.index(Seconds(time.0 - reach)), envelope.index(Seconds(time.0 + reach)));
    let values = &envelope.level_db[a..=b];
    let n = values.len() as f64;
    let mean_x = (n - 1.0) / 2.0;
    let mean_y = values.iter().map(|&v| f64::from(v)).sum::<f64>() / n;
    let (mut xy, mut xx) = (0.0, 0.0);
    for (k, &v) in values.iter().enumerate() {
        let x = k as f64 - mean_x;
        xy += x * (f64::from(v) - mean_y);
        xx += x * x;
    }
    let slope = if xx > 0.0 { xy / xx / envelope.hop.0 } else { 0.0 };
    let holds = 1.0 / (1.0 + (-(slope + 24.0) / 6.0).exp());
    // Far below the loud notes of the take, sound is more likely ringing or room than bowing.
    let strong = 1.0 / (1.0 + (-(level - (loud - 24.0)) / 3.0).exp());
    holds * (0.35 + 0.65 * strong)
}

/// Student's t density with three degrees of freedom, scale 1.
fn student3(x: f64) -> f64 {
    0.367_552_6 / (1.0 + x * x / 3.0).powi(2)
}

/// ln(1 + e^x), without overflow.
pub fn softplus(x: f64) -> f64 {
    if x > 30.0 { x } else { x.exp().ln_1p() }
}
