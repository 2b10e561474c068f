//! A passage becomes sound: bowed notes, one bow stroke each, with a count-in and a metronome if wanted.
//!
//! Every note is a [`BowedTone`], exactly in tune (equal temperament) and without vibrato, so that one can
//! tune one's fingers to it. It begins softly. Where another note follows, the old string rings on under
//! the new one for a moment, as in a bow change; before a rest and at the end the finger damps it. A gentle
//! low-pass at 3 kHz takes the edge off for small loudspeakers (all of it chosen by ear and by what
//! `check` hears; no single source).

use super::count_in::click;
use super::passage::Passage;
use super::{BowedTone, bowed_tone};
use crate::notation::{Instrument, Length, as_f64};
use crate::samples::Samples;
use crate::units::{Hertz, MidiPitch, SampleRate, Seconds};
use std::f64::consts::TAU;

/// How a passage is played.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineSettings {
    /// Whose body colours the tone.
    pub instrument: Instrument,
    /// Beats a minute, above 0.
    pub bpm: f64,
    /// One beat as a part of a whole note.
    pub beat: Length,
    /// The pitch of A4.
    pub a4: Hertz,
    /// The peak of the whole, 0 to 1 of full scale: 0.25 is −12 dB.
    pub volume: f32,
    /// Whether a bar is counted before the first time.
    pub count_in: bool,
    /// Whether every beat clicks.
    pub metronome: bool,
    /// How often it is played, at least 1.
    pub times: u32,
}

/// The rise of a note from nothing.
const ATTACK: Seconds = Seconds(0.05);
/// How long before the next note the bow leaves: for another note, for the same one again, before silence.
const TO_ANOTHER: Seconds = Seconds(0.01);
const TO_THE_SAME: Seconds = Seconds(0.06);
const TO_SILENCE: Seconds = Seconds(0.08);
/// At most this part of a note is given away for that.
const MOST_OF_NOTE: f64 = 0.25;
/// The ringing after it, to −60 dB: under the next note, and damped before silence.
const RING: Seconds = Seconds(0.2);
const DAMPED: Seconds = Seconds(0.12);
/// The last moments of ringing fade to nothing.
const FADE: Seconds = Seconds(0.01);
/// The level of a tone before the whole is brought to its volume: root mean square, dB below full scale.
const TONE_DB: f64 = -20.0;
/// The peak of a click beside the peak of the whole.
const CLICK_LEVEL: f32 = 0.5;
/// Where the low-pass begins.
const EDGE: Hertz = Hertz(3000.0);

/// The sound of a passage, of one channel; it ends when the last note has died away. The same passage and
/// settings give the same samples.
pub fn bowed_line(passage: &Passage, settings: &LineSettings, rate: SampleRate) -> Samples {
    let seconds = |length: Length| as_f64(length / settings.beat) * 60.0 / settings.bpm;
    let frames = |seconds: f64| (seconds * rate.hertz()).round() as usize;
    let mut once = notes(passage, settings, rate);
    soften(&mut once, rate);
    let loudest = once.iter().fold(0.0_f32, |most, sample| most.max(sample.abs()));
    let volume = settings.volume.clamp(0.0, 1.0);
    // With clicks on top the tones leave room for them.
    let share = if settings.metronome { 1.0 - CLICK_LEVEL / 2.0 } else { 1.0 };
    let gain = if loudest > 0.0 { volume * share / loudest } else { 0.0 };
    // Another metre may count other beats than the one that the tempo is for.
    let beat = seconds(passage.bar_beat);
    let counted = if settings.count_in { f64::from(passage.bar_beats) + as_f64(passage.before) } else { 0.0 };
    let lead = counted * beat;
    let length = seconds(passage.length);
    let times = settings.times.max(1);
    let total = frames(lead + f64::from(times - 1) * length) + once.len();
    let mut mono = vec![0.0_f32; total.max(frames(lead + f64::from(times) * length))];
    for turn in 0..times {
        let begin = frames(lead + f64::from(turn) * length);
        for (slot, sample) in mono[begin..].iter_mut().zip(&once) {
            *slot += gain * sample;
        }
    }
    let mut put = |at: f64, first: bool| {
        let sound = click(first, volume * CLICK_LEVEL, rate);
        let begin = frames(at).min(mono.len());
        for (slot, sample) in mono[begin..].iter_mut().zip(sound) {
            *slot += sample;
        }
    };
    if settings.count_in {
        for number in 0..counted.ceil() as u32 {
            put(f64::from(number) * beat, number % passage.bar_beats.max(1) == 0);
        }
    }
    if settings.metronome {
        for turn in 0..times {
            for beat in &passage.beats {
                put(lead + f64::from(turn) * length + seconds(beat.at), beat.first);
            }
        }
    }
    let loudest = mono.iter().fold(0.0_f32, |most, sample| most.max(sample.abs()));
    if loudest > volume {
        mono.iter_mut().for_each(|sample| *sample *= volume / loudest);
    }
    Samples { mono, rate }
}

