//! The staff as heard: every case by hand, random melodies with random data, both widths.

use crate::random_melodies::{melody as random_melody, pieces};
use crate::{melody, names};
use fingertape::engrave::{
    Belongs, Heard, HeardExtra, HeardNote, HeardRest, HeardReturn, HeardState, HeardWords, Mark, Shape,
    System, SystemSvg, Systems, Told, What, glyph_definitions, letters_font_face, svg_from_system,
    systems_from_heard,
};
use fingertape::formats::read_melody_bytes;
use fingertape::notation::{EventKind, Melody};
use proptest::prelude::*;
use std::collections::BTreeSet;

pub const WIDTHS: [(f64, f64); 2] = [(178.0, 8.0), (86.0, 6.4)];

/// Marks that may not share ink.
fn solid(mark: &Mark) -> bool {
    use What::*;
    matches!(
        mark.what,
        NoteHead
            | Accidental
            | Dot
            | Rest
            | Clef
            | KeySignature
            | TimeSignature
            | BarLine
            | RowLabel
            | BarNumber
            | StaffName
            | HeardHead
            | HeardBox
            | UnsureHead
            | MissingRoom
            | HeardRest
            | ExtraHead
            | Cents
            | HeardWord
            | ReturnWords
            | Silence
            | SoundInRest
    )
}

/// Two marks that share ink and may not; a box may hold its own note, hatching and arrows touch each other.
pub fn collision(system: &System) -> Option<String> {
    let all: Vec<(Belongs, &Mark, [f64; 4])> = system
        .groups
        .iter()
        .flat_map(|group| group.marks.iter().map(|mark| (group.belongs, mark, mark.bounds())))
        .filter(|(_, mark, _)| solid(mark))
        .collect();
    let boxed = |mark: &Mark| mark.what == What::HeardBox;
    let silence = |mark: &Mark| matches!(mark.what, What::Silence | What::SoundInRest);
    for (place, (owner, one, a)) in all.iter().enumerate() {
        for (other_owner, other, b) in &all[place + 1..] {
            let same = owner == other_owner;
            if same && (boxed(one) || boxed(other) || silence(one) && silence(other)) {
                continue;
            }
            let tolerance =
                if one.what == What::TimeSignature && other.what == What::TimeSignature { 0.2 } else { 0.01 };
            let apart = a[0] + tolerance >= b[2]
                || b[0] + tolerance >= a[2]
                || a[1] + tolerance >= b[3]
                || b[1] + tolerance >= a[3];
            if !apart {
                return Some(format!("{owner:?} {one:?} {a:?}\n{other_owner:?} {other:?} {b:?}"));
            }
        }
    }
    None
}

pub fn over_the_edge(system: &System) -> Option<String> {
    system.marks().find_map(|mark| {
        let [left, top, right, bottom] = mark.bounds();
        let inside =
            left >= -0.1 && top >= -0.01 && right <= system.width + 0.1 && bottom <= system.height + 0.01;
        (!inside).then(|| format!("{mark:?} in {} by {}", system.width, system.height))
    })
}

pub fn checked(systems: &Systems, told: &str) {
    for system in &systems.systems {
        assert_eq!(collision(system), None, "{told}");
        assert_eq!(over_the_edge(system), None, "{told}");
    }
}

pub fn right(event: usize) -> HeardNote {
    HeardNote {
        event,
        state: HeardState::Right,
        onset_error_beats: Some(0.02),
        duration_ratio: Some(0.92),
        cents: Some(0.0),
        label: None,
    }
}

fn four_bars() -> Melody {
    let text = "title = 'Every case'\ninstrument = 'viola'\nkey = 'D major'\nmetre = '4/4'\n\
                bars = ['D4 E4 F#4 G4', 'A4 h r q G4 q', 'F#4 e E4 e D4 q r h', 'D4 w']";
    read_melody_bytes("every.toml", text.as_bytes()).expect("a melody").melody
}

