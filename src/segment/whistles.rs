//! Where a bow whistles: for a moment the string sounds its octave, and then the note again, on one stroke. It may have
//! been a note of its own all the same; the melody can tell.

use super::envelope::Envelope;
use crate::pitch::Contour;
use crate::units::Seconds;
use std::ops::Range;

/// Neighbouring frames no further apart than this sound one pitch, in semitones.
const ONE_PITCH: f64 = 0.6;
/// Fewer frames of 10 ms are none.
const FEWEST: usize = 3;
/// The note before and after is so many frames long at least,
const NOTE: usize = 5;
/// and no more than so many frames lie between it and the octave.
const GAP: usize = 5;
/// A whistle lasts at most so many frames.
const LONGEST: usize = 30;
/// It is so many semitones from an octave at most.
const OCTAVE: f64 = 0.5;
/// Where the pitch leaps the level has no trough deeper than this, in dB:
const TROUGH: f32 = 4.0;
/// within so many seconds,
const AROUND: f64 = 0.05;
/// against the loudest moments of so many seconds on either side.
const SIDE: f64 = 0.1;

/// The frames of each whistle, from the one that leaps up to the one after it has leapt back.
pub(super) fn whistles(contour: &Contour, envelope: &Envelope) -> Vec<Range<usize>> {
    let stretches = stretches(contour);
    let within = |a: &Stretch, b: &Stretch| b.frames.start - a.frames.end <= GAP;
    let octave = |low: &Stretch, high: &Stretch| (high.semitones - low.semitones - 12.0).abs() < OCTAVE;
    let on_one_stroke = |frame: usize| {
        let time = Seconds(frame as f64 * contour.hop.0);
        envelope.fall_between(time, time, AROUND, SIDE) < TROUGH
    };
    stretches
        .windows(3)
        .filter(|three| {
            let [before, whistle, after] = three else { return false };
            before.frames.len() >= NOTE
                && after.frames.len() >= NOTE
                && whistle.frames.len() <= LONGEST
                && within(before, whistle)
                && within(whistle, after)
                && octave(before, whistle)
                && octave(after, whistle)
                && on_one_stroke(whistle.frames.start)
                && on_one_stroke(whistle.frames.end)
        })
        .map(|three| three[0].frames.end..three[2].frames.start)
        .collect()
}

/// Frames of one pitch.
struct Stretch {
    frames: Range<usize>,
    /// Its median, in semitones above A4 = 440 Hz.
    semitones: f64,
}

fn stretches(contour: &Contour) -> Vec<Stretch> {
    let semitones: Vec<Option<f64>> =
        contour.frames.iter().map(|f| f.pitch.map(|pitch| 12.0 * (pitch.0 / 440.0).log2())).collect();
    let one = |a: &Option<f64>, b: &Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() < ONE_PITCH,
        _ => false,
    };
    let mut start = 0;
    let mut found = Vec::new();
    for run in semitones.chunk_by(one) {
        let mut pitches: Vec<f64> = run.iter().flatten().copied().collect();
        if pitches.len() >= FEWEST {
            pitches.sort_by(f64::total_cmp);
            found.push(Stretch { frames: start..start + run.len(), semitones: pitches[pitches.len() / 2] });
        }
        start += run.len();
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Hertz;

    /// Frames of 10 ms at these pitches, so many of each (semitones above A4, or none), with a level by the second.
    fn sound(pitches: &[(usize, Option<f64>)], level: impl Fn(f64) -> f32) -> (Contour, Envelope) {
        let frames = pitches.iter().flat_map(|&(count, pitch)| std::iter::repeat_n(pitch, count));
        let hertz = |semitones: Option<f64>| semitones.map(|one| Hertz(440.0 * (one / 12.0).exp2()));
        let contour = Contour::of_pitches(frames.map(hertz));
        let seconds = contour.frames.len() as f64 * contour.hop.0;
        (contour, Envelope::of_levels(seconds, -100.0, level))
    }

    fn found(pitches: &[(usize, Option<f64>)], level: impl Fn(f64) -> f32) -> Vec<(usize, usize)> {
        let (contour, envelope) = sound(pitches, level);
        whistles(&contour, &envelope).into_iter().map(|whistle| (whistle.start, whistle.end)).collect()
    }

    const NOTE: (usize, Option<f64>) = (40, Some(-7.0));

    #[test]
    fn an_octave_on_one_stroke_for_up_to_300_ms_is_a_whistle_with_the_gaps_around_it() {
        for length in [3, 18, 30] {
            let whistle = found(&[NOTE, (length, Some(5.1)), NOTE], |_| -20.0);
            assert_eq!(whistle, [(40, 40 + length)]);
        }
        let gaps = found(&[NOTE, (3, None), (10, Some(5.0)), (2, Some(-3.0)), NOTE], |_| -20.0);
        assert_eq!(gaps, [(40, 55)]);
    }

    #[test]
    fn what_stays_up_there_or_is_another_interval_or_has_a_bow_of_its_own_is_no_whistle() {
        let none: [(usize, usize); 0] = [];
        assert_eq!(found(&[NOTE, (31, Some(5.0)), NOTE], |_| -20.0), none, "a note of its own");
        assert_eq!(found(&[NOTE, (20, Some(5.0))], |_| -20.0), none, "it does not come back");
        assert_eq!(found(&[NOTE, (20, Some(4.4)), NOTE], |_| -20.0), none, "no octave");
        assert_eq!(found(&[NOTE, (20, Some(0.0)), NOTE], |_| -20.0), none, "a fifth");
        assert_eq!(
            found(&[NOTE, (20, Some(5.0)), (20, Some(-5.0))], |_| -20.0),
            none,
            "another note after it"
        );
        assert_eq!(found(&[NOTE, (6, None), (20, Some(5.0)), NOTE], |_| -20.0), none, "a pause before it");
        for turn in [0.4, 0.6] {
            let bowed = |time: f64| if (time - turn).abs() < 0.02 { -26.0 } else { -20.0 };
            assert_eq!(found(&[NOTE, (20, Some(5.0)), NOTE], bowed), none, "the bow turns at {turn} s");
        }
    }

    #[test]
    fn no_sound_has_no_whistle() {
        assert!(found(&[], |_| -20.0).is_empty() && found(&[(50, None)], |_| -20.0).is_empty());
    }
}
