//! Scores a report against the truth: what was accused wrongly, what was found, how near the numbers
//! are. Everything of one take is one [`Tally`]; tallies add up, so that any group of takes can be
//! scored and intervals can be drawn by taking whole recordings again and again.

use super::truth::Truth;
use serde::Deserialize;
use std::collections::BTreeMap;

/// The JSON report, as far as it is scored. Fields that are absent count as not said.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct ReportView {
    pub outcome: String,
    pub notes: Vec<NoteView>,
    pub rests: Vec<RestView>,
    pub extra: Vec<ExtraView>,
    pub restarts: Vec<RestartView>,
    pub tuning: TuningView,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct NoteView {
    pub index: usize,
    pub verdict: String,
    pub played_midi: Option<f64>,
    pub cents: Option<f64>,
    pub onset_s: Option<f64>,
    pub offset_s: Option<f64>,
    pub confidence: Option<f64>,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct RestView {
    pub index: usize,
    pub verdict: String,
    pub played_beats: Option<f64>,
    pub confidence: Option<f64>,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct ExtraView {
    pub onset_s: f64,
    pub offset_s: f64,
    pub played_midi: f64,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct RestartView {
    pub time_s: f64,
    pub resumed_at_index: usize,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct TuningView {
    pub offset_cents: Option<f64>,
}

/// Found, invented and overlooked.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Detection {
    pub hit: f64,
    pub invented: f64,
    pub overlooked: f64,
}

impl Detection {
    pub fn f1(&self) -> f64 {
        2.0 * self.hit / (2.0 * self.hit + self.invented + self.overlooked)
    }

    pub fn recall(&self) -> f64 {
        self.hit / (self.hit + self.overlooked)
    }

    pub fn precision(&self) -> f64 {
        self.hit / (self.hit + self.invented)
    }

    fn count(&mut self, true_: bool, said: bool) {
        match (true_, said) {
            (true, true) => self.hit += 1.0,
            (false, true) => self.invented += 1.0,
            (true, false) => self.overlooked += 1.0,
            _ => {}
        }
    }

    fn add(&mut self, other: &Self) {
        self.hit += other.hit;
        self.invented += other.invented;
        self.overlooked += other.overlooked;
    }
}

/// What is known about one take, or about many.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    pub takes: f64,
    pub refused_wrongly: f64,
    pub foreign: f64,
    pub foreign_refused: f64,
    /// Notes of sheets that were not played, and how many were called right all the same.
    pub foreign_notes: f64,
    pub foreign_praised: f64,
    pub written: f64,
    pub unsure: f64,
    pub right: f64,
    pub accused_wrong: f64,
    pub accused_missing: f64,
    pub mistakes_praised: f64,
    pub wrong: Detection,
    pub named_rightly: f64,
    pub missing: Detection,
    pub extra: Detection,
    pub rushed: Detection,
    pub stretched: Detection,
    pub filled: Detection,
    pub kept_rests: f64,
    pub kept_called_bad: f64,
    pub rests: f64,
    pub rests_unsure: f64,
    pub restarts: Detection,
    pub restarts_landed: f64,
    pub cents: Vec<f64>,
    pub cents_absent: f64,
    /// Milliseconds, late is positive.
    pub onset: Vec<f64>,
    pub offset: Vec<f64>,
    pub tuning: Vec<f64>,
    /// Confidence of each verdict and whether it was right.
    pub confidence: Vec<(f64, bool)>,
    pub rest_confidence: Vec<(f64, bool)>,
    /// For each kind of planted mistake: how many, how many judged rightly.
    pub planted: BTreeMap<String, (f64, f64)>,
    /// For each way of joining: right notes, and how many of them were accused or unsure.
    pub joins: BTreeMap<String, (f64, f64, f64)>,
}

impl Tally {
    pub fn add(&mut self, other: &Tally) {
        for (mine, theirs) in [
            (&mut self.takes, other.takes),
            (&mut self.refused_wrongly, other.refused_wrongly),
            (&mut self.foreign, other.foreign),
            (&mut self.foreign_refused, other.foreign_refused),
            (&mut self.foreign_notes, other.foreign_notes),
            (&mut self.foreign_praised, other.foreign_praised),
            (&mut self.written, other.written),
            (&mut self.unsure, other.unsure),
            (&mut self.right, other.right),
            (&mut self.accused_wrong, other.accused_wrong),
            (&mut self.accused_missing, other.accused_missing),
            (&mut self.mistakes_praised, other.mistakes_praised),
            (&mut self.named_rightly, other.named_rightly),
            (&mut self.kept_rests, other.kept_rests),
            (&mut self.kept_called_bad, other.kept_called_bad),
            (&mut self.rests, other.rests),
            (&mut self.rests_unsure, other.rests_unsure),
            (&mut self.restarts_landed, other.restarts_landed),
            (&mut self.cents_absent, other.cents_absent),
        ] {
            *mine += theirs;
        }
        for (mine, theirs) in [
            (&mut self.wrong, &other.wrong),
            (&mut self.missing, &other.missing),
            (&mut self.extra, &other.extra),
            (&mut self.rushed, &other.rushed),
            (&mut self.stretched, &other.stretched),
            (&mut self.filled, &other.filled),
            (&mut self.restarts, &other.restarts),
        ] {
            mine.add(theirs);
        }
        self.cents.extend(&other.cents);
        self.onset.extend(&other.onset);
        self.offset.extend(&other.offset);
        self.tuning.extend(&other.tuning);
        self.confidence.extend(&other.confidence);
        self.rest_confidence.extend(&other.rest_confidence);
        for (name, (all, good)) in &other.planted {
            let mine = self.planted.entry(name.clone()).or_default();
            *mine = (mine.0 + all, mine.1 + good);
        }
        for (name, (all, accused, unsure)) in &other.joins {
            let mine = self.joins.entry(name.clone()).or_default();
            *mine = (mine.0 + all, mine.1 + accused, mine.2 + unsure);
        }
    }
}

/// One disagreement, for a person to look at.
#[derive(Debug, Clone, PartialEq)]
pub struct Disagreement {
    /// How bad it is: 0 is the worst.
    pub rank: u8,
    pub text: String,
}

/// An extra note matches if it is the same note at about the same time.
const EXTRA_SECONDS: f64 = 0.25;
const EXTRA_SEMITONES: f64 = 0.7;
/// A restart matches if it is heard within this time of the first note played again.
const RESTART_SECONDS: f64 = 0.5;

/// Scores one report; disagreements are appended to `list`.
pub fn score(truth: &Truth, report: &ReportView, list: &mut Vec<Disagreement>) -> Tally {
    let mut tally = Tally { takes: 1.0, ..Tally::default() };
    let context = format!("{} {:?} {}", truth.take, truth.instrument, truth.condition).to_lowercase();
    let mut note =
        |rank: u8, text: String| list.push(Disagreement { rank, text: format!("{context}: {text}") });
    if truth.outcome != "judged" {
        tally.foreign = 1.0;
        tally.foreign_refused = f64::from(u8::from(report.outcome == truth.outcome));
        if report.outcome != truth.outcome {
            let praised = report.notes.iter().filter(|n| n.verdict == "right").count() as f64;
            tally.foreign_notes = report.notes.len() as f64;
            tally.foreign_praised = praised;
            note(
                0,
                format!(
                    "is another melody ({}), and was {}: {praised} of {} notes called right",
                    truth.planted.first().map_or("", |p| p),
                    report.outcome,
                    tally.foreign_notes
                ),
            );
        }
        return tally;
    }
    if report.outcome != "judged" {
        tally.refused_wrongly = 1.0;
        note(
            0,
            format!("refused: {}", if report.outcome.is_empty() { "no report" } else { &report.outcome }),
        );
        // Nobody may hide behind a refusal: every note counts as unsure.
        tally.written = truth.notes.len() as f64;
        tally.unsure = tally.written;
    } else {
        score_notes(truth, report, &mut tally, &mut note);
        score_rests(truth, report, &mut tally, &mut note);
        score_tuning(truth, report, &mut tally);
    }
    score_extras(truth, report, &mut tally, &mut note);
    score_restarts(truth, report, &mut tally, &mut note);
    tally
}

fn score_notes(truth: &Truth, report: &ReportView, tally: &mut Tally, note: &mut impl FnMut(u8, String)) {
    let absent = NoteView { verdict: "absent".into(), ..NoteView::default() };
    for (place, real) in truth.notes.iter().enumerate() {
        let said = report.notes.iter().find(|n| n.index == real.index).unwrap_or(&absent);
        tally.written += 1.0;
        let same_as_before = place > 0
            && truth.notes[place - 1].index + 1 == real.index
            && truth.notes[place - 1].written_midi == real.written_midi;
        let unsure = said.verdict != "right" && said.verdict != "wrong" && said.verdict != "missing";
        let agreed = said.verdict == real.verdict;
        tally.unsure += f64::from(u8::from(unsure));
        tally.wrong.count(real.verdict == "wrong", said.verdict == "wrong");
        tally.missing.count(real.verdict == "missing", said.verdict == "missing");
        if let (false, Some(confidence)) = (unsure, said.confidence) {
            tally.confidence.push((confidence, agreed));
        }
        if real.verdict == "right" {
            tally.right += 1.0;
            tally.accused_wrong += f64::from(u8::from(said.verdict == "wrong"));
            tally.accused_missing += f64::from(u8::from(said.verdict == "missing"));
            let join = tally.joins.entry(join_class(&real.join, same_as_before)).or_default();
            join.0 += 1.0;
            join.1 += f64::from(u8::from(!agreed && !unsure));
            join.2 += f64::from(u8::from(unsure));
        } else {
            tally.mistakes_praised += f64::from(u8::from(said.verdict == "right"));
        }
        if let Some(planted) = &real.planted {
            let planted = tally.planted.entry(planted.clone()).or_default();
            *planted = (planted.0 + 1.0, planted.1 + f64::from(u8::from(agreed)));
        }
        let mut misnamed = false;
        if real.verdict == "wrong" && agreed {
            let near =
                matches!((said.played_midi, real.played_midi), (Some(s), Some(r)) if (s - r).abs() < 0.5);
            tally.named_rightly += f64::from(u8::from(near));
            misnamed = !near;
        }
        if agreed && real.verdict != "missing" {
            match (said.cents, real.cents) {
                (Some(said), Some(real)) => tally.cents.push(said - real),
                _ => tally.cents_absent += 1.0,
            }
            if let (Some(said), Some(real)) = (said.onset_s, real.onset_s) {
                tally.onset.push(1000.0 * (said - real));
            }
            if let (Some(said), Some(real)) = (said.offset_s, real.offset_s) {
                tally.offset.push(1000.0 * (said - real));
            }
        }
        let describe = |verdict: &str, midi: Option<f64>| match midi {
            Some(midi) => format!("{verdict} ({midi:.2})"),
            None => verdict.to_string(),
        };
        if !agreed || misnamed {
            let rank = match (real.verdict.as_str(), said.verdict.as_str()) {
                ("right", "wrong" | "missing") => 0,
                (_, "right") => 1,
                _ if unsure => 3,
                _ => 2,
            };
            note(
                rank,
                format!(
                    "note {} (bar {} beat {}) {} = {}: truth {} at {}, said {}{}; {}, {}{}",
                    real.index,
                    real.bar,
                    real.beat,
                    real.written,
                    real.written_midi,
                    describe(&real.verdict, real.played_midi),
                    real.onset_s.map_or("–".into(), |s| format!("{s:.2} s")),
                    describe(&said.verdict, said.played_midi),
                    said.confidence.map_or(String::new(), |c| format!(" with {c:.2}")),
                    real.planted.as_deref().unwrap_or("nothing planted"),
                    real.join,
                    if same_as_before { ", same pitch as before" } else { "" },
                ),
            );
        }
    }
}

fn join_class(join: &str, same: bool) -> String {
    let class =
        match join.strip_prefix("bow-change ").and_then(|j| j.split(' ').next()).map(str::parse::<f64>) {
            Some(Ok(dip)) if dip < 8.0 => "bow change, dip 3–8 dB",
            Some(Ok(dip)) if dip < 15.0 => "bow change, dip 8–15 dB",
            Some(_) => "bow change, dip 15–25 dB",
            None => join,
        };
    format!("{class}{}", if same { ", same pitch" } else { "" })
}

fn score_rests(truth: &Truth, report: &ReportView, tally: &mut Tally, note: &mut impl FnMut(u8, String)) {
    for real in truth.rests.iter().filter(|r| r.scored) {
        let said = report.rests.iter().find(|r| r.index == real.index);
        let verdict = said.map_or("absent", |r| r.verdict.as_str());
        let unsure = !["kept", "rushed", "stretched", "filled"].contains(&verdict);
        tally.rests += 1.0;
        tally.rests_unsure += f64::from(u8::from(unsure));
        tally.rushed.count(real.verdict == "rushed", verdict == "rushed");
        tally.stretched.count(real.verdict == "stretched", verdict == "stretched");
        tally.filled.count(real.verdict == "filled", verdict == "filled");
        if real.verdict == "kept" {
            tally.kept_rests += 1.0;
            tally.kept_called_bad += f64::from(u8::from(!unsure && verdict != "kept"));
        }
        if let (false, Some(confidence)) = (unsure, said.and_then(|r| r.confidence)) {
            tally.rest_confidence.push((confidence, verdict == real.verdict));
        }
        if verdict != real.verdict {
            note(
                if real.verdict == "kept" && !unsure { 0 } else { 2 },
                format!(
                    "rest {} (bar {} beat {}), {} beats written, {:.2} played: truth {}, said {verdict} ({:.2})",
                    real.index,
                    real.bar,
                    real.beat,
                    real.written_beats,
                    real.played_beats.unwrap_or(f64::NAN),
                    real.verdict,
                    said.and_then(|r| r.played_beats).unwrap_or(f64::NAN),
                ),
            );
        }
    }
}

fn score_tuning(truth: &Truth, report: &ReportView, tally: &mut Tally) {
    if let Some(said) = report.tuning.offset_cents {
        tally.tuning.push(said - truth.tuning.offset_cents);
    }
}

fn score_extras(truth: &Truth, report: &ReportView, tally: &mut Tally, note: &mut impl FnMut(u8, String)) {
    let mut used = vec![false; report.extra.len()];
    for real in &truth.extra {
        let best = (0..report.extra.len())
            .filter(|i| !used[*i])
            .filter(|i| {
                let said = &report.extra[*i];
                let overlap = said.offset_s.min(real.offset_s) - said.onset_s.max(real.onset_s);
                (said.played_midi - real.played_midi).abs() < EXTRA_SEMITONES
                    && ((said.onset_s - real.onset_s).abs() < EXTRA_SECONDS
                        || overlap > 0.5 * (real.offset_s - real.onset_s))
            })
            .min_by(|a, b| {
                let away = |i: usize| (report.extra[i].onset_s - real.onset_s).abs();
                away(*a).total_cmp(&away(*b))
            });
        if let Some(best) = best {
            used[best] = true;
            tally.extra.hit += 1.0;
        } else {
            tally.extra.overlooked += 1.0;
            note(
                2,
                format!(
                    "extra {:.2} at {:.2}–{:.2} s after {:?} not found",
                    real.played_midi, real.onset_s, real.offset_s, real.after_index
                ),
            );
        }
    }
    for (said, _) in report.extra.iter().zip(&used).filter(|(_, used)| !**used) {
        tally.extra.invented += 1.0;
        note(
            1,
            format!(
                "extra {:.2} at {:.2}–{:.2} s is invented",
                said.played_midi, said.onset_s, said.offset_s
            ),
        );
    }
}

fn score_restarts(truth: &Truth, report: &ReportView, tally: &mut Tally, note: &mut impl FnMut(u8, String)) {
    let mut used = vec![false; report.restarts.len()];
    for real in &truth.restarts {
        let found = (0..report.restarts.len())
            .find(|i| !used[*i] && (report.restarts[*i].time_s - real.time_s).abs() < RESTART_SECONDS);
        match found {
            Some(found) => {
                used[found] = true;
                tally.restarts.hit += 1.0;
                let landed = report.restarts[found].resumed_at_index == real.resumed_at_index;
                tally.restarts_landed += f64::from(u8::from(landed));
                if !landed {
                    let said = report.restarts[found].resumed_at_index;
                    note(
                        2,
                        format!(
                            "restart at {:.2} s resumes at {}, said {said}",
                            real.time_s, real.resumed_at_index
                        ),
                    );
                }
            }
            None => {
                tally.restarts.overlooked += 1.0;
                note(
                    1,
                    format!(
                        "restart at {:.2} s, {} → {}, not found",
                        real.time_s, real.left_at_index, real.resumed_at_index
                    ),
                );
            }
        }
    }
    for (said, _) in report.restarts.iter().zip(&used).filter(|(_, used)| !**used) {
        tally.restarts.invented += 1.0;
        note(1, format!("restart at {:.2} s is invented", said.time_s));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::take_maker::truth::{ExtraTruth, NoteTruth, TempoTruth, TuningTruth};
    use fingertape::notation::Instrument;

    fn note(index: usize, verdict: &str, onset: Option<f64>) -> NoteTruth {
        NoteTruth {
            index,
            bar: 1,
            beat: 1.0,
            written: "D4".into(),
            written_midi: 62,
            verdict: verdict.into(),
            played_midi: onset.map(|_| if verdict == "wrong" { 64.0 } else { 62.1 }),
            cents: onset.map(|_| if verdict == "wrong" { 200.0 } else { 10.0 }),
            onset_s: onset,
            offset_s: onset.map(|o| o + 0.5),
            planted: None,
            join: "apart".into(),
        }
    }

    fn truth() -> Truth {
        Truth {
            take: "000".into(),
            audio: "000.wav".into(),
            score: "000.musicxml".into(),
            outcome: "judged".into(),
            instrument: Instrument::Violin,
            bpm: 72.0,
            condition: "dry".into(),
            player: "nobody".into(),
            half: "tune".into(),
            control: false,
            planted: Vec::new(),
            notes: vec![
                note(0, "right", Some(1.0)),
                note(1, "wrong", Some(2.0)),
                note(2, "missing", None),
                note(3, "right", Some(4.0)),
            ],
            rests: Vec::new(),
            extra: vec![ExtraTruth { onset_s: 5.0, offset_s: 5.2, played_midi: 60.0, after_index: Some(3) }],
            restarts: Vec::new(),
            tempo: TempoTruth { set_bpm: 72.0, played_bpm: 72.0, drift_percent: 0.0 },
            tuning: TuningTruth { offset_cents: 0.0, strings: Vec::new() },
        }
    }

    fn perfect(truth: &Truth) -> ReportView {
        let text = serde_json::to_string(truth).expect("the truth is JSON");
        serde_json::from_str(&text).expect("the truth has the report's fields")
    }

    #[test]
    fn the_truth_scores_perfectly_against_itself() {
        let truth = truth();
        let mut list = Vec::new();
        let tally = score(&truth, &perfect(&truth), &mut list);
        assert_eq!(list, vec![]);
        assert_eq!((tally.wrong.f1(), tally.missing.f1(), tally.extra.f1()), (1.0, 1.0, 1.0));
        assert_eq!(tally.cents, vec![0.0, 0.0, 0.0]);
        assert_eq!((tally.right, tally.accused_wrong + tally.accused_missing, tally.unsure), (2.0, 0.0, 0.0));
    }

    #[test]
    fn a_right_note_called_missing_is_the_first_of_the_list() {
        let truth = truth();
        let mut report = perfect(&truth);
        report.notes[0].verdict = "missing".into();
        report.notes[2].verdict = "unsure".into();
        report.extra.clear();
        let mut list = Vec::new();
        let tally = score(&truth, &report, &mut list);
        list.sort_by_key(|d| d.rank);
        assert!(list[0].rank == 0 && list[0].text.contains("said missing"), "{list:?}");
        assert_eq!((tally.accused_missing, tally.unsure, tally.extra.overlooked), (1.0, 1.0, 1.0));
        assert_eq!(tally.missing, Detection { hit: 0.0, invented: 1.0, overlooked: 1.0 });
    }

    #[test]
    fn a_refusal_hides_nothing() {
        let truth = truth();
        let report = ReportView { outcome: "too-noisy".into(), ..ReportView::default() };
        let tally = score(&truth, &report, &mut Vec::new());
        assert_eq!((tally.refused_wrongly, tally.unsure, tally.written), (1.0, 4.0, 4.0));
    }

    #[test]
    fn an_extra_note_of_another_pitch_or_another_time_does_not_count() {
        let truth = truth();
        for (onset, midi) in [(5.0, 61.0), (6.0, 60.0)] {
            let mut report = perfect(&truth);
            report.extra = vec![ExtraView { onset_s: onset, offset_s: onset + 0.2, played_midi: midi }];
            let tally = score(&truth, &report, &mut Vec::new());
            assert_eq!(tally.extra, Detection { hit: 0.0, invented: 1.0, overlooked: 1.0 });
        }
    }
}