/// Events: D E F♯ G | A rest G | F♯ E D rest | D, from 0 to 11.
pub fn every_case() -> (Melody, Heard) {
    let other = |event, sounding| HeardNote { state: HeardState::Other { sounding }, ..right(event) };
    let mut heard = Heard {
        notes: vec![
            HeardNote { cents: Some(12.3), ..right(0) },
            HeardNote { cents: Some(-23.0), label: Some("low".to_owned()), ..right(1) },
            other(2, 65.2),
            HeardNote { state: HeardState::Missing, duration_ratio: None, cents: None, ..right(3) },
            HeardNote { duration_ratio: Some(0.4), onset_error_beats: Some(-0.3), ..right(4) },
            HeardNote { state: HeardState::Unsure, ..right(6) },
            HeardNote { onset_error_beats: Some(0.25), cents: Some(4.0), ..right(7) },
            other(8, 66.0),
            HeardNote { duration_ratio: Some(1.6), ..right(9) },
            right(11),
        ],
        rests: vec![
            HeardRest { event: 5, played_beats: Some(0.4), label: Some("short".to_owned()) },
            HeardRest { event: 10, played_beats: Some(2.0), label: None },
        ],
        extras: vec![HeardExtra { after: Some(4), beats_after: 1.0, sounding: 64.0, label: None }],
        returns: vec![HeardReturn {
            after: 8,
            to: 4,
            label: Some("stopped here, began again at bar 2".to_owned()),
        }],
        words: HeardWords::default(),
    };
    heard.notes.reverse();
    (four_bars(), heard)
}

pub fn count(systems: &Systems, what: What) -> usize {
    systems.systems.iter().flat_map(System::marks).filter(|mark| mark.what == what).count()
}

fn texts(systems: &Systems, what: What) -> Vec<String> {
    let shown = systems.systems.iter().flat_map(System::marks).filter_map(|mark| match &mark.shape {
        Shape::Words { text, .. } if mark.what == what => Some(text.clone()),
        _ => None,
    });
    shown.collect()
}

/// Counted by hand on `every_case`.
#[test]
fn every_case_has_its_marks() {
    let (melody, heard) = every_case();
    for (width, staff) in WIDTHS {
        let systems = systems_from_heard(&melody, &heard, width, staff);
        let found = [
            What::NoteHead,
            What::HeardHead,
            What::HeardBox,
            What::UnsureHead,
            What::MissingRoom,
            What::ExtraHead,
            What::Rest,
            What::HeardRest,
            What::SoundLine,
            What::WrittenPlace,
        ]
        .map(|what| count(&systems, what));
        // Ten notes: five right ones on time or late, two others; one missing, one unsure.
        assert_eq!(found, [10, 8, 2, 1, 1, 1, 2, 2, 9, 2], "{width}");
        assert_eq!(
            texts(&systems, What::Cents),
            ["+12", "−23", "F♮", "0", "?", "+4", "F♯", "0", "0"].map(|text| text.replace('♮', ""))
        );
        assert_eq!(texts(&systems, What::HeardWord).join(" "), "low not heard short");
        assert_eq!(texts(&systems, What::ReturnWords), ["stopped here, began again at bar 2"]);
        assert!(count(&systems, What::SoundInRest) > 2);
        checked(&systems, "every case");
    }
}

#[test]
fn a_note_stands_under_itself_unless_it_came_early_or_late() {
    let (melody, heard) = every_case();
    for (width, staff) in WIDTHS {
        let systems = systems_from_heard(&melody, &heard, width, staff);
        for group in systems.systems.iter().flat_map(|system| &system.groups) {
            let x =
                |what: What| group.marks.iter().find(|mark| mark.what == what).map(|mark| mark.bounds()[0]);
            let (Some(written), Some(played)) = (x(What::NoteHead), x(What::HeardHead)) else { continue };
            let moved = played - written;
            match group.belongs {
                Belongs::Note(4) => assert!((-1.2..-0.7).contains(&moved), "{moved}"),
                Belongs::Note(7) => assert!((0.6..1.0).contains(&moved), "{moved}"),
                _ => assert!(moved.abs() < 1e-9, "{:?} {moved}", group.belongs),
            }
        }
    }
}

