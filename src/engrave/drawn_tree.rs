//! A page as the tree that both PDF and PNG are made from: its SVG, read with our own font and no other.

use super::letters;
use super::page::Page;
use super::svg_from_page::svg;
use resvg::usvg::{Options, Tree, fontdb::Database};
use std::sync::{Arc, LazyLock};

static FONTS: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut fonts = Database::new();
    fonts.load_font_data(letters::FONT.to_vec());
    // Without these a generic family would be looked for on the system, and words would be lost without a word.
    fonts.set_serif_family(letters::FAMILY);
    fonts.set_sans_serif_family(letters::FAMILY);
    fonts.set_cursive_family(letters::FAMILY);
    fonts.set_fantasy_family(letters::FAMILY);
    fonts.set_monospace_family(letters::FAMILY);
    Arc::new(fonts)
});

/// The tree of a page.
pub(super) fn drawn_tree(page: &Page) -> Tree {
    let options = Options {
        font_family: letters::FAMILY.to_owned(),
        fontdb: FONTS.clone(),
        dpi: 72.0,
        ..Options::default()
    };
    Tree::from_str(&svg(page, false), &options).expect("the SVG that we write is SVG")
}

/// Whether elements can stand in our SVG: well-formed, and complete in themselves.
pub(super) fn is_svg(elements: &str) -> bool {
    let whole =
        format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"1\" height=\"1\">{elements}</svg>");
    let alone = resvg::usvg::roxmltree::Document::parse(&whole)
        .is_ok_and(|document| document.root_element().next_sibling().is_none());
    alone && Tree::from_str(&whole, &Options::default()).is_ok()
}
