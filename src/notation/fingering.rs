//! First position: which finger makes which note on which string. Common practice of school methods,
//! no single source: violin and viola a whole step or a half step between neighbouring fingers, cello
//! a half step between neighbours (1-2-3-4), bass 1-2-4 (third and fourth finger together).

use super::{Instrument, Letter, Spelling};

/// How a finger is placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Placement {
    /// No finger: the open string.
    Open,
    /// The finger's usual place.
    Normal,
    /// A half step below the usual place (violin, viola: F natural on the D string is low 2, A flat low 4).
    Low,
    /// A half step above the usual place (violin, viola: G sharp on the D string is high 3).
    High,
    /// Reached by extending the hand back or forward (cello).
    Extended,
    /// In half position: the whole hand lies a half step further back (bass).
    Half,
}

/// A finger on a string in first position.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Fingering {
    /// Which string, 0 (lowest) to 3 (highest).
    pub string: usize,
    /// Semitones above the open string, 0 to 7.
    pub semitones: i32,
    /// The finger, 0 (open) to 4.
    pub finger: u8,
    /// How it is placed.
    pub placement: Placement,
}

impl Instrument {
    /// The finger that makes the note `semitones` above an open string in first position, for a
    /// `string` from 0 (lowest) to 3; `None` beyond first position or for another string.
    pub fn first_position(self, string: usize, semitones: i32) -> Option<Fingering> {
        use Placement::{Extended, Half, High, Low, Normal, Open};
        let (finger, placement) = match (self, semitones) {
            (_, 0) => (0, Open),
            (Self::Violin | Self::Viola, 1) => (1, Low),
            (Self::Violin | Self::Viola, 2) => (1, Normal),
            (Self::Violin | Self::Viola, 3) => (2, Low),
            (Self::Violin | Self::Viola, 4) => (2, Normal),
            (Self::Violin | Self::Viola, 5) => (3, Normal),
            (Self::Violin | Self::Viola, 6) => (3, High),
            (Self::Violin | Self::Viola, 7) => (4, Normal),
            (Self::Cello, 1) => (1, Extended),
            (Self::Cello, 2) => (1, Normal),
            (Self::Cello, 3) => (2, Normal),
            (Self::Cello, 4) => (3, Normal),
            (Self::Cello, 5) => (4, Normal),
            (Self::Cello, 6) => (4, Extended),
            (Self::Bass, 1) => (1, Half),
            (Self::Bass, 2) => (1, Normal),
            (Self::Bass, 3) => (2, Normal),
            (Self::Bass, 4) => (4, Normal),
            _ => return None,
        };
        (string < 4).then_some(Fingering { string, semitones, finger, placement })
    }

    /// Every way to play a sounding MIDI number in first position, the usual one first: on the highest
    /// string that has it, open strings before a stretched or fourth finger. Empty if first position
    /// does not have it.
    pub fn fingerings(self, sounding: i32) -> Vec<Fingering> {
        let strings = self.open_strings();
        (0..4)
            .rev()
            .filter_map(|string| self.first_position(string, sounding.saturating_sub(strings[string])))
            .collect()
    }

