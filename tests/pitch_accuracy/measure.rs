//! Measures the pitch room against tones whose pitch is known and recordings whose pitch is agreed on.
//!
//! `cargo run --release --example pitch_accuracy -- [exact] [noise] [real] [--tones N] [--errors] [--write DIR]`
//!
//! `exact`: synthetic bowed tones E1–E6 up to 60 cents out of tune, in six conditions.
//! `noise`: sounds without a pitch, which must stay unvoiced.
//! `real`: single notes with the reference that `reference.py` beside this file wrote to
//! `target/outside/pitch_reference` (it needs Debian's `fluidsynth` and `python3-aubio` besides the test command's
//! set-up).
//! Without any of the three words all are measured. `--tones N` makes N exact tones instead of 200; `--errors` lists
//! the notes that went wrong; `--write DIR` also writes each exact tone as CONDITION-INDEX.f32 (44.1 kHz) and its
//! pitch at each sample, 0 where it does not sound, as CONDITION-INDEX.hz.f32, for `others.py` beside this file.
//! The numbers are the same on every run.

mod recordings;
mod score;
mod tones;

use fingertape::notation::Instrument;
use fingertape::pitch::{TrackerSettings, contour};
use fingertape::samples::Samples;
use fingertape::units::{Hertz, SampleRate};
use score::Score;
use tones::{Condition, Noise};

const RATE: SampleRate = SampleRate(44_100);

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let asked = |name: &str| arguments.iter().any(|one| one == name);
    let all = !["exact", "noise", "real"].iter().any(|one| asked(one));
    let tones = arguments
        .iter()
        .position(|one| one == "--tones")
        .map_or(200, |at| arguments[at + 1].parse().unwrap());
    let folder = arguments.iter().position(|one| one == "--write").map(|at| arguments[at + 1].as_str());
    if all || asked("exact") {
        for rich in [true, false] {
            exact(tones, asked("--errors"), rich, folder);
        }
    }
    if all || asked("noise") {
        noise();
    }
    if all || asked("real") {
        recordings::run(asked("--errors"));
    }
}

/// The instrument that would play a pitch in first position.
fn instrument_for(hertz: f64) -> Instrument {
    match hertz {
        h if h < 63.0 => Instrument::Bass,
        h if h < 190.0 => Instrument::Cello,
        h if h < 300.0 => Instrument::Viola,
        _ => Instrument::Violin,
    }
}

fn exact(tones: usize, errors: bool, by_register: bool, folder: Option<&str>) {
    println!(
        "EXACT, {tones} tones, settings {}",
        if by_register { "by register" } else { "for any instrument" }
    );
    println!("condition     R50     R10      R5      R2   unvoiced  note-p95  frame-p95  false-voicing");
    for condition in Condition::ALL {
        let mut score = Score::default();
        let mut unvoiced_sound = (0, 0);
        for index in 0..tones {
            let tone = tones::bowed(index, tones, condition, f64::from(RATE.0));
            if let (Some(folder), true) = (folder, by_register) {
                write(folder, &format!("{}-{index}", condition.name().replace(' ', "_")), &tone);
            }
            let instrument = by_register.then(|| instrument_for(tone.hertz));
            let samples = Samples { mono: tone.samples, rate: RATE };
            let line = contour(&samples, TrackerSettings::for_instrument(RATE, instrument));
            let mut frames = Vec::new();
            for frame in &line.frames {
                let at = ((frame.time.0 * RATE.hertz()) as usize).min(tone.sounding.len() - 1);
                if tone.sounding[at] {
                    frames.push((frame.pitch, Hertz(tone.pitch[at])));
                } else if tone.silent[at] {
                    unvoiced_sound.0 += usize::from(frame.pitch.is_some());
                    unvoiced_sound.1 += 1;
                }
            }
            let note = score.note(&frames);
            if errors && note.worth_showing() {
                println!("    {:?} {:.2} Hz {instrument:?}: {note}", condition, tone.hertz);
            }
        }
        println!(
            "{:<11} {} {:>9.2} %",
            condition.name(),
            score.row(),
            100.0 * unvoiced_sound.0 as f64 / unvoiced_sound.1.max(1) as f64
        );
    }
}

fn write(folder: &str, name: &str, tone: &tones::Tone) {
    let bytes =
        |values: &mut dyn Iterator<Item = f32>| values.flat_map(f32::to_le_bytes).collect::<Vec<u8>>();
    let hertz = tone.pitch.iter().zip(&tone.sounding).map(|(&hz, &on)| if on { hz as f32 } else { 0.0 });
    std::fs::write(format!("{folder}/{name}.f32"), bytes(&mut tone.samples.iter().copied())).unwrap();
    std::fs::write(format!("{folder}/{name}.hz.f32"), bytes(&mut { hertz })).unwrap();
}

fn noise() {
    println!("NOISE: voiced frames of 60 s");
    for noise in Noise::ALL {
        let samples = Samples { mono: noise.samples(60 * RATE.0 as usize, f64::from(RATE.0)), rate: RATE };
        print!("{:<16}", noise.name());
        for instrument in Instrument::ALL.map(Some).into_iter().chain([None]) {
            let line = contour(&samples, TrackerSettings::for_instrument(RATE, instrument));
            let voiced = line.frames.iter().filter(|frame| frame.pitch.is_some()).count();
            print!(" {:>6}: {voiced:<4}", instrument.map_or("any".to_owned(), |one| format!("{one:?}")));
        }
        println!();
    }
}
