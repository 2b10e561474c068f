//! A melody becomes a MusicXML 4.0 partwise score, plain or compressed.

use crate::notation::{
    Bar, Clef, Instrument, Item, Key, Length, Letter, Melody, Spelling, Stem, Value, WrittenValue,
};
use std::fmt::Write;
use std::io::Write as _;

/// The melody as a MusicXML 4.0 partwise score. Repeats are written out; lengths that need several
/// symbols are tied. Reading it again gives the same events.
pub fn write_musicxml(melody: &Melody) -> String {
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
         \"http://www.musicxml.org/dtds/partwise.dtd\">\n\
         <score-partwise version=\"4.0\">\n",
    );
    if let Some(title) = &melody.title {
        let _ = writeln!(out, "  <work><work-title>{}</work-title></work>", escaped(title));
    }
    out.push_str("  <identification>\n");
    if let Some(composer) = &melody.sheet.composer {
        let _ = writeln!(out, "    <creator type=\"composer\">{}</creator>", escaped(composer));
    }
    out.push_str("    <encoding><software>fingertape</software></encoding>\n");
    if let Some(a4) = melody.a4 {
        let field = format!("<miscellaneous-field name=\"a4-hertz\">{}</miscellaneous-field>", a4.0);
        let _ = writeln!(out, "    <miscellaneous>{field}</miscellaneous>");
    }
    out.push_str("  </identification>\n  <part-list>\n    <score-part id=\"P1\">\n");
    write_part(&mut out, melody.instrument);
    out.push_str("    </score-part>\n  </part-list>\n  <part id=\"P1\">\n");
    let bars = melody.bars();
    let divisions = divisions(&bars);
    let mut before: Option<&Bar> = None;
    let mut after_tie = false;
    for (at, bar) in bars.iter().enumerate() {
        let last = at + 1 == bars.len();
        let mut shown = Shown { clef: clef_of(melody), key: bar.key, typed: Vec::new(), after_tie };
        write_measure(&mut out, melody, (before, bar), divisions, last, &mut shown);
        after_tie = shown.after_tie;
        before = Some(bar);
    }
    out.push_str("  </part>\n</score-partwise>\n");
    out
}

/// The melody as a compressed MusicXML file (`.mxl`).
pub fn write_mxl(melody: &Melody) -> Vec<u8> {
    const CONTAINER: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<container><rootfiles>\
        <rootfile full-path=\"score.musicxml\" media-type=\"application/vnd.recordare.musicxml+xml\"/>\
        </rootfiles></container>\n";
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let stored = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    let packed = stored.compression_method(zip::CompressionMethod::Deflated);
    let score = write_musicxml(melody);
    let entries: [(&str, &str, _); 3] = [
        ("mimetype", "application/vnd.recordare.musicxml", stored),
        ("META-INF/container.xml", CONTAINER, packed),
        ("score.musicxml", &score, packed),
    ];
    for (name, text, options) in entries {
        archive.start_file(name, options).expect("three different names");
        archive.write_all(text.as_bytes()).expect("memory takes every byte");
    }
    archive.finish().expect("memory takes every byte").into_inner()
}

/// Text for XML: the five special characters escaped, what XML 1.0 cannot hold left out.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&apos;"),
            '\t' | '\n' => out.push(c),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => {}
            c => out.push(c),
        }
    }
    out
}

fn write_part(out: &mut String, instrument: Option<Instrument>) {
    let Some(instrument) = instrument else {
        out.push_str("      <part-name>Melody</part-name>\n");
        return;
    };
    // Sound ids as listed with MusicXML 4.0; General MIDI programs count from 1.
    let (sound, program) = match instrument {
        Instrument::Violin => ("strings.violin", 41),
        Instrument::Viola => ("strings.viola", 42),
        Instrument::Cello => ("strings.cello", 43),
        Instrument::Bass => ("strings.contrabass", 44),
    };
    let name = instrument.part_name();
    let _ = writeln!(out, "      <part-name>{name}</part-name>");
    let _ = writeln!(
        out,
        "      <score-instrument id=\"P1-I1\"><instrument-name>{name}</instrument-name>\
         <instrument-sound>{sound}</instrument-sound></score-instrument>"
    );
    let _ = writeln!(
        out,
        "      <midi-instrument id=\"P1-I1\"><midi-channel>1</midi-channel>\
         <midi-program>{program}</midi-program></midi-instrument>"
    );
}

