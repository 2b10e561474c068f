//! What is shown while somebody plays: a few lines drawn again and again, or plain lines for a screen reader.
//!
//! Drawn, it fits 79 columns: the bar as it is written with the note at hand in brackets, and the string that sounds
//! with the melody's fingers at their places and a mark where the finger is.

use fingertape::live::{Now, Place, StringStrip};
use fingertape::notation::{EventKind, Instrument, Melody, Spelling};
use fingertape::report::words;
use std::fmt::Write as _;
use std::io::Write as _;

/// How the view is shown, and where.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// Drawn over itself on standard output.
    Drawn,
    /// Lines on standard output.
    Lines,
    /// Lines on standard error, because standard output is for a program.
    LinesAside,
}

/// The view of one session.
pub struct LiveView {
    look: Look,
    instrument: Instrument,
    strip: StringStrip,
    /// The written notes and rests: bar and name.
    events: Vec<(u32, String)>,
    /// Their MIDI numbers as written; `None` for a rest.
    written: Vec<Option<i32>>,
    last_bar: u32,
    drawn: usize,
    shown: String,
    told: Option<Place>,
    /// The note that has been sounding at that place, as its MIDI number, and its cents, frame by frame.
    steady_note: Option<i32>,
    steady: Vec<f64>,
}

/// Up to this many cents from the pitch a note is called in tune, as in the report for the player.
const IN_TUNE: f64 = 20.0;
/// Frames (10 ms) that a note sounds before a line tells of it.
const STEADY: usize = 20;
/// Columns of the screen that are used.
const COLUMNS: usize = 79;
/// Columns for the notes of the bar.
const BAR_COLUMNS: usize = 60;

impl LiveView {
    /// A view of a melody on an instrument.
    pub fn new(melody: &Melody, instrument: Instrument, look: Look) -> Self {
        let strip = StringStrip::new(instrument, melody);
        let name = |kind: &EventKind| match kind {
            EventKind::Note { written, .. } => written.to_string(),
            EventKind::Rest => "rest".to_owned(),
        };
        let events: Vec<(u32, String)> =
            melody.events.iter().map(|event| (event.bar, name(&event.kind))).collect();
        let midi = |kind: &EventKind| match kind {
            EventKind::Note { written, .. } => Some(written.midi()),
            EventKind::Rest => None,
        };
        let written = melody.events.iter().map(|event| midi(&event.kind)).collect();
        let last_bar = events.iter().map(|event| event.0).max().unwrap_or(1);
        Self {
            look,
            instrument,
            strip,
            events,
            written,
            last_bar,
            drawn: 0,
            shown: String::new(),
            told: None,
            steady_note: None,
            steady: Vec::new(),
        }
    }

    /// Says something that stays on the screen.
    pub fn say(&mut self, line: &str) {
        self.wipe();
        self.write(&wrapped(line));
    }

    /// A beat of the count-in.
    pub fn beat(&mut self, beat: u32, bar: u32) {
        match self.look {
            Look::Drawn => {
                let beats =
                    (1..=bar).map(|one| if one == beat { format!("[{one}]") } else { format!(" {one} ") });
                let counted: String = beats.collect::<Vec<_>>().join(" ");
                self.draw(&format!("  get ready   {counted}\n"));
            }
            Look::Lines | Look::LinesAside => self.say(&beat.to_string()),
        }
    }

    /// A frame of the take.
    pub fn now(&mut self, now: &Now) {
        match self.look {
            Look::Drawn => {
                let text = self.drawing(now);
                self.draw(&text);
            }
            Look::Lines | Look::LinesAside => self.tell(now),
        }
    }

    /// Takes the drawing off the screen.
    pub fn wipe(&mut self) {
        let wiped = self.to_wipe();
        self.write(&wiped);
        self.drawn = 0;
        self.shown.clear();
    }

    /// What takes the drawing off the screen: up to its first line, and everything below erased (ECMA-48: CUU, ED).
    fn to_wipe(&self) -> String {
        if self.drawn > 0 { format!("\u{1b}[{}A\u{1b}[J", self.drawn) } else { String::new() }
    }

    fn drawing(&self, now: &Now) -> String {
        let bar = match now.place.bar {
            0 => "the pickup".to_owned(),
            bar => format!("bar {bar} of {}", self.last_bar),
        };
        let mut text = format!("  {bar}    {}\n", self.bar(now.place));
        let (mut said, mut strip) = (String::new(), None);
        if let Some(sounding) = now.sounding {
            said = self.beside_the_sheet(now.place, sounding.written, sounding.cents.0);
            strip =
                self.strip.lines(sounding.written.midi() + self.instrument.sounding_shift(), sounding.cents);
        }
        let _ = writeln!(text, "  you play      {said}");
        for line in strip.unwrap_or_default() {
            let _ = writeln!(text, "  {}", line.trim_end());
        }
        text
    }

