//! A page becomes a PNG picture.

use super::drawn_tree::drawn_tree;
use super::page::Page;
use resvg::tiny_skia::{Pixmap, Transform};

/// The page as a PNG file with `dpi` pixels to the inch, from 20 to 600; values outside are taken as the nearest of
/// these. 150 is enough for a screen, 300 for a printer (common practice).
pub fn png_from_page(page: &Page, dpi: f64) -> Vec<u8> {
    let dpi = if dpi.is_finite() { dpi.clamp(20.0, 600.0) } else { 150.0 };
    let tree = drawn_tree(page);
    let scale = dpi as f32 / 72.0;
    let pixels = |points: f32| (points * scale).round().max(1.0) as u32;
    let mut picture = Pixmap::new(pixels(tree.size().width()), pixels(tree.size().height()))
        .expect("a page of paper has an area that memory can hold");
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut picture.as_mut());
    picture.encode_png().expect("a picture in memory can be encoded")
}
