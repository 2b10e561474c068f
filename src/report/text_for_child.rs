//! The report as words for a child: what went well, one thing to fix first, then the rest.
//!
//! No marks and no totals. What the program is not sure of is said as that and never held against the
//! player; a slack string is told apart from a finger.

use super::intonation::{self, GOOD_STRING_CENTS, RETUNE_CENTS};
use super::recorded_part::rest_before_recording;
use super::things_to_fix::{Thing, end_of_playing, place_of, things_to_fix, whole_octave};
use super::tuning::what_to_tune;
use super::{TextSettings, refused, words};
use crate::findings::{NoteVerdict, Outcome, Report, RestVerdict, RestartFinding};
use std::collections::BTreeSet;

/// How many things are listed after the first; the others are in the teacher's report.
const LISTED: usize = 6;

/// The heading over [`NOTHING_TO_FIX`].
pub const AND_NOW: &str = "And now";

/// Where there is nothing to fix.
pub const NOTHING_TO_FIX: &str = "I found nothing to fix. Play it to somebody!";

/// Remarks that ask nothing of a player: they are in the teacher's report and in the JSON.
const NOT_FOR_THE_PLAYER: [&str; 2] = ["dc-offset", "unfinished-header"];

/// Some sentences for the player under one heading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChildSection {
    /// What they are about.
    pub about: About,
    /// The sentences; at least one.
    pub lines: Vec<String>,
}

/// What sentences for the player are about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum About {
    NotJudged,
    WentWell,
    FixFirst,
    BeforeYouPlay,
    AfterThat,
    ListenHere,
    CouldNotTell,
    Also,
    GoodToKnow,
}

impl About {
    /// The heading.
    pub fn heading(self) -> &'static str {
        match self {
            Self::NotJudged => "Not judged",
            Self::WentWell => "What went well",
            Self::FixFirst => "Fix this first",
            Self::BeforeYouPlay => "Before you play again",
            Self::AfterThat => "After that",
            Self::ListenHere => "Listen here",
            Self::CouldNotTell => "What I could not tell",
            Self::Also => "Also",
            Self::GoodToKnow => "Good to know",
        }
    }
}

/// The report for the player. Plain sentences, wrapped by whoever prints them; ends with a line feed.
pub fn for_child(report: &Report, settings: &TextSettings) -> String {
    let mut text = settings.heading(&title(report));
    let sections = child_sections(report, settings);
    let nothing = nothing_to_fix(&sections);
    for section in sections {
        text.push('\n');
        text.push_str(&settings.heading(section.about.heading()));
        for line in section.lines {
            text.push_str(&wrapped(&line));
        }
    }
    if nothing {
        text.push('\n');
        text.push_str(&settings.heading(AND_NOW));
        text.push_str(&wrapped(NOTHING_TO_FIX));
    }
    text
}

/// Whether these sections ask nothing of the player, so that [`NOTHING_TO_FIX`] is true.
pub fn nothing_to_fix(sections: &[ChildSection]) -> bool {
    sections.iter().all(|section| matches!(section.about, About::WentWell | About::Also | About::GoodToKnow))
}

/// The sentences for the player, section by section in the order of reading; sections without a sentence are left out.
pub fn child_sections(report: &Report, settings: &TextSettings) -> Vec<ChildSection> {
    let recording = (About::GoodToKnow, good_to_know(report));
    let sections = match refused::why_and_what_to_do(report) {
        Some((why, what_to_do)) => {
            vec![(About::NotJudged, vec![why.to_owned(), what_to_do.to_owned()]), recording]
        }
        None => {
            let things = things_to_fix(report, settings);
            let to_tune = what_to_tune(report);
            // A finger cannot be put right on a string that is not.
            let heaviest = heaviest(&things);
            let strings_first =
                to_tune.strings && !to_tune.lines.is_empty() && heaviest.is_none_or(|at| things[at].finger);
            let first = heaviest.filter(|_| !strings_first);
            let (fix_first, before) = match (strings_first, first) {
                (true, _) => (to_tune.lines, Vec::new()),
                (false, first) => {
                    (first.map(|at| things[at].text.clone()).into_iter().collect(), to_tune.lines)
                }
            };
            vec![
                (About::WentWell, went_well(report, settings)),
                (About::FixFirst, fix_first),
                (About::BeforeYouPlay, before),
                (About::AfterThat, others(&things, first)),
                (About::ListenHere, questions(&things)),
                (About::CouldNotTell, unsure(report)),
                (About::Also, also(report)),
                recording,
            ]
        }
    };
    let sections = sections.into_iter().filter(|(_, lines)| !lines.is_empty());
    sections.map(|(about, lines)| ChildSection { about, lines }).collect()
}

