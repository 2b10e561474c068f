//! A melody becomes pages.

use super::drawing::{Mark, What, extent};
use super::drawing_from_line::draw_line;
use super::heading::{Heading, WORDS_MM, draw_heading, draw_tempo};
use super::letters;
use super::lines_from_bars::Music;
use super::page::{Engraved, Frame, SheetSettings};
use super::pages_from_lines::Flow;
use super::symbols_from_bars::{MusicBar, UnderSettings, symbols_from_bars};
use crate::notation::{Clef, Instrument, Melody};
use crate::remark::Remark;

/// The pages of a melody, at least one. The clef is the file's, or else that of the melody's instrument, or else treble.
pub fn pages_from_melody(melody: &Melody, settings: &SheetSettings) -> Engraved {
    let mut remarks = Vec::new();
    let title = words(melody.title.as_deref(), "title", &mut remarks);
    let composer = words(melody.sheet.composer.as_deref(), "composer", &mut remarks);
    let under = UnderSettings {
        instrument: melody.instrument,
        shift: melody.shift(),
        names: settings.names,
        fingers: settings.fingers,
        strings: settings.strings,
    };
    if melody.instrument.is_none() && (settings.fingers || settings.strings) {
        remarks.push(Remark::new(
            "no-instrument",
            "No instrument is known, so no fingers and strings are printed.",
        ));
    }
    let (bars, found) = symbols_from_bars(&melody.bars(), under);
    remarks.extend(found);
    let legend = legend(&bars);
    if melody.sheet.clef.is_none() && melody.instrument.is_none() {
        remarks.push(Remark::new(
            "clef-not-known",
            "Neither a clef nor an instrument is known; the melody is printed in the treble clef.",
        ));
    }
    let clef = melody.sheet.clef.or(melody.instrument.map(Instrument::clef)).unwrap_or(Clef::Treble);
    let music = Music::new(clef, bars);
    let frame = frame_for(&music, settings, &mut remarks);
    let told = title.clone().unwrap_or_else(|| "A melody".to_owned());
    let mut flow = Flow::new(frame, &told);
    let part = melody.instrument.map(|instrument| sentence_case(&instrument.to_string()));
    let heading = Heading { title: title.as_deref(), part: part.as_deref(), composer: composer.as_deref() };
    flow.fixed(|frame, top, marks| draw_heading(&heading, frame, top, marks));
    for (place, line) in music.lines(frame.width()).iter().enumerate() {
        let mut marks = draw_line(&music, line);
        if let (0, Some(bpm)) = (place, melody.bpm) {
            add_tempo(&mut marks, melody, bpm, frame);
        }
        flow.line(marks);
    }
    Engraved { pages: flow.finish(legend), remarks }
}

/// The page's measures: as asked, or a smaller staff where one bar alone is wider than the paper.
pub(super) fn frame_for(music: &Music, settings: &SheetSettings, remarks: &mut Vec<Remark>) -> Frame {
    let asked = Frame::new(settings.paper, settings.staff_mm);
    let narrowest = music.narrowest();
    if narrowest <= asked.width() {
        return asked;
    }
    let space_mm = asked.space_mm * asked.width() / narrowest * 0.999;
    remarks.push(Remark::new(
        "smaller-staff",
        format!(
            "A bar is too long for the paper at a staff of {:.1} mm; the staff is {:.1} mm high instead.",
            asked.space_mm * 4.0,
            space_mm * 4.0
        ),
    ));
    Frame { space_mm, ..asked }
}

/// The tempo stands over the time signature, its left edge flush with it (Gould 2011, on tempo marks, from memory),
/// above all ink.
fn add_tempo(marks: &mut Vec<Mark>, melody: &Melody, bpm: f64, frame: Frame) {
    let x = marks
        .iter()
        .filter(|mark| mark.what == What::TimeSignature)
        .map(|mark| mark.bounds()[0])
        .fold(f64::INFINITY, f64::min);
    let em = frame.spaces(WORDS_MM * 1.1);
    let mut tempo = Vec::new();
    let x = if x.is_finite() { x } else { 0.0 };
    draw_tempo(melody.metre, bpm, (x, 0.0), em, &mut tempo);
    let right = tempo.iter().map(|mark| mark.bounds()[2]).fold(0.0, f64::max);
    let below = marks.iter().filter(|mark| {
        let bounds = mark.bounds();
        bounds[2] > x - 0.5 && bounds[0] < right + 0.5
    });
    let (top, _) = extent(below);
    let lowest = tempo.iter().map(|mark| mark.bounds()[3]).fold(f64::NEG_INFINITY, f64::max);
    let y = top.min(0.0) - 0.9 - lowest;
    marks.extend(tempo.into_iter().map(|mark| mark.moved(0.0, y)));
}

/// What the letters before fingers mean, where there are any.
pub(super) fn legend(bars: &[MusicBar]) -> Option<&'static str> {
    let fingers =
        || bars.iter().flat_map(|bar| &bar.symbols).filter_map(|symbol| symbol.under.finger.as_deref());
    legend_for(fingers)
}

/// The same for fingers from elsewhere.
pub(super) fn legend_for<'a, I: Iterator<Item = &'a str>>(fingers: impl Fn() -> I) -> Option<&'static str> {
    let has = |letter: char| fingers().any(|finger| finger.starts_with(letter));
    match (has('L'), has('H'), has('x')) {
        (true, true, _) => Some("L: low finger, H: high finger"),
        (true, false, _) => Some("L: low finger"),
        (false, true, _) => Some("H: high finger"),
        (false, false, true) => Some("x: the hand stretches"),
        (false, false, false) if has('½') => Some("½: half position, the hand moves back a semitone"),
        (false, false, false) => None,
    }
}

/// Words that the font can show, with a remark where it cannot.
pub(super) fn words(text: Option<&str>, what: &str, remarks: &mut Vec<Remark>) -> Option<String> {
    let (printable, replaced) = letters::printable(text?);
    if replaced {
        remarks.push(Remark::new(
            "letters-not-printed",
            format!("The {what} has letters that are not in the built-in font; each run of them is printed as “?”."),
        ));
    }
    (!printable.is_empty()).then_some(printable)
}

/// With a capital first letter.
pub(super) fn sentence_case(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
