//! A melody on paper: bars become symbols, symbols lines, lines pages, and a page SVG, PDF or PNG. One staff, one
//! voice; treble, alto, tenor and bass clef. Lengths on a page are staff spaces (the distance of two staff lines), y
//! downward, as SMuFL 1.4 counts them. Nothing in here can fail, and nothing touches files or the clock: what could
//! not be drawn as it was written is a remark.

mod accidentals;
mod beams;
mod bravura_outlines;
mod columns_from_bar;
mod drawing;
mod drawing_from_heard;
mod drawing_from_line;
mod drawn_from_heard;
mod drawn_tree;
mod glyph;
mod heading;
mod heard;
mod letters;
mod lines_from_bars;
mod page;
mod pages_from_blocks;
mod pages_from_lines;
mod pages_from_melody;
mod pages_from_songs;
mod pages_from_worksheet;
mod pdf_from_pages;
mod png_from_page;
mod return_marks;
mod seats;
mod signatures;
mod svg_from_page;
mod svg_from_system;
mod symbols_from_bars;
mod system;
mod systems_from_heard;
mod ties;
mod tuplets;

pub use drawing::{Anchor, Mark, Shape, What};
pub use glyph::{ClefSign, Glyph, Outline};
pub use heard::{
    HEARD_AS_ON_TIME_BEATS, Heard, HeardExtra, HeardNote, HeardRest, HeardReturn, HeardState, HeardWords,
};
pub use letters::{printable, width as width_of_words};
pub use page::{
    Engraved, Page, Paper, PlacedFigure, STAFF_FOR_ADULTS_MM, STAFF_FOR_CHILDREN_MM, SheetSettings,
};
pub use pages_from_blocks::{Block, pages_from_blocks};
pub use pages_from_melody::pages_from_melody;
pub use pages_from_songs::{Song, pages_from_songs};
pub use pages_from_worksheet::{Choice, Given, Worksheet, WorksheetBar, pages_from_worksheet};
pub use pdf_from_pages::pdf_from_pages;
pub use png_from_page::png_from_page;
pub use svg_from_page::svg_from_page;
pub use svg_from_system::{SystemSvg, Told, glyph_definitions, letters_font_face, svg_from_system};
pub use system::{Belongs, Group, System, Systems};
pub use systems_from_heard::systems_from_heard;
