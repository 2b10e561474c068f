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
    let signature = |beats: u8, unit: u8| {
        let click = if melody.metre.is_compound() { 3 } else { 1 };
        let clocks = (click * 96 / u16::from(unit.max(1))) as u8;
        MetaMessage::TimeSignature(beats, unit.trailing_zeros() as u8, clocks, 8)
    };
    // MIDI counts bars from its time signatures: a short first bar has one of its own.
    let own = signature(melody.metre.beats, melody.metre.unit);
    let (first, mut next) = match short_first_bar(melody) {
        Some((beats, unit, length)) => (signature(beats, unit), Some((ticks(length), own))),
        None => (own, None),
    };
    meta(first);
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
            // At one moment a note ends before the bar line and begins after it.
            let begins = matches!(message, MidiMessage::NoteOn { .. });
            if let Some((line, own)) = next.filter(|(line, _)| *line < tick || (*line == tick && begins)) {
                track.push(TrackEvent { delta: delta(line - now), kind: TrackEventKind::Meta(own) });
                (now, next) = (line, None);
            }
            let kind = TrackEventKind::Midi { channel, message };
            track.push(TrackEvent { delta: delta(tick - now), kind });
            now = tick;
        }
    }
    let end = TrackEventKind::Meta(MetaMessage::EndOfTrack);
    track.push(TrackEvent { delta: delta(ticks(melody.length()) - now), kind: end });
    let header = Header { format: Format::SingleTrack, timing: Timing::Metrical(u15::new(TICKS as u16)) };
    let mut out = Vec::new();
    Smf { header, tracks: vec![track] }.write(&mut out).expect("memory takes every byte");
    out
}

fn ticks(at: Length) -> i64 {
    (at * 4 * TICKS).round().to_integer()
}

fn delta(ticks: i64) -> u28 {
    u28::new(ticks.clamp(0, i64::from(u28::max_value().as_int())) as u32)
}

/// The first bar as beats, their unit and its length, where it is shorter than its metre says: in the metre's unit, or
/// in a finer one that it needs. `None` too for a length that no time signature says.
fn short_first_bar(melody: &Melody) -> Option<(u8, u8, Length)> {
    let bars = melody.bars();
    let [first, _, ..] = &bars[..] else { return None };
    let length = first.filled();
    if length <= Length::from_integer(0) || length >= first.metre.bar() {
        return None;
    }
    let unit = i64::from(first.metre.unit).max(*length.denom());
    let beats = length * unit;
    let fits = beats.is_integer() && unit.count_ones() == 1 && unit <= 64;
    let beats = u8::try_from(beats.to_integer()).ok().filter(|_| fits)?;
    Some((beats, unit as u8, length))
}

/// The first bar from which on the bar lines of the sheet are not where MIDI counts them, by its printed number; `None`
/// where they are all alike.
pub(super) fn bar_lines_part(melody: &Melody) -> Option<u32> {
    let bars = melody.bars();
    let zero = Length::from_integer(0);
    let mut now = zero;
    let begins = short_first_bar(melody).map_or(zero, |(_, _, length)| length);
    for (at, bar) in bars.iter().enumerate() {
        // Where a repeat sign cuts a bar its second half begins at no bar line.
        let within = if at == 0 { zero } else { bar.offset };
        let from_line = (now - begins - within) / melody.metre.bar();
        if now >= begins && !from_line.is_integer() {
            return Some(bar.number);
        }
        now += bar.filled();
    }
    None
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

    /// Time signatures with their ticks, as a list of beats and unit.
    fn signatures(melody: &Melody) -> Vec<(u32, u8, u8)> {
        let bytes = write_midi(melody);
        let mut now = 0;
        let mut found = Vec::new();
        for event in &Smf::parse(&bytes).unwrap().tracks[0] {
            now += event.delta.as_int();
            if let TrackEventKind::Meta(MetaMessage::TimeSignature(beats, power, ..)) = event.kind {
                found.push((now, beats, 1 << power));
            }
        }
        found
    }

    fn melody(text: &str) -> Melody {
        read_melody_bytes("m.toml", format!("instrument = 'violin'\n{text}").as_bytes()).unwrap().melody
    }

    #[test]
    fn a_short_first_bar_has_a_time_signature_of_its_own() {
        let quarter = 5_040;
        let pickup = melody("pickup = 'A4 q'\nbars = ['D4 w', 'short: D4 h.']");
        assert_eq!(signatures(&pickup), [(0, 1, 4), (quarter, 4, 4)]);
        assert_eq!(bar_lines_part(&pickup), None);
        let eighths = melody("metre = '3/4'\npickup = 'r e A4 q'\nbars = ['r q D4 h', 'E4 h.']");
        assert_eq!(signatures(&eighths), [(0, 3, 8), (quarter * 3 / 2, 3, 4)]);
        assert_eq!(signatures(&melody("bars = ['D4 w', 'E4 w']")), [(0, 4, 4)]);
        // The notes stay where they are, also the one that crosses into the first full bar.
        let notes = write_midi(&pickup);
        let mut now = 0;
        let mut on = Vec::new();
        for event in &Smf::parse(&notes).unwrap().tracks[0] {
            now += event.delta.as_int();
            if let TrackEventKind::Midi { message: MidiMessage::NoteOn { .. }, .. } = event.kind {
                on.push(now);
            }
        }
        assert_eq!((on, now), (vec![0, quarter, 5 * quarter], 8 * quarter));
    }

    #[test]
    fn bars_that_midi_counts_otherwise_are_told() {
        let short = melody("bars = ['D4 w', 'short: E4 h.', 'F4 w', 'G4 w']");
        assert_eq!(bar_lines_part(&short), Some(3));
        let cut = melody("bars = ['D4 w', 'short bar 2: E4 h.', 'short from 4 bar 2: F4 q', 'G4 w']");
        assert_eq!(bar_lines_part(&cut), None);
        let third = melody("pickup = 'A4 q/3'\nbars = ['D4 w', 'E4 w']");
        assert_eq!((signatures(&third), bar_lines_part(&third)), (vec![(0, 4, 4)], Some(1)));
    }
}
