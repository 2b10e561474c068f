//! Hand-made reports for the tests of wording.

use crate::findings::{
    MelodySummary, NoteFinding, NoteVerdict, Outcome, Report, RestFinding, RestVerdict, TakeSummary,
    TempoFinding, TuningFinding,
};
use crate::notation::{Fifths, Instrument, Spelling};

/// A judged report in 4/4 with one quarter note for each pitch, all of them right and in tune; a pitch
/// called `-` is a rest, kept.
pub fn report(instrument: Instrument, pitches: &[&str]) -> Report {
    let mut report = Report {
        report_version: 1,
        outcome: Outcome::Judged,
        melody: MelodySummary {
            title: "Gate".into(),
            instrument,
            bpm: Some(80.0),
            a4_hz: 440.0,
            fifths: Fifths::Equal,
            beats_felt_as_one: 1,
            key_fifths: 0,
        },
        take: TakeSummary { duration_s: 12.0, sample_rate_hz: 48_000, remarks: vec![] },
        notes: vec![],
        rests: vec![],
        extra: vec![],
        restarts: vec![],
        tempo: TempoFinding { set_bpm: Some(80.0), played_bpm: Some(80.0), drift_percent: Some(0.0) },
        tuning: TuningFinding { offset_cents: Some(0.0), strings: vec![] },
    };
    for (index, pitch) in pitches.iter().enumerate() {
        let (bar, beat) = (index as u32 / 4 + 1, (index % 4) as f64 + 1.0);
        if *pitch == "-" {
            report.rests.push(RestFinding {
                index,
                bar,
                beat,
                written_beats: 1.0,
                played_beats: Some(1.0),
                verdict: RestVerdict::Kept,
                confidence: 0.98,
            });
            continue;
        }
        let written: Spelling = pitch.parse().expect("a pitch such as F#4");
        let midi = written.midi() + instrument.sounding_shift();
        report.notes.push(NoteFinding {
            index,
            bar,
            beat,
            written: (*pitch).to_owned(),
            written_midi: midi,
            verdict: NoteVerdict::Right,
            played_midi: Some(f64::from(midi)),
            cents: Some(0.0),
            cents_spread: Some(2.0),
            onset_s: Some(index as f64 * 0.75),
            offset_s: Some(index as f64 * 0.75 + 0.7),
            onset_error_beats: Some(0.0),
            duration_ratio: Some(0.95),
            confidence: 0.98,
        });
    }
    report
}

/// Makes the note at this event another pitch, as so many semitones from the written one.
pub fn wrong(report: &mut Report, index: usize, semitones: f64) {
    change(report, index, |note| {
        note.verdict = NoteVerdict::Wrong;
        note.played_midi = Some(f64::from(note.written_midi) + semitones);
        note.cents = Some(100.0 * semitones);
    });
}

/// Makes the note at this event right and so many cents off.
pub fn off(report: &mut Report, index: usize, cents: f64) {
    change(report, index, |note| {
        note.played_midi = Some(f64::from(note.written_midi) + cents / 100.0);
        note.cents = Some(cents);
    });
}

/// Takes away what was heard of the note at this event.
pub fn unheard(report: &mut Report, index: usize, verdict: NoteVerdict) {
    change(report, index, |note| {
        note.verdict = verdict;
        note.played_midi = None;
        note.cents = None;
        note.cents_spread = None;
        note.onset_s = None;
        note.offset_s = None;
        note.onset_error_beats = None;
        note.duration_ratio = None;
    });
}

fn change(report: &mut Report, index: usize, edit: impl Fn(&mut NoteFinding)) {
    report.notes.iter_mut().filter(|note| note.index == index).for_each(edit);
}
