//! Takes as files: sound, sheet and truth side by side in one folder, all from one seed.

use super::beginner_take::{BODY, RATE, render};
use super::filters::{Between, Section};
use super::melody::{WrittenMelody, write_melody};
use super::mistakes::{Plan, plan};
use super::musicxml::{musicxml, name};
use super::performance::{Join, Performance, Role, perform};
use super::random::Random;
use super::room_and_phone::{Clicks, Condition, recorded};
use super::sources::{Half, Sources};
use super::talk::talk;
use super::truth::{ExtraTruth, NoteTruth, StringTruth, TempoTruth, Truth, TuningTruth};
use super::voice::Voice;
use fingertape::notation::Instrument;
use std::path::Path;
use std::process::Command;

/// What kind of take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// By one of the recorded players.
    Plain,
    /// The same, with the sheet of another melody beside it.
    Foreign,
    /// By a voice that nobody recorded, for training.
    Borrowed,
}

/// Makes take `number` of a seed and writes it into `folder`: `NNN.wav` or `NNN.m4a`,
/// `NNN.musicxml`, `NNN.truth.json`.
pub fn make_take(
    sources: &Sources,
    folder: &Path,
    (seed, number): (u64, usize),
    half: Half,
    kind: Kind,
) -> Result<Truth, String> {
    let foreign = kind == Kind::Foreign;
    let mut random = Random::new(seed, number as u64);
    let random = &mut random;
    let instrument = Instrument::ALL[number % 4];
    let condition = Condition::ALL[(number / 4) % 4];
    let control = (number / 16 + number / 4 + number) % 4 == 0;
    let title = format!("{number:03}");
    let melody = write_melody(instrument, &title, random);
    let plan = plan(&melody, control, condition == Condition::Click, random);
    let voice = match kind {
        Kind::Borrowed => Voice::borrowed(sources, instrument, random),
        Kind::Plain | Kind::Foreign => Voice::of(sources, instrument, random),
    };

    let beat = 60.0 / melody.bpm;
    let counted_in = f64::from(melody.beats_per_bar) * beat;
    let speaks = random.chance(0.3);
    let (first_click, lead_in) = if condition == Condition::Click {
        let first = random.between(0.2, 0.6);
        let bars = if melody.pickup > 0.0 { 2.0 * counted_in - melody.pickup * beat } else { counted_in };
        (Some(first), first + bars + random.normal(0.0, 0.02))
    } else {
        (None, random.between(0.35, 1.2) + if speaks { random.between(0.9, 1.8) } else { 0.0 })
    };
    let performance = perform(&melody, &plan, lead_in, random);
    let style = voice.style(random);
    let rendered =
        render(&performance, instrument, (sources, &voice, half), &style, random.between(0.8, 1.6), random);
    let mut mix = rendered.mix;
    voice.resound(&mut mix);
    let loudness = |random: &mut Random| BODY * 10f64.powf(random.between(-16.0, -2.0) / 20.0);
    if speaks && first_click.is_none() {
        let before = random.between(0.2, 0.7);
        let level = loudness(random);
        talk(&mut mix, RATE, 0.15, (lead_in - before - 0.15).max(0.2), level, random);
    }
    for (start, seconds) in &performance.pauses {
        if *seconds > 0.9 && random.chance(0.5) {
            let level = loudness(random);
            talk(&mut mix, RATE, start + 0.25, seconds - 0.5, level, random);
        }
    }
    let clicks = first_click.map(|first| Clicks { first, every: beat });
    let sound = recorded(mix, RATE, condition, clicks, BODY, random);

    let file = if condition == Condition::Phone { format!("{title}.m4a") } else { format!("{title}.wav") };
    let (sheet, moved) = if foreign { another_melody(&melody, random) } else { (melody.clone(), None) };
    let truth = Truth {
        take: title.clone(),
        audio: file.clone(),
        score: format!("{title}.musicxml"),
        outcome: if foreign { "not-this-melody" } else { "judged" }.into(),
        instrument,
        bpm: melody.bpm,
        condition: condition.name().into(),
        player: voice.name(),
        half: half.name().into(),
        control,
        planted: moved.map(str::to_string).into_iter().chain(plan.names()).collect(),
        notes: note_truths(&melody, &plan, &performance, &rendered.notes),
        rests: performance.rests.clone(),
        extra: extras(&performance, &rendered.notes),
        restarts: restarts(&performance, &rendered.notes),
        tempo: TempoTruth {
            set_bpm: melody.bpm,
            played_bpm: 60.0 / performance.beat_seconds,
            drift_percent: 100.0 * plan.drift,
        },
        tuning: TuningTruth { offset_cents: plan.tuning_offset, strings: strings(instrument, &plan) },
    };
    let write = |name: &str, bytes: &[u8]| {
        std::fs::write(folder.join(name), bytes).map_err(|e| format!("{}: {e}", folder.join(name).display()))
    };
    write(&format!("{title}.musicxml"), musicxml(&sheet).as_bytes())?;
    write(
        &format!("{title}.truth.json"),
        serde_json::to_string_pretty(&truth).map_err(|e| e.to_string())?.as_bytes(),
    )?;
    let bit_rate = *random.pick(&["48k", "64k", "96k"]);
    let rate = [RATE, 48000.0, 32000.0, 16000.0][random.weighted(&[0.6, 0.28, 0.06, 0.06])];
    write_sound(&folder.join(file), &at_rate(sound, rate), rate as u32, bit_rate)?;
    Ok(truth)
}