/// The notes alone, once, as far as the last of them rings.
fn notes(passage: &Passage, settings: &LineSettings, rate: SampleRate) -> Vec<f32> {
    let seconds = |length: Length| as_f64(length / settings.beat) * 60.0 / settings.bpm;
    let mut mono = Vec::new();
    for (number, note) in passage.notes.iter().enumerate() {
        let length = seconds(note.length);
        let next = passage.notes.get(number + 1).filter(|next| next.start == note.start + note.length);
        let lift = match next {
            Some(next) if next.sounding != note.sounding => TO_ANOTHER,
            Some(_) => TO_THE_SAME,
            None => TO_SILENCE,
        };
        let bowed = length - lift.0.min(MOST_OF_NOTE * length);
        let pitch = MidiPitch(f64::from(note.sounding)).hertz(settings.a4);
        let tone = BowedTone {
            attack: Seconds(ATTACK.0.min(0.4 * bowed)),
            ring: if next.is_some() { RING } else { DAMPED },
            level_db: TONE_DB,
            seed: number as u64,
            ..BowedTone::new(pitch, Seconds(bowed), settings.instrument)
        };
        let mut sound = bowed_tone(&tone, rate).mono;
        fade_out(&mut sound, rate);
        let begin = (seconds(note.start) * rate.hertz()).round() as usize;
        if mono.len() < begin + sound.len() {
            mono.resize(begin + sound.len(), 0.0_f32);
        }
        for (slot, sample) in mono[begin..].iter_mut().zip(sound) {
            *slot += sample;
        }
    }
    mono
}

fn fade_out(sound: &mut [f32], rate: SampleRate) {
    let count = ((FADE.0 * rate.hertz()) as usize).min(sound.len());
    let from = sound.len() - count;
    for (n, sample) in sound[from..].iter_mut().enumerate() {
        *sample *= 1.0 - (n + 1) as f32 / count as f32;
    }
}

