//! The same tune for another instrument: where it is moved to, and what could not be kept.
//!
//! By octaves the key stays, so that friends can play together; by fingers the string and the place of the
//! hand stay, so that one chart of fingers serves. Either way the tune itself is never bent: what does not
//! fit is said.

use super::{
    Bar, Clef, Event, EventKind, Fingering, Instrument, Key, Length, Letter, Melody, Placement, Spelling,
    bar_text, beat_text,
};
use crate::remark::Remark;

/// What stays the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Keeping {
    /// The names of the notes: the tune moves by octaves.
    Names,
    /// The fingers on the corresponding strings (lowest to lowest): the tune may change its key.
    Fingers,
}

/// A melody on its new instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct Moved {
    /// The melody, in the instrument's clef and as it is written for it.
    pub melody: Melody,
    /// Semitones between the sounding notes before and after; a whole number of octaves where the names
    /// were kept.
    pub semitones: i32,
    /// What could not be kept, with bar and beat where there is one. With no remark, moving back gives the
    /// same melody (if it lay in first position before).
    pub remarks: Vec<Remark>,
}

/// Octaves between the registers in which the four play the same page together (common practice: viola
/// with violin, cello an octave below, bass two octaves below).
fn register(instrument: Instrument) -> i32 {
    match instrument {
        Instrument::Violin | Instrument::Viola => 0,
        Instrument::Cello => -12,
        Instrument::Bass => -24,
    }
}

impl Melody {
    /// This melody, which `from` plays, for `to`. By names it is moved by whole octaves into first position:
    /// the octave in which the two usually play together if it fits, else the nearest that does, else the
    /// lowest in which no note is below the lowest string. By fingers it keeps the place on the string.
    pub fn moved_to(&self, from: Instrument, to: Instrument, keeping: Keeping) -> Moved {
        let mut remarks = Vec::new();
        let semitones = match keeping {
            _ if from == to => 0,
            Keeping::Names => octaves(self, from, to, &mut remarks),
            Keeping::Fingers => by_fingers(self, from, to, &mut remarks),
        };
        let mut mover = Mover::new(self, from, to, semitones, keeping);
        let melody = mover.moved(self);
        remarks.append(&mut mover.remarks);
        outside_first_position(&melody, to, &mut remarks);
        Moved { melody, semitones, remarks }
    }
}

fn range(melody: &Melody) -> Option<(i32, i32)> {
    Some((melody.soundings().min()?, melody.soundings().max()?))
}

fn octaves(melody: &Melody, from: Instrument, to: Instrument, remarks: &mut Vec<Remark>) -> i32 {
    let usual = register(to) - register(from);
    let Some((low, high)) = range(melody) else { return usual };
    let (bottom, top) = (to.open_strings()[0], to.highest_in_first_position());
    let mut shifts: Vec<i32> = (-8..=8).map(|octave| usual + 12 * octave).collect();
    shifts.sort_by_key(|shift| (shift - usual).abs());
    let fits = |shift: &&i32| low + **shift >= bottom && high + **shift <= top;
    let fitting = shifts.iter().find(fits).copied();
    // No octave holds it all: the lowest one without a note that the instrument does not have.
    let shift = fitting.unwrap_or_else(|| {
        let playable = shifts.iter().copied().filter(|shift| low + shift >= bottom && high + shift <= 127);
        // Beyond everything that sounds: left where it is.
        playable.min().unwrap_or(0)
    });
    if fitting.is_none() {
        let text = format!(
            "No octave puts all of it into first position of the {to}; it is in the lowest one that the {to} has."
        );
        remarks.push(Remark::new("octave", text));
    } else if shift != usual {
        let away = (shift - usual) / 12;
        let text = format!(
            "To stay in first position the {to} plays it {} {} than it usually plays together with the {from}.",
            match away.abs() {
                1 => "one octave".to_owned(),
                more => format!("{more} octaves"),
            },
            if away > 0 { "higher" } else { "lower" },
        );
        remarks.push(Remark::new("octave", text));
    }
    shift
}

