//! What the ear hears, 10 ms by 10 ms.

use crate::units::{Hertz, Seconds};

/// How many period candidates a frame keeps.
pub const MOST_CANDIDATES: usize = 5;

/// Pitches of one moment closer than this are of one note, in cents.
const SAME_NOTE: f64 = 40.0;

/// A pitch that a frame might have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// The fundamental.
    pub pitch: Hertz,
    /// How well this fundamental explains the frame, about 0 to 1; larger is better. Comparable
    /// between the candidates of a frame and between frames.
    pub strength: f32,
}

/// One frame of the contour. Its time is the centre of the window that it was measured in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// The centre of the frame from the start of the take.
    pub time: Seconds,
    /// The fundamental, or `None` where nothing with a pitch sounds.
    pub pitch: Option<Hertz>,
    /// How periodic the frame is, 0 to 1: the greatest height of the normalised square difference at the period of
    /// any candidate, whichever the path chose; given for unvoiced frames too.
    pub clarity: f32,
    /// Level of the frame in dB below full scale (0 = a full-scale square wave), −120 for silence.
    pub level_db: f32,
    /// The best candidates, strongest first; they stand whether or not the path chose one of them.
    pub candidates: [Option<Candidate>; MOST_CANDIDATES],
    /// Level of what the period explains, in dB like `level_db`, −120 for nothing; for an unvoiced
    /// frame, of what its strongest candidate explains.
    pub harmonic_db: f32,
    /// Level of the rest (bow noise, room, other notes), in dB like `level_db`, −120 for nothing.
    pub noise_db: f32,
    /// The fundamental of a second note that sounds at the same time and nearly as loud, where one was looked for (see
    /// `with_second_strings`).
    pub second: Option<Hertz>,
}

/// The contour of a whole take: one frame every `hop`, the first at time 0.
#[derive(Debug, Clone, PartialEq)]
pub struct Contour {
    /// The time from one frame to the next (10 ms).
    pub hop: Seconds,
    /// The frames, oldest first.
    pub frames: Vec<Frame>,
}

/// The fundamental alone, frame by frame: what a drawing needs of a contour.
#[derive(Debug, Clone, PartialEq)]
pub struct F0 {
    /// The time from one frame to the next, in seconds.
    pub hop: Seconds,
    /// The fundamental of each frame, the first at time 0; `None` where nothing with a pitch sounds.
    pub pitches: Vec<Option<Hertz>>,
}

impl Contour {
    /// The fundamental alone.
    pub fn f0(&self) -> F0 {
        F0 { hop: self.hop, pitches: self.frames.iter().map(|frame| frame.pitch).collect() }
    }

    /// The same notes, each frame's pitch as exact as another contour of the same take has it: where one of that one's
    /// candidates lies within `SAME_NOTE` of the pitch, the nearest of them. Everything else stays, the candidates as well.
    pub fn with_pitches_of(mut self, other: &Contour) -> Self {
        for (frame, other) in self.frames.iter_mut().zip(&other.frames) {
            let Some(pitch) = frame.pitch else { continue };
            let candidates = other.candidates.iter().flatten().map(|one| one.pitch);
            let away = |one: &Hertz| one.cents_above(pitch).0.abs();
            let nearest = candidates.min_by(|a, b| away(a).total_cmp(&away(b)));
            frame.pitch = nearest.filter(|one| away(one) < SAME_NOTE).or(frame.pitch);
        }
        self
    }

    /// The frames from the one nearest to a time up to the one nearest to another, which is not among them; none where the
    /// second time is not after the first.
    pub fn between(&self, from: Seconds, to: Seconds) -> &[Frame] {
        let frame = |time: Seconds| ((time.0 / self.hop.0).round().max(0.0) as usize).min(self.frames.len());
        &self.frames[frame(from)..frame(to).max(frame(from))]
    }

    /// Median frequency of the voiced frames between two times in seconds, in hertz (of an even number the
    /// upper middle one); `None` where none is voiced.
    pub fn median_hertz(&self, from: f64, to: f64) -> Option<f64> {
        let a = (from / self.hop.0).round().max(0.0) as usize;
        let b = ((to / self.hop.0).round().max(0.0) as usize + 1).min(self.frames.len());
        let mut found: Vec<f64> =
            self.frames.get(a..b)?.iter().filter_map(|f| f.pitch.map(|p| p.0)).collect();
        found.sort_by(f64::total_cmp);
        found.get(found.len() / 2).copied()
    }
}

#[cfg(test)]
impl Contour {
    /// Clear frames of 10 ms with these fundamentals.
    pub(crate) fn of_pitches(pitches: impl IntoIterator<Item = Option<Hertz>>) -> Self {
        let frame = |(k, pitch): (usize, Option<Hertz>)| Frame {
            time: Seconds(k as f64 * 0.01),
            pitch,
            clarity: 0.95,
            level_db: -20.0,
            candidates: Default::default(),
            harmonic_db: -20.0,
            noise_db: -60.0,
            second: None,
        };
        Self { hop: Seconds(0.01), frames: pitches.into_iter().enumerate().map(frame).collect() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contour(frames: &[(Option<f64>, &[f64])]) -> Contour {
        let frame = |(pitch, candidates): &(Option<f64>, &[f64])| {
            let mut frame = Frame {
                time: Seconds(0.0),
                pitch: pitch.map(Hertz),
                clarity: 0.9,
                level_db: -20.0,
                candidates: [None; MOST_CANDIDATES],
                harmonic_db: -20.0,
                noise_db: -60.0,
                second: None,
            };
            for (place, &hertz) in frame.candidates.iter_mut().zip(*candidates) {
                *place = Some(Candidate { pitch: Hertz(hertz), strength: 0.8 });
            }
            frame
        };
        Contour { hop: Seconds(0.01), frames: frames.iter().map(frame).collect() }
    }

    #[test]
    fn a_note_keeps_its_name_and_takes_its_pitch_from_the_other_contour() {
        let other = contour(&[
            (Some(220.0), &[220.0, 440.5, 442.0]),
            (Some(220.0), &[220.0, 452.0]),
            (Some(440.5), &[440.5]),
            (Some(440.5), &[440.5]),
        ]);
        let one = contour(&[(Some(440.0), &[]), (Some(440.0), &[]), (None, &[]), (Some(441.0), &[])]);
        // 440.5 Hz is 2 cents from 440, 452 is 47; what has no pitch gets none.
        let found = one.with_pitches_of(&other).f0().pitches;
        assert_eq!(found, [Some(Hertz(440.5)), Some(Hertz(440.0)), None, Some(Hertz(440.5))]);
    }
}
