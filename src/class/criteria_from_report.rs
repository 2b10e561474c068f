//! One report becomes the four parts of a mark: pitch, rhythm, rests and intonation, each note that was not good told,
//! and what is unsure left to a listener.

use super::rubric::{Criterion, Thresholds};
use crate::findings::{NoteFinding, NoteVerdict, Report, RestFinding, RestVerdict};
use crate::report::{
    PitchOff, TextSettings, end_of_playing, intonation_of, no_new_bow, pitch_off, rest_before_recording,
    words,
};
use serde::Serialize;
use std::ops::Range;

/// A wrong or missing note, or a rest that was not kept, that is less sure than this is listened to and not counted
/// (made takes with known truth: below it 11 of 18 wrong and missing notes were true, above it 47 of 48).
pub(super) const SURE: f64 = 0.75;

/// A place to listen to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ListenPlace {
    /// Seconds from the start of the take; `None` for the whole take.
    pub time_s: Option<f64>,
    /// What is unsure there, with its place in the melody.
    pub what: String,
}

/// What one criterion came to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CriterionMark {
    /// Which one.
    pub criterion: Criterion,
    /// Its weight in the rubric.
    pub weight: f64,
    /// So many notes or rests were good ...
    pub good: usize,
    /// ... of so many that could be judged. With 0 the criterion does not count.
    pub counted: usize,
    /// How that is, and each note that was not good.
    pub sentences: Vec<String>,
}

impl CriterionMark {
    /// The good part of what was counted, 0 to 1; `None` where nothing was.
    pub fn share(&self) -> Option<f64> {
        (self.counted > 0).then(|| self.good as f64 / self.counted as f64)
    }
}

