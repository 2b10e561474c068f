//! Whole pages: structure, hostile words, contrast, the same bytes.

use super::policy::{SCRIPT, STYLE};
use super::*;
use crate::engrave::Paper;
use crate::findings::{NoteVerdict, Outcome, Report, RestVerdict, StringTuning};
use crate::formats::read_melody_bytes;
use crate::notation::Melody;
use crate::pipeline::{JudgeSettings, judge_listening, listen};
use crate::pitch::F0;
use crate::samples::Samples;
use std::collections::{BTreeMap, BTreeSet};

struct Heard {
    report: Report,
    melody: Melody,
    f0: F0,
    samples: Samples,
}

/// The demo's take, judged.
fn demo() -> Heard {
    let melody = include_bytes!("../../demo-data/melody.toml");
    let take = include_bytes!("../../demo-data/take.flac");
    let melody = read_melody_bytes("melody.toml", melody).expect("a melody").melody;
    let samples = crate::decode::read_take_bytes("take.flac", take.to_vec()).expect("a take").samples;
    let settings = JudgeSettings::for_melody(&melody, melody.instrument.expect("a viola"));
    let listening = listen(&samples, melody.instrument);
    let report = judge_listening(&samples, &listening, &melody, &settings);
    Heard { report, melody, f0: listening.contour.f0(), samples }
}

impl Heard {
    fn page(&self, settings: &PageSettings) -> String {
        self.page_after(&[], settings)
    }

    fn page_after(&self, earlier: &[(u32, Report)], settings: &PageSettings) -> String {
        let Self { report, melody, f0, samples } = self;
        let (f0, samples) = (Some(f0), Some(samples));
        html(
            &PageContent { report, melody, f0, samples, number: Some(3), earlier, playing_test: None },
            settings,
        )
    }
}

/// The page as XML: without its style and scripts, void elements closed.
fn as_xml(page: &str) -> String {
    let mut rest = page.strip_prefix("<!DOCTYPE html>").expect("a doctype");
    let mut out = String::new();
    while let Some(at) = ["<style", "<script", "<meta"].iter().filter_map(|tag| rest.find(tag)).min() {
        out.push_str(&rest[..at]);
        let end = if rest[at..].starts_with("<style") {
            rest[at..].find("</style>").map(|end| end + 8)
        } else if rest[at..].starts_with("<script") {
            rest[at..].find("</script>").map(|end| end + 9)
        } else {
            rest[at..].find('>').map(|end| end + 1)
        };
        rest = &rest[at + end.expect("an end")..];
    }
    out.push_str(rest);
    out
}

fn classes_of(document: &roxmltree::Document<'_>) -> BTreeSet<String> {
    // What stands inside the staves is the engraver's.
    let ours = |node: &roxmltree::Node<'_, '_>| {
        let staves = |class: &str| class.ends_with("staves") || class == "glyphs";
        !node.ancestors().skip(1).any(|above| above.attribute("class").is_some_and(staves))
    };
    let classes = document.descendants().filter(ours).filter_map(|node| node.attribute("class"));
    classes.flat_map(str::split_whitespace).map(str::to_owned).collect()
}

#[test]
fn the_page_is_well_formed_and_complete() {
    let heard = demo();
    let mut before = heard.report.clone();
    before.notes[0].verdict = NoteVerdict::Missing;
    let page = heard.page_after(&[(1, before)], &PageSettings { detail: true, ..PageSettings::default() });
    let xml = as_xml(&page);
    let document = roxmltree::Document::parse(&xml).expect("well-formed");
    let named = |name: &str| document.descendants().filter(|node| node.has_tag_name(name)).count();
    assert_eq!(named("h1"), 1);
    let levels: Vec<u32> = document
        .descendants()
        .filter_map(|node| node.tag_name().name().strip_prefix('h')?.parse().ok())
        .collect();
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    let ids: Vec<&str> = document.descendants().filter_map(|node| node.attribute("id")).collect();
    assert_eq!(ids.len(), ids.iter().collect::<BTreeSet<_>>().len(), "{ids:?}");
    for table in document.descendants().filter(|node| node.has_tag_name("table")) {
        assert!(table.children().any(|node| node.has_tag_name("caption")));
        let mut heads = table.descendants().filter(|node| node.has_tag_name("th"));
        assert!(heads.all(|head| head.attribute("scope").is_some()));
    }
    let svg = "http://www.w3.org/2000/svg";
    let mut figures = document.descendants().filter(|node| node.has_tag_name((svg, "svg")));
    assert!(figures.all(|figure| figure.has_attribute("aria-label") || figure.has_attribute("aria-hidden")));
    let mut everything = document.descendants().flat_map(|node| node.attributes());
    assert!(everything.all(|attribute| attribute.name() != "style" && !attribute.name().starts_with("on")));
    assert!(page.contains("Since take 1, bar 1 has got better."));
}

