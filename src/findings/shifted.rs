//! A note left out, and a little later or earlier one too many: so the reading says, and perhaps nothing is too much and
//! nothing too little, and neighbours were played in the wrong order. Where that explains the same strokes, nobody can tell.

use super::played::PlayedNote;
use super::report::{ExtraFinding, NoteFinding, NoteVerdict};
use super::timing::OwnBeat;
use crate::align::{StepKind, WrittenNote};

/// The note left out and the one too many are at most so many strokes apart.
const REACH: usize = 9;
/// Each stroke comes after so many times its written interval.
const IN_TIME: std::ops::Range<f64> = 0.7..1.45;
/// A stroke is at a pitch within so many semitones.
const AT_PITCH: f64 = 0.5;

/// One sound that somebody played: when, at which pitch (MIDI number), and as which written note it was read.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Stroke {
    onset: f64,
    midi: Option<f64>,
    read_as: Option<usize>,
    returned: bool,
}

/// Makes notes unsure, and takes extra notes away, where the same strokes one by one in the written order are the melody but
/// for neighbours that have changed places. Gives how many notes were right before.
pub(super) fn doubt_shifts(
    findings: &mut [NoteFinding],
    extra: &mut Vec<ExtraFinding>,
    played: &[PlayedNote],
    notes: &[WrittenNote],
    own: &OwnBeat,
    tuning: f64,
) -> usize {
    let mut were_right = 0;
    let is_told = |p: &PlayedNote| extra.iter().any(|x| x.onset_s == p.onset.0);
    let strokes: Vec<Stroke> = played
        .iter()
        .filter(|p| p.is_written() || is_told(p))
        .map(|p| {
            let (read_as, returned) = match p.kind {
                StepKind::Written { note, restart } => (Some(note), restart),
                StepKind::Extra { .. } => (None, false),
            };
            Stroke { onset: p.onset.0, midi: p.pitch(), read_as, returned }
        })
        .collect();
    for at in (0..strokes.len()).filter(|&k| strokes[k].read_as.is_none()) {
        for (first, last, note) in
            [left_out_before(&strokes, at), left_out_after(&strokes, at, notes.len())].into_iter().flatten()
        {
            let in_order = || (first..=last).map(|k| (k, note + k - first));
            let at_pitch = |(k, n): (usize, usize)| {
                let target = f64::from(notes[n].midi) + tuning;
                strokes[k].midi.is_some_and(|midi| (midi - target).abs() < AT_PITCH)
            };
            if !only_swapped((first, last, note), at_pitch)
                || !in_time(&strokes, (first, last, note), notes, own)
            {
                continue;
            }
            for pair in in_order() {
                let finding = &mut findings[pair.1];
                if !(at_pitch(pair) && finding.verdict == NoteVerdict::Right) {
                    were_right += usize::from(finding.verdict == NoteVerdict::Right);
                    finding.doubt();
                }
            }
            extra.retain(|x| x.onset_s != strokes[at].onset);
        }
    }
    were_right
}

/// Whether strokes one by one in the written order are at pitch or two neighbours that have changed places; whether a
/// stroke is at the pitch of a note is told.
fn only_swapped(
    (first, last, note): (usize, usize, usize),
    at_pitch: impl Fn((usize, usize)) -> bool,
) -> bool {
    let mut k = first;
    while k <= last {
        let n = note + k - first;
        if at_pitch((k, n)) {
            k += 1;
        } else if k < last && at_pitch((k, n + 1)) && at_pitch((k + 1, n)) {
            k += 2;
        } else {
            return false;
        }
    }
    true
}

/// Strokes up to an extra one, from the first after a note that was left out; and that note.
fn left_out_before(strokes: &[Stroke], at: usize) -> Option<(usize, usize, usize)> {
    let mut first = at;
    loop {
        let before = first.checked_sub(1).map(|k| strokes[k]);
        let after = (first < at).then(|| strokes[first].read_as).flatten();
        match (before.map(|b| b.read_as), after) {
            _ if at - first > REACH || (first < at && strokes[first].returned) => return None,
            // The beginning of the melody was left out.
            (None, Some(1)) => return Some((first, at, 0)),
            (Some(Some(before)), Some(after)) if before + 2 == after => return Some((first, at, after - 1)),
            (Some(Some(before)), Some(after)) if before + 1 == after => first -= 1,
            (Some(Some(_)), None) => first -= 1,
            _ => return None,
        }
    }
}

/// Strokes from an extra one on, up to the last before a note that was left out; and the note that the extra one stands at.
fn left_out_after(strokes: &[Stroke], at: usize, notes: usize) -> Option<(usize, usize, usize)> {
    let begins = strokes.get(at + 1)?.read_as?;
    for (last, stroke) in strokes.iter().enumerate().skip(at + 1).take(REACH) {
        let own = stroke.read_as?;
        if stroke.returned || own != begins + last - at - 1 {
            return None;
        }
        match strokes.get(last + 1) {
            None if own + 2 == notes => return Some((at, last, begins)),
            Some(next) if !next.returned && next.read_as == Some(own + 2) => return Some((at, last, begins)),
            _ => {}
        }
    }
    None
}

