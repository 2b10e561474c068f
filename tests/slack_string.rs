//! One string out of tune by less than a player hears at once: it is told, and neither the fingers on it nor those on the
//! other strings are blamed for it.

mod melodies;

use fingertape::findings::{NoteVerdict, Outcome, Report};
use fingertape::notation::{EventKind, as_f64};
use fingertape::report::{TextSettings, for_child};
use fingertape::samples::Samples;
use fingertape::sound::{BowedTone, bowed_tone};
use fingertape::units::{A4_ISO16, MidiPitch, SampleRate, Seconds};

const RATE: SampleRate = SampleRate(44_100);
const BPM: f64 = 100.0;
/// Up from the open D string and down again. A may be open or the fourth finger on D.
const BARS: &str = "D4 q E4 F#4 G4\nA4 A4 B4 rest\nA4 G4 F#4 E4\nD4 h rest h";
/// The open A string of a violin, and the open D string.
const A: i32 = 69;
const D: i32 = 62;

/// The melody with each note so many cents off.
fn played(cents: impl Fn(i32) -> f64) -> Report {
    let melody = melodies::in_d("violin", BARS);
    let beat = 60.0 / BPM;
    let at = |length| as_f64(length / melody.metre.beat()) * beat;
    let last = melody.events.last().expect("a note");
    let mut mono = vec![0.0; ((at(last.start + last.length) + 2.0) * RATE.hertz()) as usize];
    for (number, event) in melody.events.iter().enumerate() {
        let EventKind::Note { sounding, .. } = event.kind else { continue };
        let tone = BowedTone {
            attack: Seconds(0.04),
            ring: Seconds(0.05),
            seed: number as u64,
            ..BowedTone::new(
                MidiPitch(f64::from(sounding) + cents(sounding) / 100.0).hertz(A4_ISO16),
                Seconds(0.92 * at(event.length)),
                melody.instrument.expect("one"),
            )
        };
        let first = ((0.5 + at(event.start)) * RATE.hertz()) as usize;
        for (slot, sample) in mono[first..].iter_mut().zip(bowed_tone(&tone, RATE).mono) {
            *slot += sample;
        }
    }
    let report = melodies::judged(&Samples { mono, rate: RATE }, &melody, BPM);
    assert_eq!(report.outcome, Outcome::Judged);
    assert!(report.notes.iter().all(|note| note.verdict == NoteVerdict::Right), "{:?}", report.notes);
    report
}

fn said(report: &Report) -> String {
    for_child(report, &TextSettings::default()).split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_string_that_is_off_is_told_first_and_nothing_that_sounds_right_is_blamed() {
    for off in [-30.0, -24.0, -18.0, -12.0, 12.0, 18.0, 24.0, 30.0] {
        let report = played(|midi| if midi < A { off } else { 0.0 });
        let text = said(&report);
        let (how, side) = if off < 0.0 { ("too loose", "low") } else { ("too tight", "high") };
        let told = format!(
            "Fix this first The D string is {how}: it sounds {:.0} cents {side}, and so does everything on it.",
            f64::abs(off)
        );
        assert!(text.contains(&told), "{off}: {text}");
        assert!(
            !text.contains("whole instrument")
                && !text.contains(" was a little")
                && !text.contains(" was too"),
            "{off}: {text}"
        );
        assert!(report.tuning.offset_cents.is_some_and(|cents| cents.abs() < 2.0), "{:?}", report.tuning);
    }
}

#[test]
fn what_a_finger_found_by_ear_on_a_slack_string_is_not_called_too_high() {
    // The D string is 30 cents low, and so is A, which may be open; every finger is where it sounds right.
    let report = played(|midi| if midi == D || midi == A { -30.0 } else { 0.0 });
    let text = said(&report);
    assert!(text.contains("Fix this first The D string is too loose: it sounds 30 cents low."), "{text}");
    assert!(text.contains("made up for it by ear"), "{text}");
    assert!(!text.contains(" was a little") && !text.contains("whole instrument"), "{text}");
}

#[test]
fn where_all_strings_are_as_low_the_whole_instrument_is() {
    let report = played(|_| -24.0);
    let text = said(&report);
    assert!(text.contains("The whole instrument is tuned low (24 cents)."), "{text}");
    assert!(!text.contains("Fix this first"), "{text}");
}
