//! Results become the rows and points that the overview draws: what happened at each note, finger cents by string, and the
//! tuning of the open strings.

use super::criteria_from_report::{SURE, felt_as_one, holds_extra, one_long_bow};
use super::rubric::{Rubric, Thresholds};
use super::student_result::{ClassTake, EarlierMark, StudentResult};
use crate::engrave::printable;
use crate::findings::{NoteVerdict, Report, RestVerdict};
use crate::notation::Instrument;
use crate::report::{TextSettings, end_of_playing, intonation_of, recorded_part, rest_before_recording};
use std::collections::BTreeMap;

/// What a place of the melody came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Came {
    /// As written.
    Well,
    /// The right note, the finger off its place.
    OffPitch,
    /// The right note, early or late, or begun without a new bow.
    OffBeat,
    /// A rest that was cut short, held too long or filled.
    RestLost,
    /// Another note.
    Wrong,
    /// No note.
    Missing,
    /// The recording does not settle it.
    Unsure,
    /// A rest at either end that was not scored: nothing measures it, and there is nothing to listen to.
    Unmeasured,
}

impl Came {
    /// Whether it counts as a stumble.
    pub fn stumbled(self) -> bool {
        !matches!(self, Self::Well | Self::Unsure | Self::Unmeasured)
    }
}

/// One student's line.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Whose.
    pub shown: String,
    /// The group; may be empty.
    pub group: String,
    /// The mark as in the gradebook.
    pub mark: Option<String>,
    /// The mark before.
    pub before: Option<EarlierMark>,
    /// How many takes there are.
    pub takes: usize,
    /// What each bar's notes and rests came to, in order; empty where no take was judged.
    pub bars: BTreeMap<u32, Vec<Came>>,
}

/// The lines of those who played one melody.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// What the melody is called.
    pub melody: String,
    /// Its students in the order of the class list.
    pub lines: Vec<Line>,
}

impl Block {
    /// The bars, and how many of the judged takes stumbled in each.
    pub fn stumbles(&self) -> BTreeMap<u32, usize> {
        let mut bars = BTreeMap::new();
        for line in &self.lines {
            for (bar, came) in &line.bars {
                *bars.entry(*bar).or_insert(0) += usize::from(came.iter().any(|one| one.stumbled()));
            }
        }
        bars
    }

    /// The groups in the order of the class list; students of no group are one, called `everybody` where there is no other.
    pub fn groups(&self) -> Vec<Group> {
        let mut names: Vec<&str> = Vec::new();
        for line in &self.lines {
            if !names.contains(&line.group.as_str()) {
                names.push(&line.group);
            }
        }
        if names.len() < 2 && names.iter().all(|name| name.is_empty()) {
            return vec![self.as_one_group()];
        }
        let lines = |name: &str| self.lines.iter().filter(|line| line.group == name).collect::<Vec<_>>();
        let called = |name: &str| if name.is_empty() { "no group".to_owned() } else { name.to_owned() };
        names.into_iter().map(|name| Group::of(called(name), &lines(name))).collect()
    }

    /// Everybody who played the melody.
    pub fn as_one_group(&self) -> Group {
        Group::of("everybody".to_owned(), &self.lines.iter().collect::<Vec<_>>())
    }

    /// How many takes were judged.
    pub fn judged(&self) -> usize {
        self.lines.iter().filter(|line| !line.bars.is_empty()).count()
    }
}

/// What became of a melody in one group.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// What it is called.
    pub name: String,
    /// How many of its takes were judged.
    pub judged: usize,
    /// By bar.
    pub bars: BTreeMap<u32, GroupBar>,
    /// The marks that are numbers, in the order of the class list.
    pub marks: Vec<f64>,
}

/// A bar of a melody in one group.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct GroupBar {
    /// The part of the judged that stumbled anywhere in the bar, 0 to 1.
    pub share: f64,
    /// The part of the judged that stumbled at each note or rest, in order.
    pub notes: Vec<f64>,
}

