//! One bar of a part: notes and rests at their places, attributes, and how time moves.

use super::super::draft::{Draft, DraftBar, DraftItem};
use super::super::error::{Fault, FormatErrorKind};
use super::directions::{read_barline, read_direction, read_sound};
use super::draft_from_part::Running;
use super::draft_from_score::opening;
use crate::notation::{Clef, Key, LONGEST, Length, Letter, Metre, Spelling, checked_length};
use roxmltree::Node;
use std::ops::Range;

/// A note or rest at its place in the bar.
pub(super) struct Timed {
    pub start: Length,
    pub voice: String,
    pub item: DraftItem,
}

/// What stands in a bar.
pub(super) struct ReadMeasure {
    pub timed: Vec<Timed>,
    /// How far time went.
    pub reached: Length,
    /// Where the cue notes stand, which are left out.
    pub cues: Vec<Range<Length>>,
}

/// No bar has more notes and rests than this.
const MOST_ITEMS: usize = 1_024;

/// Reads the children of one bar; metre and key of `bar` become those at its first note or rest, because a change after
/// it is for the bars that follow.
pub(super) fn read_measure(
    draft: &mut Draft,
    running: &mut Running,
    bar: &mut DraftBar,
    body: Node,
) -> Result<ReadMeasure, Fault> {
    let mut timed = Vec::new();
    let mut cues = Vec::new();
    let mut begun = false;
    let mut now = Length::from_integer(0);
    let mut reached = now;
    bar.marks.endings = running.endings.clone();
    let number = bar.number.unwrap_or(0);
    for element in body.children().filter(Node::is_element) {
        let beat = now / running.metre.beat() + Length::from_integer(1);
        let place = |fault: Fault| fault.at(opening(element)).in_bar(number, beat);
        match element.tag_name().name() {
            "attributes" => read_attributes(draft, running, bar, element).map_err(place)?,
            "note" => {
                // A chord's other notes stand where its first one began.
                let beat = match timed.last() {
                    Some(Timed { start, .. }) if child(element, "chord").is_some() => {
                        *start / running.metre.beat() + Length::from_integer(1)
                    }
                    _ => beat,
                };
                let place = |fault: Fault| fault.at(opening(element)).in_bar(number, beat);
                if let Some(note) = read_note(draft, running, bar, element, now).map_err(place)? {
                    if !std::mem::replace(&mut begun, true) {
                        settle(bar, running);
                    }
                    now += note.item.length;
                    if timed.len() + cues.len() >= MOST_ITEMS {
                        let message = format!("this bar has more than {MOST_ITEMS} notes");
                        return Err(Fault::new(FormatErrorKind::TooBig, message, "Check the file.")
                            .at(opening(element)));
                    }
                    let start = now - note.item.length;
                    match note.sounds {
                        true => timed.push(Timed { start, voice: note.voice, item: note.item }),
                        false => cues.push(start..now),
                    }
                }
            }
            "forward" => now += duration(element, running).map_err(place)?.unwrap_or_default(),
            "backup" => {
                let back = duration(element, running).map_err(place)?.unwrap_or_default();
                if back > now {
                    draft.remark(
                        "backup",
                        bar.number.unwrap_or(0),
                        beat,
                        "a step back goes beyond the bar line.",
                    );
                }
                now = (now - back).max(Length::from_integer(0));
            }
            "direction" => read_direction(draft, running, bar, element),
            "sound" => read_sound(draft, running, bar, element),
            "barline" => read_barline(running, bar, element, now).map_err(place)?,
            _ => {}
        }
        reached = reached.max(now);
        if now > Length::from_integer(LONGEST) {
            let message = format!("this bar is longer than {LONGEST} whole notes");
            return Err(
                Fault::new(FormatErrorKind::TooBig, message, "Check the durations.").at(opening(element))
            );
        }
    }
    if running.bar_repeat && timed.is_empty() {
        let message = "a bar-repeat sign stands here instead of notes";
        return Err(Fault::new(FormatErrorKind::Unsupported, message, "Write the bar out."));
    }
    if !begun {
        settle(bar, running);
    }
    Ok(ReadMeasure { timed, reached, cues })
}

fn settle(bar: &mut DraftBar, running: &Running) {
    (bar.metre, bar.measured, bar.key) = (running.metre, running.measured, running.key);
}

