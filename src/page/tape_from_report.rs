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
    /// The bar.
    pub bar: u32,
    /// The place in the melody, in words.
    pub at: String,
}

/// The strings on which a finger was heard, low to high.
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
        let places = fingers::places(instrument, &note.written, note.written_midi);
        let Some(&place) = places.first() else { continue };
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
        // No finger lies behind the nut: a string that is nearer to its open note than to any other was played open.
        let above_open = 100.0 * f64::from(place.semitones) + cents;
        let fallen = if (-50.0..0.0).contains(&above_open) { 0.0 } else { mm(cents) };
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
                bar: note.bar,
                at,
            });
        }
    }
    tapes.iter_mut().for_each(|tape| tape.targets.sort_by(|a, b| a.mm.total_cmp(&b.mm)));
    // A tape without a dot on it shows nothing of the player's.
    tapes.retain(|tape| !tape.fallen.is_empty());
    tapes
}

/// How far a wrong note was from the written one after the whole instrument's tuning.
fn wrong_cents(report: &Report, note: &NoteFinding) -> Option<f64> {
    let played = note.played_midi? - report.tuning.offset_cents.unwrap_or(0.0) / 100.0;
    Some(100.0 * (played - f64::from(note.written_midi)))
}

impl Fallen {
    /// Where it fell, said of the finger: `on its tape`, `about 5 mm too close to the nut`.
    fn said(&self) -> String {
        match (self.wrong, self.steady, self.in_tune) {
            (true, ..) => "another note".to_owned(),
            (false, false, _) => "the pitch moved".to_owned(),
            (false, true, true) => "on its tape".to_owned(),
            (false, true, false) => format!("about {} mm {}", self.whole_mm(), self.side()),
        }
    }

    /// How far off, in whole millimetres: more would be said than is known.
    fn whole_mm(&self) -> f64 {
        (self.mm - self.target_mm).abs().round().max(1.0)
    }

    fn side(&self) -> &'static str {
        if self.mm < self.target_mm { "too close to the nut" } else { "too far from the nut" }
    }
}

/// One sentence for each finger that was heard: how often it was on its tape, and where it was not.
pub fn sentences(report: &Report, tape: &StringTape) -> Vec<String> {
    let mut lines = Vec::new();
    if tape.open > 0 {
        let finger = match below_an_open_string(report, tape) {
            Some(below) => format!(", or fourth finger on the {below} string"),
            None => String::new(),
        };
        lines.push(format!("Open string{finger}: played {}.", times(tape.open)));
    }
    for target in &tape.targets {
        let fell: Vec<&Fallen> =
            tape.fallen.iter().filter(|one| one.semitones == target.place.semitones).collect();
        if fell.is_empty() {
            continue;
        }
        let finger = words::sentence(&fingers::words_for(report.melody.instrument, target.place));
        let (name, often) = (&target.name, times(fell.len()));
        lines.push(format!("{finger} ({name}), {often}{}.", where_it_fell(&fell)));
    }
    lines
}

/// The string whose fourth finger may have made the notes of this open string: where its tuning is not told because the
/// hand was on the string below (`findings::strings`).
fn below_an_open_string(report: &Report, tape: &StringTape) -> Option<&'static str> {
    let instrument = report.melody.instrument;
    let below = tape.string.checked_sub(1)?;
    let sure = report.tuning.strings.iter().any(|one| one.string == tape.letter);
    let [low, high] = [below, tape.string].map(|string| instrument.open_strings()[string]);
    let fourth = instrument.first_position(below, high - low).is_some();
    let hand = report.notes.iter().any(|note| note.written_midi > low && note.written_midi < high);
    (fourth && hand && !sure).then(|| instrument.string_names()[below])
}

/// `, on its tape`; `, each on its tape`; `: 3 on its tape, 1 about 5 mm too close to the nut (bar 6, beat 1)`.
fn where_it_fell(fell: &[&Fallen]) -> String {
    if let [one] = fell {
        return match one.said().as_str() {
            said @ "on its tape" => format!(", {said}"),
            said => format!(": {said} ({})", words::in_sentence(&one.at)),
        };
    }
    let on = fell.iter().filter(|one| one.said() == "on its tape").count();
    if on == fell.len() {
        return ", each on its tape".to_owned();
    }
    let mut parts = Vec::new();
    if on > 0 {
        parts.push(format!("{on} on its tape"));
    }
    for side in ["too close to the nut", "too far from the nut"] {
        let off = |one: &Fallen| !one.wrong && one.steady && !one.in_tune && one.side() == side;
        let off: Vec<&Fallen> = fell.iter().copied().filter(|one| off(one)).collect();
        let nearest = off.iter().map(|one| one.whole_mm()).fold(f64::INFINITY, f64::min);
        let furthest = off.iter().map(|one| one.whole_mm()).fold(0.0, f64::max);
        let about = match nearest < furthest {
            true => format!("{nearest} to {furthest}"),
            false => format!("{furthest}"),
        };
        if !off.is_empty() {
            parts.push(format!("{} about {about} mm {side} ({})", off.len(), places(&off)));
        }
    }
    let moved: Vec<&Fallen> = fell.iter().copied().filter(|one| !one.wrong && !one.steady).collect();
    if !moved.is_empty() {
        parts.push(format!("{} while the pitch moved ({})", moved.len(), places(&moved)));
    }
    let wrong: Vec<&Fallen> = fell.iter().copied().filter(|one| one.wrong).collect();
    if !wrong.is_empty() {
        parts.push(format!(
            "{} ({})",
            words::count(wrong.len(), "other note", "other notes"),
            places(&wrong)
        ));
    }
    format!(": {}", parts.join(", "))
}

