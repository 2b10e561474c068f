//! Melodies such as nine-year-olds write: a few allowed notes of one or two strings, many repeats,
//! plain lengths, a rest here and there.

use super::random::Random;
use fingertape::notation::Instrument;

/// One written note or rest; lengths and positions count in quarter-note beats.
#[derive(Debug, Clone, PartialEq)]
pub struct WrittenEvent {
    pub bar: u32,
    /// Position in the bar, from 1.
    pub beat: f64,
    /// Position from the start of the melody.
    pub start: f64,
    pub beats: f64,
    /// Sounding MIDI number; `None` is a rest.
    pub midi: Option<i32>,
}

/// A written melody.
#[derive(Debug, Clone, PartialEq)]
pub struct WrittenMelody {
    pub title: String,
    pub instrument: Instrument,
    pub bpm: f64,
    pub beats_per_bar: u32,
    /// Length of the pickup bar in beats, 0 if there is none.
    pub pickup: f64,
    /// Sharps (positive) or flats (negative) of the key signature.
    pub fifths: i32,
    pub events: Vec<WrittenEvent>,
}

/// The pitches that a child may use: finger patterns from each open string up to the next.
fn allowed_notes(instrument: Instrument, random: &mut Random) -> (Vec<i32>, i32) {
    let open = instrument.open_strings();
    // Low strings are rarer in first lessons, but they are played.
    let first = match instrument {
        Instrument::Bass => random.weighted(&[1.0, 1.0, 1.6, 1.2]),
        _ => random.weighted(&[0.7, 1.2, 1.4, 0.7]),
    };
    let strings = if first < 3 && random.chance(0.45) { 2 } else { 1 };
    // (steps above the open string, sharps of the key when that string is D)
    let patterns: &[(&[i32], i32)] = match instrument {
        Instrument::Violin | Instrument::Viola => {
            &[(&[0, 2, 4, 5, 7], 0), (&[0, 2, 3, 5, 7], -1), (&[0, 2, 4, 6, 7], 1)]
        }
        Instrument::Cello => &[(&[0, 2, 4, 5], 0), (&[0, 2, 3, 5], -1)],
        Instrument::Bass => &[(&[0, 2, 4], 0), (&[0, 2, 3], -1)],
    };
    let (steps, bend) = *random.pick(patterns);
    let mut notes = Vec::new();
    for string in open.iter().skip(first).take(strings) {
        for step in steps {
            notes.push(string + step);
        }
    }
    if strings == 1 && first < 3 && random.chance(0.5) {
        notes.push(open[first + 1]);
    }
    notes.sort_unstable();
    notes.dedup();
    // Major key whose tonic is the open string: D = 2 sharps; each fifth up adds one.
    let tonic = open[first].rem_euclid(12);
    let fifths_of_tonic = (tonic * 7 + 5).rem_euclid(12) - 5;
    (notes, (fifths_of_tonic + bend).clamp(-3, 4))
}

/// Lengths in beats that fill one bar.
fn bar_of_lengths(beats: f64, last: bool, random: &mut Random) -> Vec<f64> {
    if last {
        return if beats == 4.0 && random.chance(0.5) { vec![1.0, 1.0, 2.0] } else { vec![beats] };
    }
    let mut left = beats;
    let mut lengths = Vec::new();
    while left > 0.0 {
        let choices: &[(&[f64], f64)] = &[
            (&[1.0], 5.0),
            (&[2.0], 1.8),
            (&[0.5, 0.5], 1.6),
            (&[1.5, 0.5], 0.8),
            (&[3.0], 0.25),
            (&[0.5, 1.0, 0.5], 0.15),
        ];
        let fitting: Vec<_> = choices.iter().filter(|(c, _)| c.iter().sum::<f64>() <= left).collect();
        let weights: Vec<f64> = fitting.iter().map(|(_, w)| *w).collect();
        let chosen = fitting[random.weighted(&weights)].0;
        lengths.extend_from_slice(chosen);
        left -= chosen.iter().sum::<f64>();
    }
    lengths
}