/// `0:07.4`, from seconds.
pub fn clock(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

/// Whether it is sure that a note was not played: then it earns nothing anywhere.
fn left_out(report: &Report, at: usize, recorded: &Range<usize>) -> bool {
    let note = &report.notes[at];
    note.verdict == NoteVerdict::Missing
        && note.confidence >= SURE
        && recorded.contains(&at)
        && !one_long_bow(report, at, recorded)
}

/// Whether it is sure that two equal notes were played on one bow: the recording went on, and held no new onset.
pub(super) fn one_long_bow(report: &Report, at: usize, recorded: &Range<usize>) -> bool {
    no_new_bow(report, at) && report.notes[at].confidence >= SURE && recorded.contains(&at)
}

/// Whether it is unsure that a note was played at all.
fn perhaps_left_out(report: &Report, at: usize, recorded: &Range<usize>) -> bool {
    match report.notes[at].verdict {
        NoteVerdict::Unsure => true,
        NoteVerdict::Missing => !left_out(report, at, recorded) && !one_long_bow(report, at, recorded),
        NoteVerdict::Right | NoteVerdict::Wrong => false,
    }
}

/// A number above a limit with so many decimals, or with as many more as show that it is above: 20.4 is not within 20.
fn beyond(number: f64, limit: f64, decimals: usize) -> String {
    let above = |text: &String| text.parse().is_ok_and(|shown: f64| shown > limit);
    let mut tries = (decimals..decimals + 4).map(|decimals| format!("{number:.decimals$}"));
    tries.clone().find(above).or_else(|| tries.next_back()).unwrap_or_default()
}

fn left_out_too(count: usize) -> Option<String> {
    (count > 0).then(|| {
        let (verb, earns) = if count == 1 { ("was", "it earns") } else { ("were", "they earn") };
        format!("{} {verb} not played; {earns} nothing here either.", words::count(count, "note", "notes"))
    })
}

/// When a note sounded, or when the one before it did.
fn about_when(report: &Report, at: usize) -> Option<f64> {
    report.notes[..=at].iter().rev().find_map(|note| note.onset_s)
}

/// When the event at an index of the melody was to come: the last onset before it.
fn before_event(report: &Report, index: usize) -> Option<f64> {
    report.notes.iter().rev().filter(|note| note.index <= index).find_map(|note| note.onset_s)
}

fn at(time: Option<f64>) -> String {
    time.map_or(String::new(), |time| format!(" ({})", clock(time)))
}

pub(super) fn pitch(
    report: &Report,
    recorded: &Range<usize>,
    listen: &mut Vec<ListenPlace>,
) -> (CriterionMark, usize) {
    let (mut good, mut counted, mut unsure) = (0, 0, 0);
    let mut told = Vec::new();
    for (number, note) in report.notes.iter().enumerate() {
        let place = words::place(note.bar, note.beat);
        let when = about_when(report, number);
        let name = words::pitch(&note.written);
        let recordable = recorded.contains(&number);
        let doubt = match note.verdict {
            NoteVerdict::Right => {
                good += 1;
                counted += 1;
                continue;
            }
            NoteVerdict::Missing if one_long_bow(report, number, recorded) => {
                told.push(format!(
                    "{place}: {name} is written again; one long {name} was heard (see rhythm)."
                ));
                continue;
            }
            NoteVerdict::Unsure => {
                Some(format!("{place}: {name} is written; the recording does not settle what was played."))
            }
            NoteVerdict::Missing if number < recorded.start && number == 0 => {
                Some(format!("{place}: the recording begins only after this {name}. Was it played?"))
            }
            NoteVerdict::Missing if number == recorded.end => {
                Some(format!("{place}: the recording is over before this {name}. Was it played?"))
            }
            // One place to listen to stands for all that are not on the recording.
            NoteVerdict::Missing if !recordable => {
                unsure += 1;
                continue;
            }
            NoteVerdict::Wrong if note.confidence < SURE => {
                Some(format!("{place}: {name} is written; perhaps {} was played.", played(report, note)))
            }
            NoteVerdict::Missing if note.confidence < SURE => {
                Some(format!("{place}: {name} is written; perhaps it was not played."))
            }
            _ => None,
        };
        if let Some(what) = doubt {
            unsure += 1;
            listen.push(ListenPlace { time_s: Some(when.unwrap_or(0.0)), what });
            continue;
        }
        counted += 1;
        told.push(match note.verdict {
            NoteVerdict::Missing => {
                format!("{place}: {name} was not played{}.", at(when).replace(" (", " (after "))
            }
            _ => format!(
                "{place}: {} was played for {}{}.",
                played(report, note),
                written(report, note),
                at(when)
            ),
        });
    }
    let mut sentences =
        vec![format!("{good} of {} had the written pitch.", words::count(counted, "note", "notes"))];
    sentences.extend(told);
    if unsure > 0 {
        sentences.push(format!("{} not counted: unsure.", words::count(unsure, "note is", "notes are")));
    }
    (CriterionMark { criterion: Criterion::Pitch, weight: 0.0, good, counted, sentences }, unsure)
}

fn played(report: &Report, note: &NoteFinding) -> String {
    match pitch_off(report, note, 0) {
        None => "another pitch".to_owned(),
        Some(PitchOff { semitones: 0, .. }) => {
            format!("something too far from {}", words::pitch(&note.written))
        }
        Some(PitchOff { semitones: off, toward: 0 }) => {
            words::played_and_written(&words::names(report), &note.written, off).0
        }
        Some(PitchOff { semitones: off, toward }) => {
            let name = |off: i32| match off {
                0 => words::pitch(&note.written),
                off => words::played_and_written(&words::names(report), &note.written, off).0,
            };
            format!("a note between {} and {}", name(off), name(off + toward))
        }
    }
}

fn written(report: &Report, note: &NoteFinding) -> String {
    match pitch_off(report, note, 0) {
        Some(PitchOff { semitones: 0, .. }) => "it".to_owned(),
        Some(PitchOff { semitones, toward: 0 }) => {
            words::played_and_written(&words::names(report), &note.written, semitones).1
        }
        _ => words::pitch(&note.written),
    }
}

/// So many beats of the report are felt as one: a note is as late in 6/8 as in 2/4.
pub(super) fn felt_as_one(report: &Report) -> f64 {
    f64::from(report.melody.beats_felt_as_one.max(1))
}

/// The mark for rhythm, and the notes that were heard where the player's beat could not be told: after a stop or a rest
/// of another length.
pub(super) fn rhythm(
    report: &Report,
    recorded: &Range<usize>,
    thresholds: Thresholds,
) -> (CriterionMark, Vec<ListenPlace>) {
    let (mut good, mut counted, mut silent) = (0, 0, 0);
    let (mut told, mut no_beat) = (Vec::new(), Vec::new());
    let beats = if felt_as_one(report) > 1.0 { "dotted beats" } else { "beats" };
    for (number, note) in report.notes.iter().enumerate() {
        if one_long_bow(report, number, recorded) {
            counted += 1;
            let (place, name) = (words::place(note.bar, note.beat), words::pitch(&note.written));
            told.push(format!("{place}: no new bow was heard for the second {name}."));
        }
        if left_out(report, number, recorded) {
            counted += 1;
            silent += 1;
        }
        let heard = note.verdict == NoteVerdict::Right
            || (note.verdict == NoteVerdict::Wrong && note.confidence >= SURE);
        if !heard {
            continue;
        }
        let Some(off) = note.onset_error_beats.filter(|off| off.is_finite()) else {
            let (place, name) = (words::place(note.bar, note.beat), words::pitch(&note.written));
            no_beat.push(ListenPlace {
                time_s: Some(about_when(report, number).unwrap_or(0.0)),
                what: format!("{place}: where the beat was could not be told. Did {name} begin in time?"),
            });
            continue;
        };
        counted += 1;
        let off = off / felt_as_one(report);
        if off.abs() <= thresholds.in_time_beats {
            good += 1;
            continue;
        }
        let way = if off > 0.0 { "late" } else { "early" };
        told.push(format!(
            "{}: {} {beats} {way}{}.",
            words::place(note.bar, note.beat),
            beyond(off.abs(), thresholds.in_time_beats, 2),
            at(note.onset_s)
        ));
    }
    told.extend(left_out_too(silent));
    let first = format!(
        "{good} of {} began in time: within {} {beats} of the player's own steady beat.",
        words::count(counted, "note", "notes"),
        thresholds.in_time_beats
    );
    let mut mark = criterion(Criterion::Rhythm, good, counted, first, told);
    if !no_beat.is_empty() {
        mark.sentences.push(format!(
            "{} not counted: where the beat was could not be told.",
            words::count(no_beat.len(), "note is", "notes are")
        ));
    }
    (mark, no_beat)
}

fn criterion(
    criterion: Criterion,
    good: usize,
    counted: usize,
    first: String,
    told: Vec<String>,
) -> CriterionMark {
    let first = if counted > 0 { first } else { "Nothing to judge here; it does not count.".to_owned() };
    let sentences = std::iter::once(first).chain(told).collect();
    CriterionMark { criterion, weight: 0.0, good, counted, sentences }
}

pub(super) fn rests(report: &Report, listen: &mut Vec<ListenPlace>) -> (CriterionMark, usize) {
    let (mut good, mut counted, mut unsure, mut unmeasured) = (0, 0, 0, 0);
    let mut told = Vec::new();
    let end = end_of_playing(report);
    for rest in &report.rests {
        if end.is_some_and(|end| rest.index > end) || rest_before_recording(report, rest.index) {
            // Nobody was playing any more, or the recording did not run yet.
            continue;
        }
        if rest.only_assumed() {
            unmeasured += 1;
            continue;
        }
        let place = words::place(rest.bar, rest.beat);
        let when = before_event(report, rest.index);
        let length = words::beats(rest.written_beats);
        if rest.verdict == RestVerdict::Kept {
            good += 1;
            counted += 1;
            continue;
        }
        if rest.verdict == RestVerdict::Unsure || rest.confidence < SURE || holds_extra(report, rest) {
            unsure += 1;
            let what = match rest.verdict {
                RestVerdict::Unsure => format!("{place}: whether the rest of {length} was kept."),
                _ => format!("{place}: the rest of {length} was perhaps {}.", fault(rest)),
            };
            listen.push(ListenPlace { time_s: Some(when.unwrap_or(0.0)), what });
            continue;
        }
        counted += 1;
        let given = rest.played_beats.map(words::beats).filter(|given| *given != length);
        let what = match (rest.verdict, given) {
            (RestVerdict::Filled, _) => format!("the string kept sounding through the rest of {length}"),
            (_, Some(given)) => format!("the rest was {}, {given} instead of {length}", fault(rest)),
            (_, None) => format!("the rest of {length} was {}", fault(rest)),
        };
        told.push(format!("{place}: {what}{}.", at(when).replace(" (", " (after ")));
    }
    let first = format!("{good} of {} kept.", words::count(counted, "rest", "rests"));
    let mut mark = criterion(Criterion::Rests, good, counted, first, told);
    if unsure > 0 {
        mark.sentences.push(format!("{} not counted: unsure.", words::count(unsure, "rest is", "rests are")));
    }
    if unmeasured > 0 {
        mark.sentences.push(format!(
            "{} not counted: at the beginning or the end of the melody a rest cannot be measured.",
            words::count(unmeasured, "rest is", "rests are")
        ));
    }
    (mark, unsure)
}

fn fault(rest: &RestFinding) -> &'static str {
    match rest.verdict {
        RestVerdict::Rushed => "cut short",
        RestVerdict::Stretched => "too long",
        RestVerdict::Filled => "filled with sound",
        RestVerdict::Kept | RestVerdict::Unsure => "kept",
    }
}

