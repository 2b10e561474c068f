//! A teacher's table as figures for paper: words at the left, numbers under each other, so many rows to a figure that it
//! fits on a page.

use super::content::Room;
use super::svg::{Align, Elements, Figure};
use crate::report::TeacherTable;

/// Rows of one figure.
const ROWS: usize = 36;
const SIZE: f64 = 9.0;
const STEP: f64 = 13.0;
/// A letter of the print is about so many times as wide as high (measured on the words of our tables).
const LETTER: f64 = 0.56;

/// The table, in parts that each have the headings.
pub(super) fn figures(table: &TeacherTable) -> Vec<Figure> {
    let widths = widths(table);
    let all: f64 = widths.iter().sum();
    let width = Room::Wide.width().max(all);
    table.rows.chunks(ROWS).map(|rows| part(table, rows, &widths, width)).collect()
}

/// The width of each column: the longest word of a heading, or the longest cell.
fn widths(table: &TeacherTable) -> Vec<f64> {
    let column = |k: usize, header: &&str| {
        let words = header.split_whitespace().map(|word| word.chars().count());
        let cells = table.rows.iter().filter_map(|row| row.get(k)).map(|cell| cell.chars().count());
        words.chain(cells).max().unwrap_or(1) as f64 * SIZE * LETTER + SIZE
    };
    table.headers.iter().enumerate().map(|(k, header)| column(k, header)).collect()
}

fn part(table: &TeacherTable, rows: &[Vec<String>], widths: &[f64], width: f64) -> Figure {
    let mut out = Elements::default();
    let lines = table.headers.iter().map(|header| header.split_whitespace().count()).max().unwrap_or(1);
    let top = lines as f64 * (SIZE + 1.0) + 3.0;
    let mut x = 0.0;
    for (k, column) in widths.iter().enumerate() {
        let (at, align) = if k < table.words { (x, Align::Start) } else { (x + column - SIZE, Align::End) };
        let words: Vec<&str> =
            table.headers.get(k).map_or_else(Vec::new, |text| text.split_whitespace().collect());
        for (line, word) in words.iter().enumerate() {
            let y = top - 4.0 - (words.len() - 1 - line) as f64 * (SIZE + 1.0);
            out.text("small", (at, y), SIZE, align, word);
        }
        for (row, cells) in rows.iter().enumerate() {
            let y = top + (row as f64 + 1.0) * STEP - 3.0;
            out.text("words", (at, y), SIZE, align, cells.get(k).map_or("", String::as_str));
        }
        x += column;
    }
    for row in 0..=rows.len() {
        let y = top + row as f64 * STEP;
        out.line("hair", (0.0, y), (x, y));
    }
    out.figure(width, top + rows.len() as f64 * STEP + 2.0, table.heading.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_tables_are_cut_and_every_cell_is_printed_once() {
        let rows: Vec<Vec<String>> =
            (0..80).map(|row| vec![format!("bar-{row}"), format!("n{row}.5")]).collect();
        let table =
            TeacherTable { heading: "notes", headers: &["place", "cents (100 a semitone)"], words: 1, rows };
        let parts = figures(&table);
        assert_eq!(parts.len(), 3);
        let all: String = parts.iter().map(|part| part.elements.as_str()).collect();
        for row in 0..80 {
            assert_eq!(all.matches(&format!(">bar-{row}<")).count(), 1);
            assert_eq!(all.matches(&format!(">n{row}.5<")).count(), 1);
        }
        assert_eq!(all.matches(">semitone)<").count(), 3, "the headings stand over each part");
    }
}
