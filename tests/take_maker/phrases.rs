//! Real continuous playing whose *score* is edited: the sound is what the player played, the sheet
//! beside it has notes replaced, left out or put in, so the mistakes are known and nothing about the
//! bow is invented.
//!
//! A folder holds recordings (`NAME.mp3`, `.wav`, …) each with `NAME.notes.csv`: a header line with at
//! least the columns `midi,onset_s,offset_s,cents,ok` (sounding MIDI number of the score, seconds,
//! cents above it at A = 440 Hz, 1 where the measurement can be trusted). Fast playing is slowed by
//! reading the recording more slowly, which lowers it by an exact interval: a violin becomes a viola a
//! fifth lower, a cello an octave or a twelfth lower, a
//! bass two octaves lower.

use super::beginner_take::RATE;
use super::files::write_sound;
use super::filters::Between;
use super::melody::{WrittenEvent, WrittenMelody};
use super::musicxml::{musicxml, name};
use super::random::Random;
use super::truth::{ExtraTruth, NoteTruth, TempoTruth, Truth, TuningTruth};
use fingertape::notation::Instrument;
use std::path::Path;
use std::process::Command;

/// One note of a real performance.
#[derive(Debug, Clone, Copy)]
struct RealNote {
    midi: i32,
    onset: f64,
    offset: f64,
    cents: f64,
    trusted: bool,
}

/// A real performance.
pub struct Performed {
    name: String,
    sound: Vec<f32>,
    notes: Vec<RealNote>,
}

/// Notes in a phrase.
const PHRASE: usize = 18;