/// Semitones that carry the strings of `from` to those of `to`, lowest to lowest. All pairs of strings
/// agree unless the bass, which is tuned in fourths, is one of the two; then the string with most notes
/// decides.
fn by_fingers(melody: &Melody, from: Instrument, to: Instrument, remarks: &mut Vec<Remark>) -> i32 {
    let (old, new) = (from.open_strings(), to.open_strings());
    let mut counts = [0_usize; 4];
    for sounding in melody.soundings() {
        if let Some(way) = from.fingerings(sounding).first() {
            counts[way.string] += 1;
        }
    }
    let main = (0..4).rev().max_by_key(|string| counts[*string]).unwrap_or(0);
    let mut shift = new[main] - old[main];
    let agree = (0..4).all(|string| new[string] - old[string] == shift);
    let others = (0..4).filter(|string| *string != main).any(|string| counts[string] > 0);
    if !agree && others {
        let bass = Instrument::Bass;
        let text = format!(
            "The {bass} is tuned in fourths and the {} in fifths: the fingers are the same only on the {} string, \
             which becomes the {} string.",
            if from == bass { to } else { from },
            from.string_names()[main],
            to.string_names()[main],
        );
        remarks.push(Remark::new("strings-in-fourths", text));
    }
    if hand(from) != hand(to) {
        let text = format!(
            "A hand on the {to} spans other notes than one on the {from}: some of the notes are played with another \
             finger."
        );
        remarks.push(Remark::new("another-hand", text));
    }
    let (low, high) = range(melody).unwrap_or((0, 0));
    while low + shift < 0 {
        shift += 12;
    }
    while high + shift > 127 {
        shift -= 12;
    }
    let string_of =
        |instrument: Instrument, sounding: i32| instrument.fingerings(sounding).first().map(|way| way.string);
    let changes = melody.soundings().any(|sounding| {
        string_of(from, sounding)
            .zip(string_of(to, sounding + shift))
            .is_some_and(|(before, after)| before != after)
    });
    // Where a hand reaches less far, the next string begins; of strings that do not correspond enough was said.
    if changes && (agree || !others) {
        let text = format!("Some notes lie on another string of the {to} than of the {from}.");
        remarks.push(Remark::new("another-string", text));
    }
    shift
}

/// Instruments with one number fit the same fingers onto a string.
fn hand(instrument: Instrument) -> u8 {
    match instrument {
        Instrument::Violin | Instrument::Viola => 0,
        Instrument::Cello => 1,
        Instrument::Bass => 2,
    }
}

struct Mover {
    from: Instrument,
    to: Instrument,
    /// Sounding semitones.
    semitones: i32,
    /// Fifths on the circle of keys and octaves that make up the semitones of the written notes.
    fifths: i32,
    octaves: i32,
    /// Whether the written notes can be moved by such an interval at all.
    by_interval: bool,
    /// Whether printed fingers stay as they are.
    keeps_fingers: bool,
    remarks: Vec<Remark>,
}

impl Mover {
    fn new(melody: &Melody, from: Instrument, to: Instrument, semitones: i32, keeping: Keeping) -> Self {
        let written = semitones - to.sounding_shift() + melody.shift();
        // 7f + 12o = written, with f as near to 0 as can be.
        let mut fifths = (written * 7 + 6).rem_euclid(12) - 6;
        let mut remarks = Vec::new();
        let keys = || melody.sheet.bars.iter().map(|bar| i32::from(bar.key.fifths));
        if let (Some(least), Some(most)) = (keys().min(), keys().max())
            && (least + fifths < -7 || most + fifths > 7)
        {
            fifths += if fifths > 0 { -12 } else { 12 };
            let text = "The key would have more than seven sharps or flats, so every note is written with its \
                        other name.";
            remarks.push(Remark::new("key-respelled", text));
        }
        let octaves = (written - 7 * fifths) / 12;
        let by_interval = from.sounding_shift() == melody.shift();
        if !by_interval {
            let text = "The file was for an instrument that sounds otherwise than it reads; now it is written as it \
                        sounds.";
            remarks.push(Remark::new("transposition-left-out", text));
        }
        if let Some(clef) = melody.sheet.clef.filter(|clef| *clef != from.clef()) {
            let text =
                format!("The {} clef of the file gives way to the {} clef.", named(clef), named(to.clef()));
            remarks.push(Remark::new("clef", text));
        }
        let keeps_fingers = from == to || (keeping == Keeping::Fingers && hand(from) == hand(to));
        Self { from, to, semitones, fifths, octaves, by_interval, keeps_fingers, remarks }
    }

