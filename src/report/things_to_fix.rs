//! What differs from the sheet, each as a thing to do, weighed so that one can come first.
//!
//! The order of weights: wrong notes (the same one again and again first), notes that were not played,
//! one bow where the sheet has two notes, rests, fingers off the pitch, extra notes, a beat that ran
//! away. `unsure` is never here.

use super::intonation::{self, CLEARLY_OFF_CENTS, IN_TUNE_CENTS, Intonation};
use super::recorded_part::{self, begun_before};
use super::{TextSettings, fingers, words};
use crate::findings::{ExtraFinding, NoteFinding, NoteVerdict, Report, RestFinding, RestVerdict};
use crate::notation::Spelling;

/// A tempo that changes by more than this from the first note to the last is worth a word. The just
/// noticeable change is 3 to 4 percent (Drake & Botte, *Perception & Psychophysics* 1993), but the
/// measurement is off by up to 12 where rests were cut or stretched (72 made takes with known drift:
/// half of what was said from 10 percent on was said of a steady player, nothing from 15 on).
const DRIFT_PERCENT: f64 = 15.0;

/// A played pitch that is further than this from the nearest note, in semitones, has no name of its own.
const BETWEEN_SEMITONES: f64 = 0.35;

/// A verdict that is less sure than this is not built upon.
const SURE: f64 = 0.8;

/// A mistake that is less sure than this is told as a question, apart from all that are sure. (Made takes
/// with known truth: below it 11 of 18 wrong and missing notes were true, above it 47 of 48.)
const DOUBTFUL: f64 = 0.75;

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
    /// Whether it is no more than a question: it never comes first.
    pub question: bool,
    /// Whether it is a finger off the pitch: strings out of tune come before it.
    pub finger: bool,
}

/// Everything to fix, in playing order.
pub fn things_to_fix(report: &Report, settings: &TextSettings) -> Vec<Thing> {
    let mut things = wrong_notes(report);
    things.extend(missing_notes(report));
    things.extend(report.rests.iter().filter_map(|finding| rest(report, finding)));
    things.extend(fingers_off(report, settings));
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

/// What is not sure is said as that, and comes after what is.
fn doubted(mut thing: Thing, confidence: f64) -> Thing {
    if confidence < DOUBTFUL {
        thing.question = true;
        thing.text.push_str(" (I am not sure of this one: listen to it yourself.)");
    }
    thing
}

fn in_sentence(place: &str) -> String {
    let mut letters = place.chars();
    letters.next().map_or(String::new(), |first| first.to_lowercase().chain(letters).collect())
}

/// How far a played pitch is from the written one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PitchOff {
    /// To the nearest semitone.
    pub semitones: i32,
    /// 0 where that is the note that was meant; ±1 where the pitch lies between it and that neighbour.
    pub toward: i32,
}

/// How far the played pitch is from the written one after the tuning of the whole instrument, `shift`
/// semitones being allowed for; `None` where nothing was played.
pub fn pitch_off(report: &Report, note: &NoteFinding, shift: i32) -> Option<PitchOff> {
    let played = note.played_midi? - report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    // No string reaches further than 10 octaves.
    let off = (played - f64::from(note.written_midi) - f64::from(shift)).clamp(-120.0, 120.0);
    let rest = off - off.round();
    let toward = if rest.abs() > BETWEEN_SEMITONES { rest.signum() as i32 } else { 0 };
    Some(PitchOff { semitones: off.round() as i32, toward })
}

/// The octaves that the whole take is away from the sheet, in semitones; 0 where it is not.
pub fn whole_octave(report: &Report) -> i32 {
    let wrong = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Wrong);
    let away: Vec<PitchOff> = wrong.filter_map(|note| pitch_off(report, note, 0)).collect();
    let Some(shift) =
        away.iter().map(|off| off.semitones).find(|semitones| *semitones != 0 && semitones % 12 == 0)
    else {
        return 0;
    };
    let same = away.iter().filter(|off| off.semitones == shift && off.toward == 0).count();
    let none_right = report.notes.iter().all(|note| note.verdict != NoteVerdict::Right);
    let most = if said_so(report) { away.len() / 2 } else { away.len() - 1 };
    if none_right && same > most { shift } else { 0 }
}

/// Whether the take was heard as an octave away from the sheet.
fn said_so(report: &Report) -> bool {
    report.take.remarks.iter().any(|remark| remark.code == "octave-away")
}

