//! Notes with their places become a melody on a sheet, spelled in a key, with remarks where it was unsure.

use super::key_from_notes::key_from_notes;
use super::notes_from_listening::{JottedNote, notes_from_listening};
use super::rhythm_from_notes::{Placed, Rhythm, rhythm_from_notes};
use crate::notation::{
    Bar, Event, EventKind, Instrument, Item, Key, Length, Melody, Metre, Sheet, Spelling, WrittenValue,
    bar_text, beat_text,
};
use crate::pipeline::{Listening, tuning_guess};
use crate::remark::Remark;
use crate::units::{A4_ISO16, Hertz};

/// What a draft is told besides the take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JotSettings {
    /// The instrument that plays.
    pub instrument: Instrument,
    /// The pitch of A4.
    pub a4: Hertz,
    /// Beats a minute (of the metre's lower number).
    pub bpm: f64,
    /// The metre; its lower number is at most 16.
    pub metre: Metre,
    /// The key, where it is known.
    pub key: Option<Key>,
    /// How many beats stand before the first full bar: 0 for none, less than a bar.
    pub pickup: u32,
}

/// A melody as it was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// The melody; without a note if none was heard.
    pub melody: Melody,
    /// The notes as they were heard, one for each note of the melody.
    pub heard: Vec<JottedNote>,
    /// What was guessed and where it was unsure, most of it with bar and beat.
    pub remarks: Vec<Remark>,
    /// The tempo that was played, in beats a minute, where there are notes enough to tell.
    pub played_bpm: Option<f64>,
}

/// A played pitch this far from its note is between two notes, in cents.
const BETWEEN: f64 = 35.0;
/// An onset with less evidence (log odds) may be one long note; one passed over with more may be two.
const DOUBTFUL: f64 = 0.5;
const PASSED: f64 = -1.0;

/// The draft of what was heard. Cannot fail: where nothing was heard the melody has no events.
pub fn draft_from_listening(listening: &Listening, settings: &JotSettings) -> Draft {
    let beat = 60.0 / settings.bpm;
    let sixteenth = beat * f64::from(settings.metre.unit) / 16.0;
    let tuning = tuning_guess(&listening.contour, settings.a4);
    let notes = notes_from_listening(listening, settings.instrument, settings.a4, tuning, sixteenth);
    let unit = i64::from(16 / settings.metre.unit.max(1)).max(1);
    let rhythm = rhythm_from_notes(&notes, settings.metre, sixteenth, -unit * i64::from(settings.pickup));
    draft(notes, &rhythm, tuning, settings)
}

/// The code of the remark that asks to run again where the guessed key is another.
pub const KEY_GUESSED: &str = "key-guessed";

fn draft(notes: Vec<JottedNote>, rhythm: &Rhythm, tuning: f64, settings: &JotSettings) -> Draft {
    let lengths: Vec<(i32, f64)> =
        notes.iter().zip(&rhythm.notes).map(|(note, placed)| (note.midi, placed.length as f64)).collect();
    let key = settings.key.unwrap_or_else(|| key_from_notes(&lengths));
    let mut remarks = Vec::new();
    if settings.key.is_none() && !notes.is_empty() {
        remarks.push(Remark::new(
            KEY_GUESSED,
            format!("I guessed the key of {key}. If it is another, run this again with it, such as --key G."),
        ));
    }
    if tuning.abs() > 0.1 {
        let side = if tuning < 0.0 { "low" } else { "high" };
        remarks.push(Remark::new(
            "tuning",
            format!(
                "The whole take sounds {:.0} cents {side}; the notes are named as if it were in tune.",
                100.0 * tuning.abs()
            ),
        ));
    }
    let places = Places { metre: settings.metre };
    for (k, (note, placed)) in notes.iter().zip(&rhythm.notes).enumerate() {
        let before = k.checked_sub(1).map(|p| (&notes[p], &rhythm.notes[p]));
        let shift = settings.instrument.sounding_shift();
        remarks.extend(doubts(note, placed, before, (key, shift), &places));
    }
    let melody = Melody {
        title: None,
        instrument: Some(settings.instrument),
        bpm: Some(settings.bpm),
        a4: (settings.a4 != A4_ISO16).then_some(settings.a4),
        metre: settings.metre,
        events: events(&notes, &rhythm.notes, key, settings),
        sheet: Sheet::default(),
    };
    let sheet = Sheet { bars: bars(&melody.events, key, settings.metre), ..Sheet::default() };
    Draft {
        melody: Melody { sheet, ..melody },
        heard: notes,
        remarks,
        played_bpm: played_bpm(rhythm, settings.metre),
    }
}