/// A one-pole low-pass, which changes no pitch.
fn soften(mono: &mut [f32], rate: SampleRate) {
    let pole = 1.0 - (-TAU * EDGE.0 / rate.hertz()).exp();
    let mut state = 0.0_f64;
    for sample in mono {
        state += pole * (f64::from(*sample) - state);
        *sample = state as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_melody_bytes;
    use crate::notation::Melody;
    use crate::pitch::{TrackerSettings, contour};

    const RATE: SampleRate = SampleRate(48_000);

    fn melody(text: &str) -> Melody {
        read_melody_bytes("m.toml", text.as_bytes()).unwrap().melody
    }

    fn settings(melody: &Melody) -> LineSettings {
        LineSettings {
            instrument: melody.instrument.unwrap(),
            bpm: 90.0,
            beat: melody.metre.beat(),
            a4: Hertz(440.0),
            volume: 0.25,
            count_in: false,
            metronome: false,
            times: 1,
        }
    }

    fn line(melody: &Melody, settings: &LineSettings) -> Samples {
        bowed_line(&Passage::new(melody, None, None).unwrap(), settings, RATE)
    }

    #[test]
    fn every_note_is_in_tune_to_a_tenth_of_a_cent_by_our_own_tracker() {
        for (instrument, bars, a4) in [
            ("violin", "G3 h D4 h A4 h E5 h F#4 h B5 h", 440.0),
            ("viola", "C3 h G3 h D4 h A4 h E5 h B3 h", 442.0),
            ("cello", "C2 h G2 h D3 h A3 h C#3 h D4 h", 440.0),
            ("bass", "E2 h A2 h D3 h G3 h F3 h B3 h", 441.0),
        ] {
            let melody = melody(&format!("instrument = '{instrument}'\nmetre='12/4'\nbars = ['{bars}']"));
            let settings = LineSettings { a4: Hertz(a4), bpm: 80.0, ..settings(&melody) };
            let sound = line(&melody, &settings);
            let heard = contour(&sound, TrackerSettings::for_instrument(sound.rate, melody.instrument));
            for (number, sounding) in melody.soundings().enumerate() {
                let (from, to) = (number as f64 * 1.5 + 0.4, number as f64 * 1.5 + 1.2);
                let mut cents: Vec<f64> = heard
                    .frames
                    .iter()
                    .filter(|frame| (from..to).contains(&frame.time.0))
                    .map(|frame| {
                        let pitch = frame.pitch.expect("a steady tone is voiced");
                        pitch.cents_above(MidiPitch(f64::from(sounding)).hertz(Hertz(a4))).0
                    })
                    .collect();
                cents.sort_by(f64::total_cmp);
                let median = cents[cents.len() / 2];
                assert!(median.abs() < 0.1, "{instrument} note {number}: {median} cents");
                // Steady, too: nine frames of ten within half a cent.
                let spread = cents[cents.len() * 19 / 20] - cents[cents.len() / 20];
                assert!(spread < 1.0, "{instrument} note {number}: {spread} cents");
            }
        }
    }

    /// A jump from sample to sample is heard as a crack. Within the bow changes none is larger than within
    /// the steady tones, whose corners are the steepest thing that there may be.
    #[test]
    fn nothing_cracks_where_notes_begin_end_and_change() {
        let melody =
            melody("instrument='violin'\nbars=['D4 q D4 A4 D5','E4 q r G3 r','B4 e A4 G4 F#4 E4 h']");
        let settings = settings(&melody);
        let sound = line(&melody, &settings);
        let beat = 60.0 / 90.0 * RATE.hertz();
        let steepest = |from: f64, to: f64| {
            let part = &sound.mono[(from * beat) as usize..((to * beat) as usize).min(sound.mono.len())];
            part.windows(2).fold(0.0_f32, |most, pair| most.max((pair[1] - pair[0]).abs()))
        };
        let steady = [0.5, 1.5, 2.5, 3.5, 4.5, 6.5].map(|at| steepest(at - 0.2, at + 0.2));
        let steady = steady.into_iter().fold(0.0, f32::max);
        assert!(steepest(0.0, 14.0) <= 1.25 * steady, "{} and {steady}", steepest(0.0, 14.0));
        assert!(sound.mono.first().is_some_and(|sample| sample.abs() < 1e-4));
        assert!(sound.mono.last().is_some_and(|sample| sample.abs() < 1e-5));
        // In the middle of a rest nothing sounds: 60 dB below the tone.
        let rest = &sound.mono[(5.5 * beat) as usize..(5.9 * beat) as usize];
        assert!(rest.iter().all(|sample| sample.abs() < 0.25e-3));
    }

    #[test]
    fn the_peak_is_the_volume_whatever_is_played_with_it() {
        let melody = melody("instrument='cello'\nbars=['D3 q E3 A2 D3']");
        for (count_in, metronome) in [(false, false), (true, false), (true, true)] {
            for volume in [0.0, 0.1, 0.25, 1.0] {
                let settings = LineSettings { count_in, metronome, volume, ..settings(&melody) };
                let peak = line(&melody, &settings).mono.iter().fold(0.0_f32, |most, x| most.max(x.abs()));
                assert!(peak <= volume * 1.000_01 && peak >= volume * 0.7, "{volume}: {peak}");
            }
        }
    }

    #[test]
    fn count_in_metronome_and_repeats_stand_where_the_beats_are() {
        let melody = melody("instrument='viola'\nmetre='3/4'\nbars=['r h.','r q D4 q r q']");
        let plain = line(&melody, &settings(&melody));
        let beat = (60.0_f64 / 90.0 * RATE.hertz()).round() as usize;
        assert_eq!(plain.mono.len(), 6 * beat);
        let counted = line(&melody, &LineSettings { count_in: true, ..settings(&melody) });
        assert_eq!(counted.mono.len(), 9 * beat);
        assert!(counted.mono[2 * beat..2 * beat + 480].iter().any(|sample| sample.abs() > 0.05));
        assert!(counted.mono[3 * beat..6 * beat].iter().all(|sample| *sample == 0.0));
        let clicked = line(&melody, &LineSettings { metronome: true, ..settings(&melody) });
        for number in 0..6 {
            let click = &clicked.mono[number * beat..number * beat + 480];
            assert!(click.iter().any(|sample| sample.abs() > 0.05), "beat {number}");
        }
        let twice = line(&melody, &LineSettings { times: 2, ..settings(&melody) });
        assert_eq!(twice.mono.len(), 12 * beat);
        let same = |a: &[f32], b: &[f32]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-6);
        assert!(same(&twice.mono[..6 * beat], &twice.mono[6 * beat..]));
    }

    #[test]
    fn a_bar_with_other_beats_than_the_tempos_is_counted_in_in_its_own() {
        // 80 quarters a minute are 160 eighths: six of them last 2.25 s.
        let text = "instrument='violin'\nmetre='4/4'\nbars=['D4 w', '6/8: D4 q. E4 q.', '4/4: D4 w']";
        let melody = melody(text);
        let settings = LineSettings { bpm: 80.0, count_in: true, ..settings(&melody) };
        let passage = Passage::new(&melody, Some(2), Some(2)).unwrap();
        let sound = bowed_line(&passage, &settings, RATE);
        let eighth = (RATE.hertz() * 0.375) as usize;
        let level =
            |from: usize| sound.mono[from..from + 480].iter().fold(0.0_f32, |most, s| most.max(s.abs()));
        for number in 0..6 {
            assert!(level(number * eighth) > 0.05, "click {number}");
            assert!(level(number * eighth + eighth / 2) < 0.01, "silence after click {number}");
        }
        // The first note begins after the sixth eighth, and both last as long.
        assert!(level(6 * eighth + 4_800) > 0.05);
        let rest = sound.mono.len() - 12 * eighth;
        assert!(rest < 4_800, "{rest} more samples than the last note rings");
    }

    #[test]
    fn the_same_passage_gives_the_same_samples() {
        let melody = melody("instrument='bass'\nbars=['D3 q E3 A2 D3']");
        assert_eq!(line(&melody, &settings(&melody)), line(&melody, &settings(&melody)));
    }
}
