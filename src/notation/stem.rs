//! Which way a note's stem points.

use super::{Clef, Spelling};

/// The direction of a stem on a staff with one voice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stem {
    /// From the right of the note head upward.
    Up,
    /// From the left of the note head downward.
    Down,
}

impl Clef {
    /// The staff step (see [`Spelling::staff_step`]) of the middle line, as written.
    pub fn middle_line(self) -> i32 {
        // Octave times seven plus the letter, C counting 0: B4, C4, A3, D3.
        match self {
            Self::Treble => 4 * 7 + 6,
            Self::Alto => 4 * 7,
            Self::Tenor => 3 * 7 + 5,
            Self::Bass => 3 * 7 + 1,
        }
    }

    /// The stem of a written note: down on and above the middle line, up below it (common practice).
    pub fn stem(self, written: Spelling) -> Stem {
        if written.staff_step() >= self.middle_line() { Stem::Down } else { Stem::Up }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stems_point_down_on_and_above_the_middle_line_and_up_below_it() {
        // Common practice: the note on the middle line, and the one below.
        for (clef, middle, below) in [
            (Clef::Treble, "B4", "A4"),
            (Clef::Alto, "C4", "B3"),
            (Clef::Tenor, "A3", "G3"),
            (Clef::Bass, "D3", "C3"),
        ] {
            let stem = |name: &str| clef.stem(name.parse().expect("a note"));
            assert_eq!((stem(middle), stem(below)), (Stem::Down, Stem::Up), "{clef:?}");
        }
        // The accidental does not move the head: B sharp and C flat stay on their lines.
        assert_eq!(Clef::Treble.stem("Bb4".parse().expect("a note")), Stem::Down);
        assert_eq!(Clef::Treble.stem("A#4".parse().expect("a note")), Stem::Up);
    }
}
