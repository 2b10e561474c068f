//! A tape for each string that was played: where each finger belongs and where it fell, in true proportion.
//!
//! Places are those of an ideal string (`findings/finger_shift.rs`). A tape is as wide as the way that a finger may be off
//! and still in tune.

use super::content::{PageSettings, Room};
use super::svg::{Align, Elements, Figure};
use crate::findings::{NoteFinding, NoteVerdict, Report, finger_place};
use crate::notation::Fingering;
use crate::report::{fingers, intonation, words};
use crate::units::{Cents, Hertz, MidiPitch};

/// What fell where on one string.
#[derive(Debug, Clone, PartialEq)]
pub struct StringTape {
    /// Which string, 0 the lowest.
    pub string: usize,
    /// Its letter.
    pub letter: &'static str,
    /// Where fingers belong.
    pub targets: Vec<Target>,
    /// Where they fell, in the order of playing.
    pub fallen: Vec<Fallen>,
    /// How often the string was heard open.
    pub open: usize,
}

/// Where a finger belongs.
#[derive(Debug, Clone, PartialEq)]
pub struct Target {
    /// The finger.
    pub place: Fingering,
    /// The written note's name.
    pub name: String,
    /// From the nut, in millimetres.
    pub mm: f64,
    /// The part of the string over which the note is in tune, in millimetres from the nut.
    pub in_tune: (f64, f64),
}

/// Where a finger fell.
#[derive(Debug, Clone, PartialEq)]
pub struct Fallen {
    /// From the nut, in millimetres.
    pub mm: f64,
    /// Where it belongs.
    pub target_mm: f64,
    /// Semitones above the open string of the note that was written.
    pub semitones: i32,
    /// Another note than the written one.
    pub wrong: bool,
    /// The pitch stayed long enough in one place.
    pub steady: bool,
    /// Within the limits of in tune.
    pub in_tune: bool,
    /// The place in the melody, in words.
    pub at: String,
}

/// The strings that were played, low to high.
pub fn tapes(report: &Report, settings: &PageSettings) -> Vec<StringTape> {
    let instrument = report.melody.instrument;
    let mut tapes: Vec<StringTape> = (0..4)
        .map(|string| StringTape {
            string,
            letter: instrument.string_names()[string],
            targets: Vec::new(),
            fallen: Vec::new(),
            open: 0,
        })
        .collect();
    let text = settings.text();
    let length = text.string_length_of(instrument);
    for note in &report.notes {
        let Some(&place) = instrument.fingerings(note.written_midi).first() else { continue };
        let tape = &mut tapes[place.string];
        let a4 = Hertz(report.melody.a4_hz);
        let open = MidiPitch(f64::from(instrument.open_strings()[place.string])).hertz(a4);
        let pitch = MidiPitch(f64::from(note.written_midi)).hertz(a4);
        let at = words::place(note.bar, note.beat);
        if place.finger == 0 {
            tape.open += usize::from(note.verdict == NoteVerdict::Right);
            continue;
        }
        let mm = |cents: f64| finger_place(open, pitch.shifted(Cents(cents)), length).0;
        let fell = match (note.verdict, intonation::of(report, note, &text)) {
            (NoteVerdict::Right, Some(found)) => Some((found.finger_cents, found.steady, false)),
            (NoteVerdict::Wrong, _) => wrong_cents(report, note).map(|cents| (cents, true, true)),
            _ => None,
        };
        let Some((cents, steady, wrong)) = fell.filter(|fell| fell.0.is_finite()) else { continue };
        if !tape.targets.iter().any(|target| target.place == place) {
            let limit = intonation::IN_TUNE_CENTS;
            tape.targets.push(Target {
                place,
                name: words::pitch(&note.written),
                mm: mm(0.0),
                in_tune: (mm(-limit), mm(limit)),
            });
        }
        let fallen = mm(cents);
        // A wrong note that lies below the open string or above first position was not played on this string.
        if (0.0..=length.0 * 0.37).contains(&fallen) {
            let in_tune = cents.abs() <= intonation::IN_TUNE_CENTS;
            tape.fallen.push(Fallen {
                mm: fallen,
                target_mm: mm(0.0),
                semitones: place.semitones,
                wrong,
                steady,
                in_tune,
                at,
            });
        }
    }
    tapes.iter_mut().for_each(|tape| tape.targets.sort_by(|a, b| a.mm.total_cmp(&b.mm)));
    tapes.retain(|tape| tape.open > 0 || !tape.targets.is_empty());
    tapes
}

/// How far a wrong note was from the written one after the whole instrument's tuning.
fn wrong_cents(report: &Report, note: &NoteFinding) -> Option<f64> {
    let played = note.played_midi? - report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    Some(100.0 * (played - f64::from(note.written_midi)))
}

