//! Returns in which nothing of the melody was played: somebody talked in a pause, and the reading took the voice for notes
//! played again.

use super::played::PlayedNote;
use crate::align::{StepKind, WrittenNote};

/// The sounds of a take, with those of each return that played none of the notes again as they are written beside the
/// melody: then the attempt before it counts.
pub(super) fn left_out(mut played: Vec<PlayedNote>, notes: &[WrittenNote], tuning: f64) -> Vec<PlayedNote> {
    let mut left: Option<usize> = None;
    for k in 0..played.len() {
        let StepKind::Written { note, restart } = played[k].kind else { continue };
        if let Some(last) = left.filter(|_| restart) {
            // The notes that were played before and again, up to the next return.
            let again: Vec<usize> = (k..played.len())
                .take_while(|&j| j == k || !played[j].returns())
                .filter(|&j| matches!(played[j].kind, StepKind::Written { note, .. } if note <= last))
                .collect();
            if !again.iter().any(|&j| played[j].is_as_written(notes, tuning)) {
                again.into_iter().for_each(|j| played[j].kind = StepKind::Extra { after: Some(last) });
                continue;
            }
        }
        left = Some(note);
    }
    played
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn written(note: usize, restart: bool) -> StepKind {
        StepKind::Written { note, restart }
    }

    /// What the sounds of a take are, of a melody C D E F G; each as it is read and its pitch.
    fn kinds(sounds: &[(StepKind, f64)], tuning: f64) -> Vec<StepKind> {
        let notes = WrittenNote::one_bar(&[60, 62, 64, 65, 67]);
        let sound = |(k, &(kind, midi)): (usize, &(StepKind, f64))| PlayedNote {
            midi: Some(midi + tuning),
            ..PlayedNote::sounding(kind, k as f64, k as f64 + 0.9)
        };
        left_out(sounds.iter().enumerate().map(sound).collect(), &notes, tuning)
            .iter()
            .map(|p| p.kind)
            .collect()
    }

    const BEFORE: [(StepKind, f64); 3] =
        [(written(0, false), 60.0), (written(1, false), 62.0), (written(2, false), 64.0)];

    #[test]
    fn a_voice_in_a_pause_is_no_return_and_the_notes_before_it_count() {
        for tuning in [0.0, -0.45] {
            let talk = [(written(1, true), 56.7), (written(2, false), 53.0)];
            let after = [(written(3, false), 65.0), (written(4, false), 67.0)];
            let beside = StepKind::Extra { after: Some(2) };
            let found = kinds(&[&BEFORE[..], &talk, &after].concat(), tuning);
            let wanted = [BEFORE.map(|(kind, _)| kind).to_vec(), vec![beside; 2]];
            assert_eq!(found, [&wanted.concat()[..], &after.map(|(kind, _)| kind)].concat());
        }
    }

    #[test]
    fn a_return_with_one_note_as_it_is_written_is_one() {
        for again in [
            vec![(written(1, true), 62.1), (written(2, false), 66.0)],
            vec![(written(1, true), 57.0), (written(2, false), 64.0)],
            vec![(written(0, true), 60.0)],
        ] {
            let sounds = [&BEFORE[..], &again, &[(written(3, false), 65.0)]].concat();
            assert_eq!(kinds(&sounds, 0.0), sounds.iter().map(|&(kind, _)| kind).collect::<Vec<_>>());
        }
    }

    #[test]
    fn a_return_after_talk_that_was_none_is_counted_from_where_the_player_was() {
        let sounds = [&BEFORE[..], &[(written(1, true), 50.0), (written(2, true), 64.0)]].concat();
        let found = kinds(&sounds, 0.0);
        assert_eq!(found[3..], [StepKind::Extra { after: Some(2) }, written(2, true)]);
        assert_eq!(kinds(&BEFORE, 0.0), BEFORE.map(|(kind, _)| kind));
    }
}
