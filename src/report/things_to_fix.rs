//! What differs from the sheet, each as a thing to do, weighed so that one can come first.
//!
//! The order of weights: wrong notes (the same one again and again first), notes that were not played,
//! one bow where the sheet has two notes, rests, fingers off the pitch, extra notes, a beat that ran
//! away. `unsure` is never here.

use super::intonation::{self, CLEARLY_OFF_CENTS, IN_TUNE_CENTS, Intonation};
use super::{TextSettings, fingers, words};
use crate::findings::{NoteFinding, NoteVerdict, Report, RestFinding, RestVerdict};

/// A tempo that changes by more than this from the first note to the last is worth a word. Common
/// practice for beginners; the just noticeable change is 3 to 4 percent (Drake & Botte,
/// *Perception & Psychophysics* 1993).
const DRIFT_PERCENT: f64 = 10.0;

/// A played pitch that is further than this from the nearest note, in semitones, has no name of its own.
const BETWEEN_SEMITONES: f64 = 0.35;

/// A verdict that is less sure than this is not built upon.
const SURE: f64 = 0.8;

/// So many extra notes in a row are named; of more, only their number is said.
const NAMED: usize = 4;

/// One thing to fix.
#[derive(Debug, Clone, PartialEq)]
pub struct Thing {
    /// Which one comes first: the heaviest.
    pub weight: f64,
    /// The event it begins at, for telling in playing order.
    pub index: usize,
    /// The words.
    pub text: String,
}

/// Everything to fix, in playing order.
pub fn things_to_fix(report: &Report, settings: &TextSettings) -> Vec<Thing> {
    let mut things = wrong_notes(report);
    things.extend(missing_notes(report));
    things.extend(report.rests.iter().filter_map(rest));
    things.extend(report.notes.iter().filter_map(|note| finger(report, note, settings)));
    things.extend(extra_notes(report));
    things.extend(drift(report));
    things.sort_by_key(|thing| thing.index);
    things
}

/// The place of an event in words.
pub fn place_of(report: &Report, index: usize) -> Option<String> {
    let note = report.notes.iter().find(|note| note.index == index).map(|note| (note.bar, note.beat));
    let rest = || report.rests.iter().find(|rest| rest.index == index).map(|rest| (rest.bar, rest.beat));
    note.or_else(rest).map(|(bar, beat)| words::place(bar, beat))
}

fn in_sentence(place: &str) -> String {
    let mut letters = place.chars();
    letters.next().map_or(String::new(), |first| first.to_lowercase().chain(letters).collect())
}

/// How far a played pitch is from the written one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Off {
    /// To the nearest semitone.
    semitones: i32,
    /// 0 where that is the note that was meant; ±1 where the pitch lies between it and that neighbour.
    toward: i32,
}

/// How far the played pitch is from the written one after the tuning of the whole instrument.
fn off(report: &Report, note: &NoteFinding) -> Option<Off> {
    let played = note.played_midi? - report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    // No string reaches further than 10 octaves.
    let off = (played - f64::from(note.written_midi)).clamp(-120.0, 120.0);
    let rest = off - off.round();
    let toward = if rest.abs() > BETWEEN_SEMITONES { rest.signum() as i32 } else { 0 };
    Some(Off { semitones: off.round() as i32, toward })
}

/// The same wrong note for the same written one, wherever it came.
struct SameMistake<'a> {
    first: &'a NoteFinding,
    off: Option<Off>,
    again: Vec<String>,
}

fn wrong_notes(report: &Report) -> Vec<Thing> {
    let mut mistakes: Vec<SameMistake> = Vec::new();
    for note in report.notes.iter().filter(|note| note.verdict == NoteVerdict::Wrong) {
        let off = off(report, note);
        match mistakes.iter_mut().find(|one| one.first.written == note.written && one.off == off) {
            Some(one) => one.again.push(in_sentence(&words::place(note.bar, note.beat))),
            None => mistakes.push(SameMistake { first: note, off, again: Vec::new() }),
        }
    }
    if let Some(thing) = whole_octave(report, &mistakes) {
        return vec![thing];
    }
    let thing = |one: &SameMistake| {
        let note = one.first;
        let mut text =
            format!("{}: {}", words::place(note.bar, note.beat), wrong_note(report, note, one.off));
        if !one.again.is_empty() {
            text.push_str(&format!(" The same in {}.", words::list(&one.again)));
        }
        Thing { weight: 100.0 + one.again.len() as f64, index: note.index, text }
    };
    mistakes.iter().map(thing).collect()
}