/// A sheet that this take is not, and how it was made: newly written, shuffled, or moved by three to six
/// semitones. Few pitches can fall into nearly the same order again; such sheets are drawn anew.
fn another_melody(melody: &WrittenMelody, random: &mut Random) -> (WrittenMelody, Option<&'static str>) {
    for _ in 0..60 {
        let kind = random.below(3);
        let other = match kind {
            0 => write_melody(melody.instrument, &melody.title, random),
            1 => shuffled(melody, random),
            _ => break,
        };
        if shared(melody, &other) < 0.6 {
            return (other, Some(["sheet-new", "sheet-shuffled"][kind]));
        }
    }
    let by = 3 + random.below(4) as i32;
    let mut other = melody.clone();
    for event in &mut other.events {
        event.midi = event.midi.map(|m| m + by);
    }
    (other, Some("sheet-moved"))
}

fn shuffled(melody: &WrittenMelody, random: &mut Random) -> WrittenMelody {
    let mut other = melody.clone();
    let mut pitches: Vec<i32> = other.events.iter().filter_map(|e| e.midi).collect();
    for last in (1..pitches.len()).rev() {
        pitches.swap(last, random.below(last + 1));
    }
    for event in other.events.iter_mut().filter(|e| e.midi.is_some()) {
        event.midi = pitches.pop();
    }
    other
}

/// The longest sequence of pitches that two melodies share in order, as a part of the shorter one.
fn shared(a: &WrittenMelody, b: &WrittenMelody) -> f64 {
    let pitches = |m: &WrittenMelody| m.events.iter().filter_map(|e| e.midi).collect::<Vec<_>>();
    let (a, b) = (pitches(a), pitches(b));
    let mut row = vec![0usize; b.len() + 1];
    for x in &a {
        let mut diagonal = 0;
        for (place, y) in b.iter().enumerate() {
            let above = row[place + 1];
            row[place + 1] = if x == y { diagonal + 1 } else { above.max(row[place]) };
            diagonal = above;
        }
    }
    row[b.len()] as f64 / a.len().min(b.len()) as f64
}

