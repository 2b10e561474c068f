//! Whether a take is of this melody at all.

use super::judge::Judgement;
use super::report::{NoteFinding, NoteVerdict};

/// Fewer right notes than this share of all that was played or left out on the way, it is not this melody: of 1,500
/// takes with planted mistakes none has less than 0.52, of 60 takes of another melody one has more than 0.42.
const LEAST_EXPLAINED: f64 = 0.45;
/// Fewer right notes than this share of the written ones, it is not this melody either, unless the take stops early:
/// then nearly all that was played must be right, and enough of it.
const LEAST_RIGHT: f64 = 0.35;
const NEARLY_ALL: f64 = 0.8;
const ENOUGH: usize = 5;
/// More notes than this share an octave away: the whole take is.
const MOST_AWAY: f64 = 0.6;
/// How far a melody of one pitch (a long open string) may be from it and still be that string, in semitones.
const STRING_OFF: f64 = 3.5;

impl Judgement {
    /// Whether the take can be this melody.
    pub fn is_this_melody(&self) -> bool {
        let right = self.notes.iter().filter(|n| n.verdict == NoteVerdict::Right).count();
        let right = right + self.speak_for_it;
        let reached =
            self.notes.iter().rposition(|n| n.verdict != NoteVerdict::Missing).map_or(0, |last| last + 1);
        // Going back costs as much as two notes that are not written.
        let all = reached + self.extra.len() + 2 * self.restarts.len();
        let explained = right as f64 / all.max(1) as f64;
        let share = right as f64 / self.notes.len().max(1) as f64;
        let enough = share >= LEAST_RIGHT || (explained >= NEARLY_ALL && right >= ENOUGH);
        (explained >= LEAST_EXPLAINED && enough) || one_string_off(&self.notes)
    }

    /// Whether the whole take was played `octaves` octaves from where it is written, on an instrument tuned so many
    /// semitones high.
    pub fn is_away_by(&self, octaves: i32, tuning: f64) -> bool {
        let away = |n: &&NoteFinding| {
            let wanted = f64::from(n.written_midi + 12 * octaves) + tuning;
            n.played_midi.is_some_and(|p| (p - wanted).abs() < 0.5)
        };
        self.notes.iter().filter(away).count() as f64 / self.notes.len().max(1) as f64 > MOST_AWAY
    }
}

/// Whether all notes are written at one pitch.
pub(super) fn of_one_pitch(notes: &[NoteFinding]) -> bool {
    notes.windows(2).all(|pair| pair[0].written_midi == pair[1].written_midi)
}

