//! A take in another shape.

use super::Take;
use crate::made_takes::{Case, Planted, performance, samples_from_performance};
use fingertape::notation::{EventKind, Key, Melody, Spelling};
use fingertape::samples::Samples;
use fingertape::units::SampleRate;
use rubato::audioadapter_buffers::owned::InterleavedOwned;
use rubato::{Fft, FixedSync, Resampler};

/// The take at another gain, in floats: nothing is rounded.
pub fn louder(samples: &Samples, decibels: f64) -> Samples {
    let gain = 10_f64.powf(decibels / 20.0);
    let mono = samples.mono.iter().map(|&one| (f64::from(one) * gain) as f32).collect();
    Samples { mono, rate: samples.rate }
}

/// The take with a constant added, as a poor recorder does.
pub fn shifted(samples: &Samples, offset: f32) -> Samples {
    Samples { mono: samples.mono.iter().map(|one| one + offset).collect(), rate: samples.rate }
}

/// The take at another rate, by rubato's FFT resampler (its ripple and images lie below −120 dB).
pub fn resampled(samples: &Samples, rate: u32) -> Samples {
    if rate == samples.rate.0 {
        return samples.clone();
    }
    let input = InterleavedOwned::new_from(samples.mono.clone(), 1, samples.mono.len()).expect("one channel");
    let mut resampler = Fft::<f32>::new(samples.rate.0 as usize, rate as usize, 1024, 1, FixedSync::Both)
        .expect("both rates are above 0");
    let output = resampler.process_all(&input, samples.mono.len(), None).expect("the input is whole");
    Samples { mono: output.take_data(), rate: SampleRate(rate) }
}

/// The take with silence before and after it, in seconds; `room` is the peak of its noise.
pub fn with_silence(samples: &Samples, before: f64, after: f64, room: f64) -> Samples {
    let mut random = fingertape::sound::Noise::new(77);
    let mut silence = |seconds: f64| -> Vec<f32> {
        (0..(seconds * samples.rate.hertz()).round() as usize)
            .map(|_| if room > 0.0 { (room * random.uniform()) as f32 } else { 0.0 })
            .collect()
    };
    let mono = [silence(before), samples.mono.clone(), silence(after)].concat();
    Samples { mono, rate: samples.rate }
}

/// The melody in another key: every note so many semitones higher.
pub fn at_another_pitch(melody: &Melody, semitones: i32) -> Melody {
    let mut other = melody.clone();
    for event in &mut other.events {
        if let EventKind::Note { written, sounding } = &mut event.kind {
            *written = Spelling::from_midi(written.midi() + semitones, Key::default());
            *sounding += semitones;
        }
    }
    other
}

/// Melody and sound transposed together without touching a sample: at another rate the same samples are higher, and
/// faster in the same proportion (an interval of k semitones is a ratio of 2^(k/12) in equal temperament). `None` where
/// the instrument does not have a note.
pub fn at_another_rate(take: &Take, semitones: i32) -> Option<Take> {
    if !is_in_range(take, &at_another_pitch(&take.melody, semitones), &[]) {
        return None;
    }
    let factor = (f64::from(semitones) / 12.0).exp2();
    let rate = SampleRate((take.samples.rate.hertz() * factor).round() as u32);
    let mut other = take.clone();
    other.samples.rate = rate;
    other.melody = at_another_pitch(&take.melody, semitones);
    other.settings.bpm = take.settings.bpm.map(|bpm| bpm * factor);
    Some(other)
}

/// Melody and mistakes so many semitones higher, played and recorded anew: what was stopped may now be an open string
/// that rings. `None` where the instrument does not have a note.
pub fn performed_higher(take: &Take, semitones: i32) -> Option<Take> {
    let case = take.case.as_ref()?;
    let planted: Vec<Planted> = case.planted.iter().map(|planted| transposed(*planted, semitones)).collect();
    let melody = at_another_pitch(&take.melody, semitones);
    let played = at_another_pitch(&take.played, semitones);
    if !is_in_range(take, &melody, &planted) {
        return None;
    }
    let case = Case { planted, ..case.clone() };
    let samples = samples_from_performance(&performance(&case, &played), &played, take.samples.rate);
    Some(Take { samples, melody, played, case: Some(case), ..take.clone() })
}

/// Whether all notes lie between the lowest open string and an octave above the highest.
fn is_in_range(take: &Take, melody: &Melody, planted: &[Planted]) -> bool {
    let open = take.settings.instrument.open_strings();
    let mistakes = planted.iter().filter_map(|planted| match *planted {
        Planted::Wrong { midi, .. } | Planted::Extra { midi, .. } => Some(midi),
        _ => None,
    });
    melody.soundings().chain(mistakes).all(|midi| (open[0]..=open[3] + 12).contains(&midi))
}

fn transposed(planted: Planted, semitones: i32) -> Planted {
    match planted {
        Planted::Wrong { index, midi } => Planted::Wrong { index, midi: midi + semitones },
        Planted::Extra { after, midi, beats } => Planted::Extra { after, midi: midi + semitones, beats },
        Planted::OpenString { midi, cents } => Planted::OpenString { midi: midi + semitones, cents },
        same => same,
    }
}

/// The same playing at another tempo: every moment of it divided by `faster`, and recorded anew. The sheet, and the
/// tempo that it asks for, stay. `None` where nobody knows how the take was played.
pub fn performed_at_another_tempo(take: &Take, faster: f64) -> Option<Take> {
    let case = take.case.as_ref()?;
    let mut performance = performance(case, &take.played);
    for note in &mut performance.notes {
        note.onset /= faster;
        note.bowed /= faster;
    }
    performance.length /= faster;
    let samples = samples_from_performance(&performance, &take.played, take.samples.rate);
    Some(Take { samples, ..take.clone() })
}