/// A note that is not on the sheet fills the rest; one in five of these was not played, so it is for a listener.
pub(super) fn holds_extra(report: &Report, rest: &RestFinding) -> bool {
    rest.verdict == RestVerdict::Filled
        && report.extra.iter().any(|extra| extra.after_index.is_some_and(|index| index + 1 == rest.index))
}

/// The mark for intonation, and how many stopped notes were perhaps left out: they would earn nothing here either.
pub(super) fn intonation(
    report: &Report,
    recorded: &Range<usize>,
    thresholds: Thresholds,
) -> (CriterionMark, usize) {
    let (mut good, mut counted, mut silent, mut unsure) = (0, 0, 0, 0);
    let mut told = Vec::new();
    let open = report.melody.instrument.open_strings();
    for (number, note) in report.notes.iter().enumerate() {
        let may_be_open = open.contains(&note.written_midi);
        if left_out(report, number, recorded) && !may_be_open {
            counted += 1;
            silent += 1;
        }
        unsure += usize::from(perhaps_left_out(report, number, recorded) && !may_be_open);
        let Some(found) = intonation_of(report, note, &TextSettings::default()) else { continue };
        // What may be an open string says nothing about a finger.
        if found.places.iter().any(|place| place.finger == 0) || !found.steady {
            continue;
        }
        counted += 1;
        if found.finger_cents.abs() <= thresholds.in_tune_cents {
            good += 1;
            continue;
        }
        let way = words::low_or_high(found.finger_cents);
        told.push(format!(
            "{}: {} was {} cents {way}{}.",
            words::place(note.bar, note.beat),
            words::pitch(&note.written),
            beyond(found.finger_cents.abs(), thresholds.in_tune_cents, 0),
            at(note.onset_s)
        ));
    }
    told.extend(left_out_too(silent));
    let first = format!(
        "{good} of {} within {} cents, after allowing for how the strings were tuned.",
        words::count(counted, "stopped note", "stopped notes"),
        thresholds.in_tune_cents
    );
    (criterion(Criterion::Intonation, good, counted, first, told), unsure)
}
