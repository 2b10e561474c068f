//! The same sheet read on another instrument: which pitches sound.

use super::{Event, EventKind, Instrument, Key, Melody, Spelling};
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
            "Bar {}, beat {}: {written} is below the lowest string of the {instrument}. Is this the right instrument?",
            first.bar,
            beat_text(first.beat)
        ),
    ))
}

/// A beat as people say it: `3`, `2½` as `2.5`, thirds as fractions.
pub(crate) fn beat_text(beat: super::Length) -> String {
    if beat.is_integer() {
        return beat.to_integer().to_string();
    }
    if 1000 % beat.denom() == 0 {
        return super::as_f64(beat).to_string();
    }
    let whole = beat.floor();
    let part = beat - whole;
    format!("{} {}/{}", whole.to_integer(), part.numer(), part.denom())
}

/// Moves written pitches by semitones, sounding ones stay.
fn rewrite(melody: &mut Melody, by: i32) {
    let key = melody.sheet.key();
    for event in &mut melody.events {
        if let EventKind::Note { written, .. } = &mut event.kind {
            *written = moved(*written, by, key);
        }
    }
    for item in melody.sheet.bars.iter_mut().flat_map(|bar| &mut bar.items) {
        item.pitch = item.pitch.map(|pitch| moved(pitch, by, key));
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

/// A spelling moved by semitones; whole octaves keep the spelling.
pub(crate) fn moved(pitch: Spelling, by: i32, key: Key) -> Spelling {
    if by % 12 == 0 {
        let octave = (i32::from(pitch.octave) + by / 12).clamp(-128, 127) as i8;
        return Spelling { octave, ..pitch };
    }
    Spelling::from_midi(pitch.midi() + by, key)
}
