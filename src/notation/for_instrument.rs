//! The same sheet read on another instrument: which pitches sound.

use super::{Event, EventKind, Instrument, Key, Letter, Melody, Spelling};
use crate::remark::Remark;

impl Melody {
    /// Semitones from written to sounding pitch in this melody (0 where it has no note).
    pub fn shift(&self) -> i32 {
        let first = self.events.iter().find_map(|event| match event.kind {
            EventKind::Note { written, sounding } => Some(sounding - written.midi()),
            EventKind::Rest => None,
        });
        first.or(self.instrument.map(Instrument::sounding_shift)).unwrap_or(0)
    }

    /// This melody as `instrument` plays it. Pitches change only between the bass and the others:
    ///
    /// - where the file itself says how it sounds (a transposition, an octave clef), the sounding
    ///   pitches stay and the written ones move;
    /// - otherwise the written pitches stay and the instrument's habit decides how they sound;
    /// - where that goes below the instrument's lowest string and the other reading does not, or leaves the
    ///   pitches that have a MIDI number, the other reading is taken.
    ///
    /// A remark tells which reading was taken whenever there was a choice, and when notes lie below
    /// the lowest string in both.
    pub fn for_instrument(&self, instrument: Instrument) -> (Melody, Vec<Remark>) {
        let mut melody = self.clone();
        let mut remarks = Vec::new();
        let (old, new) = (self.shift(), instrument.sounding_shift());
        let change = self.instrument != Some(instrument);
        melody.instrument = Some(instrument);
        let range = self.soundings().min().zip(self.soundings().max());
        if let (true, true, Some((lowest, highest))) = (change, old != new, range) {
            let bottom = instrument.open_strings()[0];
            // Either the sounding pitches stay, or the written ones stay and sound by `new`.
            let stays_fits = lowest >= bottom;
            let moves_fits = lowest - old + new >= bottom;
            let has_number = lowest - old + new >= 0 && highest - old + new <= 127;
            let sounding_stays = if !has_number {
                true
            } else if stays_fits == moves_fits {
                self.sheet.says_sounding
            } else {
                stays_fits
            };
            if sounding_stays {
                rewrite(&mut melody, old - new);
            } else {
                resound(&mut melody, new);
            }
            let reading = if sounding_stays {
                "sounding pitches: the notes of the file sound as they are"
            } else {
                "written pitches: the notes of the file are read as this instrument reads them"
            };
            remarks.push(Remark::new(
                "octave-choice",
                format!("The file does not name the {instrument}. I took it to give {reading}."),
            ));
        }
        if let Some(remark) = below_lowest_string(&melody) {
            remarks.push(remark);
        }
        (melody, remarks)
    }
}

/// A remark if notes lie below the lowest open string of the melody's instrument.
pub(crate) fn below_lowest_string(melody: &Melody) -> Option<Remark> {
    let instrument = melody.instrument?;
    let bottom = instrument.open_strings()[0];
    let too_low =
        |event: &&Event| matches!(event.kind, EventKind::Note { sounding, .. } if sounding < bottom);
    let first = melody.events.iter().find(too_low)?;
    let EventKind::Note { written, .. } = first.kind else { return None };
    Some(Remark::new(
        "below-lowest-string",
        format!(
            "{}, beat {}: {written} is below the lowest string of the {instrument}. Is this the right instrument?",
            bar_text(first.bar),
            beat_text(first.beat)
        ),
    ))
}

/// A bar as people say it at the beginning of a sentence: `Bar 3`, `Pickup` for the short bar before bar 1.
pub(crate) fn bar_text(bar: u32) -> String {
    if bar == 0 { "Pickup".to_owned() } else { format!("Bar {bar}") }
}

/// A beat as people say it: `3`, `2½` as `2.5`, `2 and a third`, other fractions as such.
pub(crate) fn beat_text(beat: super::Length) -> String {
    if beat.is_integer() {
        return beat.to_integer().to_string();
    }
    if 1000 % beat.denom() == 0 {
        return super::as_f64(beat).to_string();
    }
    let whole = beat.floor();
    let part = beat - whole;
    match (*part.numer(), *part.denom()) {
        (1, 3) => format!("{whole} and a third"),
        (2, 3) => format!("{whole} and two thirds"),
        (numerator, denominator) => format!("{whole} {numerator}/{denominator}"),
    }
}

