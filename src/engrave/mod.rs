//! A melody on paper: bars become symbols, symbols lines, lines pages, and a page SVG, PDF or PNG. One staff, one
//! voice; treble, alto, tenor and bass clef. Lengths on a page are staff spaces (the distance of two staff lines), y
//! downward, as SMuFL 1.4 counts them. Nothing in here can fail, and nothing touches files or the clock: what could
//! not be drawn as it was written is a remark.

mod accidentals;
mod beams;
mod bravura_outlines;
mod columns_from_bar;
mod drawing;
mod drawing_from_line;
mod drawn_tree;
mod glyph;
mod heading;
mod letters;
mod lines_from_bars;
mod page;
mod pages_from_lines;
mod pages_from_melody;
mod pages_from_songs;
mod pages_from_worksheet;
mod pdf_from_pages;
mod png_from_page;
mod signatures;
mod svg_from_page;
mod symbols_from_bars;
mod ties;
mod tuplets;

pub use drawing::{Anchor, Mark, Shape, What};
pub use glyph::{ClefSign, Glyph, Outline};
pub use letters::{printable, width as width_of_words};
pub use page::{Engraved, Page, Paper, STAFF_FOR_ADULTS_MM, STAFF_FOR_CHILDREN_MM, SheetSettings};
pub use pages_from_melody::pages_from_melody;
pub use pages_from_songs::{Song, pages_from_songs};
pub use pages_from_worksheet::{Choice, Given, Worksheet, WorksheetBar, pages_from_worksheet};
pub use pdf_from_pages::pdf_from_pages;
pub use png_from_page::png_from_page;
pub use svg_from_page::svg_from_page;