    fn moved(&mut self, melody: &Melody) -> Melody {
        let mut moved = melody.clone();
        moved.instrument = Some(self.to);
        moved.sheet.clef = melody.sheet.clef.map(|_| self.to.clef());
        moved.sheet.says_sounding = false;
        let shift = melody.shift();
        for bar in &mut moved.sheet.bars {
            let mut within = bar.offset;
            let key = self.key(bar.key);
            bar.key = key;
            for item in &mut bar.items {
                let beat = within / bar.metre.beat() + Length::from_integer(1);
                if let Some(pitch) = item.pitch {
                    let sounding = pitch.midi() + shift;
                    let now = self.pitch(pitch, sounding, key, bar.number, beat);
                    let fingers = |finger| self.finger(finger, (pitch, now), sounding, bar.number, beat);
                    item.finger = item.finger.and_then(fingers);
                    item.pitch = Some(now);
                }
                within += item.length;
            }
        }
        let fallback = self.key(melody.sheet.key());
        for event in &mut moved.events {
            if let EventKind::Note { written, sounding } = event.kind {
                let key = key_at(&moved.sheet.bars, event).unwrap_or(fallback);
                let written = self.pitch(written, sounding, key, event.bar, event.beat);
                event.kind = EventKind::Note { written, sounding: sounding + self.semitones };
            }
        }
        moved
    }

    fn key(&self, key: Key) -> Key {
        let fifths = i32::from(key.fifths) + self.fifths;
        let within = match fifths {
            ..-7 => fifths + 12,
            8.. => fifths - 12,
            fifths => fifths,
        };
        Key { fifths: within.clamp(-7, 7) as i8, ..key }
    }

    fn pitch(&mut self, pitch: Spelling, sounding: i32, key: Key, bar: u32, beat: Length) -> Spelling {
        let midi = sounding + self.semitones - self.to.sounding_shift();
        let steps = pitch.staff_step() + 4 * self.fifths + 7 * self.octaves;
        let letter = Letter::ALL[steps.rem_euclid(7) as usize];
        let natural = Spelling { letter, alter: 0, octave: steps.div_euclid(7).clamp(-1, 11) as i8 };
        let alter = midi - natural.midi();
        if self.by_interval && (-2..=2).contains(&alter) {
            return Spelling { alter: alter as i8, ..natural };
        }
        let spelled = Spelling::from_midi(midi, key);
        if self.by_interval {
            let text = format!(
                "{}, beat {}: the note is written as {spelled}, which sounds the same.",
                bar_text(bar),
                beat_text(beat)
            );
            self.say("note-respelled", text);
        }
        spelled
    }

    /// The printed finger on the new instrument: the usual one there, unless the hand stays as it is.
    fn finger(
        &mut self,
        finger: u8,
        (before, after): (Spelling, Spelling),
        sounding: i32,
        bar: u32,
        beat: Length,
    ) -> Option<u8> {
        if self.keeps_fingers {
            return Some(finger);
        }
        let usual = self.from.fingerings_of(before, sounding).first().map(|way| way.finger);
        let now = self.to.fingerings_of(after, sounding + self.semitones).first().copied();
        let place = format!("{}, beat {}", bar_text(bar), beat_text(beat));
        match now {
            // The usual finger of one becomes the usual finger of the other.
            Some(_) if usual == Some(finger) => {}
            Some(now) => {
                let text = format!("{place}: the printed finger {finger} becomes {}.", said(now));
                self.say("finger-changed", text);
            }
            None => {
                let text = format!("{place}: the printed finger {finger} is left out.");
                self.say("finger-left-out", text);
            }
        }
        now.map(|now| now.finger)
    }