#[test]
fn a_short_sound_has_a_short_line_and_a_long_one_runs_on() {
    let text = "instrument = 'violin'\nbars = ['A4 B4 A4 B4']";
    let melody = read_melody_bytes("a.toml", text.as_bytes()).expect("a melody").melody;
    let line = |ratio: f64| {
        let notes = vec![HeardNote { duration_ratio: Some(ratio), ..right(1) }];
        let systems = systems_from_heard(&melody, &Heard { notes, ..Heard::default() }, 178.0, 8.0);
        let mark =
            systems.systems[0].marks().find(|mark| mark.what == What::SoundLine).expect("a line").bounds();
        mark[2] - mark[0]
    };
    assert!(
        line(0.6) < line(1.0) && line(1.0) + 1.0 < line(1.6),
        "{} {} {}",
        line(0.6),
        line(1.0),
        line(1.6)
    );
}

#[test]
fn the_svg_is_well_formed_its_ids_are_unique_and_hostile_labels_stay_text() {
    let (melody, heard) = every_case();
    let told = |belongs| {
        let label = format!("{belongs:?} \"><script>alert(1)</script>&");
        Some(Told { role: "button".to_owned(), label, focusable: matches!(belongs, Belongs::Note(_)) })
    };
    let mut page = "<div>".to_owned();
    let both: Vec<Systems> =
        WIDTHS.iter().map(|&(width, staff)| systems_from_heard(&melody, &heard, width, staff)).collect();
    let all = || both.iter().flat_map(|systems| &systems.systems);
    page.push_str(&glyph_definitions(all(), "page-"));
    for system in all() {
        let how = SystemSvg { prefix: "page-", label: "<bars> & \"all\"", told: &told };
        page.push_str(&svg_from_system(system, &how));
    }
    page.push_str("</div>");
    let tree = roxmltree::Document::parse(&page).expect("well-formed");
    let ids: Vec<&str> = tree.descendants().filter_map(|node| node.attribute("id")).collect();
    assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len());
    for node in tree.descendants().filter(|node| node.has_tag_name("use")) {
        assert!(ids.contains(&node.attribute("href").expect("a target").trim_start_matches('#')));
    }
    assert!(!tree.descendants().any(|node| node.has_tag_name("script")));
    let notes = |class: &str| {
        tree.descendants()
            .filter(|node| node.has_tag_name("g") && node.attribute("class") == Some(class))
            .count()
    };
    assert_eq!((notes("note"), notes("rest"), notes("extra")), (20, 4, 2));
    let keys = tree.descendants().filter(|node| node.attribute("tabindex").is_some()).count();
    assert_eq!(keys, 20);
    assert!(!page.contains("style="), "a strict page allows no inline style");
    assert!(letters_font_face().starts_with("@font-face"));
}

/// Events are counted as the melody counts them.
#[test]
fn every_event_of_every_melody_of_the_set_has_its_own_group() {
    for name in names() {
        let melody = melody(&name);
        let heard = Heard {
            notes: (0..melody.events.len()).map(right).collect(),
            rests: (0..melody.events.len())
                .map(|event| HeardRest { event, played_beats: Some(0.7), label: None })
                .collect(),
            ..Heard::default()
        };
        for (width, staff) in WIDTHS {
            let systems = systems_from_heard(&melody, &heard, width, staff);
            checked(&systems, &name);
            let groups: BTreeSet<Belongs> =
                systems.systems.iter().flat_map(|system| &system.groups).map(|group| group.belongs).collect();
            let expected = melody.events.iter().enumerate().map(|(at, event)| match event.kind {
                EventKind::Note { .. } => Belongs::Note(at),
                EventKind::Rest => Belongs::Rest(at),
            });
            assert_eq!(groups, expected.chain([Belongs::Staff]).collect(), "{name}");
            let sounding = melody.soundings().count();
            assert_eq!(count(&systems, What::HeardHead), sounding, "{name}");
        }
    }
}