/// The remarks that a player can use, each said only once.
fn good_to_know(report: &Report) -> Vec<String> {
    let said = |code: &str| {
        NOT_FOR_THE_PLAYER.contains(&code)
            || (report.outcome != Outcome::Judged && refused::SAME_AS_OUTCOME.contains(&code))
            || (code == "octave-away" && whole_octave(report) != 0)
    };
    let mut lines: Vec<String> = Vec::new();
    for remark in report.take.remarks.iter().filter(|remark| !said(&remark.code)) {
        let line = words::harmless(&remark.text);
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines
}

fn title(report: &Report) -> String {
    let name = words::harmless(&report.melody.title);
    format!("{name} ({})", report.melody.instrument)
}

/// The heaviest thing that is not a question, the earlier of two alike.
fn heaviest(things: &[Thing]) -> Option<usize> {
    let sure = (0..things.len()).rev().filter(|at| !things[*at].question);
    sure.max_by(|&a, &b| things[a].weight.total_cmp(&things[b].weight))
}

fn others(things: &[Thing], first: Option<usize>) -> Vec<String> {
    let sure = (0..things.len()).filter(|at| Some(*at) != first && !things[*at].question);
    let mut rest: Vec<String> = sure.map(|at| things[at].text.clone()).collect();
    if rest.len() > LISTED {
        let more = rest.len() - (LISTED - 1);
        rest.truncate(LISTED - 1);
        rest.push(format!("And {more} more things. One at a time is enough."));
    }
    rest
}

/// What the player's own ears have to settle.
fn questions(things: &[Thing]) -> Vec<String> {
    let questions = things.iter().filter(|thing| thing.question);
    let mut lines: Vec<String> = questions.map(|thing| thing.text.clone()).collect();
    if lines.len() > LISTED {
        let more = lines.len() - (LISTED - 1);
        lines.truncate(LISTED - 1);
        lines.push(format!("And {more} more places; these are enough to listen to."));
    }
    lines
}

fn went_well(report: &Report, settings: &TextSettings) -> Vec<String> {
    let mut lines = Vec::new();
    let good = good_bars(report);
    let all = report.notes.iter().all(|note| note.verdict == NoteVerdict::Right);
    if all && report.notes.len() == 1 {
        lines.push("The note was the one on the sheet.".to_owned());
    } else if all && !report.notes.is_empty() {
        lines.push("Every note was the one on the sheet.".to_owned());
    } else if !good.is_empty() {
        let bars = words::sentence(&words::bars(&good));
        lines.push(format!("{bars}: every note was the one on the sheet."));
    } else if let Some(run) = longest_run(report) {
        lines.push(run);
    }
    let kept: Vec<_> = report
        .rests
        .iter()
        .filter(|rest| rest.verdict == RestVerdict::Kept && !rest.only_assumed())
        .collect();
    if !kept.is_empty() {
        let mut bars: Vec<u32> = kept.iter().map(|rest| rest.bar).collect();
        bars.sort_unstable();
        bars.dedup();
        let rests = if kept.len() == 1 { "the rest" } else { "the rests" };
        lines.push(format!("You kept {rests} in {}.", words::bars(&bars)));
    }
    let measured: Vec<f64> = report
        .notes
        .iter()
        .filter_map(|note| intonation::of(report, note, settings))
        .filter(|found| !found.open_only())
        .map(|found| found.finger_cents.abs())
        .collect();
    let close = measured.iter().filter(|cents| **cents <= intonation::IN_TUNE_CENTS).count();
    if measured.len() >= 4 && close == measured.len() {
        lines.push("Every finger that I could measure was close to its pitch.".to_owned());
    } else if measured.len() >= 4 && close * 4 >= measured.len() * 3 {
        lines.push("Most of your fingers were close to the pitch.".to_owned());
    }
    if report.notes.len() >= 8 && report.tempo.drift_percent.is_some_and(|drift| drift.abs() <= 5.0) {
        lines.push("Your beat stayed steady.".to_owned());
    }
    if lines.is_empty() {
        lines.push(
            "You played it and recorded it: that is how it gets better. Now listen to it once.".to_owned(),
        );
    }
    lines
}

/// Bars in which every note was right, in order.
fn good_bars(report: &Report) -> Vec<u32> {
    let mut bars: Vec<(u32, bool)> = Vec::new();
    for note in &report.notes {
        let right = note.verdict == NoteVerdict::Right;
        match bars.iter_mut().find(|(bar, _)| *bar == note.bar) {
            Some((_, good)) => *good &= right,
            None => bars.push((note.bar, right)),
        }
    }
    bars.sort_unstable();
    bars.into_iter().filter_map(|(bar, good)| good.then_some(bar)).collect()
}

/// The longest run of right notes, of two or more.
fn longest_run(report: &Report) -> Option<String> {
    let run = report
        .notes
        .chunk_by(|a, b| a.verdict == b.verdict)
        .filter(|run| run[0].verdict == NoteVerdict::Right)
        .rev()
        .max_by_key(|run| run.len())?;
    let (first, last) = (&run[0], &run[run.len() - 1]);
    if run.len() == 1 {
        return Some(format!("{}: the note was the one on the sheet.", words::place(first.bar, first.beat)));
    }
    Some(format!(
        "{}: every note was the one on the sheet.",
        words::from_place_to((first.bar, first.beat), (last.bar, last.beat))
    ))
}

fn unsure(report: &Report) -> Vec<String> {
    // Of rests after the last note that was played nothing can be told, and nothing need be; nor of those before a
    // recording that began late.
    let end = end_of_playing(report).unwrap_or(usize::MAX);
    let notes: Vec<_> = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Unsure).collect();
    let rests: Vec<_> = report
        .rests
        .iter()
        .filter(|rest| rest.verdict == RestVerdict::Unsure && rest.index < end)
        .filter(|rest| !rest_before_recording(report, rest.index))
        .collect();
    let named =
        notes.iter().map(|n| format!("{} ({})", words::place(n.bar, n.beat), words::pitch(&n.written)));
    let the_rests = rests.iter().map(|r| format!("{} (the rest)", words::place(r.bar, r.beat)));
    let places: Vec<String> = named.chain(the_rests).collect();
    match places.as_slice() {
        [] => Vec::new(),
        [one] => {
            vec![format!("{one}: I could not tell whether it was right. It does not count against you.")]
        }
        some if some.len() <= LISTED => vec![format!(
            "{}: I could not tell whether these were right. They do not count against you.",
            some.join("; ")
        )],
        some => {
            let bars: BTreeSet<u32> =
                notes.iter().map(|note| note.bar).chain(rests.iter().map(|rest| rest.bar)).collect();
            vec![format!(
                "There are {} {} in {} of which I could not tell whether they were right. They do not count \
                 against you.",
                some.len(),
                if rests.is_empty() { "notes" } else { "notes and rests" },
                words::bars(&bars.into_iter().collect::<Vec<_>>())
            )]
        }
    }
}