/// Reads every recording of the folder that has measured notes beside it.
pub fn load(folder: &Path) -> Result<Vec<Performed>, String> {
    let listing = std::fs::read_dir(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let mut files: Vec<_> = listing.flatten().map(|entry| entry.path()).collect();
    files.sort();
    let mut all = Vec::new();
    for table in files.iter().filter(|f| f.to_string_lossy().ends_with(".notes.csv")) {
        let file_name = table.file_name().unwrap_or_default().to_string_lossy();
        let name = file_name.trim_end_matches(".notes.csv").to_string();
        let audio = files
            .iter()
            .find(|f| {
                f.file_stem().is_some_and(|s| s.to_string_lossy() == name)
                    && f.extension()
                        .is_some_and(|e| ["mp3", "wav", "flac", "ogg", "m4a"].iter().any(|x| e == *x))
            })
            .ok_or(format!("{}: no recording beside it", table.display()))?;
        all.push(Performed { sound: read_sound(audio)?, notes: read_notes(table)?, name });
    }
    if all.is_empty() { Err(format!("{}: no *.notes.csv", folder.display())) } else { Ok(all) }
}

fn read_notes(table: &Path) -> Result<Vec<RealNote>, String> {
    let complain = |e: csv::Error| format!("{}: {e}", table.display());
    let mut reader = csv::Reader::from_path(table).map_err(complain)?;
    let header = reader.headers().map_err(complain)?.clone();
    let column = |name: &str| {
        header.iter().position(|h| h == name).ok_or(format!("{}: no column `{name}`", table.display()))
    };
    let (midi, onset, offset) = (column("midi")?, column("onset_s")?, column("offset_s")?);
    let (cents, ok) = (column("cents")?, column("ok")?);
    let mut notes = Vec::new();
    for row in reader.records() {
        let row = row.map_err(complain)?;
        let number = |at: usize| row.get(at).and_then(|v| v.parse::<f64>().ok());
        if let (Some(midi), Some(onset), Some(offset)) = (number(midi), number(onset), number(offset)) {
            let trusted = row.get(ok) == Some("1") && number(cents).is_some();
            notes.push(RealNote {
                midi: midi as i32,
                onset,
                offset,
                cents: number(cents).unwrap_or(0.0),
                trusted,
            });
        }
    }
    Ok(notes)
}

fn read_sound(path: &Path) -> Result<Vec<f32>, String> {
    let output = Command::new("ffmpeg")
        .args(["-loglevel", "error", "-i"])
        .arg(path)
        .args(["-f", "f32le", "-ac", "1", "-ar", "44100", "-"])
        .output()
        .map_err(|e| format!("ffmpeg: {e}"))?;
    if output.stdout.is_empty() {
        return Err(format!("{}: {}", path.display(), String::from_utf8_lossy(&output.stderr)));
    }
    Ok(output.stdout.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect())
}

/// Phrases of steady note lengths: the performance and the index of the first note.
fn steady_phrases(performed: &[Performed]) -> Vec<(usize, usize)> {
    let mut found = Vec::new();
    for (which, one) in performed.iter().enumerate() {
        let mut first = 0;
        while first + PHRASE < one.notes.len() {
            let notes = &one.notes[first..=first + PHRASE];
            let mut gaps: Vec<f64> = notes.windows(2).map(|w| w[1].onset - w[0].onset).collect();
            // Where one note is in doubt so are its neighbours: something else may sound in its place.
            let before = first.saturating_sub(1);
            let trusted = one.notes[before..=first + PHRASE].iter().all(|n| n.trusted);
            let ordered = gaps.clone();
            gaps.sort_by(f64::total_cmp);
            let median = gaps[gaps.len() / 2];
            let steady = ordered.iter().all(|g| (0.55 * median..2.6 * median).contains(g));
            if steady && trusted {
                found.push((which, first));
                // Overlapping phrases share sound but not edits.
                first += PHRASE / 3;
            } else {
                first += 1;
            }
        }
    }
    found
}

/// What the sheet says for one stretch of the phrase.
enum Sheet {
    /// As played, or replaced by another pitch.
    Played { note: usize, written: i32 },
    /// Played, but not on the sheet.
    Unwritten { note: usize },
    /// On the sheet, but not played.
    Unplayed { written: i32 },
}

/// Makes phrase `number`: slowed, its score edited (every third is a control), written into `folder`.
pub fn make_phrase(
    performed: &[Performed],
    folder: &Path,
    seed: u64,
    number: usize,
) -> Result<Truth, String> {
    let mut random = Random::new(seed, 0x5EED_0000 + number as u64);
    let random = &mut random;
    let places = steady_phrases(performed);
    let (which, first) =
        *places.get(random.below(places.len())).ok_or("no steady phrase of 18 notes in these recordings")?;
    let one = &performed[which];
    let (instrument, down) = [
        (Instrument::Violin, 0),
        (Instrument::Viola, 7),
        (Instrument::Cello, 12),
        (Instrument::Cello, 19),
        (Instrument::Bass, 24),
    ][number % 5];
    let slower = (f64::from(down) / 12.0).exp2();
    let notes = &one.notes[first..first + PHRASE];
    let control = number.is_multiple_of(3);
    let sheet = edited(notes, control, random);

    let lead = 0.4;
    let shifted = |seconds: f64| lead + (seconds - notes[0].onset) * slower;
    let sound = slowed(&one.sound, (notes[0].onset, one.notes[first + PHRASE].onset), slower, lead);
    let title = format!("{number:03}");
    let mut gaps: Vec<f64> = notes.windows(2).map(|w| (w[1].onset - w[0].onset) * slower).collect();
    gaps.sort_by(f64::total_cmp);
    let unit = gaps[gaps.len() / 2];
    let mut melody = WrittenMelody {
        title: title.clone(),
        instrument,
        bpm: (30.0 / unit).round(),
        beats_per_bar: 4,
        pickup: 0.0,
        fifths: 0,
        events: Vec::new(),
    };
    let mut truth_notes = Vec::new();
    let mut extra = Vec::new();
    let mut start = 0.0;
    for entry in &sheet {
        let note_of = |note: usize| &notes[note];
        let (written, played, beats) = match entry {
            Sheet::Played { note, written } => {
                let next = if note + 1 < PHRASE { notes[note + 1].onset } else { notes[*note].offset };
                let units = ((next - notes[*note].onset) * slower / unit).round().max(1.0);
                (*written - down, Some(note_of(*note)), 0.5 * units)
            }
            Sheet::Unplayed { written } => (*written - down, None, 0.5),
            Sheet::Unwritten { note } => {
                let real = note_of(*note);
                extra.push(ExtraTruth {
                    onset_s: shifted(real.onset),
                    offset_s: shifted(real.offset),
                    played_midi: f64::from(real.midi - down) + real.cents / 100.0,
                    after_index: melody.events.len().checked_sub(1),
                });
                continue;
            }
        };
        let (bar, beat) = ((start / 4.0) as u32 + 1, start % 4.0 + 1.0);
        let index = melody.events.len();
        melody.events.push(WrittenEvent { bar, beat, start, beats, midi: Some(written) });
        start += beats;
        let sounding = played.map(|p| f64::from(p.midi - down) + p.cents / 100.0);
        let verdict = match played {
            None => "missing",
            Some(p) if p.midi - down == written => "right",
            Some(_) => "wrong",
        };
        truth_notes.push(NoteTruth {
            index,
            bar,
            beat,
            written: name(written - instrument.sounding_shift(), 0),
            written_midi: written,
            verdict: verdict.into(),
            played_midi: sounding,
            cents: sounding.map(|s| 100.0 * (s - f64::from(written))),
            onset_s: played.map(|p| shifted(p.onset)),
            offset_s: None,
            planted: (verdict != "right").then(|| format!("sheet-{verdict}")),
            join: "real".into(),
        });
    }
    let file = format!("{title}.wav");
    let truth = Truth {
        take: title.clone(),
        audio: file.clone(),
        score: format!("{title}.musicxml"),
        outcome: "judged".into(),
        instrument,
        bpm: melody.bpm,
        condition: format!("real ×{slower:.2}"),
        player: one.name.clone(),
        half: "report".into(),
        control,
        planted: truth_notes.iter().filter_map(|n| n.planted.clone()).collect(),
        notes: truth_notes,
        rests: Vec::new(),
        extra,
        restarts: Vec::new(),
        tempo: TempoTruth { set_bpm: melody.bpm, played_bpm: 30.0 / unit, drift_percent: 0.0 },
        tuning: TuningTruth { offset_cents: median_cents(notes), strings: Vec::new() },
    };
    let write = |name: &str, text: String| {
        std::fs::write(folder.join(name), text).map_err(|e| format!("{}: {e}", folder.join(name).display()))
    };
    write(&truth.score, musicxml(&melody))?;
    write(&format!("{title}.truth.json"), serde_json::to_string_pretty(&truth).map_err(|e| e.to_string())?)?;
    write_sound(&folder.join(file), &sound, RATE as u32, "64k")?;
    Ok(truth)
}

fn median_cents(notes: &[RealNote]) -> f64 {
    let mut cents: Vec<f64> = notes.iter().filter(|n| n.trusted).map(|n| n.cents).collect();
    cents.sort_by(f64::total_cmp);
    cents.get(cents.len() / 2).copied().unwrap_or(0.0)
}

/// Edits the sheet in three or four places that are at least three notes apart.
fn edited(notes: &[RealNote], control: bool, random: &mut Random) -> Vec<Sheet> {
    let mut edits: Vec<Option<usize>> = vec![None; notes.len()];
    if !control {
        let mut wanted = 3 + random.below(2);
        for _ in 0..80 {
            let at = 1 + random.below(notes.len() - 3);
            let free = (at.saturating_sub(2)..=(at + 2).min(notes.len() - 1)).all(|i| edits[i].is_none());
            // Beside a note of the same pitch nobody could say which of the two it is.
            let distinct = notes[at].midi != notes[at - 1].midi && notes[at].midi != notes[at + 1].midi;
            if wanted > 0 && free && distinct {
                edits[at] = Some(random.below(3));
                wanted -= 1;
            }
        }
    }
    let mut sheet = Vec::new();
    for (note, real) in notes.iter().enumerate() {
        match edits[note] {
            None => sheet.push(Sheet::Played { note, written: real.midi }),
            Some(0) => {
                let by = *random.pick(&[-3, -2, -2, -1, -1, 1, 1, 2, 2, 3]);
                sheet.push(Sheet::Played { note, written: real.midi + by });
            }
            Some(1) => sheet.push(Sheet::Unwritten { note }),
            Some(_) => {
                let before = notes[note - 1].midi;
                let between: Vec<i32> = [-4, -3, -2, -1, 1, 2, 3, 4]
                    .iter()
                    .map(|step| before + step)
                    .filter(|m| *m != real.midi && *m != before)
                    .collect();
                sheet.push(Sheet::Unplayed { written: *random.pick(&between) });
                sheet.push(Sheet::Played { note, written: real.midi });
            }
        }
    }
    sheet
}

/// The sound from one moment to another, read `slower` times more slowly, with silence around it.
fn slowed(sound: &[f32], (from, to): (f64, f64), slower: f64, lead: f64) -> Vec<f32> {
    let between = Between::new();
    let fade = 0.015;
    let length = (to - from) * slower;
    let mut out = vec![0.0f32; ((lead + length + 0.5) * RATE) as usize];
    for (i, sample) in out.iter_mut().enumerate() {
        let time = i as f64 / RATE - lead;
        // The attack of the first note begins before its onset.
        let gain = ((time + 0.03) / fade).clamp(0.0, 1.0) * ((length - time) / fade).clamp(0.0, 1.0);
        if gain > 0.0 {
            *sample = (f64::from(between.read(sound, (from + time / slower) * RATE)) * gain) as f32;
        }
    }
    out
}
