//! Sheets: what stands on them and where, for a set of hard melodies and for random ones; what the files hold.
//!
//! Nothing here looks at pixels: a picture of each melody is for eyes (`fingertape sheet`, DEVELOPERS.md says how).

mod files;
mod heard;
mod random_melodies;
mod report_pages;
mod structure;
mod worksheets;

use fingertape::engrave::{Engraved, Mark, SheetSettings, What, pages_from_melody};
use fingertape::formats::read_melody;
use fingertape::notation::Melody;
use std::path::Path;

fn melody(name: &str) -> Melody {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/engraving/melodies/{name}.toml"));
    read_melody(&path).unwrap_or_else(|error| panic!("{name}: {error}")).melody
}

/// Every melody of the set, in the order of their numbers.
fn names() -> Vec<String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/engraving/melodies");
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .expect("the melodies are there")
        .map(|entry| {
            entry.expect("a file").path().file_stem().expect("a name").to_string_lossy().into_owned()
        })
        .collect();
    names.sort();
    names
}

fn settings_with_all() -> SheetSettings {
    SheetSettings { names: true, fingers: true, strings: true, ..SheetSettings::default() }
}

fn engraved(name: &str) -> Engraved {
    pages_from_melody(&melody(name), &SheetSettings::default())
}

fn marks(engraved: &Engraved) -> impl Iterator<Item = &Mark> {
    engraved.pages.iter().flat_map(|page| &page.marks)
}

fn count(engraved: &Engraved, what: What) -> usize {
    marks(engraved).filter(|mark| mark.what == what).count()
}

/// Two marks that share ink, of those that never may; `None` if there are none.
fn collision(engraved: &Engraved) -> Option<String> {
    let solid = |mark: &&Mark| {
        matches!(
            mark.what,
            What::NoteHead
                | What::Accidental
                | What::Dot
                | What::Rest
                | What::Clef
                | What::KeySignature
                | What::TimeSignature
                | What::BarLine
                | What::Name
                | What::Finger
                | What::StringName
                | What::RowLabel
                | What::BarNumber
                | What::Title
                | What::Composer
                | What::Part
                | What::Tempo
                | What::Words
                | What::PageNumber
                | What::Beat
        )
    };
    for page in &engraved.pages {
        let boxes: Vec<(&Mark, [f64; 4])> =
            page.marks.iter().filter(solid).map(|mark| (mark, mark.bounds())).collect();
        for (place, (one, a)) in boxes.iter().enumerate() {
            for (other, b) in &boxes[place + 1..] {
                // The digits of one number touch; a hundredth of a space is no collision.
                let tolerance = if one.what == What::TimeSignature && other.what == What::TimeSignature {
                    0.2
                } else {
                    0.01
                };
                let apart = a[0] + tolerance >= b[2]
                    || b[0] + tolerance >= a[2]
                    || a[1] + tolerance >= b[3]
                    || b[1] + tolerance >= a[3];
                if !apart {
                    return Some(format!("{one:?} {a:?}\n{other:?} {b:?}"));
                }
            }
        }
    }
    None
}

/// A mark that reaches over the white edge of the paper.
fn over_the_edge(engraved: &Engraved) -> Option<String> {
    engraved.pages.iter().find_map(|page| {
        let (width, height) = page.size();
        let white = 10.0 / page.space_mm;
        page.marks.iter().find_map(|mark| {
            let [left, top, right, bottom] = mark.bounds();
            let inside = left >= white && top >= white && right <= width - white && bottom <= height - white;
            (!inside).then(|| format!("{mark:?} on a page {width} by {height}"))
        })
    })
}