/// The same wrong note for the same written one, wherever it came.
struct SameMistake<'a> {
    first: &'a NoteFinding,
    off: Option<PitchOff>,
    again: Vec<String>,
    confidence: f64,
}

fn wrong_notes(report: &Report) -> Vec<Thing> {
    let mut mistakes: Vec<SameMistake> = Vec::new();
    let shift = whole_octave(report);
    for note in report.notes.iter().filter(|note| note.verdict == NoteVerdict::Wrong) {
        let off = pitch_off(report, note, shift);
        if shift != 0 && off.is_some_and(|off| off.semitones == 0) {
            continue;
        }
        match mistakes.iter_mut().find(|one| one.first.written == note.written && one.off == off) {
            Some(one) => {
                one.again.push(in_sentence(&words::place(note.bar, note.beat)));
                one.confidence = one.confidence.max(note.confidence);
            }
            None => mistakes.push(SameMistake {
                first: note,
                off,
                again: Vec::new(),
                confidence: note.confidence,
            }),
        }
    }
    let thing = |one: &SameMistake| {
        let note = one.first;
        let mut text =
            format!("{}: {}", words::place(note.bar, note.beat), wrong_note(report, note, one.off));
        if !one.again.is_empty() {
            text.push_str(&format!(" The same in {}.", words::places(&one.again)));
        }
        let thing = Thing {
            weight: 100.0 + one.again.len() as f64,
            index: note.index,
            text,
            question: false,
            finger: false,
        };
        doubted(thing, one.confidence)
    };
    let octave = (shift != 0).then(|| octave_away(report, shift));
    octave.into_iter().chain(mistakes.iter().map(thing)).collect()
}

/// Everything an octave away is one thing to know, not a mistake for each note.
fn octave_away(report: &Report, shift: i32) -> Thing {
    let way = if shift > 0 { "higher" } else { "lower" };
    let far =
        if shift.abs() == 12 { "an octave".to_owned() } else { format!("{} octaves", shift.abs() / 12) };
    Thing {
        weight: 200.0,
        index: 0,
        text: format!(
            "Everything sounds {far} {way} than your {} sheet. Is it the right sheet, and the right instrument?",
            report.melody.instrument
        ),
        question: false,
        finger: false,
    }
}