#[test]
fn every_note_is_a_button_with_its_words_its_moment_and_its_pitch() {
    let heard = demo();
    let xml = as_xml(&heard.page(&PageSettings::default()));
    let document = roxmltree::Document::parse(&xml).expect("well-formed");
    let notes: Vec<_> = document.descendants().filter(|node| node.has_tag_name("button")).collect();
    assert_eq!(notes.len(), heard.report.notes.len());
    let number = |node: &roxmltree::Node<'_, '_>, name: &str| -> f64 {
        node.attribute(name).and_then(|value| value.parse().ok()).expect("a number")
    };
    for (node, note) in notes.iter().zip(&heard.report.notes) {
        let (from, to) = (number(node, "data-from"), number(node, "data-to"));
        let played = note.offset_s.expect("heard") - note.onset_s.expect("heard");
        assert!((to - from - played).abs() < 0.2, "the span is the note's: {from} to {to} for {played}");
    }
    for event in heard.report.notes.iter().map(|note| note.index.to_string()) {
        let on_staves = document
            .descendants()
            .filter(|node| node.tag_name().name() == "g" && node.attribute("data-note") == Some(&event));
        let mut found = 0;
        for group in on_staves {
            assert_eq!((group.attribute("role"), group.attribute("tabindex")), (Some("button"), Some("0")));
            assert!(group.attribute("aria-label").is_some());
            found += 1;
        }
        assert!(found >= 2, "event {event} stands on both widths' staves");
    }
    // F sharp 4 at A = 440: 369.994 Hz.
    assert!((number(&notes[6], "data-hertz") - 369.994).abs() < 0.001);
    assert_eq!(notes[6].attribute("aria-label"), Some("Bar 2, beat 3, F sharp, you played F natural"));
}

#[test]
fn hostile_words_stay_words() {
    let mut heard = demo();
    let hostile =
        "</title></script><script>alert(1)</script><img src=x onerror=\"alert(2)\">&amp;'\u{0}\u{202e}";
    heard.report.melody.title = hostile.to_owned();
    heard.report.notes[0].written = hostile.to_owned();
    heard.report.tuning.strings = vec![StringTuning { string: hostile.to_owned(), cents: -30.0, notes: 1 }];
    heard.report.take.remarks = vec![crate::remark::Remark::new(hostile, hostile)];
    for detail in [false, true] {
        let page = heard.page(&PageSettings { detail, ..PageSettings::default() });
        assert!(!page.contains("<img") && !page.contains("<script>alert"), "escaped");
        roxmltree::Document::parse(&as_xml(&page)).expect("well-formed");
    }
}

#[test]
fn nothing_is_fetched_and_no_address_is_named() {
    let page = demo().page(&PageSettings { detail: true, ..PageSettings::default() });
    let left = page.replace("http://www.w3.org/2000/svg", "");
    let left = left.replace(" href=\"#", "").replace("url(data:font", "");
    for word in ["http:", "https:", "src=", "href=", "url(", "@import"] {
        assert!(!left.contains(word), "{word}");
    }
    assert!(
        page.contains(&format!("<style>{}</style>", *STYLE))
            && page.contains(&format!("<script>{SCRIPT}</script>"))
    );
    assert!(page.contains("default-src &#39;none&#39;") || page.contains("default-src 'none'"));
}

#[test]
fn sound_can_be_left_out_and_without_it_there_is_no_moment() {
    let heard = demo();
    let with = heard.page(&PageSettings::default());
    let without = heard.page(&PageSettings { sound: false, ..PageSettings::default() });
    assert!(with.contains("id=\"take-sound\"") && !without.contains("id=\"take-sound\""));
    assert!(!without.contains("data-from=") && without.contains("data-hertz="));
    assert!(without.len() < 400_000, "{}", without.len());
    // 23 s of sound: with a minute of it a page stays below 1.5 MB.
    let sound = with.len() - without.len();
    assert!(sound < 1_100_000 * 23 / 60, "{sound}");
}

#[test]
fn the_same_take_gives_the_same_bytes() {
    let heard = demo();
    assert!(heard.page(&PageSettings::default()) == heard.page(&PageSettings::default()));
}

#[test]
fn a_refused_take_gets_a_short_page_that_says_what_to_do() {
    let mut heard = demo();
    for outcome in [Outcome::Silence, Outcome::TooQuiet, Outcome::TooNoisy, Outcome::NotThisMelody] {
        heard.report.outcome = outcome;
        let page = heard.page(&PageSettings::default());
        assert!(page.contains("Not judged") && page.contains("Nothing was graded") && !page.contains("<svg"));
    }
}

