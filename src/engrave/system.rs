//! A system of the report: the staff as written over the staff as heard, its ink sorted by what it belongs to.

use super::drawing::Mark;
use crate::remark::Remark;

/// What a group of marks belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Belongs {
    /// The staves themselves: lines, clefs, signatures, bar lines, beams.
    Staff,
    /// A note of the melody, by its event: its ink on both staves.
    Note(usize),
    /// A rest of the melody, by its event: its ink on both staves.
    Rest(usize),
    /// A note that is not on the sheet, by its place in `Heard::extras`.
    Extra(usize),
    /// A return, by its place in `Heard::returns`.
    Return(usize),
}

/// Marks that belong together.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// To what.
    pub belongs: Belongs,
    /// The room that answers to a finger or a pointer: left, top, right, bottom. For notes and rests their column over
    /// the height of the system, for the others their ink.
    pub room: [f64; 4],
    /// The marks.
    pub marks: Vec<Mark>,
}

/// One system. Lengths are staff spaces from its top left corner, which no ink crosses; y downward.
#[derive(Debug, Clone, PartialEq)]
pub struct System {
    /// The length of a staff space in millimetres, the same for all systems of a melody.
    pub space_mm: f64,
    /// The width that was asked for.
    pub width: f64,
    /// The height of all ink.
    pub height: f64,
    /// The printed numbers of its first and last bar.
    pub bars: (u32, u32),
    /// The staff first, then everything in the order of playing. A note that is tied into the next system has a group
    /// in both.
    pub groups: Vec<Group>,
}

impl System {
    /// All marks.
    pub fn marks(&self) -> impl Iterator<Item = &Mark> {
        self.groups.iter().flat_map(|group| &group.marks)
    }
}

/// Systems, and what a reader should know about them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Systems {
    /// From the top down.
    pub systems: Vec<System>,
    /// What could not be drawn as it was asked for.
    pub remarks: Vec<Remark>,
}
