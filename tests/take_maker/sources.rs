//! The real notes that takes are made of. Each is a recording of one bowed note; its true pitch is
//! measured, not read from its name, because names lie: the cello's `As4.wav` sounds B4, its `E2.wav`
//! is 43 cents flat, and the font counts octaves differently.
//!
//! npm `tonejs-instrument-{violin,cello,contrabass}-wav` 1.1.0 (samples CC BY 3.0) and Debian
//! `fluid-soundfont-gm` 3.1 (MIT), whose solo strings are other players and the only viola.

use super::{soundfont, source_pitch};
use fingertape::notation::Instrument;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Which recordings a take may use: thresholds are set on one half and reported on the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Half {
    Tune,
    Report,
}

impl Half {
    pub fn name(self) -> &'static str {
        match self {
            Half::Tune => "tune",
            Half::Report => "report",
        }
    }
}

/// One recorded note, drawn out to at least eight seconds by repeating whole periods of its body.
pub struct SourceNote {
    pub name: String,
    pub instrument: Instrument,
    pub player: &'static str,
    pub half: Half,
    pub rate: f64,
    pub samples: Vec<f32>,
    /// Where the body begins: from here on the note is at its full level.
    pub body_start: usize,
    /// RMS of the body.
    pub level: f64,
    /// Median pitch.
    pub hertz: f64,
    /// Cents above that pitch every [`source_pitch::TRACK_STEP`].
    pub track: Vec<f32>,
}

impl SourceNote {
    /// MIDI number with decimals.
    pub fn midi(&self) -> f64 {
        69.0 + 12.0 * (self.hertz / 440.0).log2()
    }

    /// Cents above [`Self::hertz`] at a position in samples.
    pub fn cents_at(&self, position: f64) -> f64 {
        let at = position / self.rate / source_pitch::TRACK_STEP;
        let index = (at as usize).min(self.track.len() - 1);
        let next = (index + 1).min(self.track.len() - 1);
        let part = (at - index as f64).clamp(0.0, 1.0);
        f64::from(self.track[index]) * (1.0 - part) + f64::from(self.track[next]) * part
    }
}

/// All source notes on this machine.
pub struct Sources {
    notes: Vec<SourceNote>,
}

#[derive(Clone, Serialize, Deserialize)]
struct Measured {
    samples: usize,
    hertz: f64,
    track: Vec<f32>,
}

struct Raw {
    name: String,
    instrument: Instrument,
    player: &'static str,
    rate: f64,
    samples: Vec<f32>,
    looped: Option<(usize, usize)>,
}

impl Sources {
    /// Reads the recordings that the test command installed under `target/outside` and the sound font;
    /// measured pitches are kept in `target/take_maker`.
    pub fn load(root: &Path) -> Result<Self, String> {
        let mut raw = Vec::new();
        for (package, instrument) in
            [("violin", Instrument::Violin), ("cello", Instrument::Cello), ("contrabass", Instrument::Bass)]
        {
            let folder =
                root.join(format!("target/outside/npm/node_modules/tonejs-instrument-{package}-wav"));
            read_folder(&folder, instrument, &mut raw)?;
        }
        let font = PathBuf::from("/usr/share/sounds/sf2/FluidR3_GM.sf2");
        let solo = |name: &str| {
            ["Violin ", "Viola ", "Cello ", "Bass "].iter().any(|n| name.starts_with(n))
                && name.ends_with("(L)")
        };
        for sample in soundfont::font_samples(&font, solo).map_err(|e| format!("{}: {e}", font.display()))? {
            let instrument = match sample.name.as_bytes() {
                [b'V', _, _, b'l', b'i', ..] => Instrument::Violin,
                [b'V', ..] => Instrument::Viola,
                [b'C', ..] => Instrument::Cello,
                _ => Instrument::Bass,
            };
            raw.push(Raw {
                name: format!("font {}", sample.name),
                instrument,
                player: "font",
                rate: f64::from(sample.rate),
                samples: sample.mono,
                looped: Some(sample.looped),
            });
        }
        Ok(Self { notes: measured(raw, &root.join("target/take_maker"))? })
    }