/// Everything an octave away is one thing to know, not a mistake for each note.
fn whole_octave(report: &Report, mistakes: &[SameMistake]) -> Option<Thing> {
    let octaves = mistakes.first()?.off?.semitones;
    let all = octaves != 0
        && octaves % 12 == 0
        && mistakes.iter().all(|one| one.off == Some(Off { semitones: octaves, toward: 0 }))
        && report.notes.iter().all(|note| note.verdict != NoteVerdict::Right);
    let way = if octaves > 0 { "higher" } else { "lower" };
    let far =
        if octaves.abs() == 12 { "an octave".to_owned() } else { format!("{} octaves", octaves.abs() / 12) };
    all.then(|| Thing {
        weight: 200.0,
        index: 0,
        text: format!(
            "Everything sounds {far} {way} than the sheet for {}. Is it the right sheet, and the right instrument?",
            report.melody.instrument
        ),
    })
}

fn wrong_note(report: &Report, note: &NoteFinding, off: Option<Off>) -> String {
    let sheet = words::pitch(&note.written);
    match off {
        None => format!("you played another note; the sheet has {sheet}."),
        Some(Off { semitones: 0, .. }) => {
            format!("your note was too far from {sheet}, which is on the sheet, to count as it.")
        }
        Some(Off { semitones, toward: 0 }) => {
            let (played, sheet) = words::played_and_written(&note.written, semitones);
            let sounding = note.written_midi.saturating_add(semitones);
            let hand = fingers::advice(report.melody.instrument, &sheet, note.written_midi, sounding)
                .map_or(String::new(), |advice| format!(" {advice}"));
            format!("you played {played}; the sheet has {sheet}.{hand}")
        }
        Some(Off { semitones, toward }) => {
            let (near, _) = words::played_and_written(&note.written, semitones);
            let far = match semitones + toward {
                0 => sheet.clone(),
                far => words::played_and_written(&note.written, far).0,
            };
            format!("you played a note between {near} and {far}; the sheet has {sheet}.")
        }
    }
}

fn missing_notes(report: &Report) -> Vec<Thing> {
    let mut things = Vec::new();
    let mut at = 0;
    while at < report.notes.len() {
        let run = report.notes[at..].iter().take_while(|note| note.verdict == NoteVerdict::Missing).count();
        if run == 0 {
            at += 1;
            continue;
        }
        let before = at.checked_sub(1).map(|before| &report.notes[before]);
        let missing = &report.notes[at..at + run];
        let to_the_end = at + run == report.notes.len();
        things.push(missing_run(before, missing, to_the_end));
        at += run;
    }
    things
}

fn missing_run(before: Option<&NoteFinding>, missing: &[NoteFinding], to_the_end: bool) -> Thing {
    let first = &missing[0];
    let place = words::place(first.bar, first.beat);
    let name = words::pitch(&first.written);
    let one_bow = before.is_some_and(|before| {
        before.index + 1 == first.index
            && before.verdict == NoteVerdict::Right
            && before.written_midi == first.written_midi
    });
    let thing = |weight, text| Thing { weight, index: first.index, text };
    let last = &missing[missing.len() - 1];
    if one_bow && missing.len() == 1 {
        let text = format!(
            "{place}: the sheet has {name} again here; I heard one long {name}. Change the bow for the second one."
        );
        return thing(80.0, text);
    }
    if missing.len() == 1 {
        return thing(90.0, format!("{place}: I did not hear the {name} that is on the sheet."));
    }
    if to_the_end {
        let text = format!("{place}: from here to the end I heard nothing more of the melody.");
        return thing(85.0, text);
    }
    let text = format!(
        "{place} to {}: I did not hear these {}.",
        in_sentence(&words::place(last.bar, last.beat)),
        words::count(missing.len(), "note", "notes")
    );
    thing(90.0 + missing.len() as f64 / 100.0, text)
}

fn rest(rest: &RestFinding) -> Option<Thing> {
    let place = words::place(rest.bar, rest.beat);
    let written = words::beats(rest.written_beats);
    let played = rest.played_beats.map(words::beats).filter(|played| *played != written);
    let (weight, text) = match (rest.verdict, played) {
        (RestVerdict::Kept | RestVerdict::Unsure, _) => return None,
        (RestVerdict::Rushed, Some(played)) => (
            75.0,
            format!(
                "the rest is {written} long; you gave it about {played} and came in early. Count it out before you play on."
            ),
        ),
        (RestVerdict::Rushed, None) => (
            75.0,
            format!("you came in before the rest of {written} was over. Count it out before you play on."),
        ),
        (RestVerdict::Stretched, Some(played)) => (
            60.0,
            format!(
                "the rest is {written} long; you gave it about {played}. Breathe in on the rest, so that you are ready."
            ),
        ),
        (RestVerdict::Stretched, None) => (
            60.0,
            format!("the rest of {written} came out longer. Breathe in on the rest, so that you are ready."),
        ),
        (RestVerdict::Filled, _) => (
            70.0,
            format!(
                "there is a rest of {written} here, and the string kept sounding. Stop the bow and let it be quiet."
            ),
        ),
    };
    Some(Thing { weight, index: rest.index, text: format!("{place}: {text}") })
}

