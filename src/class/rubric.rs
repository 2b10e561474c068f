//! What a playing test is marked by: weights, bands, thresholds by level, and which of several takes counts.

use jiff::civil::Date;
use serde::Serialize;

/// What is marked, in the order in which it is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Criterion {
    /// The written notes were played.
    Pitch,
    /// They began when they should.
    Rhythm,
    /// Rests were kept.
    Rests,
    /// Fingers were on their place, the tuning of the string allowed for.
    Intonation,
}

impl Criterion {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Pitch, Self::Rhythm, Self::Rests, Self::Intonation];

    /// Its word in rubrics and gradebooks.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pitch => "pitch",
            Self::Rhythm => "rhythm",
            Self::Rests => "rests",
            Self::Intonation => "intonation",
        }
    }
}

/// What counts as good enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    /// A finger within this many cents of its place is in tune.
    pub in_tune_cents: f64,
    /// A note that begins within this part of a beat of the player's own beat is in time; in a compound metre, such as
    /// 6/8, that is a dotted beat.
    pub in_time_beats: f64,
    /// A take of which more than this percentage of notes and rests is unsure gets no mark.
    pub unsure_percent: f64,
}

impl Default for Thresholds {
    /// Common practice for first and second year players: 20 cents as in the reports, a quarter of a beat; a quarter unsure.
    fn default() -> Self {
        Self { in_tune_cents: 20.0, in_time_beats: 0.25, unsure_percent: 25.0 }
    }
}

/// Which of several takes of a student counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Repeated {
    /// The one with the highest mark.
    #[default]
    Best,
    /// The last by name.
    Last,
    /// All: the mark is their mean.
    All,
}

/// From a mark on, a word for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// The lowest mark.
    pub from: f64,
    /// The word.
    pub word: String,
}

/// Other thresholds for some students.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// Its name, as in the class list's column `level`.
    pub name: String,
    /// Groups of the class list that are at this level.
    pub groups: Vec<String>,
    /// Its thresholds.
    pub thresholds: Thresholds,
}

/// A rubric.
#[derive(Debug, Clone, PartialEq)]
pub struct Rubric {
    /// The highest mark; the lowest is 0.
    pub highest: f64,
    /// The weight of each criterion, in the order of [`Criterion::ALL`]; not all 0.
    pub weights: [f64; 4],
    /// The bands, from the highest to the lowest; may be empty.
    pub bands: Vec<Band>,
    /// The thresholds of everybody who is at no level.
    pub thresholds: Thresholds,
    /// Levels.
    pub levels: Vec<Level>,
    /// Which take counts.
    pub repeated: Repeated,
    /// The last day on which a take is in time, if there is one.
    pub due: Option<Date>,
    /// Whether takes after it count.
    pub late_counts: bool,
}

/// Numbers closer than this are the same mark: marks have no more than one decimal.
const SAME_MARK: f64 = 1e-6;

impl Default for Rubric {
    /// 100 points: pitch 40, rhythm 30, rests 10, intonation 20 (our choice; common practice puts notes before rhythm
    /// before intonation in the first years).
    fn default() -> Self {
        let band = |from, word: &str| Band { from, word: word.to_owned() };
        Self {
            highest: 100.0,
            weights: [40.0, 30.0, 10.0, 20.0],
            bands: vec![
                band(90.0, "secure"),
                band(75.0, "nearly there"),
                band(50.0, "on the way"),
                band(0.0, "begun"),
            ],
            thresholds: Thresholds::default(),
            levels: Vec::new(),
            repeated: Repeated::Best,
            due: None,
            late_counts: true,
        }
    }
}

impl Rubric {
    /// The thresholds for a student at `level` (may be empty) in `group`: the level's own, else those of the level that
    /// names the group, else everybody's.
    pub fn thresholds_for(&self, level: &str, group: &str) -> Thresholds {
        let same = |one: &str, other: &str| one.trim().eq_ignore_ascii_case(other.trim());
        let by_name = self.levels.iter().find(|one| !level.is_empty() && same(&one.name, level));
        let by_group = || {
            self.levels
                .iter()
                .find(|one| !group.is_empty() && one.groups.iter().any(|name| same(name, group)))
        };
        by_name.or_else(by_group).map_or(self.thresholds, |level| level.thresholds)
    }

    /// The word for a mark.
    pub fn band(&self, mark: f64) -> Option<&str> {
        self.bands.iter().find(|band| mark >= band.from - SAME_MARK).map(|band| band.word.as_str())
    }

    /// A share of everything (0 to 1) as a mark: whole points, tenths where the highest mark is below 20.
    pub fn mark(&self, share: f64) -> f64 {
        let steps = if self.highest < 20.0 { 10.0 } else { 1.0 };
        (share.clamp(0.0, 1.0) * self.highest * steps).round() / steps
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_has_the_word_of_the_highest_band_that_it_reaches() {
        let rubric = Rubric::default();
        let words = [100.0, 90.0, 89.0, 50.0, 0.0].map(|mark| rubric.band(mark).unwrap());
        assert_eq!(words, ["secure", "secure", "nearly there", "on the way", "begun"]);
        assert_eq!(rubric.mark(0.8949), 89.0);
        assert_eq!(Rubric { highest: 6.0, ..rubric }.mark(0.8949), 5.4);
    }

    #[test]
    fn a_level_is_found_by_its_name_first_and_then_by_the_group() {
        let level = |name: &str, groups: &[&str], in_tune_cents| Level {
            name: name.to_owned(),
            groups: groups.iter().map(|group| (*group).to_owned()).collect(),
            thresholds: Thresholds { in_tune_cents, ..Thresholds::default() },
        };
        let rubric = Rubric {
            levels: vec![level("grade 4", &["4A", "4B"], 30.0), level("grade 5", &["5A"], 25.0)],
            ..Rubric::default()
        };
        let cents = |level, group| rubric.thresholds_for(level, group).in_tune_cents;
        assert_eq!(
            (cents("", "4b"), cents("Grade 5", "4A"), cents("", ""), cents("", "6")),
            (30.0, 25.0, 20.0, 20.0)
        );
    }
}
