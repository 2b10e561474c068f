//! What to tune, in words: one string by itself, or the whole instrument.

use super::intonation::RETUNE_CENTS;
use super::words;
use crate::findings::{MelodySummary, NoteFinding, NoteVerdict, Report, StringTuning};
use crate::notation::{Fifths, Instrument};
use crate::open_string::FINE_TUNER_CENTS;

/// Strings within this of each other, in cents, are off together: then it is the whole instrument.
const ALIKE_CENTS: f64 = 8.0;

/// What to tune. A string that is off says nothing about the player's fingers.
pub fn what_to_tune(report: &Report) -> Vec<String> {
    let strings = &report.tuning.strings;
    let whole = report.tuning.offset_cents.filter(|offset| offset.abs() > RETUNE_CENTS);
    let alike = |offset: f64| strings.iter().all(|one| (off_by(report, one) - offset).abs() <= ALIKE_CENTS);
    match whole.filter(|offset| alike(*offset)) {
        // No string was surely heard open: whether it is the strings or the hand cannot be known.
        Some(offset) if strings.is_empty() => vec![
            format!(
                "Everything sounds about {:.0} cents {}. That is most likely the tuning, so I allowed for it.",
                offset.abs(),
                words::low_or_high(offset)
            ),
            how_to_tune(report, "it", None, offset),
        ],
        Some(offset) if more_than_one_string(report) => vec![
            format!(
                "The whole instrument is tuned {} ({:.0} cents). I allowed for that: it is not your fingers.",
                words::low_or_high(offset),
                offset.abs()
            ),
            how_to_tune(report, "it", None, offset),
        ],
        _ => {
            let off: Vec<(&StringTuning, f64)> = strings
                .iter()
                .map(|string| (string, off_by(report, string)))
                .filter(|(_, cents)| cents.abs() > RETUNE_CENTS)
                .collect();
            let mut lines: Vec<String> =
                off.iter().map(|(string, cents)| off_string(string, *cents)).collect();
            let furthest = off.iter().map(|(_, cents)| cents.abs()).fold(0.0, f64::max);
            match off.as_slice() {
                [] => {}
                [(string, _)] => lines.push(how_to_tune(report, "it", Some(string), furthest)),
                _ => lines.push(how_to_tune(report, "them", None, furthest)),
            }
            lines
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

fn off_string(string: &StringTuning, cents: f64) -> String {
    format!(
        "The {} string is {}: it sounds {:.0} cents {}. That is the string, not your fingers.",
        words::harmless(&string.string),
        if cents < 0.0 { "too loose" } else { "too tight" },
        cents.abs(),
        words::low_or_high(cents),
    )
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
        what_to_tune(&report).pop().unwrap_or_default()
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
