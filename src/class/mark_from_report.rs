//! One report becomes a mark with the notes behind it, or a list of places to listen to. What is unsure is never
//! counted against anybody: where it could move the mark into another band there is no mark.

use super::rubric::{Criterion, Rubric, Thresholds};
use crate::findings::{NoteFinding, NoteVerdict, Outcome, Report, RestFinding, RestVerdict};
use crate::report::{TextSettings, end_of_playing, intonation_of, why_and_what_to_do, words};
use serde::Serialize;

/// A wrong or missing note, or a rest that was not kept, that is less sure than this is listened to and not counted
/// (made takes with known truth: below it 11 of 18 wrong and missing notes were true, above it 47 of 48).
pub(super) const SURE: f64 = 0.75;

/// The recording is over with its last note where no more than this follows, in seconds.
const OVER: f64 = 1.0;

/// Remarks after which the whole take has to be listened to: what is missing or moved may be the recording.
const LISTEN_FIRST: [&str; 3] = ["truncated", "damaged-part", "too-long"];

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

/// The mark of one take.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TakeMark {
    /// The mark; `None` where somebody has to listen first.
    pub mark: Option<f64>,
    /// Its band.
    pub band: Option<String>,
    /// Why there is no mark.
    pub why_none: Option<String>,
    /// The criteria, in the order of [`Criterion::ALL`]; empty for a take that was not judged.
    pub criteria: Vec<CriterionMark>,
    /// Where to listen.
    pub listen: Vec<ListenPlace>,
}