    /// The notes of a bar, the one at hand in brackets.
    fn bar(&self, place: Place) -> String {
        let at = place.event.unwrap_or(0);
        let same = |(bar, _): &&(u32, String)| *bar == place.bar;
        let before = self.events[..at.min(self.events.len())].iter().rev().take_while(same).count();
        let from = at - before;
        let notes = self.events[from..].iter().take_while(same).enumerate().map(|(n, (_, name))| {
            match place.event == Some(from + n) {
                true => format!("[{name}]"),
                false => format!(" {name} "),
            }
        });
        let notes: Vec<String> = notes.collect();
        // A bar of many notes is shown from a little before the one at hand.
        let skipped = if notes.iter().map(|note| note.len() + 1).sum::<usize>() > BAR_COLUMNS {
            before.saturating_sub(3)
        } else {
            0
        };
        let mut text = if skipped > 0 { "... ".to_owned() } else { String::new() };
        for note in &notes[skipped..] {
            if text.len() + note.len() + 4 > BAR_COLUMNS {
                text.push_str("...");
                break;
            }
            text.push_str(note);
            text.push(' ');
        }
        text.trim_end().to_owned()
    }

    /// One line for each note of the melody, once it has sounded for a while.
    fn tell(&mut self, now: &Now) {
        if self.told.is_none_or(|told| told.event != now.place.event) {
            self.told = Some(now.place);
            self.steady.clear();
        }
        let Some(sounding) = now.sounding.filter(|_| now.place.event.is_some()) else { return };
        if self.steady.len() >= STEADY || self.still_the_note_before(now.place, sounding.written) {
            return;
        }
        if self.steady_note != Some(sounding.written.midi()) {
            self.steady_note = Some(sounding.written.midi());
            self.steady.clear();
        }
        self.steady.push(sounding.cents.0);
        if self.steady.len() == STEADY {
            self.steady.sort_by(f64::total_cmp);
            let cents = self.steady[STEADY / 2];
            // A full list says that it was told.
            let Place { bar, beat, .. } = now.place;
            let said = self.beside_the_sheet(now.place, sounding.written, cents);
            self.say(&format!("{}: {said}", words::place(bar, beat)));
        }
    }

    /// What sounds, beside what is written at this place: how far it is from its pitch where it is the written note, and
    /// what is written where it is not.
    fn beside_the_sheet(&self, place: Place, sounding: Spelling, cents: f64) -> String {
        let Some(event) = place.event.filter(|event| *event < self.written.len()) else {
            return format!("{sounding}, {}", cents_in_words(cents));
        };
        match self.written[event] {
            Some(midi) if midi == sounding.midi() => format!("{sounding}, {}", cents_in_words(cents)),
            Some(_) => format!("{sounding} heard, {} is written", self.events[event].1),
            None => format!("{sounding} heard, a rest is written"),
        }
    }

    /// Whether what sounds at a place is the note before it that goes on, which is not yet another note.
    fn still_the_note_before(&self, place: Place, sounding: Spelling) -> bool {
        let Some(event) = place.event.filter(|event| *event < self.written.len()) else { return false };
        let before = self.written[..event].iter().rev().find_map(|midi| *midi);
        self.written[event] != Some(sounding.midi()) && before == Some(sounding.midi())
    }

    fn draw(&mut self, text: &str) {
        if text != self.shown {
            // In one piece, so that it does not flicker.
            let redrawn = self.to_wipe() + text;
            self.write(&redrawn);
            self.drawn = text.lines().count();
            text.clone_into(&mut self.shown);
        }
    }

    /// A reader of the view that went away must not end the take.
    fn write(&self, text: &str) {
        let _ = match self.look {
            Look::Drawn | Look::Lines => {
                let mut out = std::io::stdout().lock();
                out.write_all(text.as_bytes()).and_then(|()| out.flush())
            }
            Look::LinesAside => std::io::stderr().lock().write_all(text.as_bytes()),
        };
    }
}

/// `in tune`, `a little low (24 cents)`, `low (41 cents)`.
fn cents_in_words(cents: f64) -> String {
    let rounded = cents.round() + 0.0;
    let side = if cents < 0.0 { "low" } else { "high" };
    match rounded.abs() {
        away if away <= IN_TUNE / 2.0 => "in tune".to_owned(),
        away if away <= IN_TUNE => format!("nearly in tune ({away} cents {side})"),
        away if away <= 35.0 => format!("a little {side} ({away} cents)"),
        away => format!("{side} ({away} cents)"),
    }
}

