//! What to tune, in words: one string by itself, or the whole instrument.

use super::intonation::{IN_TUNE_CENTS, RETUNE_CENTS, agrees_with_whole, lies_on, surely_on};
use super::words;
use crate::findings::{MelodySummary, NoteFinding, NoteVerdict, Report, StringTuning, surely_open};
use crate::notation::{Fifths, Instrument};
use crate::open_string::FINE_TUNER_CENTS;

/// Strings within this of each other, in cents, are off together: then it is the whole instrument.
const ALIKE_CENTS: f64 = 8.0;

/// Notes within this of a string's tuning, in cents, are off with it,
const WITH_IT_CENTS: f64 = 15.0;
/// and everything on the string is where so many are,
const EVERYTHING: usize = 3;
/// and this share.
const SHARE: f64 = 0.8;

/// What to tune.
#[derive(Debug, Default, PartialEq)]
pub(super) struct ToTune {
    /// The words, none where there is nothing to tune.
    pub lines: Vec<String>,
    /// Whether it is strings by themselves, and not the whole instrument.
    pub strings: bool,
}

/// What to tune. A string that is off says nothing about the player's fingers.
pub(super) fn what_to_tune(report: &Report) -> ToTune {
    let strings = &report.tuning.strings;
    let whole = report.tuning.offset_cents.filter(|offset| offset.abs() > RETUNE_CENTS);
    let alike = |offset: f64| {
        strings.iter().all(|one| (off_by(report, one) - offset).abs() <= ALIKE_CENTS)
            && (0..4).all(|string| surely_on(report, string).len() < 2 || agrees_with_whole(report, string))
    };
    match whole.filter(|offset| alike(*offset)) {
        // No string was surely heard open: whether it is the strings or the hand cannot be known.
        Some(offset) if strings.is_empty() => {
            let all = format!(
                "Everything sounds about {:.0} cents {}. That is most likely the tuning, so I allowed for it.",
                offset.abs(),
                words::low_or_high(offset)
            );
            ToTune { lines: vec![all, how_to_tune(report, "it", None, offset)], strings: false }
        }
        Some(offset) if more_than_one_string(report) => {
            let all = format!(
                "The whole instrument is tuned {} ({:.0} cents). I allowed for that: it is not your fingers.",
                words::low_or_high(offset),
                offset.abs()
            );
            ToTune { lines: vec![all, how_to_tune(report, "it", None, offset)], strings: false }
        }
        _ => {
            let off: Vec<(&StringTuning, f64)> = strings
                .iter()
                .map(|string| (string, off_by(report, string)))
                .filter(|(_, cents)| cents.abs() > RETUNE_CENTS)
                .collect();
            let mut lines: Vec<String> =
                off.iter().map(|(string, cents)| off_string(report, string, *cents)).collect();
            let furthest = off.iter().map(|(_, cents)| cents.abs()).fold(0.0, f64::max);
            match (off.as_slice(), whole) {
                // Most notes are off together, and too few others show whether that is one string.
                ([], Some(offset)) => lines.extend([
                    format!(
                        "Many notes sound about {:.0} cents {}, but not all: check every string before you play again.",
                        offset.abs(),
                        words::low_or_high(offset)
                    ),
                    how_to_tune(report, "them", None, offset),
                ]),
                ([], None) => {}
                ([(string, _)], _) => lines.push(how_to_tune(report, "it", Some(string), furthest)),
                (_, _) => lines.push(how_to_tune(report, "them", None, furthest)),
            }
            ToTune { lines, strings: true }
        }
    }
}

/// The way to a tuned string, or to a tuned instrument: by the command that listens while it is tuned, where fine tuners
/// reach so far; a bass has none, and what is further off takes the pegs. `it` is the word for what is to be tuned.
fn how_to_tune(report: &Report, it: &str, string: Option<&StringTuning>, furthest: f64) -> String {
    let &MelodySummary { instrument, a4_hz, fifths, .. } = &report.melody;
    const CENTS: &str = "(100 cents are one semitone.)";
    if instrument == Instrument::Bass || furthest.abs() > FINE_TUNER_CENTS {
        return format!(
            "Ask your teacher or another grown-up to tune {it} with you: small turns, faces away from the strings. {CENTS}"
        );
    }
    let (tuners, which) = match string {
        Some(string) => ("the fine tuner", words::harmless(&string.string)),
        None => ("the fine tuners", "--all".to_owned()),
    };
    let a4 = if a4_hz == 440.0 { String::new() } else { format!(" --a4 {a4_hz}") };
    let fifths = if fifths == Fifths::Equal { "" } else { " --fifths pure" };
    format!(
        "Tune {it} with {tuners} and 'fingertape string {which} --instrument {instrument}{a4}{fifths}', or ask your teacher \
         or another grown-up. Small turns, faces away from the strings. {CENTS}"
    )
}

/// How far an open string is from where it belongs, in cents, positive where it is high.
pub(crate) fn off_by(report: &Report, string: &StringTuning) -> f64 {
    string.cents - belongs(report, string)
}

/// Where an open string belongs above equal temperament, in cents, in the fifths that it is tuned in.
fn belongs(report: &Report, string: &StringTuning) -> f64 {
    let &MelodySummary { instrument, fifths, .. } = &report.melody;
    let place = instrument.string_names().iter().position(|name| *name == string.string);
    place.map_or(0.0, |place| fifths.above_equal(instrument, place).0)
}