/// `bar 6, beat 1`; of several, their bars.
fn places(those: &[&Fallen]) -> String {
    if let [one] = those {
        return words::in_sentence(&one.at);
    }
    let mut bars: Vec<u32> = those.iter().map(|one| one.bar).collect();
    bars.dedup();
    words::bars(&bars)
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
        let title = format!("{}: {}", one.at, one.said());
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
        "The {} string from the nut on: {} where fingers belong, {} where they fell. The sentences below say the same.",
        tape.letter,
        words::count(tape.targets.len(), "tape", "tapes"),
        words::count(tape.fallen.len(), "mark", "marks")
    );
    out.figure(width, bottom + 24.0, label)
}

/// `2 F♯`.
fn short(target: &Target) -> String {
    let finger = target.place.finger;
    format!("{finger}: {}", target.name.replace(" sharp", "♯").replace(" flat", "♭"))
}

#[cfg(test)]
mod tests {
    use super::super::explained;
    use super::*;
    use crate::notation::Instrument;
    use crate::report::sample_report::{off, report, wrong};

    fn d_string(edit: impl Fn(&mut Report)) -> Vec<String> {
        let mut report = report(Instrument::Violin, &["D4", "E4", "E4", "F#4", "E4", "E4", "E4", "D4"]);
        edit(&mut report);
        let tapes = tapes(&report, &PageSettings::default());
        assert_eq!(tapes.len(), 1, "no finger was on another string");
        sentences(&report, &tapes[0])
    }

    #[test]
    fn an_open_string_that_may_have_been_a_fourth_finger_is_said_as_both() {
        let report = report(Instrument::Violin, &["D4", "E4", "A3", "D4"]);
        let tapes = tapes(&report, &PageSettings::default());
        let d = tapes.iter().find(|tape| tape.letter == "D").expect("the D string");
        assert_eq!(sentences(&report, d)[0], "Open string, or fourth finger on the G string: played twice.");
    }

    #[test]
    fn the_one_finger_that_was_off_is_named_among_those_that_were_not() {
        let said = d_string(|_| {});
        let first = "First finger on the D string (E), 5 times";
        assert_eq!(said[0], "Open string: played twice.");
        assert_eq!(said[1], format!("{first}, each on its tape."));
        assert_eq!(said[2], "Second finger on the D string (F sharp), once, on its tape.");
        // 3/4 violin, 307 mm: 307 · 2^(−2/12) · (2^(30/1200) − 1) = 4.78 mm.
        let said = d_string(|report| off(report, 4, -30.0));
        assert_eq!(
            said[1],
            format!("{first}: 4 on its tape, 1 about 5 mm too close to the nut (bar 2, beat 1).")
        );
        let said = d_string(|report| {
            [1, 2, 4, 5].into_iter().for_each(|at| off(report, at, 30.0));
            wrong(report, 6, 1.0);
            report.notes[3].cents_spread = Some(40.0);
        });
        assert_eq!(
            said[1],
            format!(
                "{first}: 4 about 5 mm too far from the nut (bars 1 and 2), 1 other note (bar 2, beat 3)."
            )
        );
        assert_eq!(
            said[2],
            "Second finger on the D string (F sharp), once: the pitch moved (bar 1, beat 4)."
        );
    }

    #[test]
    fn an_open_string_for_another_note_falls_on_the_nut_however_it_was_tuned() {
        let fell = |semitones: f64| {
            let mut report = report(Instrument::Violin, &["D4", "E4", "E4"]);
            wrong(&mut report, 2, semitones);
            let fallen = tapes(&report, &PageSettings::default()).remove(0).fallen;
            fallen.iter().filter(|fallen| fallen.wrong).map(|fallen| fallen.mm).collect::<Vec<_>>()
        };
        assert_eq!(fell(-2.0001), [0.0]);
        assert_eq!(fell(-2.3), [0.0]);
        assert!(fell(-3.0).is_empty(), "a note of the string below");
        // 3/4 violin, 307 mm: 307 · (1 − 2^(−1/12)) = 17.2 mm.
        assert!((fell(-1.0)[0] - 17.2).abs() < 0.1);
    }

    #[test]
    fn only_the_marks_that_are_on_the_tapes_are_explained() {
        let said = |edit: &dyn Fn(&mut Report)| {
            let mut report = report(Instrument::Violin, &["D4", "E4", "E4"]);
            edit(&mut report);
            let tapes = tapes(&report, &PageSettings::default());
            explained::tapes(PageSettings::default().text().string_length_of(Instrument::Violin), &tapes)
        };
        let plain = said(&|_| {});
        assert!(plain.ends_with("A dot is where your finger was, worked out from the pitch."), "{plain}");
        let moved = said(&|report| report.notes[2].cents_spread = Some(40.0));
        assert!(moved.contains("A dot") && moved.ends_with("An open ring: the pitch moved."), "{moved}");
        let another = said(&|report| {
            wrong(report, 1, -1.0);
            wrong(report, 2, -1.0);
        });
        assert!(another.ends_with("A square on its corner: another note."), "{another}");
        assert!(!another.contains("A dot") && !another.contains("open ring"), "{another}");
    }

    #[test]
    fn one_mark_is_one_mark_and_a_string_without_any_has_no_tape() {
        let mut report = report(Instrument::Violin, &["D4", "E4", "A4"]);
        let tapes_of = |report: &Report| tapes(report, &PageSettings::default());
        let all = tapes_of(&report);
        let label = strip(&all[0], reach(&all), Room::Narrow).label;
        assert!(label.contains("1 tape where fingers belong, 1 mark where they fell"), "{label}");
        report.notes.retain(|note| note.written != "E4");
        assert!(tapes_of(&report).is_empty());
    }
}
