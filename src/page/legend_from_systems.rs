//! How to read the staff as heard: a sentence for each kind of mark that stands on these systems, and for no other.

use crate::engrave::{Mark, Shape, System, What};

/// The sentences, in the order in which the marks catch the eye.
pub fn legend(systems: &[System]) -> String {
    let any = |wanted: &dyn Fn(&Mark) -> bool| systems.iter().flat_map(System::marks).any(wanted);
    let is = |what: What| any(&|mark| mark.what == what);
    let words = |what: What, wanted: &dyn Fn(&str) -> bool| {
        any(&|mark| mark.what == what && matches!(&mark.shape, Shape::Words { text, .. } if wanted(text)))
    };
    let waited = any(&|mark| mark.what == What::Silence && matches!(mark.shape, Shape::Area(_)));
    let silent = is(What::Silence);
    let (mut early, mut filled) = (false, false);
    for system in systems {
        let of_rests = |what: What| system.marks().filter(move |mark| mark.what == what);
        for hatching in of_rests(What::SoundInRest) {
            // Beside a bracket, the silence was cut short; alone, there was none.
            let beside = of_rests(What::Silence).any(|silence| silence.item == hatching.item);
            early |= beside;
            filled |= !beside;
        }
    }
    let bracket = match (silent, early, waited) {
        (true, true, true) => {
            "The bracket is your rest: hatching where you came in early, an arrow where you waited longer."
        }
        (true, true, false) => "The bracket is your rest: hatching where you came in early.",
        (true, false, true) => "The bracket is your rest: an arrow where you waited longer.",
        (true, false, false) => "The bracket is your rest.",
        (false, ..) => "",
    };
    let hatching = match (filled, early) {
        (true, true) => "Hatching without a bracket: you sounded all through the rest.",
        (true, false) => "Hatching: you sounded where the rest is.",
        (false, _) => "",
    };
    let number = |text: &str| text == "0" || text.starts_with(['+', '−']);
    // These words are always drawn; “not heard” only where there is room for it.
    let no_new_bow = words(What::HeardWord, &|text| text.contains("bow"));
    let sentences = [
        (
            words(What::Cents, &number),
            "The numbers are cents, your fingers' after the tuning: + is high, − is low, and 100 are one semitone.",
        ),
        (is(What::HeardBox), "A box: another note, with its name below."),
        (
            is(What::MissingRoom) && no_new_bow,
            "A dotted box: not heard, or no new bow where the words below it say so.",
        ),
        (is(What::MissingRoom) && !no_new_bow, "A dotted box: not heard."),
        (is(What::WrittenPlace), "A dotted stroke: where a note that came early or late was due."),
        (is(What::ExtraHead), "A small note: it is not on the sheet."),
        (!bracket.is_empty(), bracket),
        (!hatching.is_empty(), hatching),
        (words(What::Cents, &|text| text == "?"), "?: I could not tell."),
    ];
    let shown: Vec<&str> = sentences.into_iter().filter_map(|(shown, text)| shown.then_some(text)).collect();
    shown.join(" ")
}

#[cfg(test)]
mod tests {
    use super::super::staff::{heard_from_report, systems_on_paper};
    use super::*;
    use crate::findings::{ExtraFinding, NoteVerdict, Report, RestVerdict};
    use crate::formats::read_melody_bytes;
    use crate::notation::{Instrument, Melody};
    use crate::report::TextSettings;
    use crate::report::sample_report::{report, unheard, wrong};

    fn played() -> (Report, Melody) {
        let text = "instrument = 'violin'\nmetre = '4/4'\nbars = ['D4 q E4 F#4 rest', 'G4 A4 A4 D4']";
        let melody = read_melody_bytes("m.toml", text.as_bytes()).expect("a melody").melody;
        (report(Instrument::Violin, &["D4", "E4", "F#4", "-", "G4", "A4", "A4", "D4"]), melody)
    }

    fn said(edit: impl Fn(&mut Report)) -> String {
        let (mut report, melody) = played();
        edit(&mut report);
        legend(&systems_on_paper(&report, &melody, &TextSettings::default(), 178.0))
    }

