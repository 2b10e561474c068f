//! One report becomes a mark with the notes behind it, or a list of places to listen to. What is unsure is never
//! counted against anybody: where it could move the mark into another band there is no mark.

use super::criteria_from_report::{CriterionMark, ListenPlace, intonation, pitch, rests, rhythm};
use super::rubric::{Rubric, Thresholds};
use crate::findings::{Outcome, Report};
use crate::report::{recorded_part, why_and_what_to_do, words};
use serde::Serialize;

/// Remarks after which the whole take has to be listened to: what is missing or moved may be the recording.
const LISTEN_FIRST: [&str; 3] = ["truncated", "damaged-part", "too-long"];

/// The mark of one take.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TakeMark {
    /// The mark; `None` where somebody has to listen first.
    pub mark: Option<f64>,
    /// Its band.
    pub band: Option<String>,
    /// Why there is no mark.
    pub why_none: Option<String>,
    /// How the mark is reckoned, in a sentence; without a mark, how it would be.
    pub how: Option<String>,
    /// The criteria, in the order of [`super::Criterion::ALL`]; empty for a take that was not judged.
    pub criteria: Vec<CriterionMark>,
    /// Where to listen.
    pub listen: Vec<ListenPlace>,
}

/// Marks a report by a rubric.
pub fn mark_from_report(report: &Report, rubric: &Rubric, thresholds: Thresholds) -> TakeMark {
    let whole = |what: String| ListenPlace { time_s: None, what };
    let none = |why: String, listen: Vec<ListenPlace>| TakeMark {
        mark: None,
        band: None,
        why_none: Some(why),
        how: None,
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
    let recorded = &recorded_part(report);
    let mut listen = Vec::new();
    let (pitch, unsure_notes) = pitch(report, recorded, &mut listen);
    let (rests, unsure_rests) = rests(report, &mut listen);
    let (rhythm, places_without_beat) = rhythm(report, recorded, thresholds);
    let no_beat = places_without_beat.len();
    let (intonation, unsure_stopped) = intonation(report, recorded, thresholds);
    let mut criteria = vec![pitch, rhythm, rests, intonation];
    for (criterion, weight) in criteria.iter_mut().zip(rubric.weights) {
        criterion.weight = weight;
    }
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
        listen.extend(places_without_beat.iter().cloned());
    }
    let mark = total(&criteria, [0, 0, 0, 0]).map(|share| rubric.mark(share));
    if why.is_none() && mark.is_none() {
        why = Some("Nothing that the rubric gives weight to could be judged.".to_owned());
    }
    let bound = |good: bool| {
        let add = |count: usize| if good { count as i64 } else { -(count as i64) };
        // A note that is not there is not in time either, and no finger was on its place.
        let more = [add(unsure_notes), add(unsure_notes + no_beat), add(unsure_rests), add(unsure_stopped)];
        total(&criteria, more).map(|share| rubric.mark(share))
    };
    let how = mark.map(|mark| {
        let mut how = reckoning(&criteria, rubric.highest, mark);
        if unsure + no_beat > 0
            && let (Some(low), Some(high)) = (bound(false), bound(true))
        {
            how.push_str(&match unsure + no_beat {
                1 => format!(" Counting the 1 that is unsure as missed it would be {low}, as good {high}."),
                many => format!(
                    " Counting the {many} that are unsure as missed it would be {low}, as good {high}."
                ),
            });
        }
        how
    });
    if why.is_none()
        && unsure + no_beat > 0
        && let (Some(low), Some(high)) = (bound(false), bound(true))
        && rubric.band(low) != rubric.band(high)
    {
        let word = |mark| rubric.band(mark).unwrap_or("no band");
        why = Some(format!(
            "What is unsure decides between {} ({low}) and {} ({high}): listen to it first.",
            word(low),
            word(high)
        ));
        listen.extend(places_without_beat);
    }
    listen.sort_by(|one, other| one.time_s.unwrap_or(0.0).total_cmp(&other.time_s.unwrap_or(0.0)));
    let mark = mark.filter(|_| why.is_none());
    let band = mark.and_then(|mark| rubric.band(mark)).map(str::to_owned);
    TakeMark { mark, band, why_none: why, how, criteria, listen }
}

