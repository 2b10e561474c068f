//! Tempo, repeat signs and jumps of a bar.

use super::super::draft::{Draft, DraftBar, Jump, Tempo};
use super::super::error::{Fault, FormatErrorKind};
use super::super::melody_from_draft::playable;
use super::draft_from_part::Running;
use super::draft_from_score::opening;
use super::measure::{child, child_text};
use crate::notation::{Length, Value};
use crate::remark::Remark;
use roxmltree::Node;

pub(super) fn read_direction(draft: &mut Draft, running: &Running, bar: &mut DraftBar, node: Node) {
    let number = bar.number.unwrap_or(0);
    let sounds = child(node, "sound");
    let jumps = |sound: &Node| {
        ["dacapo", "dalsegno", "fine", "tocoda", "coda", "segno"]
            .iter()
            .any(|name| sound.attribute(*name).is_some())
    };
    let has_tempo = sounds.is_some_and(|sound| sound.attribute("tempo").is_some());
    for kind in node.children().filter(|c| c.has_tag_name("direction-type")) {
        for mark in kind.children().filter(Node::is_element) {
            match mark.tag_name().name() {
                "metronome" if !has_tempo => match metronome(mark) {
                    Some(tempo) => set_tempo(draft, running, number, tempo),
                    None => {
                        let text = "this metronome mark does not say beats a minute; I left it out.";
                        draft.remark("tempo", number, 1.into(), text);
                    }
                },
                "segno" => bar.marks.segno = true,
                "words" if !sounds.as_ref().is_some_and(jumps) => {
                    if let Some(words) = mark.text().filter(|words| is_jump(words)) {
                        let text =
                            format!("“{}” is only words in this file; I did not follow it.", words.trim());
                        draft.remark("jump-words", number, 1.into(), &text);
                    }
                }
                "scordatura" => {
                    let text = "another tuning of the strings is marked; I expect the written pitches.";
                    draft.remark("scordatura", number, 1.into(), text);
                }
                _ => {}
            }
        }
    }
    if let Some(sound) = sounds {
        read_sound(draft, running, bar, sound);
    }
}

/// Words that send the player elsewhere.
fn is_jump(words: &str) -> bool {
    let words = words.trim().to_lowercase();
    ["d.c", "d. c", "d.s", "d. s", "da capo", "dal segno"].iter().any(|start| words.starts_with(start))
}

pub(super) fn read_sound(draft: &mut Draft, running: &Running, bar: &mut DraftBar, node: Node) {
    let number = bar.number.unwrap_or(0);
    if let Some(tempo) = node.attribute("tempo") {
        // MusicXML 4.0, element sound: quarter notes a minute.
        match tempo.trim().parse::<f64>() {
            Ok(per_minute) => {
                set_tempo(draft, running, number, Tempo { per_minute, unit: Length::new(1, 4) });
            }
            Err(_) => draft.remark("tempo", number, 1.into(), "the tempo is not a number; I left it out."),
        }
    }
    let marks = &mut bar.marks;
    marks.segno |= node.attribute("segno").is_some();
    marks.coda |= node.attribute("coda").is_some();
    marks.fine |= node.attribute("fine").is_some();
    marks.to_coda |= node.attribute("tocoda").is_some();
    if node.attribute("dacapo") == Some("yes") {
        marks.jump = Some(Jump::DaCapo);
    } else if node.attribute("dalsegno").is_some() {
        marks.jump = Some(Jump::DalSegno);
    }
}