/// Lines of at most 79 columns, broken between words; a longer word stays whole.
fn wrapped(text: &str) -> String {
    let mut out = String::new();
    for line in text.split('\n') {
        let mut columns = 0;
        for word in line.split(' ') {
            let width = word.chars().count();
            if columns > 0 && columns + 1 + width > COLUMNS {
                out.push('\n');
                columns = 0;
            } else if columns > 0 {
                out.push(' ');
                columns += 1;
            }
            out.push_str(word);
            columns += width;
        }
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use fingertape::formats::read_melody_bytes;
    use fingertape::live::Sounding;
    use fingertape::units::{Cents, Seconds};

    fn view() -> LiveView {
        let toml =
            b"instrument = \"violin\"\nkey = \"D\"\nbars = \"\"\"\nD4 q E4 F#4 G4\nA4 q rest A4 h\n\"\"\"";
        LiveView::new(&read_melody_bytes("m.toml", toml).unwrap().melody, Instrument::Violin, Look::Drawn)
    }

    fn now(event: usize, bar: u32, cents: f64) -> Now {
        let place = Place { event: Some(event), bar, beat: 1.0, at_end: false };
        let sounding = Sounding { written: "F#4".parse().unwrap(), cents: Cents(cents) };
        Now { time: Seconds(0.0), sounding: Some(sounding), place, level_db: -20.0 }
    }

    #[test]
    fn the_mark_is_on_the_side_where_the_finger_is() {
        let drawing = view().drawing(&now(2, 1, -25.0));
        assert_eq!(
            drawing,
            "  bar 1 of 2     D4   E4  [F#4]  G4\n\
             \u{20} you play      F#4, a little low (25 cents)\n\
             \u{20} D string  0-------------1------------2----3----------4---\n\
             \u{20}                                    ^\n"
        );
        let drawing = view().drawing(&now(2, 1, 0.3));
        assert!(drawing.contains("F#4, in tune"), "{drawing}");
    }

    #[test]
    fn another_note_than_the_written_one_is_never_in_tune() {
        let view = view();
        let said = |event: usize, note: &str| {
            let place = Place { event: Some(event), bar: 1, beat: 1.0, at_end: false };
            view.beside_the_sheet(place, note.parse().unwrap(), 0.0)
        };
        assert_eq!(said(2, "F#4"), "F#4, in tune");
        assert_eq!(said(2, "F4"), "F4 heard, F#4 is written");
        assert_eq!(said(2, "F#5"), "F#5 heard, F#4 is written");
        assert_eq!(said(5, "F#4"), "F#4 heard, a rest is written");
        let unknown = Place { event: None, bar: 1, beat: 1.0, at_end: false };
        assert_eq!(view.beside_the_sheet(unknown, "F4".parse().unwrap(), 0.0), "F4, in tune");
    }

    #[test]
    fn a_note_that_goes_on_into_the_next_place_is_not_told_as_another() {
        let view = view();
        let still = |event: usize, note: &str| {
            let place = Place { event: Some(event), bar: 1, beat: 1.0, at_end: false };
            view.still_the_note_before(place, note.parse().unwrap())
        };
        assert!(still(1, "D4") && still(5, "A4") && !still(6, "G4"));
        assert!(!still(6, "A4"), "after the rest it is the written note again");
        assert!(!still(0, "D4") && !still(2, "F4"));
    }

    #[test]
    fn what_is_said_is_broken_between_words() {
        let long = "word ".repeat(40);
        let text = wrapped(long.trim_end());
        assert!(text.lines().all(|line| line.len() <= COLUMNS), "{text}");
        assert_eq!(text.split_whitespace().count(), 40);
        assert_eq!(wrapped("\nThe take: x"), "\nThe take: x\n");
    }

    #[test]
    fn a_cent_is_said_with_its_side() {
        for (cents, words) in [
            (-0.2, "in tune"),
            (10.4, "in tune"),
            (-15.0, "nearly in tune (15 cents low)"),
            (22.0, "a little high (22 cents)"),
            (-41.0, "low (41 cents)"),
        ] {
            assert_eq!(cents_in_words(cents), words);
        }
    }

    #[test]
    fn the_second_bar_shows_its_own_notes_and_every_line_fits() {
        let drawing = view().drawing(&now(5, 2, 300.0));
        assert!(drawing.contains("bar 2 of 2     A4  [rest]  A4\n"), "{drawing}");
        assert!(drawing.lines().all(|line| line.chars().count() < 80), "{drawing}");
    }

    #[test]
    fn a_bar_of_many_notes_fits_and_shows_the_one_at_hand() {
        let bars = "A#4 s ".to_owned() + &"A#4 ".repeat(31);
        let toml = format!("metre = \"8/4\"\ninstrument = \"violin\"\nbars = \"\"\"\n{bars}\n\"\"\"");
        let view = LiveView::new(
            &read_melody_bytes("m.toml", toml.as_bytes()).unwrap().melody,
            Instrument::Violin,
            Look::Drawn,
        );
        for event in 0..32 {
            let drawing = view.drawing(&now(event, 1, 0.0));
            assert!(drawing.contains("[A#4]"), "{event}: {drawing}");
            assert!(drawing.lines().all(|line| line.chars().count() < 80), "{drawing}");
        }
    }
}