/// Writes a melody of about 13 to 26 notes.
pub fn write_melody(instrument: Instrument, title: &str, random: &mut Random) -> WrittenMelody {
    let (allowed, fifths) = allowed_notes(instrument, random);
    let beats_per_bar = [2u32, 3, 4][random.weighted(&[0.2, 0.25, 0.55])];
    let bar = f64::from(beats_per_bar);
    let wanted_beats = random.between(16.0, 30.0);
    let bars = (wanted_beats / bar).ceil() as u32;
    let pickup = if random.chance(0.1) { 1.0 } else { 0.0 };
    let bpm = random.between(60.0, 104.0).round();
    let (repeat, rest_rate) = (random.between(0.15, 0.45), random.between(0.06, 0.22));
    let mut place = random.below(allowed.len());
    let mut events: Vec<WrittenEvent> = Vec::new();
    let mut start = 0.0;
    let mut next_pitch = |random: &mut Random| {
        if !random.chance(repeat) {
            let step = *random.pick(&[-2i32, -1, -1, -1, 1, 1, 1, 2]);
            let target = place as i32 + step;
            place = if target < 0 || target >= allowed.len() as i32 {
                (place as i32 - step).clamp(0, allowed.len() as i32 - 1) as usize
            } else {
                target as usize
            };
        }
        allowed[place]
    };
    if pickup > 0.0 {
        let midi = Some(next_pitch(random));
        events.push(WrittenEvent { bar: 0, beat: 1.0, start, beats: pickup, midi });
        start += pickup;
    }
    for number in 1..=bars {
        let lengths = bar_of_lengths(bar, number == bars, random);
        let mut beat = 1.0;
        for length in lengths {
            let after_rest = events.last().is_none_or(|e| e.midi.is_none());
            let rest = !after_rest
                && number < bars
                && (length == 1.0 || length == 2.0)
                && random.chance(rest_rate * 1.6);
            let midi = if rest { None } else { Some(next_pitch(random)) };
            events.push(WrittenEvent { bar: number, beat, start, beats: length, midi });
            beat += length;
            start += length;
        }
    }
    tie_over_barlines(&mut events, random);
    WrittenMelody { title: title.into(), instrument, bpm, beats_per_bar, pickup, fifths, events }
}

/// Now and then the last note of a bar is tied to the first of the next.
fn tie_over_barlines(events: &mut Vec<WrittenEvent>, random: &mut Random) {
    let mut index = 0;
    while index + 1 < events.len() {
        let (this, next) = (&events[index], &events[index + 1]);
        let tied = this.bar != next.bar
            && this.midi.is_some()
            && next.midi.is_some()
            && this.beats + next.beats <= 3.0
            && random.chance(0.05);
        if tied {
            let longer = this.beats + next.beats;
            events[index].beats = longer;
            events.remove(index + 1);
        }
        index += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_melody_is_gapless_and_its_bars_are_full() {
        for stream in 0..200 {
            let mut random = Random::new(7, stream);
            let instrument = Instrument::ALL[stream as usize % 4];
            let melody = write_melody(instrument, "x", &mut random);
            let mut at = 0.0;
            for event in &melody.events {
                assert_eq!(event.start, at);
                at += event.beats;
            }
            assert_eq!((at - melody.pickup) % f64::from(melody.beats_per_bar), 0.0);
            assert!(melody.events.last().unwrap().midi.is_some());
        }
    }

    #[test]
    fn d_major_has_two_sharps() {
        // Common practice: the key of the open D string.
        let mut found = false;
        for stream in 0..100 {
            let (notes, fifths) = allowed_notes(Instrument::Violin, &mut Random::new(1, stream));
            if notes[0] == 62
                && notes.contains(&66)
                && notes.contains(&67)
                && !notes.contains(&65)
                && fifths == 2
            {
                found = true;
            }
        }
        assert!(found);
    }
}