pub(super) fn child<'a, 'd>(node: Node<'a, 'd>, name: &str) -> Option<Node<'a, 'd>> {
    node.children().find(|child| child.has_tag_name(name))
}

pub(super) fn child_text<'a>(node: Node<'a, '_>, name: &str) -> Option<&'a str> {
    child(node, name).and_then(|child| child.text()).map(str::trim)
}

/// A decimal number of at most six places as a fraction.
fn decimal(text: &str) -> Option<(i64, i64)> {
    let text = text.trim().trim_start_matches('+');
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let part = part.trim_end_matches('0');
    if part.len() > 6 || whole.len() + part.len() > 15 || !part.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let scale = 10_i64.pow(part.len() as u32);
    format!("{whole}{part}").parse().ok().map(|number| (number, scale))
}

/// The element's duration; `None` if it has none, or if it is 0.
fn duration(node: Node, running: &Running) -> Result<Option<Length>, Fault> {
    let Some(text) = child_text(node, "duration") else { return Ok(None) };
    let wrong = |why: &str| {
        let message = format!("the duration {text} {why}");
        Fault::new(FormatErrorKind::Length, message, "Export the melody again with whole, exact durations.")
    };
    let (amount, scale) = decimal(text).ok_or_else(|| wrong("is not a number"))?;
    if amount == 0 {
        return Ok(None);
    }
    let (divisions, parts) = running.divisions.unwrap_or((1, 1));
    let numerator = amount.checked_mul(parts);
    let denominator = divisions.checked_mul(4).and_then(|d| d.checked_mul(scale));
    let length = numerator.zip(denominator).and_then(|(n, d)| checked_length(n, d));
    length.map(Some).ok_or_else(|| wrong("cannot be kept exactly"))
}

fn read_attributes(
    draft: &mut Draft,
    running: &mut Running,
    bar: &DraftBar,
    node: Node,
) -> Result<(), Fault> {
    for entry in node.children().filter(Node::is_element) {
        let first_staff = entry.attribute("number").is_none_or(|number| number == "1");
        match entry.tag_name().name() {
            "divisions" => {
                let text = entry.text().unwrap_or("");
                let divisions = decimal(text).filter(|(amount, _)| *amount > 0).ok_or_else(|| {
                    let message = format!("“{}” divisions of a quarter note make no sense", text.trim());
                    Fault::new(FormatErrorKind::Length, message, "Export the melody again.")
                        .at(opening(entry))
                })?;
                running.divisions = Some(divisions);
            }
            "key" if first_staff => read_key(draft, running, bar, entry),
            "time" if first_staff => read_time(draft, running, bar, entry)?,
            "clef" if first_staff && running.clef.is_none() => {
                let octaves =
                    child_text(entry, "clef-octave-change").and_then(|text| text.parse().ok()).unwrap_or(0);
                let line = child_text(entry, "line").unwrap_or("");
                let clef = match (child_text(entry, "sign").unwrap_or(""), line) {
                    ("G", _) => Some(Clef::Treble),
                    ("F", _) => Some(Clef::Bass),
                    ("C", "4") => Some(Clef::Tenor),
                    ("C", _) => Some(Clef::Alto),
                    _ => None,
                };
                running.clef = clef.map(|clef| (clef, octaves));
            }
            "transpose" if first_staff => {
                let number =
                    |name| child_text(entry, name).and_then(|text| text.parse::<f64>().ok()).unwrap_or(0.0);
                let semitones = number("chromatic") + 12.0 * number("octave-change");
                if semitones.fract() != 0.0 || semitones.abs() > 60.0 {
                    let message = "this transposition is not a whole number of semitones within five octaves";
                    return Err(Fault::new(
                        FormatErrorKind::Pitch,
                        message,
                        "Export the melody at concert pitch.",
                    )
                    .at(opening(entry)));
                }
                let semitones = semitones as i32;
                if running.seen_note && running.transpose.unwrap_or(0) != semitones {
                    let message = "the transposition changes in the middle of the part";
                    return Err(Fault::new(
                        FormatErrorKind::Unsupported,
                        message,
                        "Export the melody at concert pitch.",
                    )
                    .at(opening(entry)));
                }
                running.transpose = Some(semitones);
            }
            "measure-style" => {
                if let Some(repeat) = child(entry, "measure-repeat") {
                    running.bar_repeat = repeat.attribute("type") != Some("stop");
                }
            }
            "staff-details" if entry.children().any(|c| c.has_tag_name("capo")) => {
                draft.remark(
                    "capo",
                    bar.number.unwrap_or(0),
                    1.into(),
                    "a capo is marked; I did not use it.",
                );
            }
            _ => {}
        }
    }
    Ok(())
}