/// Whether the melody is one pitch only and what was played of it is near that pitch: then it is one string out of
/// tune, not another melody.
fn one_string_off(notes: &[NoteFinding]) -> bool {
    let off = |n: &NoteFinding| n.played_midi.map(|p| (p - f64::from(n.written_midi)).abs());
    let mut offs = notes.iter().filter_map(off).peekable();
    of_one_pitch(notes) && offs.peek().is_some() && offs.all(|semitones| semitones < STRING_OFF)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::report::{ExtraFinding, RestartFinding, TuningFinding};
    use crate::findings::timing::OwnBeat;

    fn judgement(notes: Vec<NoteFinding>, extras: usize, returns: usize) -> Judgement {
        let extra = ExtraFinding { onset_s: 0.0, offset_s: 0.1, played_midi: 60.0, after_index: None };
        let restart = RestartFinding { time_s: 0.0, left_at_index: 1, resumed_at_index: 0 };
        Judgement {
            notes,
            rests: Vec::new(),
            extra: vec![extra; extras],
            restarts: vec![restart; returns],
            own_beat: OwnBeat::new(Vec::new()),
            tuning: TuningFinding { offset_cents: None, strings: Vec::new() },
            speak_for_it: 0,
        }
    }

    /// Whether a take is of a melody of several pitches whose notes were right, wrong (by an octave) and never reached.
    fn passes((right, wrong, unreached): (usize, usize, usize), extras: usize, returns: usize) -> bool {
        let played = |k: usize| match k {
            _ if k < right => (NoteVerdict::Right, Some(0.0)),
            _ if k < right + wrong => (NoteVerdict::Wrong, Some(12.0)),
            _ => (NoteVerdict::Missing, None),
        };
        let found = |k: usize| {
            let midi = 60 + k as i32 % 5;
            let (verdict, off) = played(k);
            NoteFinding::of(midi, verdict, off.map(|off| f64::from(midi) + off))
        };
        judgement((0..right + wrong + unreached).map(found).collect(), extras, returns).is_this_melody()
    }

    #[test]
    fn nearly_half_of_all_that_was_played_is_right_where_a_return_counts_as_two_extra_notes() {
        // 5 of 10 and of 11 are more than 0.45, 5 of 12 are less.
        assert!(passes((5, 5, 0), 0, 0) && passes((5, 6, 0), 0, 0) && passes((5, 5, 0), 1, 0));
        assert!(!passes((5, 7, 0), 0, 0) && !passes((5, 5, 0), 2, 0) && !passes((5, 5, 0), 0, 1));
        assert!(!passes((4, 6, 0), 0, 0));
    }

    #[test]
    fn a_take_that_stops_early_is_of_this_melody_if_five_notes_were_right_and_hardly_one_wrong() {
        assert!(passes((4, 0, 6), 0, 0), "what was not reached was not wrong");
        assert!(!passes((3, 2, 5), 0, 0) && !passes((3, 0, 7), 0, 0));
        assert!(passes((5, 0, 15), 0, 0) && passes((5, 1, 14), 0, 0));
        assert!(!passes((5, 5, 10), 0, 0) && !passes((4, 0, 16), 0, 0));
    }

    #[test]
    fn unsure_notes_that_speak_for_the_melody_count_as_right() {
        // Four of ten are right, six are on a string out of tune.
        let found = |k: i32| NoteFinding::of(60 + k, NoteVerdict::Right, Some(f64::from(60 + k)));
        let mut notes: Vec<NoteFinding> = (0..10).map(found).collect();
        notes[4..].iter_mut().for_each(|note| note.verdict = NoteVerdict::Unsure);
        let told = |speak_for_it| Judgement { speak_for_it, ..judgement(notes.clone(), 0, 0) };
        assert!(told(6).is_this_melody() && !told(0).is_this_melody());
    }

    #[test]
    fn a_long_open_string_is_itself_three_semitones_off_and_not_four() {
        let string = |off: f64| {
            let played = NoteFinding::of(48, NoteVerdict::Wrong, Some(48.0 + off));
            judgement(vec![played.clone(), played], 0, 0).is_this_melody()
        };
        assert!(string(-3.0) && string(3.0));
        assert!(!string(-4.0) && !string(4.0));
        let silent = NoteFinding::of(48, NoteVerdict::Missing, None);
        assert!(!judgement(vec![silent], 0, 0).is_this_melody(), "nothing was played of it");
        let two = [48, 50].map(|midi| NoteFinding::of(midi, NoteVerdict::Wrong, Some(f64::from(midi) - 1.0)));
        assert!(!judgement(two.to_vec(), 0, 0).is_this_melody(), "two pitches are no string");
    }

    #[test]
    fn a_take_is_octaves_away_if_more_than_six_notes_in_ten_are() {
        let away_by = |octaves: i32, notes_away: usize| {
            let found = |k: usize| {
                let off = if k < notes_away { 12 * octaves } else { 0 };
                NoteFinding::of(60, NoteVerdict::Wrong, Some(f64::from(60 + off) + 0.3))
            };
            judgement((0..5).map(found).collect(), 0, 0)
        };
        for octaves in [-1, 1, 2] {
            let away = |notes: usize, tuning: f64| away_by(octaves, notes).is_away_by(octaves, tuning);
            assert!(away(4, 0.0) && !away(3, 0.0));
            assert!(!away_by(octaves, 4).is_away_by(-octaves, 0.0));
            // On an instrument tuned as high, and on one tuned low: those are no longer the notes.
            assert!(away(4, 0.55) && !away(4, -0.3));
        }
    }
}