fn off_string(report: &Report, string: &StringTuning, cents: f64) -> String {
    let name = words::harmless(&string.string);
    let (by, side) = (cents.abs(), words::low_or_high(cents));
    let Heard { open, everything, by_ear } = heard_of(report, string);
    let mut text = if !open && everything {
        // It may be the hand.
        format!(
            "Everything on the {name} string sounds about {by:.0} cents {side}. That is most likely the string, not your \
             fingers: tune it first."
        )
    } else {
        format!(
            "The {name} string is {}: it sounds {by:.0} cents {side}{}. That is {}the string, not your fingers{}.",
            if cents < 0.0 { "too loose" } else { "too tight" },
            if everything { ", and so does everything on it" } else { "" },
            if open { "" } else { "most likely " },
            if everything || by_ear { ": tune it first" } else { "" },
        )
    };
    if by_ear {
        let way = if cents < 0.0 { "toward the nut" } else { "toward the bridge" };
        text.push_str(&format!(
            " Your fingers made up for it by ear, and that was well heard; once it is tuned they go a little {way}."
        ));
    }
    text
}

/// What was heard of a string that is off.
struct Heard {
    /// It was surely heard open.
    open: bool,
    /// The fingers on it are as far off.
    everything: bool,
    /// They are not, and some finger on it found the right pitch all the same.
    by_ear: bool,
}

fn heard_of(report: &Report, string: &StringTuning) -> Heard {
    let instrument = report.melody.instrument;
    let Some(place) = instrument.string_names().iter().position(|name| *name == string.string) else {
        return Heard { open: true, everything: false, by_ear: false };
    };
    let sounds = instrument.open_strings()[place];
    let written: Vec<i32> = report.notes.iter().map(|note| note.written_midi).collect();
    let off = |note: &NoteFinding| Some(100.0 * (note.played_midi? - f64::from(note.written_midi)));
    // What is unsure because the string is so far off counts here too.
    let heard_at = |midi: i32| {
        report.notes.iter().any(|note| {
            note.written_midi == midi
                && off(note).is_some_and(|cents| (cents - string.cents).abs() < 2.0 * WITH_IT_CENTS)
        })
    };
    let stopped = report.notes.iter().filter(|note| {
        matches!(note.verdict, NoteVerdict::Right | NoteVerdict::Unsure)
            && note.written_midi != sounds
            && lies_on(report, note, place)
    });
    let stopped: Vec<f64> = stopped.filter_map(off).collect();
    let with_it = stopped.iter().filter(|cents| (*cents - string.cents).abs() <= WITH_IT_CENTS).count();
    let right = |cents: &f64| {
        cents.abs() <= IN_TUNE_CENTS
            && (cents - string.cents).abs() > IN_TUNE_CENTS
            && (cents - string.cents).is_sign_negative() != string.cents.is_sign_negative()
    };
    let open = surely_open(instrument, &written, place) && heard_at(sounds);
    let known = with_it >= EVERYTHING && with_it as f64 >= SHARE * stopped.len() as f64;
    Heard { open, everything: known, by_ear: !known && stopped.iter().any(right) }
}

/// Whether more than one string was surely heard: one string says nothing about the others.
fn more_than_one_string(report: &Report) -> bool {
    let instrument = report.melody.instrument;
    let right = report.notes.iter().filter(|note| note.verdict == NoteVerdict::Right);
    let heard_open = |string: usize| {
        report.tuning.strings.iter().any(|tuning| tuning.string == instrument.string_names()[string])
    };
    let strings = |note: &NoteFinding| -> Vec<usize> {
        let places = instrument.fingerings(note.written_midi);
        let open = places.iter().find(|place| place.finger == 0 && heard_open(place.string));
        open.map_or_else(|| places.iter().map(|place| place.string).collect(), |place| vec![place.string])
    };
    let mut shared: Option<Vec<usize>> = None;
    for note in right {
        let here = strings(note);
        shared = Some(match shared {
            None => here,
            Some(so_far) => so_far.into_iter().filter(|string| here.contains(string)).collect(),
        });
    }
    shared.is_some_and(|shared| shared.is_empty())
}

#[cfg(test)]
mod tests {
    use super::super::sample_report::report;
    use super::*;

    fn last(instrument: Instrument, strings: &[(&str, f64)], edit: impl Fn(&mut Report)) -> String {
        let mut report = report(instrument, &["D4"]);
        let tuning = |&(string, cents): &(&str, f64)| StringTuning { string: string.into(), cents, notes: 2 };
        report.tuning.strings = strings.iter().map(tuning).collect();
        edit(&mut report);
        what_to_tune(&report).lines.pop().unwrap_or_default()
    }

    #[test]
    fn what_a_fine_tuner_reaches_names_the_command_that_listens_and_somebody_to_ask() {
        let one = last(Instrument::Viola, &[("C", -22.0), ("G", 3.0)], |_| {});
        assert_eq!(
            one,
            "Tune it with the fine tuner and 'fingertape string C --instrument viola', or ask your teacher or another \
             grown-up. Small turns, faces away from the strings. (100 cents are one semitone.)"
        );
        let two = last(Instrument::Cello, &[("C", -22.0), ("A", 14.0)], |report| {
            (report.melody.a4_hz, report.melody.fifths) = (442.0, Fifths::Pure);
        });
        let command = "'fingertape string --all --instrument cello --a4 442 --fifths pure'";
        assert!(two.starts_with(&format!("Tune them with the fine tuners and {command}, or ask")), "{two}");
        assert_eq!(last(Instrument::Viola, &[("C", -9.0)], |_| {}), "");
    }

    #[test]
    fn pegs_and_the_machines_of_a_bass_are_for_a_grown_up() {
        for (instrument, strings) in
            [(Instrument::Violin, [("G", -61.0)]), (Instrument::Bass, [("A", -22.0)])]
        {
            let said = last(instrument, &strings, |_| {});
            assert!(said.starts_with("Ask your teacher or another grown-up to tune it with you"), "{said}");
            assert!(said.contains("faces away from the strings") && !said.contains("fine tuner"), "{said}");
        }
    }
}