#[test]
fn a_melody_without_notes_has_no_system_and_strange_data_draws_nothing() {
    let (melody, _) = every_case();
    let strange = Heard {
        notes: vec![
            right(99),
            HeardNote { onset_error_beats: Some(f64::NAN), cents: Some(f64::INFINITY), ..right(0) },
        ],
        rests: vec![HeardRest { event: 0, played_beats: Some(f64::NAN), label: None }],
        extras: vec![
            HeardExtra { after: Some(99), beats_after: 0.0, sounding: 60.0, label: None },
            HeardExtra { after: Some(1), beats_after: f64::NAN, sounding: f64::NAN, label: None },
        ],
        returns: vec![HeardReturn { after: 99, to: 0, label: None }],
        words: HeardWords::default(),
    };
    let systems = systems_from_heard(&melody, &strange, 178.0, f64::NAN);
    assert_eq!((count(&systems, What::HeardHead), count(&systems, What::ExtraHead)), (1, 0));
    assert_eq!((count(&systems, What::ReturnLine), count(&systems, What::Cents)), (0, 0));
}

/// For each event: a state, an error, a ratio, cents, a label; what follows: an extra, a return.
type Played = (u8, f64, f64, f64, u8, u8, f64);

fn heard_from(melody: &Melody, played: &[Played]) -> Heard {
    let label = |which: u8| {
        ["", "high", "a little low", "short"].get(usize::from(which)).map(|word| (*word).to_owned())
    };
    let mut heard = Heard::default();
    let events = melody.bars().iter().flat_map(|bar| &bar.items).fold(Vec::new(), |mut events, item| {
        match events.last() {
            Some(&(pitch, true)) if pitch == item.pitch => events.pop(),
            _ => None,
        };
        events.push((item.pitch, item.tied));
        events
    });
    for (event, (&(pitch, _), &(state, error, ratio, cents, word, more, place))) in
        events.iter().zip(played.iter().cycle()).enumerate()
    {
        match pitch {
            None => heard.rests.push(HeardRest {
                event,
                played_beats: (state != 3).then_some(ratio),
                label: label(word),
            }),
            Some(pitch) => heard.notes.push(HeardNote {
                event,
                state: match state {
                    0 | 1 => HeardState::Right,
                    2 => HeardState::Other { sounding: f64::from(pitch.midi()) + cents / 4.0 },
                    3 => HeardState::Unsure,
                    _ => HeardState::Missing,
                },
                onset_error_beats: Some(error),
                duration_ratio: (state != 4).then_some(ratio),
                cents: Some(cents),
                label: label(word),
            }),
        }
        for extra in 0..more.saturating_sub(5) {
            heard.extras.push(HeardExtra {
                after: (event > 0 || extra > 0).then_some(event),
                beats_after: place + f64::from(extra),
                sounding: 60.0 + cents / 3.0,
                label: label(word),
            });
        }
        if more == 5 && event % 5 == 0 {
            heard.returns.push(HeardReturn {
                after: event,
                to: event / 2,
                label: Some("stopped here, went back".to_owned()),
            });
        }
    }
    heard
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_was_heard_of_whatever_melody_is_drawn_once_and_nothing_collides(
        piece in pieces(),
        played in prop::collection::vec((0u8..5, -0.6f64..0.6, 0.0f64..2.2, -60.0f64..60.0, 0u8..4, 0u8..8, 0.0f64..2.0), 1..40),
        wide in any::<bool>(),
    ) {
        let melody = random_melody(&piece);
        let heard = heard_from(&melody, &played);
        let (width, staff) = WIDTHS[usize::from(!wide)];
        let systems = systems_from_heard(&melody, &heard, width, staff);
        for system in &systems.systems {
            prop_assert_eq!(collision(system), None);
            prop_assert_eq!(over_the_edge(system), None);
        }
        let of = |wanted: fn(&HeardState) -> bool| heard.notes.iter().filter(|note| wanted(&note.state)).count();
        prop_assert_eq!(count(&systems, What::HeardHead), of(|state| matches!(state, HeardState::Right | HeardState::Other { .. })));
        prop_assert_eq!(count(&systems, What::HeardBox), of(|state| matches!(state, HeardState::Other { .. })));
        prop_assert_eq!(count(&systems, What::UnsureHead), of(|state| *state == HeardState::Unsure));
        prop_assert_eq!(count(&systems, What::MissingRoom), of(|state| *state == HeardState::Missing));
        prop_assert_eq!(count(&systems, What::ExtraHead), heard.extras.len());
        let words = systems.systems.iter().flat_map(System::marks).filter(|mark| mark.what == What::ReturnWords).count();
        prop_assert!(words >= heard.returns.len());
    }
}

