//! Pages become one PDF file, their words as text in an embedded subset of our font. No date and no random number is in
//! it: the same pages are the same bytes.

use super::drawn_tree::drawn_tree;
use super::page::Page;
use super::svg_from_page::POINTS_PER_MM;
use crate::formats::is_unseen;
use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, TextStr};
use std::collections::BTreeMap;
use svg2pdf::ConversionOptions;

/// The PDF file of pages, each with its own paper. No page at all makes a document with one empty page.
pub fn pdf_from_pages(pages: &[Page], title: &str) -> Vec<u8> {
    let mut next = Ref::new(1);
    let catalog = next.bump();
    let tree = next.bump();
    let info = next.bump();
    let page_refs: Vec<Ref> = pages.iter().map(|_| next.bump()).collect();
    let mut pdf = Pdf::new();
    for (page, &reference) in pages.iter().zip(&page_refs) {
        write_page(&mut pdf, page, reference, tree, &mut next);
    }
    let mut kids = page_refs;
    if kids.is_empty() {
        let empty = next.bump();
        pdf.page(empty).parent(tree).media_box(Rect::new(0.0, 0.0, 612.0, 792.0)).finish();
        kids.push(empty);
    }
    pdf.pages(tree).count(i32::try_from(kids.len()).unwrap_or(i32::MAX)).kids(kids);
    let mut root = pdf.catalog(catalog);
    root.pages(tree);
    root.lang(TextStr("en"));
    root.finish();
    let title: String = title.chars().filter(|letter| !(letter.is_control() || is_unseen(*letter))).collect();
    pdf.document_info(info).title(TextStr(&title)).creator(TextStr("fingertape"));
    pdf.finish()
}

fn write_page(pdf: &mut Pdf, page: &Page, reference: Ref, parent: Ref, next: &mut Ref) {
    let options = ConversionOptions::default();
    let (chunk, drawing) =
        svg2pdf::to_chunk(&drawn_tree(page), options).expect("a drawing of paths and words can be a PDF");
    let mut numbers: BTreeMap<i32, Ref> = BTreeMap::new();
    let chunk = chunk.renumber(|old| *numbers.entry(old.get()).or_insert_with(|| next.bump()));
    let drawing = numbers.get(&drawing.get()).copied().unwrap_or(drawing);
    let content = next.bump();
    let (width, height) = page.paper.millimetres();
    let (width, height) = ((width * POINTS_PER_MM) as f32, (height * POINTS_PER_MM) as f32);
    let name = Name(b"Sheet");
    let mut written = pdf.page(reference);
    written.media_box(Rect::new(0.0, 0.0, width, height)).parent(parent).contents(content);
    let mut resources = written.resources();
    resources.x_objects().pair(name, drawing);
    resources.finish();
    written.finish();
    let mut stream = Content::new();
    // The drawing is one unit wide and high.
    stream.transform([width, 0.0, 0.0, height, 0.0, 0.0]).x_object(name);
    pdf.stream(content, &stream.finish());
    pdf.extend(&chunk);
}
