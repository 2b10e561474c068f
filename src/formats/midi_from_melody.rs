//! A melody becomes a standard MIDI file (MIDI 1.0, standard MIDI files, format 0): tempo, metre, and
//! the sounding note numbers.

use crate::notation::{EventKind, Instrument, Length, Melody};
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};

/// Ticks of a quarter note: divisible by every usual tuplet.
const TICKS: i64 = 5_040;

/// The beats a minute of a melody that says none.
const DEFAULT_QUARTERS: f64 = 60.0;

/// The melody as a MIDI file. Positions that do not fall on a tick (5040 to the quarter note) are
/// rounded to the nearest.
pub fn write_midi(melody: &Melody) -> Vec<u8> {
    let mut track = Vec::new();
    let mut meta =
        |message| track.push(TrackEvent { delta: u28::new(0), kind: TrackEventKind::Meta(message) });
    let title = melody.title.clone().unwrap_or_default();
    meta(MetaMessage::TrackName(title.as_bytes()));
    let unit = f64::from(melody.metre.unit);
    let quarters = melody.bpm.map_or(DEFAULT_QUARTERS, |bpm| bpm * 4.0 / unit);
    let micros = (60e6 / quarters).round().clamp(1.0, f64::from(u24::max_value().as_int()));
    meta(MetaMessage::Tempo(u24::new(micros as u32)));
    let power = melody.metre.unit.trailing_zeros() as u8;
    let click = if melody.metre.is_compound() { 3 } else { 1 };
    let clocks = (click * 96 / u16::from(melody.metre.unit.max(1))) as u8;
    meta(MetaMessage::TimeSignature(melody.metre.beats, power, clocks, 8));
    let key = melody.sheet.key();
    meta(MetaMessage::KeySignature(key.fifths, key.minor));
    let channel = u4::new(0);
    // General MIDI programs, from 0.
    let program = match melody.instrument {
        Some(Instrument::Violin) | None => 40,
        Some(Instrument::Viola) => 41,
        Some(Instrument::Cello) => 42,
        Some(Instrument::Bass) => 43,
    };
    let message = MidiMessage::ProgramChange { program: u7::new(program) };
    track.push(TrackEvent { delta: u28::new(0), kind: TrackEventKind::Midi { channel, message } });
    let mut now = 0;
    for event in &melody.events {
        let EventKind::Note { sounding, .. } = event.kind else { continue };
        let key = u7::new(sounding.clamp(0, 127) as u8);
        let on = MidiMessage::NoteOn { key, vel: u7::new(80) };
        let off = MidiMessage::NoteOff { key, vel: u7::new(0) };
        for (at, message) in [(event.start, on), (event.start + event.length, off)] {
            let tick = ticks(at);
            let delta = u28::new((tick - now).clamp(0, i64::from(u28::max_value().as_int())) as u32);
            track.push(TrackEvent { delta, kind: TrackEventKind::Midi { channel, message } });
            now = tick;
        }
    }
    let left = (ticks(melody.length()) - now).clamp(0, i64::from(u28::max_value().as_int()));
    let end = TrackEventKind::Meta(MetaMessage::EndOfTrack);
    track.push(TrackEvent { delta: u28::new(left as u32), kind: end });
    let header = Header { format: Format::SingleTrack, timing: Timing::Metrical(u15::new(TICKS as u16)) };
    let mut out = Vec::new();
    Smf { header, tracks: vec![track] }.write(&mut out).expect("memory takes every byte");
    out
}

fn ticks(at: Length) -> i64 {
    (at * 4 * TICKS).round().to_integer()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::read_melody_bytes;

    /// Note numbers and tempo worked out by hand: bass written E2 sounds E1 = 28; 90 eighths a minute
    /// are 45 quarters, 1 333 333 µs each.
    #[test]
    fn midi_holds_sounding_numbers_tempo_and_metre() {
        let text = "instrument = 'bass'\nmetre = '6/8'\nbpm = 90\nbars = ['E2 q. r e A2 q']";
        let melody = read_melody_bytes("b.toml", text.as_bytes()).unwrap().melody;
        let bytes = write_midi(&melody);
        let smf = Smf::parse(&bytes).unwrap();
        let mut now = 0;
        let mut notes = Vec::new();
        let (mut tempo, mut metre) = (0, (0, 0));
        for event in &smf.tracks[0] {
            now += event.delta.as_int();
            match event.kind {
                TrackEventKind::Midi { message: MidiMessage::NoteOn { key, .. }, .. } => {
                    notes.push((now, key.as_int()))
                }
                TrackEventKind::Meta(MetaMessage::Tempo(micros)) => tempo = micros.as_int(),
                TrackEventKind::Meta(MetaMessage::TimeSignature(beats, power, ..)) => metre = (beats, power),
                _ => {}
            }
        }
        assert_eq!(notes, [(0, 28), (2 * 5_040, 33)]);
        assert_eq!(now, 3 * 5_040);
        assert_eq!((tempo, metre), (1_333_333, (6, 3)));
    }
}