fn finger(report: &Report, note: &NoteFinding, settings: &TextSettings) -> Option<Thing> {
    let found = intonation::of(report, note, settings)?;
    let cents = found.finger_cents;
    if cents.abs() <= IN_TUNE_CENTS || found.open_only() || note.confidence < SURE {
        return None;
    }
    let clearly = cents.abs() > CLEARLY_OFF_CENTS;
    let text = format!(
        "{}: {} was {}{} ({:.0} cents){}",
        words::place(note.bar, note.beat),
        words::pitch(&note.written),
        if clearly { "" } else { "a little " },
        if cents < 0.0 { "too low" } else { "too high" },
        cents.abs(),
        where_to_move(report, &found),
    );
    Some(Thing { weight: if clearly { 65.0 } else { 50.0 } + cents.abs() / 100.0, index: note.index, text })
}

fn where_to_move(report: &Report, found: &Intonation) -> String {
    if !found.steady {
        return ", and it moved while you held it. Listen for the pitch, then keep the finger still."
            .to_owned();
    }
    let instrument = report.melody.instrument;
    let advice: Vec<String> = found
        .moves
        .iter()
        .map(|(place, way)| {
            let side = if way.0 > 0.0 { "toward the bridge" } else { "toward the nut" };
            let letter = fingers::string_letter(instrument, place.string);
            format!(
                "move your {} finger on the {letter} string {} {side}",
                words::ordinal(place.finger),
                millimetres(way.0)
            )
        })
        .collect();
    let open = found.places.iter().find(|place| place.finger == 0);
    match (advice.as_slice(), open) {
        ([], _) => ". Listen for it and slide there.".to_owned(),
        (_, None) => format!(". {}.", words::sentence(&advice.join(", or "))),
        (_, Some(place)) => format!(
            ". If it was {}, it wants tuning; if not, {}.",
            fingers::words_for(instrument, *place),
            advice.join(", or ")
        ),
    }
}

/// A distance for a finger: `about 3 mm`; below half a millimetre `less than 1 mm`.
pub fn millimetres(way: f64) -> String {
    match way.abs().round() {
        0.0 => "less than 1 mm".to_owned(),
        whole => format!("about {whole:.0} mm"),
    }
}

fn extra_notes(report: &Report) -> Vec<Thing> {
    let mut groups: Vec<(Option<usize>, Vec<String>, f64)> = Vec::new();
    let offset = report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    for extra in &report.extra {
        let name = words::common_name((extra.played_midi - offset).round() as i32);
        match groups.last_mut() {
            Some((after, names, _)) if *after == extra.after_index => names.push(name),
            _ => groups.push((extra.after_index, vec![name], extra.onset_s)),
        }
    }
    let thing = |(after, names, onset): &(Option<usize>, Vec<String>, f64)| {
        let where_ = match after.and_then(|index| place_of(report, index)) {
            Some(place) => format!("After {}", in_sentence(&place)),
            None => "Before the first note".to_owned(),
        };
        let what = match names.as_slice() {
            [one] => format!("an extra note, {one}, that is not on the sheet"),
            some if some.len() <= NAMED => {
                format!("{} extra notes that are not on the sheet: {}", some.len(), words::list(some))
            }
            many => format!("{} extra notes that are not on the sheet", many.len()),
        };
        let text = format!("{where_}: I heard {what} (at {onset:.1} seconds).");
        Thing { weight: 40.0 + (names.len() as f64 / 100.0).min(1.0), index: after.unwrap_or(0), text }
    };
    groups.iter().map(thing).collect()
}

fn drift(report: &Report) -> Option<Thing> {
    let drift = report.tempo.drift_percent.filter(|drift| drift.abs() >= DRIFT_PERCENT)?;
    let way = if drift > 0.0 { "faster" } else { "slower" };
    let text = format!(
        "The beat: you ended about {:.0} percent {way} than you began. Tap your foot, or play with a metronome.",
        drift.abs()
    );
    Some(Thing { weight: 30.0, index: usize::MAX, text })
}