/// Sixteenths with long labels, six eighths, the clefs of the set: pictures, and nothing collides at either width.
#[test]
fn dense_music_with_long_labels_is_drawn_at_both_widths() {
    let played: Vec<Played> = (0..23u8)
        .map(|at| {
            let spread = f64::from(at * 7 % 23) / 23.0;
            (
                at % 11 / 2,
                (spread - 0.5) * 0.7,
                0.5 + spread,
                (spread - 0.5) * 70.0,
                at % 4,
                if at % 9 == 4 { 6 } else { at % 6 },
                spread,
            )
        })
        .collect();
    for name in
        ["02-ledger-lines", "05-sixteenths", "07-six-eight", "12-triplets-and-changes", "13-sixty-four-bars"]
    {
        let melody = melody(name);
        let heard = heard_from(&melody, &played);
        for (width, staff) in WIDTHS {
            checked(&systems_from_heard(&melody, &heard, width, staff), name);
        }
        picture(name, &melody, &heard);
    }
}

/// Pictures for eyes: `target/heard-*.png`, written by `cargo test --test engraving heard`.
pub fn picture(name: &str, melody: &Melody, heard: &Heard) {
    for (width, staff) in WIDTHS {
        let systems = systems_from_heard(melody, heard, width, staff);
        let told = |_| None;
        let mut body = String::new();
        let mut y = 2.0;
        for system in &systems.systems {
            let svg = svg_from_system(system, &SystemSvg { prefix: "p-", label: name, told: &told });
            let svg = svg.replacen("<svg ", &format!("<svg x=\"2mm\" y=\"{y}mm\" "), 1);
            body.push_str(&svg);
            y += system.height * system.space_mm + 4.0;
        }
        let definitions = glyph_definitions(&systems.systems, "p-");
        let whole = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}mm\" height=\"{y}mm\"><rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>{definitions}{body}</svg>",
            width + 4.0
        );
        let mut options = resvg::usvg::Options { dpi: 96.0, ..Default::default() };
        let font = std::fs::read(
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/engrave/fonts/fingertape-letters.ttf"),
        )
        .expect("the font");
        options.fontdb_mut().load_font_data(font);
        let tree = resvg::usvg::Tree::from_str(&whole, &options).expect("an SVG");
        let zoom = if width > 100.0 { 1.6 } else { 2.0 };
        let size = tree.size();
        let mut pixels =
            resvg::tiny_skia::Pixmap::new((size.width() * zoom) as u32, (size.height() * zoom) as u32)
                .expect("a picture");
        resvg::render(&tree, resvg::tiny_skia::Transform::from_scale(zoom, zoom), &mut pixels.as_mut());
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("target");
        let path = folder.join(format!("heard-{name}-{width:.0}.png"));
        std::fs::write(path, pixels.encode_png().expect("a PNG")).expect("a file");
    }
}

#[test]
fn the_pictures_of_every_case_are_written_and_not_empty() {
    let (melody, heard) = every_case();
    picture("every-case", &melody, &heard);
    for (width, _) in WIDTHS {
        let path = format!("{}/target/heard-every-case-{width:.0}.png", env!("CARGO_MANIFEST_DIR"));
        assert!(std::fs::metadata(path).expect("a picture").len() > 5_000);
    }
}