fn wrong_note(report: &Report, note: &NoteFinding, off: Option<PitchOff>) -> String {
    let sheet = words::pitch(&note.written);
    let names = words::names(report);
    match off {
        None => format!("you played another note; the sheet has {sheet}."),
        Some(PitchOff { semitones: 0, .. }) => {
            format!(
                "your note was too far from {sheet} to be {sheet}. Listen for it, then place the finger again."
            )
        }
        Some(PitchOff { semitones, toward: 0 }) => {
            let (played, sheet) = words::played_and_written(&names, &note.written, semitones);
            let instrument = report.melody.instrument;
            let wanted = fingers::places(instrument, &note.written, note.written_midi);
            let written = note.written.parse::<Spelling>().ok();
            let name = written.map(|written| {
                names.name(written.midi().saturating_add(semitones), Some(written)).to_string()
            });
            let sounding = note.written_midi.saturating_add(semitones);
            let heard = fingers::places(instrument, name.as_deref().unwrap_or_default(), sounding);
            let hand = fingers::advice(instrument, &sheet, &wanted, &heard)
                .map_or(String::new(), |advice| format!(" {advice}"));
            format!("you played {played}; the sheet has {sheet}.{hand}")
        }
        Some(PitchOff { semitones, toward }) => {
            let (near, _) = words::played_and_written(&names, &note.written, semitones);
            let far = match semitones + toward {
                0 => sheet.clone(),
                far => words::played_and_written(&names, &note.written, far).0,
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
        let missing = &report.notes[at..at + run];
        let to_the_end = at + run == report.notes.len();
        let thing = if at == 0 && begun_before(report).is_some() {
            before_the_recording(&missing[0])
        } else if to_the_end && is_over(report) {
            not_on_the_recording(&missing[0])
        } else {
            missing_run(report, at, missing, to_the_end)
        };
        things.push(doubted(thing, missing.iter().map(|note| note.confidence).fold(0.0, f64::max)));
        at += run;
    }
    things
}

/// Whether the recording is over, or its file breaks off, with the last note that was heard.
fn is_over(report: &Report) -> bool {
    let cut =
        report.take.remarks.iter().any(|remark| ["truncated", "too-long"].contains(&remark.code.as_str()));
    cut || recorded_part::is_over(report)
}

fn before_the_recording(first: &NoteFinding) -> Thing {
    Thing {
        weight: 35.0,
        index: first.index,
        text: format!(
            "{}: the recording begins only after this note. Start recording first, wait a moment, then play.",
            words::place(first.bar, first.beat)
        ),
        question: false,
        finger: false,
    }
}

fn not_on_the_recording(first: &NoteFinding) -> Thing {
    Thing {
        weight: 35.0,
        index: first.index,
        text: format!(
            "{}: the recording is over before this note. Let it run until you have played to the end.",
            words::place(first.bar, first.beat)
        ),
        question: false,
        finger: false,
    }
}

/// Whether no new bow was heard for the note at this place among the notes: the one before it has its pitch and was
/// right, and this one alone was not heard to begin.
pub fn no_new_bow(report: &Report, at: usize) -> bool {
    let missing = |at: usize| report.notes.get(at).is_some_and(|note| note.verdict == NoteVerdict::Missing);
    let before = at.checked_sub(1).and_then(|before| report.notes.get(before));
    missing(at)
        && !missing(at + 1)
        && before.zip(report.notes.get(at)).is_some_and(|(before, note)| {
            before.index + 1 == note.index
                && before.verdict == NoteVerdict::Right
                && before.written_midi == note.written_midi
        })
}

/// The event from which on nothing was heard, where notes are missing up to the end.
pub fn end_of_playing(report: &Report) -> Option<usize> {
    let missing = report.notes.iter().rev().take_while(|note| note.verdict == NoteVerdict::Missing);
    missing.last().map(|first| first.index)
}

/// Notes from the place `at` on that were not heard.
fn missing_run(report: &Report, at: usize, missing: &[NoteFinding], to_the_end: bool) -> Thing {
    let instrument = report.melody.instrument;
    let first = &missing[0];
    let place = words::place(first.bar, first.beat);
    let name = words::pitch(&first.written);
    let thing = |weight, text| Thing { weight, index: first.index, text, question: false, finger: false };
    let last = &missing[missing.len() - 1];
    if no_new_bow(report, at) {
        let text = format!(
            "{place}: the sheet has {name} again here; I heard one long {name}. Change the bow for the second one."
        );
        return thing(80.0, text);
    }
    if missing.len() == 1 {
        let hand = match fingers::places(instrument, &first.written, first.written_midi).first() {
            Some(hand) => format!(": {}", fingers::words_for(instrument, *hand)),
            None => String::new(),
        };
        let text =
            format!("{place}: I did not hear the {name}. Play this bar slowly, with the {name}{hand}.");
        return thing(90.0, text);
    }
    if to_the_end {
        let text = format!("{place}: from here to the end I heard nothing more of the melody.");
        return thing(85.0, text);
    }
    let text = format!(
        "{}: I did not hear these {}.",
        words::from_place_to((first.bar, first.beat), (last.bar, last.beat)),
        words::count(missing.len(), "note", "notes")
    );
    thing(90.0 + missing.len() as f64 / 100.0, text)
}

fn rest(report: &Report, rest: &RestFinding) -> Option<Thing> {
    let place = words::place(rest.bar, rest.beat);
    let written = words::beats(rest.written_beats);
    let given = |beats| {
        if words::beats(beats) == words::beats(0.0) {
            "none of it".to_owned()
        } else {
            format!("about {}", words::beats(beats))
        }
    };
    let differs = |beats: &f64| words::beats(*beats) != written;
    let played = rest.played_beats.filter(differs).map(given);
    let (weight, text) = match (rest.verdict, played) {
        (RestVerdict::Kept | RestVerdict::Unsure, _) => return None,
        (RestVerdict::Rushed, Some(played)) => (
            75.0,
            format!(
                "the rest is {written} long; you gave it {played} and came in early. Count it out before you play on."
            ),
        ),
        (RestVerdict::Rushed, None) => (
            75.0,
            format!("you came in before the rest of {written} was over. Count it out before you play on."),
        ),
        (RestVerdict::Stretched, Some(played)) => (
            60.0,
            format!(
                "the rest is {written} long; you gave it {played}. Breathe in on the rest, so that you are ready."
            ),
        ),
        (RestVerdict::Stretched, None) => (
            60.0,
            format!("the rest of {written} came out longer. Breathe in on the rest, so that you are ready."),
        ),
        (RestVerdict::Filled, _) if extra_in(report, rest).is_some() => (
            40.0,
            format!(
                "there is a rest of {written} here, and I think I heard a note in it. Listen to it: was it quiet?"
            ),
        ),
        (RestVerdict::Filled, _) => (
            70.0,
            format!(
                "there is a rest of {written} here, and the string kept sounding. Stop the bow and let it be quiet."
            ),
        ),
    };
    let question = rest.verdict == RestVerdict::Filled && extra_in(report, rest).is_some();
    let thing =
        Thing { weight, index: rest.index, text: format!("{place}: {text}"), question, finger: false };
    Some(doubted(thing, rest.confidence))
}

/// The extra note that fills a rest: it is told with the rest.
fn extra_in<'a>(report: &'a Report, rest: &RestFinding) -> Option<&'a ExtraFinding> {
    let filled = rest.verdict == RestVerdict::Filled;
    report.extra.iter().find(|extra| filled && extra.after_index.is_some_and(|index| index + 1 == rest.index))
}