impl Group {
    fn of(name: String, lines: &[&Line]) -> Self {
        let judged = lines.iter().filter(|line| !line.bars.is_empty()).count();
        let mut bars: BTreeMap<u32, GroupBar> = BTreeMap::new();
        let one = 1.0 / judged.max(1) as f64;
        for (bar, came) in lines.iter().flat_map(|line| &line.bars) {
            let found = bars.entry(*bar).or_default();
            found.notes.resize(found.notes.len().max(came.len()), 0.0);
            found.share += if came.iter().any(|one| one.stumbled()) { one } else { 0.0 };
            for (note, _) in found.notes.iter_mut().zip(came).filter(|(_, came)| came.stumbled()) {
                *note += one;
            }
        }
        let mark = |line: &&Line| line.mark.as_ref()?.parse().ok().filter(|mark: &f64| mark.is_finite());
        Self { name, judged, bars, marks: lines.iter().filter_map(mark).collect() }
    }
}

/// One string of one instrument: a number for each student who was heard on it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StringPoints {
    /// The median of the finger's cents, the string's own tuning taken off.
    pub fingers: Vec<f64>,
    /// The open string's cents.
    pub open: Vec<f64>,
}

/// Everything that is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Overview {
    /// By melody, in the order in which the class list names them.
    pub blocks: Vec<Block>,
    /// Strings by instrument and number (0 the lowest), of those that were heard.
    pub strings: BTreeMap<(usize, usize), StringPoints>,
    /// Students, and how many of them have a mark.
    pub students: usize,
    /// Those with a mark.
    pub marked: usize,
    /// Those of whom somebody has to listen to something.
    pub open: usize,
    /// The highest mark that there is.
    pub highest: f64,
    /// Whether somebody is called by a chair because the font has no letters for the name.
    pub chairs_for_names: bool,
}

/// Whether the pictures have letters for what a student is called; where not, the chair stands there.
pub fn name_is_printable(result: &StudentResult) -> bool {
    !printable(&result.shown).1
}

/// The overview of results.
pub fn overview(results: &[StudentResult], rubric: &Rubric) -> Overview {
    let mut blocks: Vec<Block> = Vec::new();
    let mut strings: BTreeMap<(usize, usize), StringPoints> = BTreeMap::new();
    for result in results {
        let student = &result.student;
        let thresholds = rubric.thresholds_for(&student.level, &student.group);
        // Everything an octave away is one thing to know; as stumbles it would hide those of the others.
        let away = |report: &&Report| report.take.remarks.iter().any(|remark| remark.code == "octave-away");
        let report = result.drawn().and_then(ClassTake::judged).filter(|report| !away(report));
        let line = Line {
            // A name that the font of the picture has no letters for; the table of words has it.
            shown: if name_is_printable(result) { result.shown.clone() } else { student.label.clone() },
            group: student.group.clone(),
            mark: result.final_mark(),
            before: result.before,
            takes: result.takes.len(),
            bars: report.map_or_else(BTreeMap::new, |report| bars(report, thresholds)),
        };
        match blocks.iter_mut().find(|block| block.melody == result.melody) {
            Some(block) => block.lines.push(line),
            None => blocks.push(Block { melody: result.melody.clone(), lines: vec![line] }),
        }
        if let Some(report) = report {
            add_strings(report, &mut strings);
        }
    }
    Overview {
        blocks,
        strings,
        students: results.len(),
        marked: results.iter().filter(|result| result.final_mark().is_some()).count(),
        open: results.iter().filter(|result| result.open()).count(),
        highest: rubric.highest,
        chairs_for_names: !results.iter().all(name_is_printable),
    }
}