/// A number of beats: `1 beat`, `2.5 beats`, `1 and two thirds beats`, `half a beat`, `2/3 of a beat`.
pub(crate) fn beats_text(beats: super::Length) -> String {
    match (*beats.numer(), *beats.denom()) {
        (1, 1) => "1 beat".to_owned(),
        (1, 2) => "half a beat".to_owned(),
        (part, whole) if 0 < part && part < whole => format!("{part}/{whole} of a beat"),
        _ => format!("{} beats", beat_text(beats)),
    }
}

/// Moves written pitches and keys by semitones, sounding pitches stay.
fn rewrite(melody: &mut Melody, by: i32) {
    let first = melody.sheet.key();
    for event in &mut melody.events {
        if let EventKind::Note { written, .. } = &mut event.kind {
            let bar = melody.sheet.bars.iter().find(|bar| bar.number == event.bar);
            *written = moved(*written, by, bar.map_or(first, |bar| bar.key));
        }
    }
    for bar in &mut melody.sheet.bars {
        for item in &mut bar.items {
            item.pitch = item.pitch.map(|pitch| moved(pitch, by, bar.key));
        }
        bar.key = moved_key(bar.key, by);
    }
}

/// Lets written pitches sound `shift` semitones away.
fn resound(melody: &mut Melody, shift: i32) {
    for event in &mut melody.events {
        if let EventKind::Note { written, sounding } = &mut event.kind {
            *sounding = written.midi() + shift;
        }
    }
}

/// The fifths of an interval in semitones: as near to 0 as they can be without a signature of more than seven signs.
fn fifths_of(by: i32, key: Key) -> i32 {
    let near = (by * 7 + 6).rem_euclid(12) - 6;
    match i32::from(key.fifths) + near {
        -7..=7 => near,
        8.. => near - 12,
        _ => near + 12,
    }
}

/// A key moved by semitones.
pub(crate) fn moved_key(key: Key, by: i32) -> Key {
    let fifths = i32::from(key.fifths) + fifths_of(by, key);
    Key { fifths: fifths.clamp(-7, 7) as i8, ..key }
}