fn note_truths(
    melody: &WrittenMelody,
    plan: &Plan,
    performance: &Performance,
    measured: &[super::beginner_take::Measured],
) -> Vec<NoteTruth> {
    let shift = -melody.instrument.sounding_shift();
    let mut truths = Vec::new();
    for (index, event) in melody.events.iter().enumerate() {
        let Some(midi) = event.midi else { continue };
        let played = performance.notes.iter().position(|n| n.role == Role::Written(index));
        let planted = plan.at[index].map(|m| m.name().to_string());
        let (verdict, join) = match played {
            None => ("missing", "none".to_string()),
            Some(at) => {
                let note = &performance.notes[at];
                let join = match note.join {
                    Join::Apart => "apart".to_string(),
                    Join::BowChange { dip_db, .. } => format!("bow-change {dip_db:.0} dB"),
                    Join::Slur { .. } => "slur".to_string(),
                };
                (if note.midi == midi { "right" } else { "wrong" }, join)
            }
        };
        truths.push(NoteTruth {
            index,
            bar: event.bar,
            beat: event.beat,
            written: name(midi + shift, melody.fifths),
            written_midi: midi,
            verdict: verdict.into(),
            played_midi: played.map(|at| measured[at].midi),
            cents: played.map(|at| 100.0 * (measured[at].midi - f64::from(midi))),
            onset_s: played.map(|at| measured[at].onset),
            offset_s: played.map(|at| measured[at].offset),
            planted,
            join,
        });
    }
    truths
}

fn extras(performance: &Performance, measured: &[super::beginner_take::Measured]) -> Vec<ExtraTruth> {
    performance
        .notes
        .iter()
        .zip(measured)
        .filter_map(|(note, m)| match note.role {
            Role::Extra { after } => Some(ExtraTruth {
                onset_s: m.onset,
                offset_s: m.offset,
                played_midi: m.midi,
                after_index: after,
            }),
            _ => None,
        })
        .collect()
}

/// The planned moment of each restart becomes the measured onset of the first note after it.
fn restarts(
    performance: &Performance,
    measured: &[super::beginner_take::Measured],
) -> Vec<super::truth::RestartTruth> {
    let mut restarts = performance.restarts.clone();
    for restart in &mut restarts {
        let first = performance.notes.iter().position(|n| n.start >= restart.time_s - 1e-6);
        if let Some(first) = first {
            restart.time_s = measured[first].onset;
        }
    }
    restarts
}

fn strings(instrument: Instrument, plan: &Plan) -> Vec<StringTruth> {
    let names = match instrument {
        Instrument::Violin => ["G", "D", "A", "E"],
        Instrument::Viola | Instrument::Cello => ["C", "G", "D", "A"],
        Instrument::Bass => ["E", "A", "D", "G"],
    };
    names
        .iter()
        .zip(plan.strings)
        .map(|(name, cents)| StringTruth { string: (*name).into(), cents: plan.tuning_offset + cents })
        .collect()
}

/// The sound as a device of another rate stores it.
fn at_rate(mut sound: Vec<f32>, rate: f64) -> Vec<f32> {
    if rate == RATE {
        return sound;
    }
    if rate < RATE {
        for q in [0.54, 1.31] {
            Section::low_pass(0.42 * rate, q, RATE).run(&mut sound);
        }
    }
    let between = Between::new();
    let count = (sound.len() as f64 * rate / RATE) as usize;
    (0..count).map(|i| between.read(&sound, i as f64 * RATE / rate)).collect()
}

/// Writes 16-bit WAV, or AAC in M4A through ffmpeg.
pub fn write_sound(path: &Path, sound: &[f32], rate: u32, bit_rate: &str) -> Result<(), String> {
    let aac = path.extension().is_some_and(|e| e == "m4a");
    let wav = if aac { path.with_extension("part.wav") } else { path.to_path_buf() };
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let complain = |e: hound::Error| format!("{}: {e}", wav.display());
    let mut writer = hound::WavWriter::create(&wav, spec).map_err(complain)?;
    for sample in sound {
        writer.write_sample((sample.clamp(-1.0, 1.0) * 32767.0).round() as i16).map_err(complain)?;
    }
    writer.finalize().map_err(complain)?;
    if aac {
        let status = Command::new("ffmpeg")
            .args(["-y", "-loglevel", "error", "-bitexact", "-i"])
            .arg(&wav)
            .args(["-c:a", "aac", "-b:a", bit_rate, "-fflags", "+bitexact"])
            .arg(path)
            .status()
            .map_err(|e| format!("ffmpeg: {e}"))?;
        if !status.success() {
            return Err(format!("ffmpeg could not write {}", path.display()));
        }
        std::fs::remove_file(&wav).map_err(|e| e.to_string())?;
    }
    Ok(())
}