/// Whether the strokes come when the notes are written, each as long after the one before as it should.
fn in_time(
    strokes: &[Stroke],
    (first, last, note): (usize, usize, usize),
    notes: &[WrittenNote],
    own: &OwnBeat,
) -> bool {
    let place = |k: usize| match k {
        _ if (first..=last).contains(&k) => Some(note + k - first),
        _ => strokes[k].read_as,
    };
    (first.saturating_sub(1)..=last).filter(|&k| k + 1 < strokes.len()).all(|k| {
        let (Some(from), Some(to)) = (place(k), place(k + 1)) else { return false };
        let Some(beat) = own.local(notes[from].start, &[]).filter(|_| to > from) else { return false };
        let written = (notes[to].start - notes[from].start) * beat;
        IN_TIME.contains(&((strokes[k + 1].onset - strokes[k].onset) / written))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::timing::Beat;
    use NoteVerdict::{Missing, Right, Unsure};

    /// A scale of quarter notes.
    const SHEET: [i32; 8] = [60, 62, 64, 65, 67, 69, 71, 72];

    /// The verdicts and how many extra notes there are, where each stroke has a time in beats, a pitch and perhaps the note
    /// that it was read as. A beat lasts half a second.
    fn left(strokes: &[(f64, i32, Option<usize>)]) -> (Vec<NoteVerdict>, usize) {
        let notes = WrittenNote::one_bar(&SHEET);
        let played: Vec<PlayedNote> = strokes
            .iter()
            .map(|&(beat, midi, note)| {
                let kind = match note {
                    Some(note) => StepKind::Written { note, restart: false },
                    None => StepKind::Extra { after: None },
                };
                let onset = 0.5 * beat;
                PlayedNote { midi: Some(f64::from(midi)), ..PlayedNote::sounding(kind, onset, onset + 0.45) }
            })
            .collect();
        let mut findings: Vec<NoteFinding> = notes
            .iter()
            .map(|note| {
                let read = strokes.iter().any(|stroke| stroke.2 == Some(note.event));
                NoteFinding::of(note.midi, if read { Right } else { Missing }, None)
            })
            .collect();
        let mut extra: Vec<ExtraFinding> = played
            .iter()
            .filter(|p| matches!(p.kind, StepKind::Extra { .. }))
            .map(|p| ExtraFinding {
                onset_s: p.onset.0,
                offset_s: p.offset.0,
                played_midi: 60.0,
                after_index: None,
            })
            .collect();
        let beat = |n: usize| {
            let at = n as f64;
            Beat { note: n, at, until: at + 1.0, onset: 0.5 * at, attempt: 0 }
        };
        let own = OwnBeat::new((0..SHEET.len()).map(beat).collect());
        let before = findings.iter().filter(|finding| finding.verdict == Right).count();
        let doubted = doubt_shifts(&mut findings, &mut extra, &played, &notes, &own, 0.0);
        let after = findings.iter().filter(|finding| finding.verdict == Right).count();
        assert_eq!(doubted, before - after);
        (findings.iter().map(|finding| finding.verdict).collect(), extra.len())
    }

    #[test]
    fn neighbours_played_in_the_wrong_order_are_no_note_left_out_and_another_too_many() {
        // C E D F G A B C for C D E F G A B C: read as D left out and, after E, one too many; or the other way round.
        let swapped = [
            (0.0, 60, Some(0)),
            (1.0, 64, Some(2)),
            (2.0, 62, None),
            (3.0, 65, Some(3)),
            (4.0, 67, Some(4)),
            (5.0, 69, Some(5)),
            (6.0, 71, Some(6)),
            (7.0, 72, Some(7)),
        ];
        let verdicts = [Right, Unsure, Unsure, Right, Right, Right, Right, Right];
        assert_eq!(left(&swapped), (verdicts.to_vec(), 0));
        let mut other_way = swapped;
        (other_way[1].2, other_way[2].2) = (None, Some(1));
        assert_eq!(left(&other_way), (verdicts.to_vec(), 0));
    }

    #[test]
    fn what_lies_between_two_swaps_is_in_doubt_as_well() {
        // D C F E for C D E F: read as C left out, D, C extra and so on, or as one note late all along.
        let slid = [
            (0.0, 62, Some(1)),
            (1.0, 60, Some(2)),
            (2.0, 65, Some(3)),
            (3.0, 64, None),
            (4.0, 67, Some(4)),
            (5.0, 69, Some(5)),
            (6.0, 71, Some(6)),
            (7.0, 72, Some(7)),
        ];
        let verdicts = [Unsure, Unsure, Unsure, Unsure, Right, Right, Right, Right];
        assert_eq!(left(&slid), (verdicts.to_vec(), 0));
    }

    #[test]
    fn a_note_left_out_and_another_too_many_stay_where_nothing_was_swapped_or_it_is_out_of_time() {
        // The scale one note early, and then E once more.
        let early = [
            (0.0, 62, Some(1)),
            (1.0, 64, Some(2)),
            (2.0, 65, Some(3)),
            (3.0, 67, Some(4)),
            (4.0, 69, Some(5)),
            (5.0, 64, None),
            (6.0, 71, Some(6)),
            (7.0, 72, Some(7)),
        ];
        assert_eq!(left(&early).0[0], Missing);
        // The extra note is a brief one between two beats.
        let mut brief = [
            (0.0, 60, Some(0)),
            (1.0, 64, Some(2)),
            (1.5, 62, None),
            (2.0, 65, Some(3)),
            (3.0, 67, Some(4)),
            (4.0, 69, Some(5)),
            (5.0, 71, Some(6)),
            (6.0, 72, Some(7)),
        ];
        assert_eq!(left(&brief).0[1], Missing);
        // In time it would be a swap, but for a pitch.
        (brief[2].0, brief[2].1) = (2.0, 61);
        brief[3..].iter_mut().for_each(|stroke| stroke.0 += 1.0);
        assert_eq!(left(&brief).0[1], Missing);
        brief[2].1 = 62;
        assert_eq!(left(&brief).0[1], Unsure);
    }
}