fn also(report: &Report) -> Vec<String> {
    let mut lines = Vec::new();
    // Nobody stopped who came to the end of the melody and played it once more.
    let last = report.notes.iter().map(|note| note.index).max();
    let first = report.notes.iter().map(|note| note.index).min();
    let whole = |restart: &&RestartFinding| {
        last.is_some_and(|last| restart.left_at_index >= last)
            && first.is_some_and(|first| restart.resumed_at_index <= first)
    };
    match report.restarts.iter().filter(whole).count() {
        0 => {}
        1 => lines.push(
            "You came to the end of the melody and played it again from the beginning. I judged what you played last."
                .to_owned(),
        ),
        many => lines.push(format!(
            "You came to the end of the melody and began again {many} times. I judged what you played last."
        )),
    }
    for restart in report.restarts.iter().filter(|restart| !whole(restart)) {
        let left = place_of(report, restart.left_at_index);
        let resumed = place_of(report, restart.resumed_at_index);
        if let (Some(left), Some(resumed)) = (left, resumed) {
            lines.push(format!(
                "You stopped after {} and went back to {}. From there on I judged what you played last.",
                words::in_sentence(&left),
                words::in_sentence(&resumed)
            ));
        }
    }
    let tempo = &report.tempo;
    if let (Some(set), Some(played)) = (tempo.set_bpm, tempo.played_bpm)
        && (played / set - 1.0).abs() > 0.08
    {
        let way = if played < set { "slower" } else { "faster" };
        lines.push(format!(
            "You played about {played:.0} beats a minute; {set:.0} was set. I followed your own beat: {way} is no mistake."
        ));
    }
    for string in &report.tuning.strings {
        if (GOOD_STRING_CENTS..=RETUNE_CENTS).contains(&string.cents.abs()) {
            lines.push(format!(
                "The {} string is a little {} ({:.0} cents); have it tuned soon.",
                words::harmless(&string.string),
                words::low_or_high(string.cents),
                string.cents.abs()
            ));
        }
    }
    lines
}

/// A sentence as lines of at most 78 columns, indented by two.
pub(super) fn wrapped(line: &str) -> String {
    let mut out = String::new();
    let mut column = 0;
    for word in line.split_whitespace() {
        let width = word.chars().count();
        if column > 0 && column + 1 + width > 78 {
            out.push('\n');
            column = 0;
        }
        if column == 0 {
            let indent = if out.is_empty() { "  " } else { "    " };
            out.push_str(indent);
            column = indent.len();
        } else {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += width;
    }
    out.push('\n');
    out
}
