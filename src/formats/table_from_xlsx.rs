//! The first sheet with anything in it of an XLSX spreadsheet becomes rows (ECMA-376, Office Open XML:
//! SpreadsheetML in a zip archive). What the archive holds is counted before anything is made of it, since a
//! small file can unpack to more than any memory.

use super::error::{Fault, FormatErrorKind};
use super::table_from_file::{COLUMNS, ROWS, TableRow};
use crate::contained::contained;
use crate::remark::Remark;
use calamine::{DataRef, Reader, Xlsx};
use std::collections::BTreeMap;
use std::io::{Cursor, Read};

/// All files of the archive together are at most this many bytes, unpacked: 64 MiB.
const MOST_UNPACKED: u64 = 64 << 20;
/// The text of all cells is at most this many bytes: 16 MiB. Cells may share a text, so that a table can hold
/// much more of it than its file.
const MOST_TEXT: usize = 16 << 20;

/// The rows by their numbers, and what a reader should know.
pub(super) fn rows_from_xlsx(bytes: &[u8]) -> Result<(Vec<TableRow>, Vec<Remark>), Fault> {
    check_archive(bytes)?;
    // A spreadsheet that makes the reader of spreadsheets panic is a broken one.
    contained(|| rows_from_book(bytes)).unwrap_or_else(|| Err(broken("it makes no sense")))
}

fn broken(why: impl std::fmt::Display) -> Fault {
    let message = format!("this is not a spreadsheet that can be read: {why}");
    Fault::new(FormatErrorKind::Syntax, message, "Save it as XLSX or as CSV in your spreadsheet program.")
}

fn too_big() -> Fault {
    let message = "unpacked, the spreadsheet is larger than a class list can be";
    let help = "Is this the right file? Copy the class list into a spreadsheet of its own.";
    Fault::new(FormatErrorKind::TooBig, message, help)
}

/// Unpacks every file of the archive once, to count its bytes; looks at what the list of shared texts says
/// about its length, because room for as many is made before the first is read.
fn check_archive(bytes: &[u8]) -> Result<(), Fault> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(broken)?;
    let mut left = MOST_UNPACKED;
    for at in 0..archive.len() {
        // What cannot be unpacked is for the reader to complain about, should it need it.
        let Ok(file) = archive.by_index(at) else { continue };
        let shared = file.name().is_ok_and(|name| name.to_lowercase().ends_with("sharedstrings.xml"));
        let mut unpacked = Vec::new();
        let mut file = file.take(left + 1);
        let count = if shared {
            let _ = file.read_to_end(&mut unpacked);
            unpacked.len() as u64
        } else {
            counted(&mut file)
        };
        left = left.checked_sub(count).ok_or_else(too_big)?;
        if said_texts(&unpacked) > unpacked.len() {
            return Err(broken("its list of texts says that it is longer than its file"));
        }
    }
    Ok(())
}

/// How many bytes can be read.
fn counted(file: &mut impl Read) -> u64 {
    let (mut buffer, mut count) = ([0; 1 << 14], 0);
    while let Ok(read @ 1..) = file.read(&mut buffer) {
        count += read as u64;
    }
    count
}

/// The largest number that the shared texts give as their count; with two bytes to a letter too.
fn said_texts(xml: &[u8]) -> usize {
    const COUNT: &[u8] = b"uniqueCount";
    let letters: Vec<u8> = xml.iter().copied().filter(|byte| *byte != 0).collect();
    let places = letters.windows(COUNT.len()).enumerate().filter(|(_, window)| *window == COUNT);
    let number = |(at, _): (usize, &[u8])| {
        let after =
            letters[at + COUNT.len()..].iter().skip_while(|byte| !byte.is_ascii_digit() && **byte != b'>');
        after
            .take_while(|byte| byte.is_ascii_digit())
            .fold(0usize, |number, digit| number.saturating_mul(10).saturating_add(usize::from(digit - b'0')))
    };
    places.map(number).max().unwrap_or(0)
}

fn rows_from_book(bytes: &[u8]) -> Result<(Vec<TableRow>, Vec<Remark>), Fault> {
    let mut book = Xlsx::new(Cursor::new(bytes)).map_err(broken)?;
    let sheets = book.sheet_names();
    let mut remarks = Vec::new();
    for sheet in &sheets {
        let mut rows: BTreeMap<usize, Vec<String>> = BTreeMap::new();
        let mut left = MOST_TEXT;
        let mut cells = book.worksheet_cells_reader(sheet).map_err(broken)?;
        while let Some(cell) = cells.next_cell().map_err(broken)? {
            let (row, column) = cell.get_position();
            let (row, column) = (row as usize, column as usize);
            if row >= ROWS || column >= COLUMNS {
                continue;
            }
            let text = text_of(cell.get_value());
            if text.is_empty() {
                continue;
            }
            left = left.checked_sub(text.len()).ok_or_else(too_big)?;
            let cells = rows.entry(row + 1).or_default();
            if cells.len() <= column {
                cells.resize(column + 1, String::new());
            }
            cells[column] = text;
        }
        if rows.is_empty() {
            continue;
        }
        if sheets.len() > 1 {
            let text = format!("Of {} sheets in the file, the one called “{sheet}” was read.", sheets.len());
            remarks.push(Remark::new("table-sheet", text));
        }
        let rows = rows.into_iter().map(|(number, cells)| TableRow { number, cells }).collect();
        return Ok((rows, remarks));
    }
    Ok((Vec::new(), remarks))
}

fn text_of(value: &DataRef<'_>) -> String {
    let text = match value {
        DataRef::Empty => String::new(),
        DataRef::Int(number) => number.to_string(),
        // A whole number is written without a point, as the spreadsheet shows it.
        DataRef::Float(number) => number.to_string(),
        DataRef::String(text) => text.trim().to_owned(),
        DataRef::SharedString(text) => text.trim().to_owned(),
        DataRef::Bool(yes) => yes.to_string(),
        other => calamine::Data::from(other.clone()).to_string(),
    };
    text.trim().to_owned()
}
