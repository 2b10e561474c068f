//! What is in the files: words that can be found, a font that is embedded, the same bytes every time.

use crate::{engraved, melody, names, settings_with_all};
use fingertape::engrave::{
    Paper, SheetSettings, pages_from_melody, pdf_from_pages, png_from_page, svg_from_page,
};
use pdf_extract::{Document, Object, extract_text_from_mem};

#[test]
fn the_words_of_a_pdf_can_be_found_and_its_font_is_embedded() {
    let engraved = pages_from_melody(&melody("01-plain"), &settings_with_all());
    let pdf = pdf_from_pages(&engraved.pages, "Lanterns on the Canal");
    let text = extract_text_from_mem(&pdf).expect("a PDF");
    let packed: String = text.split_whitespace().collect();
    for words in ["LanternsontheCanal", "viola-2", "Viola", "=88", "finger", "string", "F♯"] {
        assert!(packed.contains(words), "{words} is not in: {text}");
    }
    let document = Document::load_mem(&pdf).expect("a PDF");
    let mut named = Vec::new();
    let mut files = 0;
    for object in document.objects.values() {
        let Ok(dictionary) = object.as_dict() else { continue };
        if let Ok(Object::Name(name)) = dictionary.get(b"FontName") {
            named.push(String::from_utf8_lossy(name).into_owned());
            files += usize::from(dictionary.has(b"FontFile2") || dictionary.has(b"FontFile3"));
        }
    }
    assert!(!named.is_empty() && named.iter().all(|name| name.ends_with("FingertapeLetters")), "{named:?}");
    assert_eq!(files, named.len(), "each font brings its file");
}

#[test]
fn every_page_of_a_pdf_has_the_size_of_its_paper() {
    for (paper, width, height) in [(Paper::Letter, 612.0, 792.0), (Paper::A4, 595.276, 841.89)] {
        let settings = SheetSettings { paper, ..SheetSettings::default() };
        let engraved = pages_from_melody(&melody("13-sixty-four-bars"), &settings);
        let pdf = pdf_from_pages(&engraved.pages, "Round and Round the Town");
        let document = Document::load_mem(&pdf).expect("a PDF");
        let pages = document.get_pages();
        assert_eq!(pages.len(), engraved.pages.len());
        for &page in pages.values() {
            let page = document.get_dictionary(page).expect("a page");
            let media = page.get(b"MediaBox").and_then(Object::as_array).expect("its box");
            let size: Vec<f32> = media.iter().map(|number| number.as_float().expect("a number")).collect();
            assert!((size[2] - width).abs() < 0.01 && (size[3] - height).abs() < 0.01, "{size:?}");
        }
    }
}

#[test]
fn the_same_melody_gives_the_same_bytes() {
    for name in ["01-plain", "13-sixty-four-bars"] {
        let (one, two) = (engraved(name), engraved(name));
        assert_eq!(svg_from_page(&one.pages[0]), svg_from_page(&two.pages[0]));
        assert_eq!(pdf_from_pages(&one.pages, name), pdf_from_pages(&two.pages, name));
        assert_eq!(png_from_page(&one.pages[0], 60.0), png_from_page(&two.pages[0], 60.0));
    }
}

#[test]
fn every_svg_is_well_formed_and_uses_only_glyphs_that_it_defines() {
    for name in names() {
        for page in &engraved(&name).pages {
            let svg = svg_from_page(page);
            let tree = roxmltree::Document::parse(&svg).unwrap_or_else(|error| panic!("{name}: {error}"));
            let ids: Vec<&str> = tree.descendants().filter_map(|node| node.attribute("id")).collect();
            for node in tree.descendants().filter(|node| node.has_tag_name("use")) {
                let target = node.attribute(("http://www.w3.org/1999/xlink", "href")).expect("a target");
                assert!(ids.contains(&target.trim_start_matches('#')), "{name}: {target}");
            }
            assert!(svg.contains("@font-face") && svg.contains("role=\"img\""), "{name}");
            assert!(tree.descendants().any(|node| node.has_tag_name("title")), "{name}");
        }
    }
}

/// Signature, width and height: PNG specification (ISO/IEC 15948), 5.2 and 11.2.2.
#[test]
fn a_png_has_the_pixels_that_were_asked_for_and_staff_lines_in_it() {
    let engraved = engraved("10-one-bar");
    let png = png_from_page(&engraved.pages[0], 100.0);
    assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n");
    let number = |at: usize| u32::from_be_bytes([png[at], png[at + 1], png[at + 2], png[at + 3]]);
    assert_eq!((number(16), number(20)), (850, 1100));
    let picture = resvg::tiny_skia::Pixmap::decode_png(&png).expect("a PNG");
    // Down through the staff right of the clef: five dark lines, once lost by a renderer's hairline rule.
    let page = &engraved.pages[0];
    let staff =
        page.marks.iter().find(|mark| mark.what == fingertape::engrave::What::StaffLine).expect("a staff");
    let pixel = page.space_mm / 25.4 * 100.0;
    let (x, top) = ((staff.bounds()[0] + 4.0) * pixel, staff.bounds()[1] * pixel);
    let dark = |y: u32| picture.pixel(x as u32, y).is_some_and(|pixel| pixel.red() < 170);
    let from = top as u32 - 3;
    let lines = (from..from + (4.0 * pixel) as u32 + 8).filter(|&y| dark(y) && !dark(y - 1)).count();
    assert_eq!(lines, 5);
}
