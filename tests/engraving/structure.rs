//! Counts and places of symbols on the sheets of the set.

use crate::{collision, count, engraved, marks, melody, names, over_the_edge, settings_with_all};
use fingertape::engrave::{Paper, Shape, SheetSettings, What, pages_from_melody};
use fingertape::formats::read_melody_bytes;

/// Heads, rests, accidentals (signatures apart), dots, flags, beams, ties, ledger lines, clefs (lines), pages.
const COUNTED: [What; 9] = [
    What::NoteHead,
    What::Rest,
    What::Accidental,
    What::Dot,
    What::Flag,
    What::Beam,
    What::Tie,
    What::LedgerLine,
    What::Clef,
];

/// Counted by hand on the melody files and their pictures.
#[test]
fn every_melody_of_the_set_has_the_symbols_that_it_should_have() {
    let table = TABLE;
    let listed: Vec<&str> = table.iter().map(|row| row.0).collect();
    assert_eq!(names(), listed);
    let found = table.map(|(name, ..)| {
        let engraved = engraved(name);
        (name, COUNTED.map(|what| count(&engraved, what)), engraved.pages.len())
    });
    let wrong: Vec<_> = found.iter().zip(&table).filter(|(found, expected)| found != expected).collect();
    assert!(wrong.is_empty(), "{COUNTED:?}\n{wrong:#?}");
}

#[test]
fn nothing_on_any_sheet_touches_what_it_should_not_or_leaves_the_paper() {
    for name in names() {
        for staff_mm in [5.0, 7.0, 9.2, 14.0] {
            for paper in [Paper::Letter, Paper::A4] {
                for texts in [SheetSettings::default(), settings_with_all()] {
                    let settings = SheetSettings { staff_mm, paper, ..texts };
                    let engraved = pages_from_melody(&melody(&name), &settings);
                    assert_eq!(collision(&engraved), None, "{name}, {settings:?}");
                    assert_eq!(over_the_edge(&engraved), None, "{name}, {settings:?}");
                }
            }
        }
    }
}

/// Gould, *Behind Bars* (2011): a tie over the end of a line is two halves, one on each line; so is common practice.
#[test]
fn a_tie_over_the_end_of_a_line_is_drawn_on_both_lines() {
    let engraved = engraved("04-tie-over-the-line");
    // Six ties are written; one is cut in two.
    let written = melody("04-tie-over-the-line")
        .bars()
        .iter()
        .flat_map(|bar| &bar.items)
        .filter(|item| item.tied)
        .count();
    assert_eq!((written, count(&engraved, What::Tie)), (6, 7));
}

/// All lines but the last end at the right margin; the last one does not reach over it.
#[test]
fn lines_are_justified_but_for_the_last() {
    for name in names() {
        let engraved = engraved(&name);
        let mut ends: Vec<f64> = marks(&engraved)
            .filter(|mark| mark.what == What::StaffLine)
            .map(|mark| mark.bounds()[2])
            .collect();
        ends.dedup();
        let last = ends.pop().expect("a staff");
        let page = &engraved.pages[0];
        let margin = (page.paper.millimetres().0 - 16.0) / page.space_mm;
        assert!(ends.iter().all(|end| (end - margin).abs() < 0.01), "{name}: {ends:?}, margin {margin}");
        assert!(last <= margin + 0.01, "{name}: {last}");
    }
}

/// A stem is an octave long (3.5 spaces) or reaches the middle line (common practice; Gould, Ross).
#[test]
fn single_stems_are_an_octave_long_or_reach_the_middle_line() {
    let engraved = engraved("02-ledger-lines");
    let mut staff_top = f64::NAN;
    let mut checked = 0;
    let heads: Vec<_> = marks(&engraved).filter(|mark| mark.what == What::NoteHead).collect();
    let beams: Vec<_> =
        marks(&engraved).filter(|mark| mark.what == What::Beam).map(|mark| mark.bounds()).collect();
    let mut lines = 0;
    for mark in marks(&engraved) {
        if mark.what == What::StaffLine {
            if lines % 5 == 0 {
                staff_top = (mark.bounds()[1] + mark.bounds()[3]) / 2.0;
            }
            lines += 1;
        }
        let Shape::Stroke { from, to, .. } = mark.shape else { continue };
        let beamed = beams.iter().any(|b| b[0] - 0.1 <= from.0 && from.0 <= b[2] + 0.1);
        if mark.what != What::Stem || beamed {
            continue;
        }
        let head = heads.iter().find(|head| head.item == mark.item).expect("a head for the stem");
        let Shape::Glyph { y, .. } = head.shape else { panic!("a head is a glyph") };
        let (length, tip) = ((to.1 - y).abs(), to.1 - staff_top);
        let to_the_middle = (tip - 2.0).abs() < 1e-9 && length >= 3.5;
        assert!((length - 3.5).abs() < 1e-9 || to_the_middle, "{mark:?}: {length}, {tip}");
        // Down on and above the middle line, up below it.
        assert_eq!(to.1 > y, y - staff_top <= 2.0, "{mark:?}");
        checked += 1;
    }
    assert!(checked >= 11, "{checked}");
}