fn bars(report: &Report, thresholds: Thresholds) -> BTreeMap<u32, Vec<Came>> {
    let mut all: Vec<(usize, u32, Came)> = Vec::new();
    let (recorded, end) = (&recorded_part(report), end_of_playing(report));
    for (number, note) in report.notes.iter().enumerate() {
        let intonation = || intonation_of(report, note, &TextSettings::default());
        let off_pitch = || {
            intonation().is_some_and(|found| {
                let open = found.places.iter().any(|place| place.finger == 0);
                !open && found.steady && found.finger_cents.abs() > thresholds.in_tune_cents
            })
        };
        let in_time = thresholds.in_time_beats * felt_as_one(report);
        let off_beat = || note.onset_error_beats.is_some_and(|off| off.abs() > in_time);
        let came = match note.verdict {
            NoteVerdict::Unsure => Came::Unsure,
            NoteVerdict::Wrong | NoteVerdict::Missing if note.confidence < SURE => Came::Unsure,
            NoteVerdict::Wrong => Came::Wrong,
            NoteVerdict::Missing if one_long_bow(report, number, recorded) => Came::OffBeat,
            // The recording does not run yet, or is over: perhaps the recorder was late or stopped, not the player.
            NoteVerdict::Missing if !recorded.contains(&number) => Came::Unsure,
            NoteVerdict::Missing => Came::Missing,
            NoteVerdict::Right if off_beat() => Came::OffBeat,
            NoteVerdict::Right if off_pitch() => Came::OffPitch,
            // Where the beat was could not be told: somebody has to listen whether it began in time.
            NoteVerdict::Right if !note.onset_error_beats.is_some_and(f64::is_finite) => Came::Unsure,
            NoteVerdict::Right => Came::Well,
        };
        all.push((note.index, note.bar, came));
    }
    for rest in &report.rests {
        let came = match rest.verdict {
            // Nobody was playing any more.
            _ if end.is_some_and(|end| rest.index > end) => Came::Unsure,
            _ if rest_before_recording(report, rest.index) => Came::Unsure,
            _ if rest.only_assumed() => Came::Unmeasured,
            RestVerdict::Kept => Came::Well,
            RestVerdict::Unsure => Came::Unsure,
            _ if rest.confidence < SURE || holds_extra(report, rest) => Came::Unsure,
            _ => Came::RestLost,
        };
        all.push((rest.index, rest.bar, came));
    }
    all.sort_by_key(|(index, ..)| *index);
    let mut bars: BTreeMap<u32, Vec<Came>> = BTreeMap::new();
    for (_, bar, came) in all {
        bars.entry(bar).or_default().push(came);
    }
    bars
}

/// The instrument's place in [`Instrument::ALL`].
fn place_of(instrument: Instrument) -> usize {
    Instrument::ALL.iter().position(|one| *one == instrument).unwrap_or(0)
}

fn add_strings(report: &Report, strings: &mut BTreeMap<(usize, usize), StringPoints>) {
    let instrument = report.melody.instrument;
    let mut cents: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for note in &report.notes {
        let Some(found) = intonation_of(report, note, &TextSettings::default()) else { continue };
        // Only where first position has the note on one string, stopped, does it tell of that string.
        if let [place] = found.places[..]
            && place.finger > 0
            && found.steady
        {
            cents.entry(place.string).or_default().push(found.finger_cents);
        }
    }
    for (string, mut cents) in cents {
        let median = median(&mut cents);
        strings.entry((place_of(instrument), string)).or_default().fingers.push(median);
    }
    for tuning in &report.tuning.strings {
        if let Some(string) = instrument.string_names().iter().position(|name| *name == tuning.string) {
            strings.entry((place_of(instrument), string)).or_default().open.push(tuning.cents);
        }
    }
}