    fn say(&mut self, code: &str, text: String) {
        let remark = Remark::new(code, text);
        if !self.remarks.contains(&remark) {
            self.remarks.push(remark);
        }
    }
}

fn named(clef: Clef) -> &'static str {
    match clef {
        Clef::Treble => "treble",
        Clef::Alto => "alto",
        Clef::Tenor => "tenor",
        Clef::Bass => "bass",
    }
}

fn said(way: Fingering) -> String {
    match way.placement {
        Placement::Open => "the open string".to_owned(),
        _ => format!("finger {}", way.finger),
    }
}

fn key_at(bars: &[Bar], event: &Event) -> Option<Key> {
    bars.iter().find(|bar| bar.number == event.bar).map(|bar| bar.key)
}

fn outside_first_position(melody: &Melody, to: Instrument, remarks: &mut Vec<Remark>) {
    const EACH: usize = 4;
    let (bottom, top) = (to.open_strings()[0], to.highest_in_first_position());
    let notes = melody.events.iter().filter_map(|event| match event.kind {
        EventKind::Note { written, sounding } if !(bottom..=top).contains(&sounding) => {
            Some((event, written, sounding))
        }
        _ => None,
    });
    let outside: Vec<_> = notes.collect();
    for (event, written, sounding) in outside.iter().take(EACH) {
        let place = format!("{}, beat {}", bar_text(event.bar), beat_text(event.beat));
        let text = match *sounding < bottom {
            true => format!("{place}: {written} is below the lowest string of the {to}."),
            false => format!(
                "{place}: {written} is above first position on the {to}; ask your teacher how to reach it."
            ),
        };
        remarks.push(Remark::new("outside-first-position", text));
    }
    if outside.len() > EACH {
        let text = match outside.len() - EACH {
            1 => "1 more note lies outside first position.".to_owned(),
            more => format!("{more} more notes lie outside first position."),
        };
        remarks.push(Remark::new("outside-first-position", text));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Metre;
    use crate::notation::melody::tests::of_quarters as melody;

    fn moved(from: Instrument, to: Instrument, keeping: Keeping, sounding: &[i32]) -> i32 {
        let shift = from.sounding_shift();
        let notes: Vec<(i32, i32)> = sounding.iter().map(|&midi| (midi - shift, midi)).collect();
        melody(Some(from), &notes).moved_to(from, to, keeping).semitones
    }

    #[test]
    fn where_several_octaves_fit_the_usual_one_is_taken() {
        // G3 for the bass: G1 and G2 lie in first position, two octaves lower is usual. D4 for the cello: D2, D3, D4.
        assert_eq!(moved(Instrument::Violin, Instrument::Bass, Keeping::Names, &[55]), -24);
        assert_eq!(moved(Instrument::Violin, Instrument::Cello, Keeping::Names, &[62]), -12);
        assert_eq!(moved(Instrument::Cello, Instrument::Violin, Keeping::Names, &[50]), 12);
    }

    #[test]
    fn what_no_octave_can_hold_is_left_where_it_is() {
        assert_eq!(moved(Instrument::Violin, Instrument::Viola, Keeping::Names, &[0, 127]), 0);
    }

    #[test]
    fn by_fingers_nothing_goes_beyond_the_midi_numbers() {
        let up = |highest: i32| moved(Instrument::Viola, Instrument::Violin, Keeping::Fingers, &[highest]);
        assert_eq!((up(120), up(121)), (7, -5));
        let down = |lowest: i32| moved(Instrument::Violin, Instrument::Viola, Keeping::Fingers, &[lowest]);
        assert_eq!((down(7), down(6)), (-7, 5));
    }

    #[test]
    fn a_key_of_eight_sharps_or_flats_is_written_with_four_of_the_others() {
        let key = |from: Instrument, to: Instrument, semitones: i32, fifths: i8| {
            let melody = melody(Some(from), &[(69, 69)]);
            let mover = Mover::new(&melody, from, to, semitones, Keeping::Fingers);
            mover.key(Key { fifths, minor: false }).fifths
        };
        assert_eq!(key(Instrument::Viola, Instrument::Violin, 7, 7), -4);
        assert_eq!(key(Instrument::Viola, Instrument::Violin, 7, 6), 7);
        assert_eq!(key(Instrument::Violin, Instrument::Viola, -7, -7), 4);
        assert_eq!(key(Instrument::Violin, Instrument::Viola, -7, -6), -7);
    }

    #[test]
    fn four_notes_outside_first_position_are_told_and_the_others_counted() {
        let told = |sounding: &[i32]| {
            let notes: Vec<(i32, i32)> = sounding.iter().map(|&midi| (midi, midi)).collect();
            let mut remarks = Vec::new();
            outside_first_position(
                &melody(Some(Instrument::Violin), &notes),
                Instrument::Violin,
                &mut remarks,
            );
            remarks.into_iter().map(|remark| remark.text).collect::<Vec<_>>()
        };
        assert_eq!(told(&[55, 83]), [""; 0]);
        let four = told(&[54, 55, 84, 50, 95]);
        assert_eq!(four.len(), 4);
        assert_eq!(four[0], "Bar 1, beat 1: F#3 is below the lowest string of the violin.");
        assert!(
            four[1].starts_with("Bar 1, beat 3: C6 is above first position on the violin;"),
            "{}",
            four[1]
        );
        let six = told(&[50, 51, 52, 53, 54, 54]);
        assert_eq!((six.len(), six[4].as_str()), (5, "2 more notes lie outside first position."));
        assert_eq!(told(&[50, 51, 52, 53, 54])[4], "1 more note lies outside first position.");
    }

    #[test]
    fn the_key_of_a_note_is_that_of_its_bar_and_a_clef_that_gives_way_is_named() {
        let mut melody = melody(Some(Instrument::Cello), &[(48, 48)]);
        let bar = |number: u32, fifths: i8| Bar {
            number,
            offset: Length::from_integer(0),
            metre: Metre::default(),
            key: Key { fifths, minor: false },
            items: Vec::new(),
        };
        let bars = [bar(1, 1), bar(2, 2)];
        let in_bar =
            |number: u32| key_at(&bars, &Event { bar: number, ..melody.events[0] }).map(|key| key.fifths);
        assert_eq!([in_bar(1), in_bar(2), in_bar(3)], [Some(1), Some(2), None]);
        for (clef, name) in [(Clef::Tenor, "tenor"), (Clef::Treble, "treble"), (Clef::Alto, "alto")] {
            melody.sheet.clef = Some(clef);
            let remarks = melody.moved_to(Instrument::Cello, Instrument::Bass, Keeping::Names).remarks;
            let text = format!("The {name} clef of the file gives way to the bass clef.");
            assert!(remarks.iter().any(|remark| remark.text == text), "{remarks:?}");
        }
    }

    #[test]
    fn a_note_keeps_its_name_by_the_interval_unless_the_page_read_otherwise_than_it_sounded() {
        let beat = Length::from_integer(1);
        let moved = |written: &str, sounding: i32, semitones: i32| {
            let from = Instrument::Violin;
            let spelling: Spelling = written.parse().unwrap();
            let melody = melody(Some(from), &[(spelling.midi(), sounding)]);
            let mut mover = Mover::new(&melody, from, from, semitones, Keeping::Names);
            let pitch = mover.pitch(spelling, sounding, Key::default(), 1, beat).to_string();
            (pitch, mover.remarks.iter().any(|remark| remark.code == "note-respelled"))
        };
        assert_eq!(moved("D3", 50, -36), ("D0".to_owned(), false));
        assert_eq!(moved("Fb5", 76, -12), ("Fb4".to_owned(), false));
        assert_eq!(moved("Fb5", 74, 0), ("D5".to_owned(), false), "a part for an instrument in B flat");
    }
}
