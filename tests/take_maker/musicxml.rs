//! A small MusicXML 4.0 writer for the take maker's melodies (W3C Music Notation Community Group,
//! MusicXML 4.0, score-partwise), kept apart from the program's own writer so that both can be wrong
//! only separately.

use super::melody::WrittenMelody;
use fingertape::notation::Instrument;
use std::fmt::Write;

const DIVISIONS: f64 = 4.0;

/// Step, alter and octave of a written MIDI number in a key.
pub fn spelled(midi: i32, fifths: i32) -> (char, i32, i32) {
    let sharps = [
        ('C', 0),
        ('C', 1),
        ('D', 0),
        ('D', 1),
        ('E', 0),
        ('F', 0),
        ('F', 1),
        ('G', 0),
        ('G', 1),
        ('A', 0),
        ('A', 1),
        ('B', 0),
    ];
    let flats = [
        ('C', 0),
        ('D', -1),
        ('D', 0),
        ('E', -1),
        ('E', 0),
        ('F', 0),
        ('G', -1),
        ('G', 0),
        ('A', -1),
        ('A', 0),
        ('B', -1),
        ('B', 0),
    ];
    let table = if fifths < 0 { flats } else { sharps };
    let (step, alter) = table[midi.rem_euclid(12) as usize];
    (step, alter, midi.div_euclid(12) - 1)
}

/// The name of a written pitch, such as `F#4`.
pub fn name(midi: i32, fifths: i32) -> String {
    let (step, alter, octave) = spelled(midi, fifths);
    format!("{step}{}{octave}", ["b", "", "#"][(alter + 1) as usize])
}

/// The MusicXML document.
pub fn musicxml(melody: &WrittenMelody) -> String {
    let (sign, line, shift) = match melody.instrument {
        Instrument::Violin => ("G", 2, 0),
        Instrument::Viola => ("C", 3, 0),
        Instrument::Cello => ("F", 4, 0),
        Instrument::Bass => ("F", 4, 12),
    };
    let part = ["Violin", "Viola", "Cello", "Double Bass"][melody.instrument as usize];
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    out.push_str("<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">\n");
    let _ = write!(
        out,
        "<score-partwise version=\"4.0\">\n<work><work-title>{}</work-title></work>\n<part-list><score-part id=\"P1\"><part-name>{part}</part-name></score-part></part-list>\n<part id=\"P1\">\n",
        melody.title
    );
    for (position, bar) in bars(melody).iter().enumerate() {
        let number = if melody.pickup > 0.0 { position } else { position + 1 };
        let implicit = if number == 0 { " implicit=\"yes\"" } else { "" };
        let _ = writeln!(out, "<measure number=\"{number}\"{implicit}>");
        if position == 0 {
            let _ = write!(
                out,
                "<attributes><divisions>{DIVISIONS}</divisions><key><fifths>{}</fifths></key><time><beats>{}</beats><beat-type>4</beat-type></time><clef><sign>{sign}</sign><line>{line}</line></clef>",
                melody.fifths, melody.beats_per_bar
            );
            if shift != 0 {
                out.push_str("<transpose><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>");
            }
            let _ = writeln!(
                out,
                "</attributes>\n<direction placement=\"above\"><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{0}</per-minute></metronome></direction-type><sound tempo=\"{0}\"/></direction>",
                melody.bpm
            );
        }
        for piece in bar {
            write_piece(&mut out, piece, shift, melody.fifths);
        }
        out.push_str("</measure>\n");
    }
    out.push_str("</part>\n</score-partwise>\n");
    out
}

struct Piece {
    midi: Option<i32>,
    beats: f64,
    tied_from: bool,
    tied_to: bool,
}

/// Events cut at barlines and into lengths that one note head can show.
fn bars(melody: &WrittenMelody) -> Vec<Vec<Piece>> {
    let mut bars: Vec<Vec<Piece>> = vec![Vec::new()];
    let mut room = if melody.pickup > 0.0 { melody.pickup } else { f64::from(melody.beats_per_bar) };
    for event in &melody.events {
        let mut left = event.beats;
        let mut first = true;
        while left > 0.0 {
            if room == 0.0 {
                bars.push(Vec::new());
                room = f64::from(melody.beats_per_bar);
            }
            let fits = left.min(room);
            let beats =
                *[4.0, 3.0, 2.0, 1.5, 1.0, 0.75, 0.5, 0.25].iter().find(|b| **b <= fits).unwrap_or(&0.25);
            left -= beats;
            room -= beats;
            let note = event.midi.is_some();
            bars.last_mut().expect("one bar at least").push(Piece {
                midi: event.midi,
                beats,
                tied_from: note && !first,
                tied_to: note && left > 0.0,
            });
            first = false;
        }
    }
    bars
}

fn write_piece(out: &mut String, piece: &Piece, shift: i32, fifths: i32) {
    let (kind, dotted) = match (piece.beats * 4.0) as u32 {
        16 => ("whole", false),
        12 => ("half", true),
        8 => ("half", false),
        6 => ("quarter", true),
        4 => ("quarter", false),
        3 => ("eighth", true),
        2 => ("eighth", false),
        _ => ("16th", false),
    };
    out.push_str("<note>");
    match piece.midi {
        None => out.push_str("<rest/>"),
        Some(midi) => {
            let (step, alter, octave) = spelled(midi + shift, fifths);
            let alter = if alter == 0 { String::new() } else { format!("<alter>{alter}</alter>") };
            let _ = write!(out, "<pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>");
        }
    }
    let _ = write!(out, "<duration>{}</duration>", piece.beats * DIVISIONS);
    for (yes, tie) in [(piece.tied_from, "stop"), (piece.tied_to, "start")] {
        if yes {
            let _ = write!(out, "<tie type=\"{tie}\"/>");
        }
    }
    let _ = write!(out, "<voice>1</voice><type>{kind}</type>");
    if dotted {
        out.push_str("<dot/>");
    }
    if piece.tied_from || piece.tied_to {
        out.push_str("<notations>");
        for (yes, tie) in [(piece.tied_from, "stop"), (piece.tied_to, "start")] {
            if yes {
                let _ = write!(out, "<tied type=\"{tie}\"/>");
            }
        }
        out.push_str("</notations>");
    }
    out.push_str("</note>\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pitches_are_spelled_by_the_key() {
        assert_eq!(name(66, 2), "F#4");
        assert_eq!(name(70, -1), "Bb4");
        assert_eq!(name(60, 0), "C4");
    }
}