    /// Every note, in a fixed order.
    pub fn all(&self) -> &[SourceNote] {
        &self.notes
    }

    /// The players of an instrument.
    pub fn players(&self, instrument: Instrument) -> Vec<&'static str> {
        let mut names: Vec<_> =
            self.notes.iter().filter(|n| n.instrument == instrument).map(|n| n.player).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// The notes of one player and half that lie nearest to a pitch, nearest first, at most three.
    pub fn near(&self, instrument: Instrument, player: &str, half: Half, midi: f64) -> Vec<&SourceNote> {
        let mut near: Vec<_> = self
            .notes
            .iter()
            .filter(|n| n.instrument == instrument && n.player == player && n.half == half)
            .collect();
        near.sort_by(|a, b| (a.midi() - midi).abs().total_cmp(&(b.midi() - midi).abs()));
        near.truncate(3);
        near
    }
}

fn read_folder(folder: &Path, instrument: Instrument, raw: &mut Vec<Raw>) -> Result<(), String> {
    let listing = std::fs::read_dir(folder)
        .map_err(|e| format!("{}: {e} (run tests/outside/set_up.sh first)", folder.display()))?;
    let mut paths: Vec<_> = listing.flatten().map(|entry| entry.path()).collect();
    paths.retain(|path| path.extension().is_some_and(|e| e == "wav"));
    paths.sort();
    for path in paths {
        let complain = |e: hound::Error| format!("{}: {e}", path.display());
        let mut reader = hound::WavReader::open(&path).map_err(complain)?;
        let samples = reader.samples::<i16>().map(|s| f32::from(s.unwrap_or(0)) / 32768.0).collect();
        raw.push(Raw {
            name: format!("{:?} {}", instrument, path.file_stem().unwrap_or_default().to_string_lossy()),
            instrument,
            player: "studio",
            rate: f64::from(reader.spec().sample_rate),
            samples,
            looped: None,
        });
    }
    Ok(())
}

/// Measures what is not yet in the cache, on every core.
fn measured(raw: Vec<Raw>, cache_folder: &Path) -> Result<Vec<SourceNote>, String> {
    let cache_file = cache_folder.join("source_pitch.json");
    let mut cache: BTreeMap<String, Measured> = std::fs::read_to_string(&cache_file)
        .ok()
        .and_then(|text| serde_json::from_str(&text).ok())
        .unwrap_or_default();
    let prepared: Vec<_> = raw
        .into_iter()
        .map(|note| {
            let (samples, body_start, level) = drawn_out(&note);
            (note, samples, body_start, level)
        })
        .collect();
    let missing: Vec<_> = prepared
        .iter()
        .filter(|(note, samples, ..)| cache.get(&note.name).is_none_or(|m| m.samples != samples.len()))
        .collect();
    if !missing.is_empty() {
        let workers = std::thread::available_parallelism().map_or(1, usize::from);
        let fresh: Vec<(String, Measured)> = std::thread::scope(|scope| {
            let handles: Vec<_> = (0..workers)
                .map(|worker| {
                    let missing = &missing;
                    scope.spawn(move || {
                        let mut done = Vec::new();
                        for (note, samples, ..) in missing.iter().skip(worker).step_by(workers) {
                            let (hertz, track) = source_pitch::pitch_track(samples, note.rate);
                            done.push((note.name.clone(), Measured { samples: samples.len(), hertz, track }));
                        }
                        done
                    })
                })
                .collect();
            handles.into_iter().flat_map(|h| h.join().expect("measuring cannot fail")).collect()
        });
        cache.extend(fresh);
        std::fs::create_dir_all(cache_folder).map_err(|e| e.to_string())?;
        let text = serde_json::to_string(&cache).map_err(|e| e.to_string())?;
        std::fs::write(&cache_file, text).map_err(|e| e.to_string())?;
    }
    let mut notes: Vec<SourceNote> = prepared
        .into_iter()
        .map(|(note, samples, body_start, level)| {
            let Measured { hertz, track, .. } = cache[&note.name].clone();
            let (name, instrument, player, rate) = (note.name, note.instrument, note.player, note.rate);
            SourceNote {
                name,
                instrument,
                player,
                half: Half::Tune,
                rate,
                samples,
                body_start,
                level,
                hertz,
                track,
            }
        })
        .collect();
    notes.sort_by(|a, b| {
        (a.instrument as u8, a.player).cmp(&(b.instrument as u8, b.player)).then(a.hertz.total_cmp(&b.hertz))
    });
    // Nothing above C6 is wanted, and halves are dealt out among what is.
    notes.retain(|note| note.hertz < 1060.0);
    // Every other recording up the scale is in the other half.
    let mut place = 0;
    for index in 0..notes.len() {
        let same = index > 0
            && notes[index].instrument == notes[index - 1].instrument
            && notes[index].player == notes[index - 1].player;
        place = if same { place + 1 } else { 0 };
        notes[index].half = if place % 2 == 0 { Half::Tune } else { Half::Report };
    }
    Ok(notes)
}

