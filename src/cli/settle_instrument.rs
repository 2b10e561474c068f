//! Which instrument a melody is for: as asked, as the melody says, or from its notes where that is safe.

use super::failure::Failure;
use fingertape::notation::{EventKind, Instrument, Melody};
use fingertape::remark::Remark;

/// Settles the instrument and makes the melody's sounding pitches agree with it (a bass sounds an
/// octave below what is written). A guess comes with a remark; where a guess could put the melody in
/// the wrong octave or on the wrong strings there is an error instead.
pub fn settle_instrument(
    melody: &mut Melody,
    asked: Option<Instrument>,
) -> miette::Result<(Instrument, Option<Remark>)> {
    let (instrument, remark) = match (asked, melody.instrument) {
        (Some(asked), Some(written)) if asked != written => {
            let text = format!(
                "The melody says {written} and the command says {asked}; it was read as a melody for {asked}."
            );
            (asked, Some(Remark::new("instrument-changed", text)))
        }
        (Some(asked), _) => (asked, None),
        (None, Some(written)) => (written, None),
        (None, None) => guess(melody)?,
    };
    if melody.instrument != Some(instrument) {
        melody.instrument = Some(instrument);
        for event in &mut melody.events {
            if let EventKind::Note { written, sounding } = &mut event.kind {
                *sounding = written.midi() + instrument.sounding_shift();
            }
        }
    }
    Ok((instrument, remark))
}

/// From the written range. Violin and viola share most of their notes and sound them as written, so
/// the choice between them changes only names of strings; viola, cello and bass are not told apart
/// unless one of them is the only one whose first position holds the melody.
fn guess(melody: &Melody) -> miette::Result<(Instrument, Option<Remark>)> {
    let written = melody.events.iter().filter_map(|event| match event.kind {
        EventKind::Note { written, .. } => Some(written.midi()),
        EventKind::Rest => None,
    });
    let (low, high) = written.fold((i32::MAX, i32::MIN), |(low, high), midi| (low.min(midi), high.max(midi)));
    // Common practice: violin from G3 = 55; viola from C3 = 48; cello C2 = 36 to D4 = 62 in first
    // position; bass written E2 = 40 to B3 = 59 in first position.
    let instrument = match (low, high) {
        (55.., _) => Instrument::Violin,
        (48..55, 63..) => Instrument::Viola,
        (36..40, _) | (36..48, 60..) => Instrument::Cello,
        _ => {
            return Err(Failure::new(
                "the melody does not say which instrument it is for, and its notes fit more than one",
                "add --instrument violin, viola, cello or bass",
            )
            .into());
        }
    };
    let text = format!(
        "The melody does not say which instrument it is for; from its notes it was read as a melody \
         for {instrument}. If that is wrong, add --instrument."
    );
    Ok((instrument, Some(Remark::new("instrument-guessed", text))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use fingertape::notation::{Event, Length, Letter, Metre, Spelling};

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
        }
    }

    fn sounding(melody: &Melody) -> Vec<i32> {
        let midi = |event: &Event| match event.kind {
            EventKind::Note { sounding, .. } => sounding,
            EventKind::Rest => -1,
        };
        melody.events.iter().map(midi).collect()
    }

    #[test]
    fn a_bass_asked_for_sounds_an_octave_below_the_sheet() {
        let mut sheet = melody(&[(Letter::D, 3), (Letter::E, 3)], None);
        let (instrument, remark) = settle_instrument(&mut sheet, Some(Instrument::Bass)).unwrap();
        assert_eq!((instrument, remark), (Instrument::Bass, None));
        assert_eq!(sounding(&sheet), [38, 40]);
    }

    #[test]
    fn the_command_overrules_the_sheet_and_says_so() {
        let mut sheet = melody(&[(Letter::D, 3)], Some(Instrument::Bass));
        let (instrument, remark) = settle_instrument(&mut sheet, Some(Instrument::Cello)).unwrap();
        assert_eq!(instrument, Instrument::Cello);
        assert_eq!(remark.unwrap().code, "instrument-changed");
        assert_eq!(sounding(&sheet), [50]);
    }

    #[test]
    fn a_guess_is_made_only_where_it_cannot_mislead() {
        let guessed = |notes: &[(Letter, i8)]| settle_instrument(&mut melody(notes, None), None).ok();
        let name = |notes| guessed(notes).map(|(instrument, _)| instrument);
        assert_eq!(name(&[(Letter::D, 4), (Letter::A, 4)]), Some(Instrument::Violin));
        assert_eq!(name(&[(Letter::C, 3), (Letter::A, 4)]), Some(Instrument::Viola));
        assert_eq!(name(&[(Letter::C, 2), (Letter::G, 2)]), Some(Instrument::Cello));
        assert_eq!(name(&[(Letter::D, 3), (Letter::A, 3)]), None);
        assert_eq!(name(&[(Letter::G, 2), (Letter::A, 3)]), None);
        assert_eq!(guessed(&[(Letter::G, 3)]).unwrap().1.unwrap().code, "instrument-guessed");
    }
}