    /// The same for a note that is written as `written`: six semitones above a string of the violin and viola, a fourth
    /// letter above the string's is the low fourth finger, a third one the high third.
    pub fn fingerings_of(self, written: Spelling, sounding: i32) -> Vec<Fingering> {
        let spelled = |mut way: Fingering| {
            let string = self.string_names()[way.string].chars().next().and_then(Letter::from_char);
            let steps = string.map(|string| (written.letter as i32 - string as i32).rem_euclid(7));
            if (way.finger, way.placement, steps) == (3, Placement::High, Some(4)) {
                (way.finger, way.placement) = (4, Placement::Low);
            }
            way
        };
        self.fingerings(sounding).into_iter().map(spelled).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::{Key, Spelling};

    fn fingers(instrument: Instrument, string: usize, notes: &[&str]) -> Vec<u8> {
        let open = instrument.open_strings()[string];
        let finger = |note: &&str| {
            let sounding = note.parse::<Spelling>().unwrap().midi();
            instrument.first_position(string, sounding - open).unwrap().finger
        };
        notes.iter().map(finger).collect()
    }

    /// Common practice, marked as such: no single source.
    #[test]
    fn the_d_string_has_the_fingers_of_common_practice() {
        let on_d = ["D4", "E4", "F#4", "G4", "A4"];
        assert_eq!(fingers(Instrument::Violin, 1, &on_d), [0, 1, 2, 3, 4]);
        assert_eq!(fingers(Instrument::Viola, 2, &on_d), [0, 1, 2, 3, 4]);
        assert_eq!(fingers(Instrument::Cello, 2, &["D3", "E3", "F#3", "G3"]), [0, 1, 3, 4]);
        assert_eq!(fingers(Instrument::Bass, 2, &["D2", "E2", "F#2"]), [0, 1, 4]);
    }

    #[test]
    fn naturals_next_to_the_d_major_notes_are_low_or_high_fingers() {
        let violin = |semitones| Instrument::Violin.first_position(1, semitones).unwrap();
        assert_eq!((violin(3).finger, violin(3).placement), (2, Placement::Low));
        assert_eq!((violin(6).finger, violin(6).placement), (3, Placement::High));
        assert_eq!(Instrument::Cello.first_position(2, 3).unwrap().finger, 2);
        assert_eq!(Instrument::Bass.first_position(2, 3).unwrap().finger, 2);
    }

    #[test]
    fn six_semitones_above_a_string_the_spelling_decides_between_high_three_and_low_four() {
        let way = |instrument: Instrument, name: &str| {
            let written: Spelling = name.parse().unwrap();
            let way = instrument.fingerings_of(written, written.midi() + instrument.sounding_shift())[0];
            (way.finger, way.placement)
        };
        for (sharp, flat) in [("G#4", "Ab4"), ("D#5", "Eb5"), ("A#5", "Bb5"), ("C#4", "Db4")] {
            assert_eq!(way(Instrument::Violin, sharp), (3, Placement::High), "{sharp}");
            assert_eq!(way(Instrument::Violin, flat), (4, Placement::Low), "{flat}");
        }
        assert_eq!(way(Instrument::Viola, "Gb3"), (4, Placement::Low));
        assert_eq!(way(Instrument::Cello, "Eb4"), (4, Placement::Extended));
        // Nothing else changes: B flat on the A string stays the low first finger.
        assert_eq!(way(Instrument::Violin, "Bb4"), (1, Placement::Low));
        assert_eq!(way(Instrument::Bass, "F2"), (1, Placement::Half));
    }

    #[test]
    fn there_is_no_fifth_string() {
        assert!(Instrument::Violin.first_position(3, 0).is_some());
        assert_eq!(Instrument::Violin.first_position(4, 0), None);
    }

    #[test]
    fn every_semitone_from_the_lowest_open_string_to_the_top_of_first_position_has_a_finger() {
        for instrument in Instrument::ALL {
            let lowest = instrument.open_strings()[0];
            for sounding in lowest..=instrument.highest_in_first_position() {
                let found = instrument.fingerings(sounding);
                assert!(!found.is_empty(), "{instrument} {}", Spelling::from_midi(sounding, Key::default()));
                for way in found {
                    assert_eq!(instrument.open_strings()[way.string] + way.semitones, sounding);
                }
            }
            assert!(instrument.fingerings(lowest - 1).is_empty());
            assert!(instrument.fingerings(i32::MAX).is_empty());
        }
    }

    #[test]
    fn a_violin_a4_is_the_open_string_before_the_fourth_finger() {
        let ways = Instrument::Violin.fingerings(69);
        assert_eq!(ways.iter().map(|w| (w.string, w.finger)).collect::<Vec<_>>(), [(2, 0), (1, 4)]);
    }
}