/// A spelling moved by semitones together with its `key`: by the interval, so that it means in the moved key what it
/// meant before.
pub(crate) fn moved(pitch: Spelling, by: i32, key: Key) -> Spelling {
    let fifths = fifths_of(by, key);
    // 7 semitones and 4 letters a fifth, 12 and 7 an octave.
    let octaves = (by - 7 * fifths) / 12;
    let steps = pitch.staff_step() + 4 * fifths + 7 * octaves;
    let letter = Letter::ALL[steps.rem_euclid(7) as usize];
    let natural = Spelling { letter, alter: 0, octave: steps.div_euclid(7).clamp(-128, 127) as i8 };
    let midi = pitch.midi() + by;
    match midi - natural.midi() {
        alter if alter.abs() <= i32::from(pitch.alter).abs().max(1) => {
            Spelling { alter: alter as i8, ..natural }
        }
        _ => Spelling::from_midi(midi, moved_key(key, by)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Length;
    use crate::notation::melody::tests::of_quarters as melody;

    /// How many semitones higher a melody of these pitches sounds when it is read for an instrument.
    fn read_as(to: Instrument, from: Option<Instrument>, says_sounding: bool, sounding: &[i32]) -> i32 {
        let shift = from.map_or(0, Instrument::sounding_shift);
        let notes: Vec<(i32, i32)> = sounding.iter().map(|&midi| (midi - shift, midi)).collect();
        let mut melody = melody(from, &notes);
        melody.sheet.says_sounding = says_sounding;
        let (read, remarks) = melody.for_instrument(to);
        assert_eq!(remarks[0].code, "octave-choice");
        let first = read.soundings().next().unwrap();
        assert_eq!(read.shift(), to.sounding_shift());
        first - sounding[0]
    }

    #[test]
    fn between_the_bass_and_the_others_the_reading_that_fits_above_the_lowest_string_is_taken() {
        // The bass sounds an octave lower than it reads. A2 is below the violin, what the page shows (A3) is not.
        assert_eq!(read_as(Instrument::Violin, Some(Instrument::Bass), true, &[45]), 12);
        // Both fit: the file's word on how it sounds decides.
        assert_eq!(read_as(Instrument::Bass, None, true, &[50]), 0);
        assert_eq!(read_as(Instrument::Bass, None, false, &[50]), -12);
        // E1 (MIDI 28) is the lowest of the bass: read an octave lower it would be below.
        assert_eq!(read_as(Instrument::Bass, None, false, &[39]), 0);
        assert_eq!(read_as(Instrument::Bass, None, false, &[40]), -12);
    }

    #[test]
    fn a_reading_beyond_the_midi_numbers_is_not_taken() {
        assert_eq!(read_as(Instrument::Bass, None, false, &[5]), 0, "an octave lower is less than 0");
        assert_eq!(read_as(Instrument::Bass, None, false, &[125]), -12);
        assert_eq!(read_as(Instrument::Violin, Some(Instrument::Bass), false, &[120]), 0, "132 is too many");
        assert_eq!(read_as(Instrument::Violin, Some(Instrument::Bass), false, &[5, 60]), 12);
    }

    #[test]
    fn a_note_below_the_lowest_string_is_told_with_its_bar_and_beat() {
        let low = melody(Some(Instrument::Violin), &[(55, 55), (54, 54)]);
        let remark = below_lowest_string(&low).unwrap();
        assert_eq!(remark.code, "below-lowest-string");
        assert!(remark.text.starts_with("Bar 1, beat 2: F#3 is below the lowest string"), "{}", remark.text);
        assert_eq!(below_lowest_string(&melody(Some(Instrument::Violin), &[(55, 55)])), None);
        assert_eq!(below_lowest_string(&melody(None, &[(5, 5)])), None);
    }

    #[test]
    fn beats_are_decimals_where_three_places_say_them_and_fractions_elsewhere() {
        let said = |numerator: i64, denominator: i64| beat_text(Length::new(numerator, denominator));
        assert_eq!([said(3, 1), said(5, 2), said(13, 8), said(7, 3)], ["3", "2.5", "1.625", "2 and a third"]);
    }

    #[test]
    fn whole_octaves_keep_the_spelling_and_other_intervals_are_spelled_by_the_interval() {
        let moved_by = |note: &str, by: i32, key: &str| {
            let key: Key = key.parse().unwrap();
            format!("{} {}", moved(note.parse().unwrap(), by, key), moved_key(key, by))
        };
        let octaves = [moved_by("E#4", 12, "F"), moved_by("E#4", -24, "F"), moved_by("E#4", 0, "F")];
        assert_eq!(octaves, ["E#5 F", "E#2 F", "E#4 F"]);
        // A trumpet in B flat reads G major where F major sounds.
        let trumpet = ["F#4", "G4", "C#5", "Bb4"].map(|note| moved_by(note, -2, "G"));
        assert_eq!(trumpet, ["E4 F", "F4 F", "B4 F", "Ab4 F"]);
        // A horn in F reads a fifth higher than it sounds.
        assert_eq!(moved_by("C4", -7, "Eb"), "F3 Ab");
        // Two sharps more than C sharp major are too many: E flat major it is.
        assert_eq!([moved_by("C#4", 2, "C#"), moved_by("E#4", 2, "C#")], ["Eb4 Eb", "G4 Eb"]);
        // No double sharps that were not there before.
        assert_eq!(moved_by("E#4", 14, "F"), "G5 G");
    }

    #[test]
    fn every_move_keeps_the_interval() {
        for (fifths, by) in (-7..=7).flat_map(|fifths| (-26..=26).map(move |by| (fifths, by))) {
            let key = Key::new(fifths).unwrap();
            for midi in 40..90 {
                let pitch = Spelling::from_midi(midi, key);
                let (after, key_after) = (moved(pitch, by, key), moved_key(key, by));
                assert_eq!(after.midi(), midi + by, "{pitch} {by} {key}");
                if key.alter(pitch.letter) == pitch.alter {
                    assert_eq!(key_after.alter(after.letter), after.alter, "{pitch} {by} {key}");
                }
            }
        }
    }
}