/// One sentence for each finger that was heard: how far off it was in the middle of its notes.
pub fn sentences(report: &Report, tape: &StringTape) -> Vec<String> {
    let mut lines = Vec::new();
    if tape.open > 0 {
        lines.push(format!("Open string: heard right {}.", times(tape.open)));
    }
    for target in &tape.targets {
        let mut off: Vec<f64> = tape
            .fallen
            .iter()
            .filter(|one| one.semitones == target.place.semitones && !one.wrong && one.steady)
            .map(|one| one.mm - one.target_mm)
            .collect();
        let finger = words::sentence(&fingers::words_for(report.melody.instrument, target.place));
        if off.is_empty() {
            continue;
        }
        off.sort_by(f64::total_cmp);
        let middle = 0.5 * (off[(off.len() - 1) / 2] + off[off.len() / 2]);
        let where_it_fell = if (target.in_tune.0 - target.mm..=target.in_tune.1 - target.mm).contains(&middle)
        {
            format!("on its tape ({} mm)", signed(middle))
        } else if middle < 0.0 {
            format!("{:.1} mm too close to the nut, so it sounds low", -middle)
        } else {
            format!("{middle:.1} mm too far from the nut, so it sounds high")
        };
        lines.push(format!("{finger} ({}), {}: {where_it_fell}.", target.name, times(off.len())));
    }
    lines
}

/// A tenth of a millimetre, with a sign of its own only where it is not 0.
fn signed(mm: f64) -> String {
    let tenths = (mm * 10.0).round() / 10.0;
    if tenths == 0.0 { "0.0".to_owned() } else { format!("{tenths:+.1}").replace('-', "−") }
}

fn times(count: usize) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        more => format!("{more} times"),
    }
}

/// How far from the nut the drawings of all strings reach, in millimetres.
pub fn reach(tapes: &[StringTape]) -> f64 {
    let targets = tapes.iter().flat_map(|tape| &tape.targets).map(|target| target.in_tune.1);
    let fallen = tapes.iter().flat_map(|tape| &tape.fallen).map(|one| one.mm);
    1.08 * targets.chain(fallen).fold(40.0, f64::max)
}

/// The strip of one string, `reach` millimetres long.
pub fn strip(tape: &StringTape, reach: f64, room: Room) -> Figure {
    let (left, width) = (20.0, room.width());
    let scale = (width - left - 14.0) / reach;
    let x = |mm: f64| left + mm * scale;
    let rows = tape.fallen.len().clamp(1, 6) as f64;
    let (top, board) = (32.0, 18.0 + 10.0 * rows);
    let bottom = top + board;
    let mut out = Elements::default();
    out.rect("board", [left, top, width - left - 14.0, board]);
    for (k, target) in tape.targets.iter().enumerate() {
        let (from, to) = (x(target.in_tune.0), x(target.in_tune.1));
        let tape_room = [from, top, to - from, board];
        out.rect("tape", tape_room);
        out.hatch("hatch", tape_room, 4.0);
        out.line("ink", (x(target.mm), top - 3.0), (x(target.mm), bottom + 3.0));
        let crowded = k > 0 && x(target.mm) - x(tape.targets[k - 1].mm) < 40.0;
        let y = if crowded && k % 2 == 1 { 11.0 } else { 24.0 };
        out.text("words", (x(target.mm), y), 11.0, Align::Middle, &short(target));
    }
    out.line("cord", (left, top + board / 2.0), (width - 14.0, top + board / 2.0));
    out.rect("nut", [left - 6.0, top - 4.0, 6.0, board + 8.0]);
    for (k, one) in tape.fallen.iter().enumerate() {
        let at = (x(one.mm), top + 14.0 + 10.0 * (k % 6) as f64);
        if !one.in_tune && !one.wrong {
            out.line("accent", at, (x(one.target_mm), at.1));
        }
        let title = format!("{}: {} mm from its place", one.at, signed(one.mm - one.target_mm));
        match (one.wrong, one.steady) {
            (true, _) => out.diamond("hollow", at, 5.5, &title),
            (false, true) => out.circle("mark", at, 4.0, &title),
            (false, false) => out.circle("hollow", at, 4.0, &title),
        }
    }
    let step = [10, 20].into_iter().find(|step| f64::from(*step) * scale >= 44.0).unwrap_or(50) as usize;
    for mm in (0..=reach as usize).step_by(step) {
        out.line("ink", (x(mm as f64), bottom + 3.0), (x(mm as f64), bottom + 7.0));
        let words = if mm == 0 { "nut".to_owned() } else { format!("{mm} mm") };
        out.text("small", (x(mm as f64), bottom + 18.0), 10.0, Align::Middle, &words);
    }
    let label = format!(
        "The {} string from the nut on: {} tapes where fingers belong, {} marks where they fell. The sentences below say the same.",
        tape.letter,
        tape.targets.len(),
        tape.fallen.len()
    );
    out.figure(width, bottom + 24.0, label)
}

/// `2 F♯`.
fn short(target: &Target) -> String {
    let finger = target.place.finger;
    format!("{finger}: {}", target.name.replace(" sharp", "♯").replace(" flat", "♭"))
}