fn set_tempo(draft: &mut Draft, running: &Running, bar: u32, tempo: Tempo) {
    let Some(tempo) = playable(tempo, running.metre, &mut draft.remarks) else { return };
    let quarters = |t: Tempo| t.per_minute * 4.0 * (*t.unit.numer() as f64) / (*t.unit.denom() as f64);
    match draft.tempo {
        None => {
            draft.tempo = Some(tempo);
            if draft.bars.iter().any(|bar| bar.items.iter().any(|item| item.pitch.is_some())) {
                let text = format!("The first tempo stands in bar {bar}; I used it from the start.");
                draft.remarks.push(Remark::new("tempo", text));
            }
        }
        Some(first) if (quarters(first) - quarters(tempo)).abs() > 0.5 => {
            let text = format!("The tempo changes in bar {bar}; I kept the first one throughout.");
            draft.remarks.push(Remark::new("tempo-change", text));
        }
        Some(_) => {}
    }
}

/// Beats a minute of a metronome mark: `♩. = 72`, `♪ = c. 120`, `72-80` (the first number).
fn metronome(node: Node) -> Option<Tempo> {
    let units: Vec<Node> = node.children().filter(|c| c.has_tag_name("beat-unit")).collect();
    let [unit] = units[..] else { return None };
    let value = match unit.text()?.trim() {
        "breve" => Value::Breve,
        "whole" => Value::Whole,
        "half" => Value::Half,
        "quarter" => Value::Quarter,
        "eighth" => Value::Eighth,
        "16th" => Value::Sixteenth,
        "32nd" => Value::ThirtySecond,
        "64th" => Value::SixtyFourth,
        _ => return None,
    };
    let length = match node.children().filter(|c| c.has_tag_name("beat-unit-dot")).count() {
        0 => value.length(),
        1 => value.length() * Length::new(3, 2),
        2 => value.length() * Length::new(7, 4),
        _ => return None,
    };
    let text = child_text(node, "per-minute")?;
    let digits: String = text
        .chars()
        .skip_while(|c| !c.is_ascii_digit())
        .take_while(|c| c.is_ascii_digit() || *c == '.')
        .take(12)
        .collect();
    digits.trim_end_matches('.').parse().ok().map(|per_minute| Tempo { per_minute, unit: length })
}

pub(super) fn read_barline(
    running: &mut Running,
    bar: &mut DraftBar,
    node: Node,
    now: Length,
) -> Result<(), Fault> {
    let start = now == Length::from_integer(0);
    let left =
        node.attribute("location") == Some("left") || (start && node.attribute("location") == Some("middle"));
    if child(node, "segno").is_some() {
        bar.marks.segno = true;
    }
    if child(node, "coda").is_some() {
        bar.marks.coda = true;
    }
    if let Some(ending) = child(node, "ending") {
        if ending.attribute("type") == Some("start") {
            let numbers = ending.attribute("number").unwrap_or("");
            let list = numbers.split(|c: char| !c.is_ascii_digit()).filter_map(|n| n.parse().ok());
            running.endings = list.filter(|&n: &u32| (1..=100).contains(&n)).collect();
            if running.endings.is_empty() {
                let message = format!("the bracket of an ending is numbered “{numbers}”");
                let help = "Number endings 1, 2, 3, or write the bars out.";
                return Err(Fault::new(FormatErrorKind::Repeats, message, help).at(opening(ending)));
            }
            bar.marks.endings = running.endings.clone();
            bar.marks.ending_start = true;
        } else {
            running.endings.clear();
        }
    }
    if let Some(repeat) = child(node, "repeat") {
        let forward = repeat.attribute("direction") == Some("forward");
        let misplaced = if forward { !start } else { left || start };
        if misplaced {
            let message = "a repeat sign stands in the middle of a bar";
            let help = "Put the repeat sign at a bar line, or write the bars out.";
            return Err(Fault::new(FormatErrorKind::Repeats, message, help).at(opening(repeat)));
        }
        if forward {
            bar.marks.repeat_start = true;
        } else {
            let times = repeat
                .attribute("times")
                .and_then(|times| times.parse().ok())
                .filter(|&times: &u32| times > 0);
            bar.marks.repeat_end = Some(times.unwrap_or(2));
        }
    }
    if !left && child_text(node, "bar-style").is_some_and(|style| style.starts_with("light-")) {
        bar.marks.section_end = true;
    }
    Ok(())
}