/// The middle of the local tempi.
fn played_bpm(rhythm: &Rhythm, metre: Metre) -> Option<f64> {
    let mut sixteenths = rhythm.sixteenth.clone();
    sixteenths.sort_by(f64::total_cmp);
    let middle = sixteenths.get(sixteenths.len() / 2)?;
    (sixteenths.len() >= 4).then(|| 60.0 * f64::from(metre.unit) / 16.0 / middle)
}

struct Places {
    metre: Metre,
}

impl Places {
    /// Bar number (0 for a pickup) and beat of a place in sixteenths from the first downbeat.
    fn of(&self, sixteenths: i64) -> (u32, Length) {
        let at = Length::new(sixteenths, 16);
        let bar = (at / self.metre.bar()).floor();
        let beat = (at - bar * self.metre.bar()) / self.metre.beat() + Length::from_integer(1);
        (u32::try_from(*bar.numer() + 1).unwrap_or(0), beat)
    }
}

fn doubts(
    note: &JottedNote,
    placed: &Placed,
    before: Option<(&JottedNote, &Placed)>,
    (key, shift): (Key, i32),
    places: &Places,
) -> Vec<Remark> {
    let (bar, beat) = places.of(placed.start);
    let mut found = Vec::new();
    let mut say = |code: &str, text: String| {
        found.push(Remark::new(code, format!("{}, beat {}: {text}", bar_text(bar), beat_text(beat))));
    };
    // As the draft is written: the bass sounds an octave lower.
    let name = |midi: i32| Spelling::from_midi(midi - shift, key).to_string();
    if note.cents.abs() > BETWEEN {
        let other = note.midi + if note.cents > 0.0 { 1 } else { -1 };
        say(
            "unsure-pitch",
            format!(
                "it sounded between {} and {}; {} is nearer.",
                name(note.midi),
                name(other),
                name(note.midi)
            ),
        );
    }
    if let Some((last, _)) = before.filter(|(last, placed_before)| {
        last.midi == note.midi && placed_before.start + placed_before.length == placed.start
    }) && note.onset_llr < DOUBTFUL
    {
        say("unsure-onset", format!("perhaps no new {}: the one before may go on.", name(last.midi)));
    }
    if note.passed_llr > PASSED && note.passed_llr.is_finite() {
        say(
            "unsure-onset",
            format!("perhaps two notes {}: something stirred in the middle.", name(note.midi)),
        );
    }
    if placed.unsure_start {
        say("unsure-rhythm", "the rhythm is not certain: the note came between two places.".to_owned());
    }
    if placed.unsure_length {
        say("unsure-length", "its length is not certain, nor whether a rest follows.".to_owned());
    }
    found
}