/// The same finger off to the same side, wherever it came, is one thing; the worst place leads.
fn fingers_off(report: &Report, settings: &TextSettings) -> Vec<Thing> {
    let mut groups: Vec<Vec<(&NoteFinding, Intonation)>> = Vec::new();
    for note in &report.notes {
        let Some(found) = intonation::of(report, note, settings) else { continue };
        let cents = found.finger_cents;
        if cents.abs() <= IN_TUNE_CENTS || found.open_only() || note.confidence < SURE {
            continue;
        }
        let same = |(other, of): &(&NoteFinding, Intonation)| {
            other.written == note.written && of.finger_cents.is_sign_negative() == cents.is_sign_negative()
        };
        match groups.iter_mut().find(|group| same(&group[0])) {
            Some(group) => group.push((note, found)),
            None => groups.push(vec![(note, found)]),
        }
    }
    groups.iter_mut().map(|group| finger(report, group)).collect()
}

fn finger(report: &Report, group: &mut [(&NoteFinding, Intonation)]) -> Thing {
    group.sort_by(|(_, a), (_, b)| b.finger_cents.abs().total_cmp(&a.finger_cents.abs()));
    let (note, found) = &group[0];
    let cents = found.finger_cents;
    let clearly = cents.abs() > CLEARLY_OFF_CENTS;
    let mut text = format!(
        "{}: {} was {}{} ({:.0} cents){}",
        words::place(note.bar, note.beat),
        words::pitch(&note.written),
        if clearly { "" } else { "a little " },
        if cents < 0.0 { "too low" } else { "too high" },
        cents.abs(),
        where_to_move(report, found),
    );
    let mut again: Vec<&NoteFinding> = group[1..].iter().map(|(note, _)| *note).collect();
    again.sort_by_key(|note| note.index);
    if !again.is_empty() {
        let places: Vec<String> =
            again.iter().map(|note| in_sentence(&words::place(note.bar, note.beat))).collect();
        text.push_str(&format!(" The same way off in {}.", words::places(&places)));
    }
    let weight =
        if clearly { 65.0 } else { 50.0 } + cents.abs().min(100.0) / 100.0 + again.len() as f64 / 10.0;
    Thing { weight: weight.min(74.0), index: note.index, text, question: false, finger: true }
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
            ". If it was {}, the string needs tuning; if not, {}.",
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
    let names = words::names(report);
    let offset = report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    let told = |extra: &ExtraFinding| {
        report.rests.iter().any(|rest| extra_in(report, rest).is_some_and(|filling| filling == extra))
    };
    for extra in report.extra.iter().filter(|extra| !told(extra)) {
        let name = words::heard_name(&names, (extra.played_midi - offset).round() as i32);
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
            [one] => format!("an extra note that is not on the sheet, {one}"),
            some if some.len() <= NAMED => {
                format!("{} extra notes that are not on the sheet: {}", some.len(), words::list(some))
            }
            many => format!("{} extra notes that are not on the sheet", many.len()),
        };
        // About every third extra note that is reported in made takes with known truth nobody had played.
        let text =
            format!("{where_}: I think I heard {what}. Listen at {onset:.1} seconds: can you hear it too?");
        Thing {
            weight: 40.0 + (names.len() as f64 / 100.0).min(1.0),
            index: after.unwrap_or(0),
            text,
            question: true,
            finger: false,
        }
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
    Some(Thing { weight: 30.0, index: usize::MAX, text, question: false, finger: false })
}