/// Divisions of a quarter note in which every length is whole.
fn divisions(bars: &[Bar]) -> i64 {
    let denominators = bars.iter().flat_map(|bar| &bar.items).map(|item| *(item.length * 4).denom());
    denominators.fold(1, |all, next| all / gcd(all, next) * next)
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

fn write_measure(
    out: &mut String,
    melody: &Melody,
    (before, bar): (Option<&Bar>, &Bar),
    divisions: i64,
    last: bool,
    shown: &mut Shown,
) {
    let short = bar.filled() != bar.metre.bar();
    let implicit = if short && bar.offset > Length::from_integer(0) { " implicit=\"yes\"" } else { "" };
    let _ = writeln!(out, "    <measure number=\"{}\"{implicit}>", bar.number);
    if short {
        let beat = bar.offset / bar.metre.beat() + Length::from_integer(1);
        let _ = writeln!(out, "      <?fingertape beat={beat}?>");
    }
    write_attributes(out, melody, bar, before, divisions);
    if let (None, Some(bpm)) = (before, melody.bpm) {
        write_tempo(out, melody, bpm);
    }
    for item in &bar.items {
        write_item(out, bar, item, divisions, shown);
    }
    if last {
        out.push_str("      <barline location=\"right\"><bar-style>light-heavy</bar-style></barline>\n");
    }
    out.push_str("    </measure>\n");
}

fn write_attributes(out: &mut String, melody: &Melody, bar: &Bar, before: Option<&Bar>, divisions: i64) {
    let key = before.is_none_or(|before| before.key != bar.key);
    let time = before.is_none_or(|before| before.metre != bar.metre);
    if !key && !time {
        return;
    }
    out.push_str("      <attributes>\n");
    if before.is_none() {
        let _ = writeln!(out, "        <divisions>{divisions}</divisions>");
    }
    if key {
        let mode = if bar.key.minor { "minor" } else { "major" };
        let _ = writeln!(out, "        <key><fifths>{}</fifths><mode>{mode}</mode></key>", bar.key.fifths);
    }
    if time {
        let (beats, unit) = (bar.metre.beats, bar.metre.unit);
        let _ = writeln!(out, "        <time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>");
    }
    if before.is_none() {
        let (sign, line) = match clef_of(melody) {
            Clef::Treble => ("G", 2),
            Clef::Alto => ("C", 3),
            Clef::Tenor => ("C", 4),
            Clef::Bass => ("F", 4),
        };
        let _ = writeln!(out, "        <clef><sign>{sign}</sign><line>{line}</line></clef>");
        let shift = melody.shift();
        // Without a name a part this low would be taken for a bass, which sounds an octave below what is written.
        let cello = Instrument::Cello.open_strings()[0];
        let guessed = melody.instrument.is_none() && melody.soundings().any(|sounding| sounding < cello);
        if shift != 0 || melody.sheet.says_sounding || guessed {
            write_transpose(out, shift);
        }
    }
    out.push_str("      </attributes>\n");
}

/// The clef that the melody is written in.
fn clef_of(melody: &Melody) -> Clef {
    melody.sheet.clef.or(melody.instrument.map(Instrument::clef)).unwrap_or(Clef::Treble)
}

fn write_transpose(out: &mut String, shift: i32) {
    let (octaves, chromatic) = (shift / 12, shift % 12);
    // Letters that the semitones within an octave usually move by.
    let steps = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6][chromatic.unsigned_abs() as usize] * chromatic.signum();
    let _ = write!(out, "        <transpose><diatonic>{steps}</diatonic><chromatic>{chromatic}</chromatic>");
    if octaves != 0 {
        let _ = write!(out, "<octave-change>{octaves}</octave-change>");
    }
    out.push_str("</transpose>\n");
}

fn write_tempo(out: &mut String, melody: &Melody, bpm: f64) {
    let value = match melody.metre.unit {
        1 => "whole",
        2 => "half",
        4 => "quarter",
        8 => "eighth",
        16 => "16th",
        _ => "32nd",
    };
    let quarters = bpm * 4.0 / f64::from(melody.metre.unit);
    let _ = writeln!(
        out,
        "      <direction placement=\"above\"><direction-type><metronome><beat-unit>{value}</beat-unit>\
         <per-minute>{bpm}</per-minute></metronome></direction-type><sound tempo=\"{quarters}\"/></direction>"
    );
}

/// What the sheet has shown so far.
struct Shown {
    clef: Clef,
    key: Key,
    /// The accidentals of this bar.
    typed: Vec<(Letter, i8, i8)>,
    /// Whether the note before is tied to the next.
    after_tie: bool,
}