/// Cuts silence before the note, finds its body, and repeats whole periods of the body until the note
/// lasts eight seconds: samples, start of the body, RMS of the body.
fn drawn_out(note: &Raw) -> (Vec<f32>, usize, f64) {
    let hop = (0.01 * note.rate) as usize;
    let level =
        |chunk: &[f32]| (chunk.iter().map(|s| f64::from(s * s)).sum::<f64>() / chunk.len() as f64).sqrt();
    let levels: Vec<f64> = note.samples.chunks(hop).map(level).collect();
    let mut sorted = levels.clone();
    sorted.sort_by(f64::total_cmp);
    let loud = sorted[(sorted.len() as f64 * 0.7) as usize];
    let start = levels.iter().position(|l| *l > loud * 0.02).unwrap_or(0);
    let body = levels.iter().position(|l| *l > loud * 0.6).unwrap_or(start);
    let end = levels.iter().rposition(|l| *l > loud * 0.45).unwrap_or(levels.len() - 1);
    let wanted = (8.0 * note.rate) as usize;
    let body_start = (body - start) * hop;
    let mut samples: Vec<f32>;
    if let Some((loop_start, loop_end)) = note.looped {
        samples = note.samples[start * hop..loop_end.min(note.samples.len())].to_vec();
        while samples.len() < wanted {
            samples.extend_from_slice(&note.samples[loop_start..loop_end.min(note.samples.len())]);
        }
    } else {
        samples = note.samples[start * hop..((end + 1) * hop).min(note.samples.len())].to_vec();
        let settled = body_start + (0.15 * note.rate) as usize;
        let fade = (0.08 * note.rate) as usize;
        if samples.len() > settled + 4 * fade {
            let piece: Vec<f32> = samples[settled..].to_vec();
            while samples.len() < wanted {
                append_in_phase(&mut samples, &piece, fade);
            }
        }
    }
    samples.truncate(wanted);
    let level = level(&samples[body_start.min(samples.len() - 1)..]);
    (samples, body_start, level)
}

/// Joins `piece` to the end by a cross-fade, at the offset (within 30 ms) where both agree best.
fn append_in_phase(samples: &mut Vec<f32>, piece: &[f32], fade: usize) {
    let tail_at = samples.len() - fade;
    let best = (0..(fade * 2 / 5).min(piece.len() - fade))
        .map(|shift| {
            let agreement: f32 = (0..fade).step_by(3).map(|i| samples[tail_at + i] * piece[shift + i]).sum();
            (agreement, shift)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(0, |b| b.1);
    for i in 0..fade {
        let part = i as f32 / fade as f32;
        samples[tail_at + i] = samples[tail_at + i] * (1.0 - part) + piece[best + i] * part;
    }
    samples.extend_from_slice(&piece[best + fade..]);
}