fn read_key(draft: &mut Draft, running: &mut Running, bar: &DraftBar, node: Node) {
    let fifths = child_text(node, "fifths").and_then(|text| text.parse::<i32>().ok());
    match fifths.and_then(Key::new) {
        Some(key) => running.key = Key { minor: child_text(node, "mode") == Some("minor"), ..key },
        None => {
            let text =
                "this key signature is not one of the usual ones; the notes are read as they are spelled.";
            draft.remark("key", bar.number.unwrap_or(0), 1.into(), text);
            running.key = Key::default();
        }
    }
}

fn read_time(draft: &mut Draft, running: &mut Running, bar: &DraftBar, node: Node) -> Result<(), Fault> {
    if child(node, "senza-misura").is_some() {
        running.measured = false;
        draft.remark("no-metre", bar.number.unwrap_or(0), 1.into(), "the music has no metre here.");
        return Ok(());
    }
    let texts = |name: &'static str| {
        node.children()
            .filter(move |c| c.has_tag_name(name))
            .map(|c| c.text().unwrap_or("").trim().to_owned())
    };
    let pairs: Vec<(String, String)> = texts("beats").zip(texts("beat-type")).collect();
    let shown = pairs.iter().map(|(beats, unit)| format!("{beats}/{unit}")).collect::<Vec<_>>().join(" + ");
    let metre = || {
        let mut parts: Vec<(u32, u32)> = Vec::new();
        for (beats, unit) in &pairs {
            let beats = beats.split('+').map(|beats| beats.trim().parse::<u32>().ok().filter(|&b| b <= 32));
            parts.push((beats.sum::<Option<u32>>()?, unit.parse().ok()?));
        }
        let finest = parts.iter().map(|(_, unit)| *unit).max()?;
        let beats = parts.iter().map(|(beats, unit)| {
            (*unit > 0 && finest % unit == 0 && finest <= 32).then(|| beats.saturating_mul(finest / unit))
        });
        Metre::new(beats.sum::<Option<u32>>()?, finest)
    };
    running.metre = metre().ok_or_else(|| {
        let message = format!("“{shown}” is not a metre that can be counted");
        Fault::new(FormatErrorKind::Metre, message, "Use a metre such as 4/4, 3/4, 2/4 or 6/8.")
            .at(opening(node))
    })?;
    running.measured = true;
    if pairs.len() > 1 || pairs.iter().any(|(beats, _)| beats.contains('+')) {
        let text = format!("the metre {shown} is counted as {}.", running.metre);
        draft.remark("compound-metre", bar.number.unwrap_or(0), 1.into(), &text);
    }
    Ok(())
}

struct Note {
    voice: String,
    item: DraftItem,
    /// False for cue notes, which only take time.
    sounds: bool,
}