#[test]
fn numbers_that_should_never_come_make_no_broken_page() {
    let mut heard = demo();
    for (k, note) in heard.report.notes.iter_mut().enumerate() {
        let odd = [f64::NAN, f64::INFINITY, -1e300, 1e300][k % 4];
        (note.cents, note.played_midi, note.onset_error_beats) = (Some(odd), Some(odd), Some(odd));
        note.beat = odd;
        if k % 2 == 0 {
            (note.onset_s, note.offset_s, note.verdict) = (Some(odd), Some(odd), NoteVerdict::Wrong);
        }
    }
    heard.report.rests[0].verdict = RestVerdict::Filled;
    heard.report.tuning.offset_cents = Some(f64::NAN);
    heard.report.tempo.played_bpm = Some(f64::NAN);
    let page = heard.page(&PageSettings { detail: true, ..PageSettings::default() });
    roxmltree::Document::parse(&as_xml(&page)).expect("well-formed");
    heard.report.notes.clear();
    heard.page(&PageSettings::default());
}

#[test]
fn every_class_of_a_page_is_in_the_style_sheet() {
    let heard = demo();
    let xml =
        as_xml(&heard.page_after(
            &[(1, heard.report.clone())],
            &PageSettings { detail: true, ..PageSettings::default() },
        ));
    let document = roxmltree::Document::parse(&xml).expect("well-formed");
    let plain = ["words", "word", "more", "figure", "keep", "detail"];
    for class in classes_of(&document) {
        assert!(STYLE.contains(&format!(".{class}")) || plain.contains(&class.as_str()), "{class}");
    }
}

/// The variables of each `:root` of the style sheet: light, dark, print.
fn themes() -> Vec<BTreeMap<String, [f64; 3]>> {
    let blocks = STYLE.split(":root {").skip(1).map(|block| block.split('}').next().expect("an end"));
    let theme = |block: &str| {
        block
            .lines()
            .filter_map(|line| line.trim().strip_prefix("--")?.split_once(": #"))
            .map(|(name, hex)| {
                let part =
                    |at: usize| f64::from(u8::from_str_radix(&hex[at..at + 2], 16).expect("two hex digits"));
                (name.to_owned(), [part(0), part(2), part(4)])
            })
            .collect()
    };
    blocks.map(theme).collect()
}

/// WCAG 2.2, “relative luminance” and “contrast ratio”.
fn contrast(a: [f64; 3], b: [f64; 3]) -> f64 {
    let luminance = |colour: [f64; 3]| {
        let [r, g, b] = colour.map(|part| {
            let part = part / 255.0;
            if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn words_have_the_contrast_of_wcag_aa_and_marks_that_of_figures() {
    assert!((contrast([0.0; 3], [255.0; 3]) - 21.0).abs() < 1e-9);
    let themes = themes();
    assert_eq!(themes.len(), 3);
    for theme in themes {
        for word in ["ink", "soft", "accent"] {
            assert!(contrast(theme[word], theme["paper"]) >= 4.5, "{word} {theme:?}");
            assert!(contrast(theme[word], theme["band"]) >= 4.5, "{word} on a band {theme:?}");
        }
        // 1.4.11: 3 to 1 for what is needed to understand a figure.
        assert!(contrast(theme["edge"], theme["paper"]) >= 3.0, "{theme:?}");
    }
}

/// What a style sheet says on the screen must be said by attributes on paper.
#[test]
fn on_paper_nothing_waits_for_a_style_sheet_and_the_demo_takes_two_pages() {
    let heard = demo();
    let Heard { report, melody, f0, samples } = &heard;
    let content = PageContent {
        report,
        melody,
        f0: Some(f0),
        samples: Some(samples),
        number: None,
        earlier: &[],
        playing_test: None,
    };
    for paper in [Paper::Letter, Paper::A4] {
        for detail in [false, true] {
            let drawn =
                pages_from_report(&content, &PageSettings { detail, ..PageSettings::default() }, paper);
            assert_eq!(drawn.remarks, []);
            let figures: Vec<_> = drawn.pages.iter().flat_map(|page| &page.figures).collect();
            assert!(figures.len() >= 4, "{}", figures.len());
            for figure in figures {
                let class =
                    figure.svg.find("class=").map(|at| figure.svg[at..].chars().take(30).collect::<String>());
                assert_eq!(class, None);
            }
            assert!(detail || drawn.pages.len() == 2, "{paper:?}: {} pages", drawn.pages.len());
        }
    }
}
