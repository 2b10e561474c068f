//! Which instrument a melody is for: as the melody says, or from its clef and notes where that is safe.

use super::failure::Failure;
use fingertape::notation::{Clef, EventKind, Instrument, Melody};
use fingertape::remark::Remark;

/// A melody that knows its instrument.
#[derive(Debug)]
pub struct Settled {
    /// The melody as that instrument plays it.
    pub melody: Melody,
    /// The instrument.
    pub instrument: Instrument,
    /// What was guessed.
    pub remarks: Vec<Remark>,
}

/// Settles the instrument of a melody that was read for the instrument asked for, if any. A guess comes
/// with a remark; where a guess could put the melody in the wrong octave there is an error instead.
pub fn settle_instrument(melody: Melody) -> miette::Result<Settled> {
    settle(melody, "add --instrument")
}

/// The same for a command that has no option for the instrument.
pub fn settle_from_the_file(melody: Melody) -> miette::Result<Settled> {
    settle(melody, "write the right one into the file, such as instrument = \"viola\"")
}

/// `otherwise` is what to do about a wrong guess.
fn settle(melody: Melody, otherwise: &str) -> miette::Result<Settled> {
    if let Some(instrument) = melody.instrument {
        return Ok(Settled { melody, instrument, remarks: Vec::new() });
    }
    let instrument = guess(&melody).ok_or_else(|| {
        Failure::new(
            "the melody does not say which instrument it is for, and its notes fit more than one",
            format!("add --instrument {}", Instrument::names()),
        )
    })?;
    let text = format!(
        "The melody does not say which instrument it is for; from its {} it was read as a melody \
         for {instrument}. If that is wrong, {otherwise}.",
        if melody.sheet.clef.is_some() { "clef and notes" } else { "notes" }
    );
    let (melody, mut remarks) = melody.for_instrument(instrument);
    remarks.insert(0, Remark::new("instrument-guessed", text));
    Ok(Settled { melody, instrument, remarks })
}

/// From the clef, else from the written range. Violin and viola sound as written, so the choice
/// between them changes only names of strings; viola, cello and bass are not told apart unless the
/// notes fit the first position of only one.
fn guess(melody: &Melody) -> Option<Instrument> {
    let written = melody.events.iter().filter_map(|event| match event.kind {
        EventKind::Note { written, .. } => Some(written.midi()),
        EventKind::Rest => None,
    });
    let (low, high) = written.fold((i32::MAX, i32::MIN), |(low, high), midi| (low.min(midi), high.max(midi)));
    // Common practice: violin from G3 = 55; viola from C3 = 48; cello C2 = 36 to D4 = 62 in first
    // position; bass written E2 = 40 to B3 = 59 in first position.
    match (melody.sheet.clef, low, high) {
        // G3 to B3 alone are notes of all four.
        (Some(Clef::Treble), 55.., _) | (None, 55.., 60..) => Some(Instrument::Violin),
        (Some(Clef::Alto), 48.., _) | (None, 48.., 63..) => Some(Instrument::Viola),
        (Some(Clef::Bass | Clef::Tenor) | None, 36..40, _) => Some(Instrument::Cello),
        (Some(Clef::Bass | Clef::Tenor), 36.., 60..) | (None, 36..48, 60..) => Some(Instrument::Cello),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fingertape::notation::{Event, Length, Letter, Metre, Sheet, Spelling};

    fn melody(notes: &[(Letter, i8)], instrument: Option<Instrument>) -> Melody {
        let events = notes.iter().enumerate().map(|(n, &(letter, octave))| {
            let written = Spelling { letter, alter: 0, octave };
            Event {
                bar: 1,
                beat: Length::from_integer(n as i64 + 1),
                start: Length::new(n as i64, 4),
                length: Length::new(1, 4),
                kind: EventKind::Note { written, sounding: written.midi() },
            }
        });
        Melody {
            title: None,
            instrument,
            bpm: None,
            a4: None,
            metre: Metre { beats: 4, unit: 4 },
            events: events.collect(),
            sheet: Sheet::default(),
        }
    }

    #[test]
    fn what_the_sheet_says_is_taken_without_a_remark() {
        let settled = settle_instrument(melody(&[(Letter::D, 3)], Some(Instrument::Bass))).unwrap();
        assert_eq!(settled.instrument, Instrument::Bass);
        assert_eq!(settled.remarks, []);
    }

    #[test]
    fn a_guess_is_made_only_where_it_cannot_mislead() {
        let guessed = |notes: &[(Letter, i8)]| settle_instrument(melody(notes, None)).ok();
        let name = |notes| guessed(notes).map(|settled| settled.instrument);
        assert_eq!(name(&[(Letter::D, 4), (Letter::A, 4)]), Some(Instrument::Violin));
        assert_eq!(name(&[(Letter::C, 3), (Letter::A, 4)]), Some(Instrument::Viola));
        assert_eq!(name(&[(Letter::C, 2), (Letter::G, 2)]), Some(Instrument::Cello));
        assert_eq!(name(&[(Letter::D, 3), (Letter::A, 3)]), None);
        assert_eq!(name(&[(Letter::G, 2), (Letter::A, 3)]), None);
        let settled = guessed(&[(Letter::G, 3)]);
        assert!(settled.is_none(), "G3 alone may be anything: {settled:?}");
        let settled = guessed(&[(Letter::G, 3), (Letter::G, 4)]).unwrap();
        assert_eq!(settled.remarks[0].code, "instrument-guessed");
        assert!(settled.remarks[0].text.ends_with("add --instrument."), "{:?}", settled.remarks);
        let songs = settle_from_the_file(melody(&[(Letter::G, 3), (Letter::G, 4)], None)).unwrap();
        assert!(!songs.remarks[0].text.contains("--instrument"), "{:?}", songs.remarks);
        assert_eq!(settled.melody.instrument, Some(Instrument::Violin));
    }

    #[test]
    fn the_clef_decides_what_the_notes_leave_open() {
        let with = |clef, notes: &[(Letter, i8)]| {
            let mut melody = melody(notes, None);
            melody.sheet.clef = Some(clef);
            settle_instrument(melody).ok().map(|settled| settled.instrument)
        };
        assert_eq!(with(Clef::Alto, &[(Letter::D, 4), (Letter::E, 4)]), Some(Instrument::Viola));
        assert_eq!(with(Clef::Treble, &[(Letter::D, 4)]), Some(Instrument::Violin));
        assert_eq!(with(Clef::Bass, &[(Letter::D, 3)]), None);
        assert_eq!(with(Clef::Bass, &[(Letter::D, 3), (Letter::D, 4)]), Some(Instrument::Cello));
        assert_eq!(with(Clef::Treble, &[(Letter::C, 3)]), None);
    }
}