fn read_note(
    draft: &mut Draft,
    running: &mut Running,
    bar: &DraftBar,
    node: Node,
    now: Length,
) -> Result<Option<Note>, Fault> {
    let number = bar.number.unwrap_or(0);
    let beat = now / running.metre.beat() + Length::from_integer(1);
    let has = |name: &str| child(node, name).is_some();
    if has("grace") {
        draft.remark("grace-note", number, beat, "a grace note is left out; it is not judged.");
        return Ok(None);
    }
    if has("chord") {
        let message = "two or more notes are written at once";
        let help = "A melody has one note at a time. Keep one note of the chord and export again.";
        return Err(Fault::new(FormatErrorKind::Chord, message, help));
    }
    let length = duration(node, running)?;
    if has("cue") {
        draft.remark("cue-note", number, beat, "a cue note is left out; it is not judged.");
    } else if has("unpitched") {
        let message = "this note has no pitch (percussion)";
        return Err(Fault::new(FormatErrorKind::Unpitched, message, "Choose a part with pitches."));
    }
    let pitch = child(node, "pitch").map(read_pitch).transpose()?;
    if let Some(pitch) = pitch {
        remark_on_accidental(draft, number, beat, pitch, child_text(node, "accidental"));
    }
    let whole_bar = child(node, "rest").is_some_and(|rest| rest.attribute("measure") == Some("yes"));
    let Some(mut length) = length.or((whole_bar && pitch.is_none()).then(|| running.metre.bar())) else {
        let message = "this note has no duration";
        return Err(Fault::new(FormatErrorKind::Length, message, "Export the melody again."));
    };
    if whole_bar && running.measured && now == Length::from_integer(0) && length != running.metre.bar() {
        draft.remark(
            "bar-rest",
            number,
            beat,
            "the rest of a whole bar has another length than the bar; I read the bar.",
        );
        length = running.metre.bar();
    }
    running.seen_note |= pitch.is_some();
    let notations: Vec<Node> = node.children().filter(|c| c.has_tag_name("notations")).collect();
    let within = |name: &'static str| {
        notations.iter().flat_map(|n| n.children()).filter(move |c| c.has_tag_name(name))
    };
    let starts = |tie: Node| matches!(tie.attribute("type"), Some("start" | "continue"));
    let tie_start =
        node.children().filter(|c| c.has_tag_name("tie")).any(starts) || within("tied").any(starts);
    let technical =
        |name: &'static str| within("technical").flat_map(|t| t.children()).find(|c| c.has_tag_name(name));
    let finger =
        technical("fingering").and_then(|f| f.text()?.trim().parse().ok()).filter(|&finger: &u8| finger <= 4);
    if technical("harmonic").is_some() {
        draft.remark("harmonic", number, beat, "a harmonic is marked; I expect the written pitch.");
    }
    for ornament in within("ornaments").flat_map(|o| o.children()).filter(Node::is_element) {
        let name = ornament.tag_name().name();
        if name != "accidental-mark" {
            let text = format!("an ornament ({name}) is marked; I expect the plain note.");
            draft.remark("ornament", number, beat, &text);
        }
    }
    if within("glissando").chain(within("slide")).any(|slide| slide.attribute("type") == Some("start")) {
        draft.remark("slide", number, beat, "a slide is marked; I expect the written notes.");
    }
    let item = DraftItem { length, pitch, tie_start, finger, span: opening(node) };
    let voice = child_text(node, "voice").unwrap_or("1");
    let staff = child_text(node, "staff").filter(|&staff| staff != "1");
    let voice = staff.map_or_else(|| voice.to_owned(), |staff| format!("{voice} of staff {staff}"));
    Ok(Some(Note { voice, item, sounds: !has("cue") }))
}

/// The printed accidental and the pitch can contradict each other; the pitch counts.
fn remark_on_accidental(draft: &mut Draft, bar: u32, beat: Length, pitch: Spelling, printed: Option<&str>) {
    let alter = match printed {
        Some("double-sharp" | "sharp-sharp") => 2,
        Some("sharp") => 1,
        Some("natural") => 0,
        Some("flat") => -1,
        Some("flat-flat") => -2,
        _ => return,
    };
    if alter != pitch.alter {
        let text =
            format!("a {} is printed, but the file says {pitch}; I read {pitch}.", printed.unwrap_or(""));
        draft.remark("accidental-conflict", bar, beat, &text);
    }
}

fn read_pitch(node: Node) -> Result<Spelling, Fault> {
    let wrong =
        |message: String, help: &str| Fault::new(FormatErrorKind::Pitch, message, help).at(opening(node));
    let step = child_text(node, "step").unwrap_or("");
    let letter = match step.as_bytes() {
        [letter] => Letter::from_char(char::from(*letter)),
        _ => None,
    };
    let letter =
        letter.ok_or_else(|| wrong(format!("“{step}” is not the letter of a note"), "Use A to G."))?;
    let octave_text = child_text(node, "octave").unwrap_or("");
    let octave = octave_text.parse::<i8>().ok().filter(|octave| (-1..=9).contains(octave));
    let octave = octave.ok_or_else(|| wrong(format!("“{octave_text}” is not an octave"), "Use 0 to 9."))?;
    let alter_text = child_text(node, "alter").unwrap_or("0");
    let alter: f64 = alter_text.parse().unwrap_or(f64::NAN);
    if alter.fract() != 0.0 || !(-2.0..=2.0).contains(&alter) {
        let message = format!("the accidental of this {step}{octave} moves it by {alter_text} semitones");
        return Err(wrong(message, "Use naturals, sharps and flats, single or double."));
    }
    Ok(Spelling { letter, alter: alter as i8, octave })
}
