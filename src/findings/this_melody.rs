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
        let reached =
            self.notes.iter().rposition(|n| n.verdict != NoteVerdict::Missing).map_or(0, |last| last + 1);
        // Going back costs as much as two notes that are not written.
        let all = reached + self.extra.len() + 2 * self.restarts.len();
        let explained = right as f64 / all.max(1) as f64;
        let share = right as f64 / self.notes.len().max(1) as f64;
        let enough = share >= LEAST_RIGHT || (explained >= NEARLY_ALL && right >= ENOUGH);
        (explained >= LEAST_EXPLAINED && enough) || one_string_off(&self.notes)
    }

    /// Whether the whole take was played `octaves` octaves from where it is written.
    pub fn is_away_by(&self, octaves: i32) -> bool {
        let away = |n: &&NoteFinding| {
            n.played_midi.is_some_and(|p| (p - f64::from(n.written_midi + 12 * octaves)).abs() < 0.5)
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
