//! Which instrument a part is for, and how its pitches sound.
//!
//! In MusicXML 4.0 a `pitch` is the written one and `transpose` leads to the sounding one; an octave
//! clef (`clef-octave-change`) only moves where the pitch is drawn, so without `transpose` it already
//! sounds as given.

use super::super::draft::Draft;
use super::super::melody_from_draft::settle_by_habit;
use super::parts::Part;
use crate::notation::{Clef, Instrument};
use crate::remark::Remark;

/// Fills in instrument and pitches from the part's names, its clef and transposition, or its range.
/// Before, `draft.says_sounding` and `draft.to_sounding` hold what the part itself says.
pub(super) fn settle_pitches(draft: &mut Draft, part: &Part) {
    let pitches = draft.bars.iter().flat_map(|bar| &bar.items).filter_map(|item| item.pitch);
    let lowest = pitches.map(|pitch| pitch.midi()).min().unwrap_or(60);
    let named = part.named_instrument();
    draft.instrument = named.or_else(|| {
        let shift = draft.to_sounding;
        let guess = match draft.clef {
            Some(Clef::Treble) if lowest + shift >= 55 => Instrument::Violin,
            Some(Clef::Treble) => by_range(lowest + shift),
            Some(Clef::Alto) => Instrument::Viola,
            Some(Clef::Tenor) => Instrument::Cello,
            Some(Clef::Bass) if draft.says_sounding && shift == -12 => Instrument::Bass,
            Some(Clef::Bass) if draft.says_octave_clef => Instrument::Bass,
            Some(Clef::Bass) if lowest + shift >= 36 => Instrument::Cello,
            Some(Clef::Bass) => Instrument::Bass,
            None => by_range(lowest + shift),
        };
        let text = format!(
            "The part “{}” does not name one of the four instruments; from its clef and range I took it for the {guess}.",
            part.label()
        );
        draft.remarks.push(Remark::new("instrument-guessed", text));
        Some(guess)
    });
    let Some(instrument) = draft.instrument else { return };
    if !draft.says_sounding {
        settle_by_habit(draft);
        return;
    }
    // The file says how it sounds; what is written follows from the instrument.
    draft.to_written = draft.to_sounding - instrument.sounding_shift();
}

fn by_range(lowest: i32) -> Instrument {
    let fits = |instrument: &Instrument| instrument.open_strings()[0] <= lowest;
    Instrument::ALL.into_iter().find(fits).unwrap_or(Instrument::Bass)
}