#[test]
fn a_whole_bar_of_rest_is_a_whole_rest_in_the_middle_of_its_bar() {
    for name in ["06-waltz", "07-six-eight"] {
        let engraved = engraved(name);
        let rests: Vec<_> = marks(&engraved)
            .filter(|mark| {
                matches!(&mark.shape, Shape::Glyph { glyph, .. } if mark.what == What::Rest && glyph.outline().name == "restWhole")
            })
            .collect();
        let [rest] = rests.as_slice() else { panic!("{name}: {rests:?}") };
        let [left, top, right, _] = rest.bounds();
        let bar_lines: Vec<[f64; 4]> = marks(&engraved)
            .filter(|mark| mark.what == What::BarLine)
            .map(|mark| mark.bounds())
            .filter(|bounds| bounds[1] < top && top < bounds[3])
            .collect();
        let before =
            bar_lines.iter().filter(|b| b[2] <= left).map(|b| b[2]).fold(f64::NEG_INFINITY, f64::max);
        let after = bar_lines.iter().filter(|b| b[0] >= right).map(|b| b[0]).fold(f64::INFINITY, f64::min);
        assert!((left - before - (after - right)).abs() < 0.3, "{name}: {before} {left} {right} {after}");
    }
}

#[test]
fn bar_numbers_stand_at_the_start_of_every_line_but_the_first() {
    let engraved = engraved("13-sixty-four-bars");
    let numbers: Vec<String> = marks(&engraved)
        .filter(|mark| mark.what == What::BarNumber)
        .filter_map(|mark| match &mark.shape {
            Shape::Words { text, .. } => Some(text.clone()),
            _ => None,
        })
        .collect();
    let expected: Vec<String> = (1..16).map(|line| (line * 4 + 1).to_string()).collect();
    assert_eq!(numbers, expected);
}

/// A bar too long for the paper makes the staff smaller and says so.
#[test]
fn an_overlong_bar_is_printed_smaller_and_told() {
    let settings = SheetSettings { staff_mm: 20.0, ..settings_with_all() };
    let bar = format!("metre = '12/8'\ninstrument = 'violin'\nbars = ['A4 s {}']", "B4 ".repeat(23));
    let long = read_melody_bytes("long.toml", bar.as_bytes()).expect("a melody").melody;
    let engraved = pages_from_melody(&long, &settings);
    assert_eq!(collision(&engraved), None);
    assert!(engraved.remarks.iter().any(|remark| remark.code == "smaller-staff"), "{:?}", engraved.remarks);
    assert!(engraved.pages[0].space_mm < 5.0);
}

const TABLE: [(&str, [usize; 9], usize); 14] = [
    ("01-plain", [27, 3, 0, 0, 0, 2, 0, 4, 2], 1),
    ("02-ledger-lines", [20, 0, 2, 0, 0, 4, 0, 33, 2], 1),
    ("03-accidentals", [32, 0, 27, 0, 0, 8, 1, 1, 2], 1),
    ("04-tie-over-the-line", [28, 0, 0, 1, 0, 2, 7, 0, 2], 1),
    ("05-sixteenths", [37, 4, 0, 4, 2, 25, 0, 1, 2], 1),
    ("06-waltz", [15, 2, 0, 3, 1, 1, 1, 0, 2], 1),
    ("07-six-eight", [24, 4, 0, 7, 3, 6, 0, 1, 2], 1),
    ("08-seven-sharps", [12, 0, 2, 0, 0, 0, 0, 1, 1], 1),
    ("09-seven-flats", [13, 0, 0, 0, 0, 1, 0, 0, 1], 1),
    ("10-one-bar", [1, 0, 0, 0, 0, 0, 0, 0, 1], 1),
    ("11-long-title", [7, 0, 1, 1, 0, 2, 0, 0, 1], 1),
    ("12-triplets-and-changes", [17, 1, 0, 3, 0, 2, 0, 0, 2], 1),
    ("13-sixty-four-bars", [208, 16, 0, 16, 0, 32, 0, 0, 16], 2),
    ("14-flags-and-dots", [13, 12, 0, 7, 9, 0, 0, 0, 2], 1),
];