/// The median; sorts. 0 of nothing.
pub(super) fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        odd if odd % 2 == 1 => values[odd / 2],
        even => (values[even / 2 - 1] + values[even / 2]) / 2.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample_report::{off, report, unheard, wrong};

    #[test]
    fn each_note_and_rest_has_its_place_in_its_bar() {
        let mut report = report(Instrument::Violin, &["D4", "E4", "-", "B4", "E4", "E4", "E4", "E4"]);
        wrong(&mut report, 1, 1.0);
        report.rests[0].verdict = RestVerdict::Rushed;
        off(&mut report, 3, 30.0);
        unheard(&mut report, 4, NoteVerdict::Missing);
        unheard(&mut report, 5, NoteVerdict::Unsure);
        report.notes[5].onset_error_beats = Some(0.5);
        let bars = bars(&report, Thresholds::default());
        assert_eq!(bars[&1], [Came::Well, Came::Wrong, Came::RestLost, Came::OffPitch]);
        assert_eq!(bars[&2], [Came::Missing, Came::Unsure, Came::OffBeat, Came::Well]);
    }

    #[test]
    fn a_note_whose_beat_could_not_be_told_is_unsure_as_in_the_mark() {
        let mut report = report(Instrument::Violin, &["E4", "F#4", "B4", "E4"]);
        for number in [1, 2] {
            report.notes[number].onset_error_beats = None;
        }
        off(&mut report, 2, 30.0);
        let came = [Came::Well, Came::Unsure, Came::OffPitch, Came::Well];
        assert_eq!(bars(&report, Thresholds::default())[&1], came);
    }

    #[test]
    fn a_rest_that_nothing_measures_is_neither_well_nor_lost_nor_a_place_to_listen_to() {
        let mut report = report(Instrument::Violin, &["-", "E4", "-", "-"]);
        report.rests[0].played_beats = None;
        report.rests[2].played_beats = None;
        let came = bars(&report, Thresholds::default());
        assert_eq!(came[&1], [Came::Unmeasured, Came::Well, Came::Well, Came::Unmeasured]);
        assert!(!Came::Unmeasured.stumbled());
        // What was scored keeps its sign.
        report.rests[2].verdict = RestVerdict::Filled;
        assert_eq!(bars(&report, Thresholds::default())[&1][3], Came::RestLost);
    }

    #[test]
    fn what_comes_after_the_end_of_the_recording_is_unsure_as_in_the_mark() {
        let mut report = report(Instrument::Violin, &["E4", "F#4", "B4", "E4", "F#4", "-", "B4", "-"]);
        for index in [4, 6] {
            unheard(&mut report, index, NoteVerdict::Missing);
        }
        report.rests[0].verdict = RestVerdict::Filled;
        report.take.duration_s = 4.0 * 0.75;
        assert_eq!(bars(&report, Thresholds::default())[&2], [Came::Unsure; 4]);
        // Where the recording goes on, the notes are missing and nobody was playing when the rests came.
        report.take.duration_s += 4.0;
        let came = [Came::Missing, Came::Unsure, Came::Missing, Came::Unsure];
        assert_eq!(bars(&report, Thresholds::default())[&2], came);
    }

    #[test]
    fn a_note_is_late_by_a_quarter_of_a_dotted_beat_where_that_is_the_beat() {
        let mut report = report(Instrument::Violin, &["E4", "E4", "E4", "E4"]);
        for (note, off) in report.notes.iter_mut().zip([0.3, 0.7, 0.8, -0.8]) {
            note.onset_error_beats = Some(off);
        }
        assert_eq!(bars(&report, Thresholds::default())[&1], [Came::OffBeat; 4]);
        report.melody.beats_felt_as_one = 3;
        let came = [Came::Well, Came::Well, Came::OffBeat, Came::OffBeat];
        assert_eq!(bars(&report, Thresholds::default())[&1], came);
    }

    #[test]
    fn a_string_has_one_point_for_each_student() {
        let mut report = report(Instrument::Violin, &["F#4", "F#4", "B4"]);
        off(&mut report, 0, 10.0);
        off(&mut report, 1, 20.0);
        let mut strings = BTreeMap::new();
        add_strings(&report, &mut strings);
        assert_eq!(strings[&(0, 1)].fingers, [15.0]);
        assert_eq!(strings[&(0, 2)].fingers, [0.0]);
    }
}
