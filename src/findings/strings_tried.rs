//! Open strings that a child tries or tunes before the melody, where the reading took them for a first attempt at it.

use super::played::PlayedNote;
use crate::align::{StepKind, WrittenNote};
use crate::notation::Instrument;

/// A sound no further than this from an open string is one, in semitones after the instrument's tuning.
const OPEN: f64 = 0.6;

/// The sounds of a take with those before the first return beside the melody, where they are nothing but open strings, at
/// least two different ones, and not what the melody begins with.
pub(super) fn beside_the_melody(
    mut played: Vec<PlayedNote>,
    notes: &[WrittenNote],
    instrument: Instrument,
    tuning: f64,
) -> Vec<PlayedNote> {
    let returns = |p: &PlayedNote| matches!(p.kind, StepKind::Written { restart: true, note: 0 });
    let Some(first) = played.iter().position(returns) else { return played };
    let string = |p: &PlayedNote| {
        let midi = p.pitch()? - tuning;
        instrument.open_strings().into_iter().find(|&open| (midi - f64::from(open)).abs() < OPEN)
    };
    let strings: Option<Vec<i32>> = played[..first].iter().map(string).collect();
    let different = strings.is_some_and(|strings| strings.iter().any(|&open| open != strings[0]));
    if different && !played[..first].iter().all(|p| p.is_as_written(notes, tuning)) {
        played[..first].iter_mut().for_each(|p| p.kind = StepKind::Extra { after: None });
        played[first].kind = StepKind::Written { note: 0, restart: false };
    }
    played
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sounds of a violin, one after another; what each is for the reading, and its pitch.
    fn played(sounds: &[(StepKind, f64)]) -> Vec<PlayedNote> {
        let sound = |(k, &(kind, midi)): (usize, &(StepKind, f64))| PlayedNote {
            midi: Some(midi),
            ..PlayedNote::sounding(kind, k as f64, k as f64 + 0.9)
        };
        sounds.iter().enumerate().map(sound).collect()
    }

    const fn written(note: usize, restart: bool) -> StepKind {
        StepKind::Written { note, restart }
    }
    const EXTRA: StepKind = StepKind::Extra { after: None };

    fn kinds(sounds: &[(StepKind, f64)], melody: &[i32], tuning: f64) -> Vec<StepKind> {
        let played =
            beside_the_melody(played(sounds), &WrittenNote::one_bar(melody), Instrument::Violin, tuning);
        played.iter().map(|p| p.kind).collect()
    }

    #[test]
    fn open_strings_before_the_melody_are_no_attempt_at_it() {
        // A, D and A, then F sharp and A as written; the whole instrument may be a little low.
        for tuning in [0.0, -0.4] {
            let sounds = [(written(0, false), 69.1), (EXTRA, 62.0), (written(1, false), 68.9)];
            let sounds = [&sounds[..], &[(written(0, true), 66.0), (written(1, false), 69.0)]].concat();
            let sounds: Vec<_> = sounds.iter().map(|&(kind, midi)| (kind, midi + tuning)).collect();
            let melody = [written(0, false), written(1, false)];
            assert_eq!(kinds(&sounds, &[66, 69], tuning), [&[EXTRA; 3][..], &melody].concat());
        }
    }

    #[test]
    fn a_first_attempt_stays_one() {
        let again = |first: &[(StepKind, f64)], melody: &[i32]| {
            let sounds = [first, &[(written(0, true), f64::from(melody[0]))]].concat();
            let before: Vec<StepKind> = sounds.iter().map(|&(kind, _)| kind).collect();
            kinds(&sounds, melody, 0.0) == before
        };
        assert!(again(&[(written(0, false), 62.0), (written(1, false), 69.0)], &[62, 69, 71]), "as written");
        assert!(again(&[(written(0, false), 62.0), (EXTRA, 64.0)], &[62, 69]), "a stopped note in it");
        assert!(again(&[(written(0, false), 62.0), (EXTRA, 62.0)], &[64, 69]), "one string twice");
        assert!(again(&[(written(0, false), 62.0), (EXTRA, 69.7)], &[64, 69]), "nearly a string");
        let elsewhere = [(written(0, false), 62.0), (EXTRA, 69.0), (written(1, true), 71.0)];
        assert_eq!(kinds(&elsewhere, &[64, 71], 0.0), elsewhere.map(|(kind, _)| kind), "to another note");
    }
}