/// The notes and the rests between them, in order; the last bar is filled with a rest.
fn events(notes: &[JottedNote], placed: &[Placed], key: Key, settings: &JotSettings) -> Vec<Event> {
    let places = Places { metre: settings.metre };
    let Some(first) = placed.first() else { return Vec::new() };
    let mut events: Vec<Event> = Vec::new();
    let bar = Length::from_integer(16) * settings.metre.bar();
    let bar = (*bar.numer() / *bar.denom()).max(1);
    let mut push = |from: i64, to: i64, kind: EventKind| {
        if to > from {
            let (number, beat) = places.of(from);
            let (start, length) = (Length::new(from - first.start, 16), Length::new(to - from, 16));
            events.push(Event { bar: number, beat, start, length, kind });
        }
    };
    // A rest is as many events as it has symbols: cut at bar lines, up to the next beat first, and into values that can
    // be written.
    let beat = i64::from(16 / settings.metre.unit.max(1)).max(1);
    let rest = |mut from: i64, to: i64, push: &mut dyn FnMut(i64, i64, EventKind)| {
        while from < to {
            let room = if from.rem_euclid(beat) == 0 {
                bar - from.rem_euclid(bar)
            } else {
                beat - from.rem_euclid(beat)
            };
            let within = (to - from).min(room);
            for value in WrittenValue::tied_sum(Length::new(within, 16)).unwrap_or_default() {
                let sixteenths = (value.length() * Length::from_integer(16)).to_integer();
                push(from, from + sixteenths, EventKind::Rest);
                from += sixteenths;
            }
        }
    };
    let mut end = first.start;
    for (note, placed) in notes.iter().zip(placed) {
        rest(end, placed.start, &mut push);
        let written = Spelling::from_midi(note.midi - settings.instrument.sounding_shift(), key);
        push(placed.start, placed.start + placed.length, EventKind::Note { written, sounding: note.midi });
        end = placed.start + placed.length;
    }
    rest(end, end + (-end).rem_euclid(bar), &mut push);
    events
}

/// The bars of the sheet: notes cut at bar lines and into values that can be written, and tied.
fn bars(events: &[Event], key: Key, metre: Metre) -> Vec<Bar> {
    let mut bars: Vec<Bar> = Vec::new();
    let zero = Length::from_integer(0);
    for event in events {
        let pitch = match event.kind {
            EventKind::Note { written, .. } => Some(written),
            EventKind::Rest => None,
        };
        let mut left = event.length;
        while left > zero {
            let room = bars.last().map_or(zero, |bar: &Bar| metre.bar() - bar.offset - bar.filled());
            if room <= zero {
                let (number, offset) = match bars.last() {
                    Some(bar) => (bar.number + 1, zero),
                    None => (event.bar, (event.beat - Length::from_integer(1)) * metre.beat()),
                };
                bars.push(Bar { number, offset, metre, key, items: Vec::new() });
                continue;
            }
            let here = left.min(room);
            left -= here;
            let values = WrittenValue::tied_sum(here).unwrap_or_default();
            let count = values.len();
            for (k, value) in values.into_iter().enumerate() {
                let tied = pitch.is_some() && (k + 1 < count || left > zero);
                if let Some(bar) = bars.last_mut() {
                    bar.items.push(Item { length: value.length(), pitch, tied, finger: None });
                }
            }
        }
    }
    bars
}