/// `0:07.4`, from seconds.
pub fn clock(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

/// Marks a report by a rubric.
pub fn mark_from_report(report: &Report, rubric: &Rubric, thresholds: Thresholds) -> TakeMark {
    let whole = |what: String| ListenPlace { time_s: None, what };
    let none = |why: String, listen: Vec<ListenPlace>| TakeMark {
        mark: None,
        band: None,
        why_none: Some(why),
        criteria: Vec::new(),
        listen,
    };
    if report.outcome != Outcome::Judged {
        let why = why_and_what_to_do(report).map_or("Not judged.", |(why, _)| why).to_owned();
        return none(why.clone(), vec![whole(why)]);
    }
    if report.notes.is_empty() {
        let why = "The melody has no notes.".to_owned();
        return none(why.clone(), vec![whole(why)]);
    }
    if report.take.remarks.iter().any(|remark| remark.code == "octave-away") {
        // Not one note would be the written one, and not one of them was missed.
        let why = "All notes sounded in another octave. Is this the right melody, and the right instrument?";
        return none(why.to_owned(), vec![whole(why.to_owned())]);
    }
    let over = over_before(report);
    let mut listen = Vec::new();
    let (pitch, unsure_notes) = pitch(report, over, &mut listen);
    let (rests, unsure_rests) = rests(report, &mut listen);
    let (rhythm, no_beat) = rhythm(report, over, thresholds);
    let mut criteria = vec![pitch, rhythm, rests, intonation(report, over, thresholds)];
    for (criterion, weight) in criteria.iter_mut().zip(rubric.weights) {
        criterion.weight = weight;
    }
    listen.sort_by(|one, other| one.time_s.unwrap_or(0.0).total_cmp(&other.time_s.unwrap_or(0.0)));
    let mut why = report.take.remarks.iter().find(|remark| LISTEN_FIRST.contains(&remark.code.as_str())).map(
        |remark| {
            listen.insert(0, whole(remark.text.clone()));
            remark.text.clone()
        },
    );
    let unsure = unsure_notes + unsure_rests;
    let all = report.notes.len() + report.rests.len();
    if why.is_none() && unsure as f64 * 100.0 > thresholds.unsure_percent * all as f64 {
        why = Some(format!("{unsure} of {all} notes and rests are unsure: listen to them first."));
    }
    if why.is_none()
        && rubric.weights[1] > 0.0
        && no_beat as f64 * 100.0 > thresholds.unsure_percent * report.notes.len() as f64
    {
        why = Some(format!(
            "For {no_beat} of {} the beat could not be told: listen to them first.",
            words::count(report.notes.len(), "note", "notes")
        ));
    }
    let mark = total(&criteria, [0, 0, 0, 0]).map(|share| rubric.mark(share));
    if why.is_none() && mark.is_none() {
        why = Some("Nothing that the rubric gives weight to could be judged.".to_owned());
    }
    if why.is_none() && unsure + no_beat > 0 {
        let bound = |good: bool| {
            let add = |count: usize| if good { count as i64 } else { -(count as i64) };
            // A note that is not there is not in time either.
            let more = [add(unsure_notes), add(unsure_notes + no_beat), add(unsure_rests), 0];
            total(&criteria, more).map(|share| rubric.mark(share))
        };
        if let (Some(low), Some(high)) = (bound(false), bound(true))
            && rubric.band(low) != rubric.band(high)
        {
            let word = |mark| rubric.band(mark).unwrap_or("no band");
            why = Some(format!(
                "What is unsure decides between {} ({low}) and {} ({high}): listen to it first.",
                word(low),
                word(high)
            ));
        }
    }
    let mark = mark.filter(|_| why.is_none());
    let band = mark.and_then(|mark| rubric.band(mark)).map(str::to_owned);
    TakeMark { mark, band, why_none: why, criteria, listen }
}

/// The weighted share of what was good. `more` adds unsure ones to each criterion: as good, or (negative) as not good.
fn total(criteria: &[CriterionMark], more: [i64; 4]) -> Option<f64> {
    let (mut sum, mut weights) = (0.0, 0.0);
    for (criterion, more) in criteria.iter().zip(more) {
        let counted = criterion.counted as f64 + more.unsigned_abs() as f64;
        let good = criterion.good as f64 + more.max(0) as f64;
        if counted > 0.0 {
            sum += criterion.weight * good / counted;
            weights += criterion.weight;
        }
    }
    (weights > 0.0).then(|| sum / weights)
}

/// From this note on (its place among the notes) nothing was played, and the recording is over too: perhaps the recorder
/// was stopped, not the player.
fn over_before(report: &Report) -> Option<usize> {
    let missing = report.notes.iter().rev().take_while(|note| note.verdict == NoteVerdict::Missing).count();
    let ends = report.notes.iter().filter_map(|note| note.offset_s);
    let last = ends.chain(report.extra.iter().map(|extra| extra.offset_s)).fold(0.0, f64::max);
    let over = missing > 0 && last > 0.0 && report.take.duration_s - last < OVER;
    over.then(|| report.notes.len() - missing)
}

/// Whether a note was perhaps played without a new bow: the note before it has its pitch and was heard, this one alone was
/// not heard to begin.
pub(super) fn held_on(report: &Report, at: usize) -> bool {
    let missing = |at: usize| report.notes.get(at).is_some_and(|note| note.verdict == NoteVerdict::Missing);
    let note = &report.notes[at];
    let before = at.checked_sub(1).map(|before| &report.notes[before]);
    missing(at)
        && !missing(at + 1)
        && before.is_some_and(|before| {
            before.index + 1 == note.index
                && before.verdict == NoteVerdict::Right
                && before.written_midi == note.written_midi
        })
}

/// Whether it is sure that a note was not played: then it earns nothing anywhere.
fn left_out(report: &Report, at: usize, over: Option<usize>) -> bool {
    let note = &report.notes[at];
    let in_the_recording = over.is_none_or(|over| at < over);
    note.verdict == NoteVerdict::Missing
        && note.confidence >= SURE
        && in_the_recording
        && !held_on(report, at)
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

/// The distance of what was played from what is written, in whole semitones, after the tuning of the instrument.
fn semitones_off(report: &Report, note: &NoteFinding) -> Option<i32> {
    let tuning = report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    let off = note.played_midi? - tuning - f64::from(note.written_midi);
    Some(off.clamp(-120.0, 120.0).round() as i32)
}

fn pitch(report: &Report, over: Option<usize>, listen: &mut Vec<ListenPlace>) -> (CriterionMark, usize) {
    let (mut good, mut counted, mut unsure) = (0, 0, 0);
    let mut told = Vec::new();
    for (number, note) in report.notes.iter().enumerate() {
        let place = words::place(note.bar, note.beat);
        let when = about_when(report, number);
        let name = words::pitch(&note.written);
        let past_the_end = over.is_some_and(|from| number >= from);
        let doubt = match note.verdict {
            NoteVerdict::Right => {
                good += 1;
                counted += 1;
                continue;
            }
            NoteVerdict::Missing if held_on(report, number) => {
                told.push(format!(
                    "{place}: {name} is written again; one long {name} was heard (see rhythm)."
                ));
                continue;
            }
            NoteVerdict::Unsure => {
                Some(format!("{place}: {name} is written; the recording does not settle what was played."))
            }
            NoteVerdict::Missing if past_the_end && over != Some(number) => {
                unsure += 1;
                continue;
            }
            NoteVerdict::Missing if past_the_end => {
                Some(format!("{place}: the recording is over before this {name}. Was it played?"))
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
    match semitones_off(report, note) {
        None => "another pitch".to_owned(),
        Some(0) => format!("something too far from {}", words::pitch(&note.written)),
        Some(off) => words::played_and_written(&note.written, off).0,
    }
}

fn written(report: &Report, note: &NoteFinding) -> String {
    semitones_off(report, note).map_or_else(
        || words::pitch(&note.written),
        |off| if off == 0 { "it".to_owned() } else { words::played_and_written(&note.written, off).1 },
    )
}

/// The mark for rhythm, and how many notes were heard where the player's beat could not be told: after a stop or a rest
/// of another length.
fn rhythm(report: &Report, over: Option<usize>, thresholds: Thresholds) -> (CriterionMark, usize) {
    let (mut good, mut counted, mut silent, mut no_beat) = (0, 0, 0, 0);
    let mut told = Vec::new();
    for (number, note) in report.notes.iter().enumerate() {
        if held_on(report, number) {
            counted += 1;
            let (place, name) = (words::place(note.bar, note.beat), words::pitch(&note.written));
            told.push(format!("{place}: no new bow was heard for the second {name}."));
        }
        if left_out(report, number, over) {
            counted += 1;
            silent += 1;
        }
        let heard = note.verdict == NoteVerdict::Right
            || (note.verdict == NoteVerdict::Wrong && note.confidence >= SURE);
        if !heard {
            continue;
        }
        let Some(off) = note.onset_error_beats.filter(|off| off.is_finite()) else {
            no_beat += 1;
            continue;
        };
        counted += 1;
        if off.abs() <= thresholds.in_time_beats {
            good += 1;
            continue;
        }
        let way = if off > 0.0 { "late" } else { "early" };
        told.push(format!(
            "{}: {:.2} beats {way}{}.",
            words::place(note.bar, note.beat),
            off.abs(),
            at(note.onset_s)
        ));
    }
    told.extend(left_out_too(silent));
    let first = format!(
        "{good} of {} began in time: within {} beats of the player's own steady beat.",
        words::count(counted, "note", "notes"),
        thresholds.in_time_beats
    );
    let mut mark = criterion(Criterion::Rhythm, good, counted, first, told);
    if no_beat > 0 {
        mark.sentences.push(format!(
            "{} not counted: where the beat was could not be told.",
            words::count(no_beat, "note is", "notes are")
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

fn rests(report: &Report, listen: &mut Vec<ListenPlace>) -> (CriterionMark, usize) {
    let (mut good, mut counted, mut unsure) = (0, 0, 0);
    let mut told = Vec::new();
    let end = end_of_playing(report);
    for rest in &report.rests {
        if end.is_some_and(|end| rest.index > end) {
            // Nobody was playing any more.
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
                // The last rest of a melody has nothing after it that would end it: nobody can tell.
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

fn intonation(report: &Report, over: Option<usize>, thresholds: Thresholds) -> CriterionMark {
    let (mut good, mut counted, mut silent) = (0, 0, 0);
    let mut told = Vec::new();
    let open = report.melody.instrument.open_strings();
    for (number, note) in report.notes.iter().enumerate() {
        let may_be_open = open.contains(&note.written_midi);
        if left_out(report, number, over) && !may_be_open {
            counted += 1;
            silent += 1;
        }
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
        let way = if found.finger_cents > 0.0 { "high" } else { "low" };
        told.push(format!(
            "{}: {} was {:.0} cents {way}{}.",
            words::place(note.bar, note.beat),
            words::pitch(&note.written),
            found.finger_cents.abs(),
            at(note.onset_s)
        ));
    }
    told.extend(left_out_too(silent));
    let first = format!(
        "{good} of {} within {} cents, after allowing for how the strings were tuned.",
        words::count(counted, "stopped note", "stopped notes"),
        thresholds.in_tune_cents
    );
    criterion(Criterion::Intonation, good, counted, first, told)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Instrument;
    use crate::remark::Remark;
    use crate::report::sample_report::{off, report, unheard, wrong};

    fn marked(report: &Report) -> TakeMark {
        mark_from_report(report, &Rubric::default(), Thresholds::default())
    }

    fn sample() -> Report {
        report(Instrument::Violin, &["D4", "E4", "F#4", "-", "A4", "B4", "E4", "D4"])
    }

    #[test]
    fn everything_right_is_the_highest_mark() {
        let mark = marked(&sample());
        assert_eq!((mark.mark, mark.band.as_deref()), (Some(100.0), Some("secure")));
        assert_eq!(mark.criteria[0].sentences, ["7 of 7 notes had the written pitch."]);
        assert_eq!(mark.listen, []);
    }

    #[test]
    fn a_mark_is_the_weighted_share_and_names_its_notes() {
        let mut sample = sample();
        wrong(&mut sample, 2, -1.0);
        off(&mut sample, 5, 31.0);
        sample.notes[0].onset_error_beats = Some(0.4);
        let mark = marked(&sample);
        // By hand: pitch 6/7 · 40, rhythm 6/7 · 30, rests 1 · 10, intonation: E B E are stopped only (D and A may be
        // open, and on the violin the third line's F sharp was wrong), 2/3 · 20: 34.29 + 25.71 + 10 + 13.33 = 83.3.
        assert_eq!(mark.criteria[3].counted, 3, "{mark:?}");
        assert_eq!(mark.mark, Some(83.0));
        assert_eq!(
            mark.criteria[0].sentences[1],
            "Bar 1, beat 3: F natural was played for F sharp (0:01.5)."
        );
        assert_eq!(mark.criteria[1].sentences[1], "Bar 1, beat 1: 0.40 beats late (0:00.0).");
        assert_eq!(mark.criteria[3].sentences[1], "Bar 2, beat 2: B was 31 cents high (0:03.8).");
    }

    #[test]
    fn what_is_unsure_is_listened_to_and_costs_nothing() {
        let mut sample = report(
            Instrument::Violin,
            &["D4", "E4", "F#4", "G4", "A4", "B4", "E4", "F#4", "G4", "D4"].repeat(3),
        );
        wrong(&mut sample, 2, -1.0);
        sample.notes[2].confidence = 0.7;
        let mark = marked(&sample);
        assert_eq!(mark.mark, Some(100.0), "{mark:?}");
        assert_eq!(mark.criteria[0].counted, 29);
        assert_eq!(mark.listen.len(), 1);
        assert_eq!(mark.listen[0].time_s, Some(1.5));
    }

    #[test]
    fn where_the_unsure_decides_the_band_there_is_no_mark() {
        let mut sample = sample();
        unheard(&mut sample, 2, NoteVerdict::Unsure);
        sample.notes[0].onset_error_beats = Some(0.4);
        let mark = marked(&sample);
        assert_eq!(mark.mark, None);
        assert!(
            mark.why_none.as_deref().unwrap().contains("decides between nearly there (86) and secure (96)"),
            "{mark:?}"
        );
        assert_eq!(mark.listen.len(), 1);
    }

    #[test]
    fn where_the_beat_could_not_be_told_there_is_nothing_to_praise() {
        let mut sample = report(Instrument::Violin, &["D4", "E4", "F#4", "G4", "A4", "B4", "E4", "D4"]);
        sample.notes[7].onset_error_beats = None;
        let mark = marked(&sample);
        assert_eq!((mark.criteria[1].good, mark.criteria[1].counted), (7, 7));
        assert_eq!(
            mark.criteria[1].sentences[1],
            "1 note is not counted: where the beat was could not be told."
        );
        // 96 if it was not in time, 100 if it was: the same band.
        assert_eq!(mark.mark, Some(100.0), "{mark:?}");
        for note in &mut sample.notes[2..7] {
            note.onset_error_beats = None;
        }
        let mark = marked(&sample);
        assert_eq!(mark.mark, None);
        assert!(mark.why_none.as_deref().unwrap().starts_with("For 6 of 8 notes the beat"), "{mark:?}");
    }

    #[test]
    fn a_take_in_another_octave_is_one_thing_to_look_at_and_no_list_of_faults() {
        let mut sample = sample();
        sample.take.remarks.push(Remark::new("octave-away", "The whole take sounds an octave lower."));
        let mark = marked(&sample);
        assert_eq!((mark.mark, mark.criteria.len(), mark.listen.len()), (None, 0, 1), "{mark:?}");
    }

    #[test]
    fn a_note_that_was_not_played_earns_nothing_and_one_long_bow_costs_time_alone() {
        let mut left = report(Instrument::Violin, &["E4", "F#4", "B4", "E4", "-", "A4", "B4", "E4"]);
        // To the end of the playing; the recording goes on.
        for index in [5, 6, 7] {
            unheard(&mut left, index, NoteVerdict::Missing);
        }
        left.take.duration_s += 30.0;
        let mark = marked(&left);
        let counts: Vec<_> = mark.criteria.iter().map(|one| (one.good, one.counted)).collect();
        // The rest was kept before the end. Of the last three A may be an open string, so it needs no finger.
        assert_eq!(counts, [(4, 7), (4, 7), (1, 1), (4, 6)], "{mark:?}");
        let mut stopped = report(Instrument::Violin, &["E4", "F#4", "B4", "-", "A4"]);
        unheard(&mut stopped, 4, NoteVerdict::Missing);
        unheard(&mut stopped, 2, NoteVerdict::Missing);
        stopped.take.duration_s += 30.0;
        assert_eq!(marked(&stopped).criteria[2].counted, 0, "nobody played any more when the rest came");
        let mut one_bow = report(Instrument::Violin, &["E4", "F#4", "F#4", "E4"]);
        unheard(&mut one_bow, 2, NoteVerdict::Missing);
        let mark = marked(&one_bow);
        assert_eq!((mark.criteria[0].good, mark.criteria[0].counted), (3, 3), "{mark:?}");
        assert_eq!((mark.criteria[1].good, mark.criteria[1].counted), (3, 4), "{mark:?}");
        assert_eq!(
            mark.criteria[1].sentences[1],
            "Bar 1, beat 3: no new bow was heard for the second F sharp."
        );
    }

    #[test]
    fn a_take_that_was_refused_or_cut_off_gets_no_mark() {
        let mut refused = sample();
        refused.outcome = Outcome::TooNoisy;
        assert_eq!(marked(&refused).mark, None);
        assert_eq!(marked(&refused).listen.len(), 1);
        let mut cut = sample();
        cut.take.remarks.push(Remark::new("truncated", "The file breaks off."));
        assert_eq!(marked(&cut).mark, None);
        assert_eq!(marked(&cut).listen[0].what, "The file breaks off.");
    }

    #[test]
    fn notes_after_the_end_of_the_recording_are_not_held_against_the_player() {
        let mut sample = report(Instrument::Violin, &["E4"; 40]);
        for index in 38..40 {
            unheard(&mut sample, index, NoteVerdict::Missing);
        }
        sample.take.duration_s = 38.0 * 0.75;
        let mark = marked(&sample);
        assert_eq!((mark.criteria[0].good, mark.criteria[0].counted), (38, 38));
        assert_eq!(mark.listen.len(), 1, "{mark:?}");
        sample.take.duration_s += 3.0;
        assert_eq!(marked(&sample).criteria[0].counted, 40, "they had time to play them");
    }

    #[test]
    fn times_are_minutes_and_seconds() {
        assert_eq!([0.0, 7.44, 59.96, 125.0].map(clock), ["0:00.0", "0:07.4", "1:00.0", "2:05.0"]);
    }
}