/// `40 × 3/4 + 30 × 4/4 = 60 of 70; of 100 that is 86.`
fn reckoning(criteria: &[CriterionMark], highest: f64, mark: f64) -> String {
    let counts = || criteria.iter().filter(|one| one.counted > 0 && one.weight > 0.0);
    let parts: Vec<String> =
        counts().map(|one| format!("{} × {}/{}", one.weight, one.good, one.counted)).collect();
    let reached: f64 = counts().filter_map(|one| Some(one.weight * one.share()?)).sum();
    let weights: f64 = counts().map(|one| one.weight).sum();
    let rounded = |number: f64| (number * 10.0).round() / 10.0;
    let (reached, of) = (rounded(reached), rounded(weights));
    let end = match of == highest {
        true if reached == mark => String::new(),
        true => format!(", rounded {mark}"),
        false => format!("; of {highest} that is {mark}"),
    };
    format!("Reckoned as weight × good part: {} = {reached} of {of}{end}.", parts.join(" + "))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::class::criteria_from_report::clock;
    use crate::findings::{NoteVerdict, RestVerdict};
    use crate::notation::Instrument;
    use crate::remark::Remark;
    use crate::report::sample_report::{off, report, unheard, wrong};
    use crate::report::{TextSettings, for_child};

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
            mark.how.as_deref(),
            Some(
                "Reckoned as weight × good part: 40 × 6/7 + 30 × 6/7 + 10 × 1/1 + 20 × 2/3 = 83.3 of 100, rounded 83."
            )
        );
        assert_eq!(
            mark.criteria[0].sentences[1],
            "Bar 1, beat 3: F natural was played for F sharp (0:01.5)."
        );
        assert_eq!(mark.criteria[1].sentences[1], "Bar 1, beat 1: 0.40 beats late (0:00.0).");
        assert_eq!(mark.criteria[3].sentences[1], "Bar 2, beat 2: B was 31 cents high (0:03.8).");
    }

    #[test]
    fn a_note_between_two_is_called_the_same_in_the_mark_and_to_the_player() {
        let mut sample = sample();
        wrong(&mut sample, 1, 0.51);
        let said = &marked(&sample).criteria[0].sentences[1];
        assert_eq!(said, "Bar 1, beat 2: a note between F and E was played for E (0:00.8).");
        let player = for_child(&sample, &TextSettings::default());
        assert!(player.contains("you played a note between F and E;"), "{player}");
        // On both sides of where a note has a name of its own.
        for (off, between) in [(1.34, false), (1.36, true), (-0.66, false), (-0.64, true)] {
            wrong(&mut sample, 1, off);
            let said = &marked(&sample).criteria[0].sentences[1];
            let player = for_child(&sample, &TextSettings::default());
            assert_eq!(
                (said.contains("between"), player.contains("between")),
                (between, between),
                "{said} {player}"
            );
        }
    }

    #[test]
    fn what_is_a_little_beyond_the_limit_shows_that_it_is_beyond() {
        let mut sample = sample();
        off(&mut sample, 5, 20.4);
        sample.notes[0].onset_error_beats = Some(0.2512);
        let mark = marked(&sample);
        assert_eq!(mark.criteria[1].sentences[1], "Bar 1, beat 1: 0.251 beats late (0:00.0).");
        assert_eq!(mark.criteria[3].sentences[1], "Bar 2, beat 2: B was 20.4 cents high (0:03.8).");
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
        // The wrong F sharp would not be in time either: 40 · 29/30 + 30 · 29/30 + 20 · 18/19 ... of 90.
        let how = mark.how.as_deref().unwrap();
        assert!(how.contains(" Counting the 1 that is unsure as missed it would be "), "{how}");
        assert!(how.ends_with(", as good 100."), "{how}");
    }

    #[test]
    fn where_the_unsure_decides_the_band_there_is_no_mark() {
        let mut sample = sample();
        unheard(&mut sample, 2, NoteVerdict::Unsure);
        sample.notes[0].onset_error_beats = Some(0.4);
        let mark = marked(&sample);
        assert_eq!(mark.mark, None);
        assert!(
            mark.why_none.as_deref().unwrap().contains("decides between nearly there (81) and secure (96)"),
            "{mark:?}"
        );
        let how = mark.how.as_deref().unwrap();
        assert!(
            how.ends_with("Counting the 1 that is unsure as missed it would be 81, as good 96."),
            "{how}"
        );
        assert_eq!(mark.listen.len(), 1);
    }

    #[test]
    fn a_stopped_note_that_was_perhaps_left_out_may_cost_intonation_too() {
        let mut sample =
            report(Instrument::Violin, &["E4", "F#4", "B4", "E4", "F#4", "B4", "E4", "F#4"].repeat(2));
        for index in 14..16 {
            unheard(&mut sample, index, NoteVerdict::Missing);
        }
        sample.take.duration_s = 14.0 * 0.75;
        let mark = marked(&sample);
        // 14 of 16 in everything are 88; with intonation full they would be 90.
        assert_eq!(mark.mark, None, "{mark:?}");
        let why = mark.why_none.as_deref().unwrap();
        assert!(why.contains("decides between nearly there (88) and secure (100)"), "{why}");
        // What may be open strings needs no finger.
        let mut open =
            report(Instrument::Violin, &["E4", "F#4", "B4", "E4", "F#4", "B4", "D4", "A4"].repeat(2));
        for index in 14..16 {
            unheard(&mut open, index, NoteVerdict::Missing);
        }
        open.take.duration_s = 14.0 * 0.75;
        assert_eq!(marked(&open).mark, Some(100.0));
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
        assert_eq!((mark.mark, mark.listen.len()), (Some(100.0), 0), "{mark:?}");
        for note in &mut sample.notes[2..7] {
            note.onset_error_beats = None;
        }
        let mark = marked(&sample);
        assert_eq!(mark.mark, None);
        assert!(mark.why_none.as_deref().unwrap().starts_with("For 6 of 8 notes the beat"), "{mark:?}");
        let places: Vec<_> = mark.listen.iter().filter_map(|place| place.time_s).collect();
        assert_eq!(places, [1.5, 2.25, 3.0, 3.75, 4.5, 5.25]);
        assert_eq!(
            mark.listen[0].what,
            "Bar 1, beat 3: where the beat was could not be told. Did F sharp begin in time?"
        );
    }

    #[test]
    fn where_the_beat_that_could_not_be_told_decides_the_band_there_is_a_place_to_listen_to() {
        let mut sample = report(Instrument::Violin, &["D4", "E4", "F#4", "G4", "A4", "B4", "E4", "D4"]);
        sample.notes[0].onset_error_beats = Some(0.4);
        for note in &mut sample.notes[6..8] {
            note.onset_error_beats = None;
        }
        // Rhythm is 5 of 8 or 7 of 8, pitch and intonation are full: 88 or 96.
        let mark = marked(&sample);
        assert!(mark.why_none.as_deref().unwrap().contains("nearly there (88) and secure (96)"), "{mark:?}");
        assert_eq!(mark.listen.iter().filter_map(|place| place.time_s).collect::<Vec<_>>(), [4.5, 5.25]);
    }

    #[test]
    fn a_rest_that_nothing_measures_counts_neither_way() {
        let mut sample = report(Instrument::Violin, &["E4", "F#4", "B4", "-"]);
        sample.rests[0].played_beats = None;
        sample.rests[0].confidence = 0.6;
        let mark = marked(&sample);
        assert_eq!((mark.criteria[2].good, mark.criteria[2].counted), (0, 0));
        assert_eq!(
            mark.criteria[2].sentences,
            [
                "Nothing to judge here; it does not count.",
                "1 rest is not counted: at the beginning or the end of the melody a rest cannot be measured."
            ]
        );
        assert_eq!((mark.mark, mark.listen.len()), (Some(100.0), 0));
    }

    #[test]
    fn in_a_compound_metre_a_beat_is_a_dotted_one() {
        let mut sample = sample();
        sample.melody.beats_felt_as_one = 3;
        sample.notes[0].onset_error_beats = Some(0.7);
        sample.notes[1].onset_error_beats = Some(-0.9);
        let rhythm = &marked(&sample).criteria[1];
        assert_eq!((rhythm.good, rhythm.counted), (6, 7));
        assert_eq!(
            rhythm.sentences,
            [
                "6 of 7 notes began in time: within 0.25 dotted beats of the player's own steady beat.",
                "Bar 1, beat 2: 0.30 dotted beats early (0:00.8)."
            ]
        );
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
        // Unsure, or at the very end of the recording, it costs nothing.
        let rhythm = |report: &Report| {
            let mark = marked(report);
            (mark.criteria[1].good, mark.criteria[1].counted)
        };
        one_bow.notes[2].confidence = 0.6;
        assert_eq!(rhythm(&one_bow), (3, 3));
        let mut cut_off = report(Instrument::Violin, &["E4", "F#4", "E4", "E4"]);
        unheard(&mut cut_off, 3, NoteVerdict::Missing);
        cut_off.take.duration_s = 3.0 * 0.75;
        assert_eq!(rhythm(&cut_off), (3, 3));
        cut_off.take.duration_s += 4.0;
        assert_eq!(rhythm(&cut_off), (3, 4));
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
    fn notes_before_the_start_of_the_recording_are_not_held_against_the_player() {
        let mut sample = report(Instrument::Violin, &["E4", "-", "E4", "E4", "E4", "E4", "E4", "E4"]);
        for index in [0, 2, 3] {
            unheard(&mut sample, index, NoteVerdict::Missing);
        }
        sample.rests[0].verdict = RestVerdict::Unsure;
        assert_eq!(
            marked(&sample).criteria[0].counted,
            7,
            "the recording ran, and they could have been played"
        );
        sample.notes[3].onset_s = Some(0.0);
        let mark = marked(&sample);
        assert_eq!((mark.criteria[0].good, mark.criteria[0].counted), (4, 4), "{mark:?}");
        assert_eq!(
            mark.why_none.as_deref(),
            Some("3 of 8 notes and rests are unsure: listen to them first.")
        );
        let places: Vec<_> = mark.listen.iter().map(|place| (place.time_s, place.what.as_str())).collect();
        let asked = "Bar 1, beat 1: the recording begins only after this E. Was it played?";
        assert_eq!((mark.mark, &places[..]), (None, &[(Some(0.0), asked)][..]));
    }

    #[test]
    fn times_are_minutes_and_seconds() {
        assert_eq!([0.0, 7.44, 59.96, 125.0].map(clock), ["0:00.0", "0:07.4", "1:00.0", "2:05.0"]);
    }
}