    #[test]
    fn only_what_is_drawn_is_explained() {
        let plain = said(|_| {});
        assert!(plain.starts_with("The numbers are cents") && plain.ends_with("The bracket is your rest."));
        assert!(!plain.contains("box") && !plain.contains('?'), "{plain}");
        let much = said(|report| {
            wrong(report, 1, -1.0);
            unheard(report, 2, NoteVerdict::Unsure);
            unheard(report, 4, NoteVerdict::Missing);
            report.notes[6].onset_error_beats = Some(0.4);
            (report.rests[0].verdict, report.rests[0].played_beats) = (RestVerdict::Rushed, Some(0.4));
        });
        for words in
            ["A box: another", "A dotted box", "A dotted stroke", "came in early.", "?: I could not tell."]
        {
            assert!(much.contains(words), "{words}: {much}");
        }
        let waited = said(|report| {
            (report.rests[0].verdict, report.rests[0].played_beats) = (RestVerdict::Stretched, Some(1.8));
        });
        assert!(
            waited.contains("an arrow where you waited longer") && !waited.contains("hatching"),
            "{waited}"
        );
        let filled = said(|report| report.rests[0].verdict = RestVerdict::Filled);
        assert!(filled.contains("Hatching: you sounded"), "{filled}");
        let extra = said(|report| {
            report.extra =
                vec![ExtraFinding { after_index: Some(1), onset_s: 1.2, offset_s: 1.4, played_midi: 69.0 }];
        });
        assert!(extra.contains("A small note"), "{extra}");
    }

    #[test]
    fn hatching_is_early_only_where_a_rest_was_begun_in_silence() {
        let text = "instrument = 'violin'\nmetre = '4/4'\nbars = ['D4 q E4 rest F#4', 'G4 A4 rest D4']";
        let melody = read_melody_bytes("m.toml", text.as_bytes()).expect("a melody").melody;
        let said = |first: RestVerdict, second: RestVerdict| {
            let mut report = report(Instrument::Violin, &["D4", "E4", "-", "F#4", "G4", "A4", "-", "D4"]);
            for (rest, verdict) in report.rests.iter_mut().zip([first, second]) {
                rest.verdict = verdict;
                rest.played_beats = Some(if verdict == RestVerdict::Kept { 1.0 } else { 0.4 });
            }
            legend(&systems_on_paper(&report, &melody, &TextSettings::default(), 178.0))
        };
        let filled = said(RestVerdict::Kept, RestVerdict::Filled);
        assert!(
            filled.ends_with("The bracket is your rest. Hatching: you sounded where the rest is."),
            "{filled}"
        );
        let both = said(RestVerdict::Rushed, RestVerdict::Filled);
        let ends =
            "hatching where you came in early. Hatching without a bracket: you sounded all through the rest.";
        assert!(both.ends_with(ends), "{both}");
    }

    #[test]
    fn a_dotted_box_is_no_new_bow_only_where_that_stands_below_it() {
        let missing = said(|report| unheard(report, 4, NoteVerdict::Missing));
        assert!(missing.contains("A dotted box: not heard.") && !missing.contains("bow"), "{missing}");
        let bow = said(|report| unheard(report, 6, NoteVerdict::Missing));
        assert!(bow.contains("no new bow where the words below it say so"), "{bow}");
    }

    /// A rest is kept from two thirds to 1.4 times its length: no arrow and no hatching accuse within that.
    #[test]
    fn a_rest_that_was_kept_has_neither_arrow_nor_hatching() {
        for beats in [0.75, 1.3] {
            let kept = said(|report| report.rests[0].played_beats = Some(beats));
            assert!(kept.ends_with("The bracket is your rest."), "{beats}: {kept}");
        }
    }

    #[test]
    fn one_long_bow_for_two_notes_is_not_called_unheard() {
        let (mut report, melody) = played();
        unheard(&mut report, 6, NoteVerdict::Missing);
        let label = |report: &Report| {
            let heard = heard_from_report(report, &melody, &TextSettings::default());
            heard.notes.iter().find(|note| note.event == 6).and_then(|note| note.label.clone())
        };
        assert_eq!(label(&report).as_deref(), Some("no new bow"));
        unheard(&mut report, 5, NoteVerdict::Missing);
        assert_eq!(label(&report), None);
    }
}