/// The draft as our own TOML: the melody, and before it comments that say it is a draft and what was unsure.
pub fn commented_toml(toml: &str, remarks: &[Remark]) -> String {
    let mut text = String::from("# A draft from what was heard: read it, play it, change it.\n");
    for remark in remarks {
        text.push_str("# ");
        text.push_str(&remark.text.replace(char::is_control, " "));
        text.push('\n');
    }
    text.push_str(toml);
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::{read_melody_bytes, write_toml};
    use crate::units::Seconds;
    use proptest::prelude::*;

    fn settings(metre: Metre, instrument: Instrument) -> JotSettings {
        JotSettings { instrument, a4: A4_ISO16, bpm: 60.0, metre, key: None, pickup: 0 }
    }

    fn note(onset: f64, offset: f64, midi: i32) -> JottedNote {
        JottedNote {
            onset: Seconds(onset),
            offset: Seconds(offset),
            midi,
            cents: 0.0,
            onset_llr: 4.0,
            passed_llr: -6.0,
        }
    }

    fn drafted(notes: Vec<JottedNote>, settings: &JotSettings) -> Draft {
        let rhythm = rhythm_from_notes(&notes, settings.metre, 0.25, 0);
        draft(notes, &rhythm, 0.0, settings)
    }

    #[test]
    fn a_note_across_the_bar_line_is_tied_and_is_one_event() {
        let notes = vec![note(0.0, 1.9, 62), note(2.0, 4.9, 64), note(5.0, 7.9, 66)];
        let found = drafted(notes, &settings(Metre::default(), Instrument::Violin));
        let toml = write_toml(&found.melody);
        assert!(toml.contains("E4 ~\nE4 q"), "{toml}");
        assert_eq!(found.melody.events.len(), 3);
    }

    #[test]
    fn a_rest_goes_to_the_next_beat_first() {
        let notes = vec![note(0.0, 0.45, 62), note(3.0, 3.9, 64)];
        let toml = write_toml(&drafted(notes, &settings(Metre::default(), Instrument::Violin)).melody);
        assert!(toml.contains("D4 e  rest  rest h  E4 q"), "{toml}");
    }

    #[test]
    fn doubts_name_their_place() {
        let mut notes = vec![note(0.0, 0.9, 62), note(1.0, 1.9, 62), note(2.0, 2.9, 64), note(3.0, 3.9, 62)];
        notes[1].onset_llr = -0.5;
        notes[2].cents = 41.0;
        notes[3].passed_llr = 0.3;
        let found = drafted(notes, &settings(Metre::default(), Instrument::Violin));
        let said: Vec<&str> = found.remarks.iter().map(|remark| remark.text.as_str()).collect();
        assert!(said[1].starts_with("Bar 1, beat 2: perhaps no new D4"), "{said:?}");
        assert!(said[2].starts_with("Bar 1, beat 3: it sounded between E4 and F4"), "{said:?}");
        assert!(said[3].starts_with("Bar 1, beat 4: perhaps two notes D4"), "{said:?}");
    }

    #[test]
    fn a_bass_is_written_an_octave_above_its_sound() {
        let found = drafted(
            vec![note(0.0, 0.9, 38), note(1.0, 1.9, 40)],
            &settings(Metre::default(), Instrument::Bass),
        );
        assert!(write_toml(&found.melody).contains("D3 q  E3"), "{}", write_toml(&found.melody));
        assert_eq!(found.melody.soundings().collect::<Vec<_>>(), [38, 40]);
        let mut notes = vec![note(0.0, 0.9, 38), note(1.0, 1.9, 40)];
        notes[1].cents = 41.0;
        let remarks = drafted(notes, &settings(Metre::default(), Instrument::Bass)).remarks;
        let between = remarks.iter().find(|remark| remark.code == "unsure-pitch").expect("a doubt");
        assert!(between.text.contains("between E3 and F3; E3 is nearer"), "{}", between.text);
    }

    #[test]
    fn comments_cannot_become_music() {
        let remark = Remark::new("x", "one line\nbars = 'D4 w'");
        let text = commented_toml("bars = 'E4 w'\n", &[remark]);
        let read = read_melody_bytes("draft.toml", text.as_bytes()).unwrap();
        assert_eq!(read.melody.soundings().collect::<Vec<_>>(), [64]);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn whatever_was_heard_the_draft_reads_back_as_it_is(
            heard in prop::collection::vec((0.05_f64..3.0, 0.1_f64..1.0, 0_i32..30), 1..20),
            metre in prop::sample::select(vec![(4, 4), (3, 4), (2, 4), (6, 8), (5, 4), (2, 2), (7, 16), (9, 8)]),
            instrument in prop::sample::select(Instrument::ALL.to_vec()),
            pickup in 0_u32..2,
            fifths in -4_i32..5,
        ) {
            let mut time = 0.3;
            let lowest = instrument.open_strings()[0];
            let notes: Vec<JottedNote> = heard
                .into_iter()
                .map(|(interval, share, above)| {
                    let onset = time;
                    time += interval;
                    note(onset, onset + share * interval, lowest + above)
                })
                .collect();
            let metre = Metre::new(metre.0, metre.1).unwrap();
            let settings = JotSettings { key: Key::new(fifths), pickup, ..settings(metre, instrument) };
            let unit = i64::from(16 / metre.unit);
            let rhythm = rhythm_from_notes(&notes, metre, 0.25, -unit * i64::from(pickup));
            let count = notes.len();
            let found = draft(notes, &rhythm, 0.0, &settings);
            let toml = commented_toml(&write_toml(&found.melody), &found.remarks);
            let read = read_melody_bytes("draft.toml", toml.as_bytes()).unwrap();
            prop_assert_eq!(&read.melody.events, &found.melody.events, "{}", toml);
            prop_assert_eq!(read.melody.soundings().count(), count);
            prop_assert_eq!(read.remarks, vec![], "{}", toml);
        }
    }
}