impl Shown {
    /// The accidental to print before a note, by the usual rule of the bar.
    fn accidental(&mut self, pitch: Spelling) -> Option<&'static str> {
        let same = |typed: &&(Letter, i8, i8)| (typed.0, typed.1) == (pitch.letter, pitch.octave);
        let held = self.typed.iter().rev().find(same).map_or(self.key.alter(pitch.letter), |typed| typed.2);
        if held == pitch.alter {
            return None;
        }
        self.typed.push((pitch.letter, pitch.octave, pitch.alter));
        Some(match pitch.alter {
            2 => "double-sharp",
            1 => "sharp",
            -1 => "flat",
            -2 => "flat-flat",
            _ => "natural",
        })
    }
}

fn write_item(out: &mut String, bar: &Bar, item: &Item, divisions: i64, shown: &mut Shown) {
    let single = WrittenValue::of(item.length);
    let parts = match (single, item.pitch) {
        (None, Some(_)) => WrittenValue::tied_sum(item.length),
        _ => None,
    };
    match parts {
        Some(parts) => {
            for (at, part) in parts.iter().enumerate() {
                let tied = item.tied || at + 1 < parts.len();
                let piece = Piece { length: part.length(), written: Some(*part), tied };
                write_note(out, bar, item, piece, divisions, shown);
            }
        }
        None => {
            let piece = Piece { length: item.length, written: single, tied: item.tied };
            write_note(out, bar, item, piece, divisions, shown);
        }
    }
}

struct Piece {
    length: Length,
    written: Option<WrittenValue>,
    tied: bool,
}

fn write_note(out: &mut String, bar: &Bar, item: &Item, piece: Piece, divisions: i64, shown: &mut Shown) {
    out.push_str("      <note>");
    match item.pitch {
        Some(pitch) => {
            let _ = write!(out, "<pitch><step>{:?}</step>", pitch.letter);
            if pitch.alter != 0 {
                let _ = write!(out, "<alter>{}</alter>", pitch.alter);
            }
            let _ = write!(out, "<octave>{}</octave></pitch>", pitch.octave);
        }
        None if item.length == bar.metre.bar() && bar.items.len() == 1 => {
            out.push_str("<rest measure=\"yes\"/>")
        }
        None => out.push_str("<rest/>"),
    }
    let duration = piece.length * 4 * divisions;
    let _ = write!(out, "<duration>{}</duration>", duration.numer());
    let stops = std::mem::replace(&mut shown.after_tie, piece.tied) && item.pitch.is_some();
    if stops {
        out.push_str("<tie type=\"stop\"/>");
    }
    if piece.tied {
        out.push_str("<tie type=\"start\"/>");
    }
    out.push_str("<voice>1</voice>");
    if let Some(written) = piece.written {
        write_value(out, written);
    }
    if let Some(accidental) = item.pitch.filter(|_| !stops).and_then(|pitch| shown.accidental(pitch)) {
        let _ = write!(out, "<accidental>{accidental}</accidental>");
    }
    if let Some((actual, normal)) = piece.written.and_then(|written| written.tuplet) {
        let _ = write!(
            out,
            "<time-modification><actual-notes>{actual}</actual-notes><normal-notes>{normal}</normal-notes>\
             </time-modification>"
        );
    }
    let stemmed = piece.written.is_some_and(|written| !matches!(written.value, Value::Breve | Value::Whole));
    if let Some(pitch) = item.pitch.filter(|_| stemmed) {
        let stem = match shown.clef.stem(pitch) {
            Stem::Up => "up",
            Stem::Down => "down",
        };
        let _ = write!(out, "<stem>{stem}</stem>");
    }
    if stops || piece.tied || item.finger.is_some() {
        out.push_str("<notations>");
        if stops {
            out.push_str("<tied type=\"stop\"/>");
        }
        if piece.tied {
            out.push_str("<tied type=\"start\"/>");
        }
        if let Some(finger) = item.finger {
            let _ = write!(out, "<technical><fingering>{finger}</fingering></technical>");
        }
        out.push_str("</notations>");
    }
    out.push_str("</note>\n");
}

fn write_value(out: &mut String, written: WrittenValue) {
    let name = match written.value {
        Value::Breve => "breve",
        Value::Whole => "whole",
        Value::Half => "half",
        Value::Quarter => "quarter",
        Value::Eighth => "eighth",
        Value::Sixteenth => "16th",
        Value::ThirtySecond => "32nd",
        Value::SixtyFourth => "64th",
    };
    let _ = write!(out, "<type>{name}</type>{}", "<dot/>".repeat(usize::from(written.dots)));
}
