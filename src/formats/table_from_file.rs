//! A class list becomes a table: CSV in the encodings that spreadsheets write, or XLSX.

use super::error::{Fault, FormatError, FormatErrorKind};
use super::table_from_xlsx::rows_from_xlsx;
use super::text_from_bytes::windows_1252;
use crate::remark::Remark;
use std::io::Read;
use std::path::Path;

/// Larger files are refused before they are read: 16 MiB.
const LARGEST: u64 = 16 << 20;
/// What lies beyond this row or column is not read.
pub(super) const ROWS: usize = 20_000;
pub(super) const COLUMNS: usize = 200;

/// A table as it stands in a file: its first row that is not empty, and the rows below it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Table {
    /// The names of the columns, without blanks around them.
    pub header: Vec<String>,
    /// The rows below, those without any text left out.
    pub rows: Vec<TableRow>,
    /// What a reader should know, such as `table-encoding`.
    pub remarks: Vec<Remark>,
}

/// One row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableRow {
    /// Its number in the file as a spreadsheet or an editor shows it, from 1.
    pub number: usize,
    /// Its cells, without blanks around them; there may be fewer or more than the header has.
    pub cells: Vec<String>,
}

/// Reads a table: XLSX where the file begins like one, else CSV with `,`, `;` or tabs, in UTF-8, UTF-16 or (with a
/// remark) Windows-1252.
///
/// # Errors
/// [`FormatError`] where the file cannot be read, is not text, or has no row at all.
pub fn read_table(path: &Path) -> Result<Table, FormatError> {
    let name = path.file_name().map_or_else(|| path.to_string_lossy(), |name| name.to_string_lossy());
    let unreadable = |error: std::io::Error| {
        let help = "Check the name and the folder, and that the file may be read.";
        Fault::new(FormatErrorKind::Unreadable, format!("cannot read the file: {error}"), help)
            .in_file(&name, "")
    };
    let file = std::fs::File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(LARGEST + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    read_table_bytes(&name, &bytes)
}

/// Reads a table from the bytes of a file called `name`.
///
/// # Errors
/// As [`read_table`].
pub fn read_table_bytes(name: &str, bytes: &[u8]) -> Result<Table, FormatError> {
    if bytes.len() as u64 > LARGEST {
        let message = "the file is larger than a class list can be";
        let fault = Fault::new(FormatErrorKind::TooBig, message, "Is this the right file?");
        return Err(fault.in_file(name, ""));
    }
    let read = if bytes.starts_with(b"PK") { rows_from_xlsx(bytes) } else { from_csv(bytes) };
    read.and_then(|(rows, remarks)| with_header(rows, remarks)).map_err(|fault| fault.in_file(name, ""))
}

fn with_header(rows: Vec<TableRow>, remarks: Vec<Remark>) -> Result<Table, Fault> {
    let mut rows = rows.into_iter().filter(|row| row.cells.iter().any(|cell| !cell.is_empty()));
    let header = rows.next().ok_or_else(|| {
        let help = "Its first row names the columns (student, instrument, group, melody); a row for each student follows.";
        Fault::new(FormatErrorKind::NoRows, "the table has no rows", help)
    })?;
    Ok(Table { header: header.cells, rows: rows.collect(), remarks })
}

fn from_csv(bytes: &[u8]) -> Result<(Vec<TableRow>, Vec<Remark>), Fault> {
    let (text, mut remarks) = text_of_csv(bytes)?;
    let (text, skipped, said) = match text.split_once('\n') {
        // Some spreadsheets write their separator into a line of its own.
        Some((first, rest)) if first.to_lowercase().starts_with("sep=") => {
            (rest, 1, first.chars().nth(4).filter(|c| c.is_ascii()))
        }
        _ => (text.as_str(), 0, None),
    };
    let separator = said.map_or_else(|| separator_of(text), |letter| letter as u8);
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    // Ends of lines before a byte of the text, counted along.
    let (mut counted, mut line) = (0, 1 + skipped);
    let mut records = reader.records();
    while let Some(record) = records.next() {
        let record = record.map_err(|error| {
            let help = "Open it in a spreadsheet and save it as CSV (UTF-8).";
            Fault::new(FormatErrorKind::Syntax, format!("this is no table: {error}"), help)
        })?;
        if rows.len() == ROWS {
            let text = format!("Only the first {ROWS} rows of the table were read.");
            remarks.push(Remark::new("table-too-long", text));
            break;
        }
        // The position of a record is before the empty lines that stand above it.
        let begins = record.position().map_or(0, |place| place.byte() as usize).min(text.len());
        let blank = text.as_bytes()[begins..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        line += ends_of_lines(&text.as_bytes()[counted..begins + blank]);
        counted = begins + blank;
        let ends = (records.reader().position().byte() as usize).clamp(counted, text.len());
        let quotes = text.as_bytes()[counted..ends].iter().filter(|byte| **byte == b'"').count();
        if quotes % 2 == 1 && record.iter().any(|cell| cell.trim().contains(['\n', '\r'])) {
            let help = "Close the quotation mark at the end of its cell, or take it away: the rows below it were taken \
                        for a part of the cell.";
            let message = format!("row {line}: a quotation mark is opened and not closed");
            return Err(Fault::new(FormatErrorKind::Syntax, message, help));
        }
        let cells = record.iter().take(COLUMNS).map(|cell| cell.trim().to_owned()).collect();
        rows.push(TableRow { number: line, cells });
    }
    Ok((rows, remarks))
}

/// Line feeds, carriage returns, and pairs of them, each as one.
fn ends_of_lines(text: &[u8]) -> usize {
    let pairs = text.windows(2).filter(|pair| *pair == b"\r\n").count();
    text.iter().filter(|byte| matches!(byte, b'\r' | b'\n')).count() - pairs
}

/// The separator that the first line with any text has most of, outside of quotes; a comma where it has none.
fn separator_of(text: &str) -> u8 {
    let first = text.lines().find(|line| !line.trim().is_empty()).unwrap_or("");
    let mut quoted = false;
    let mut counts = [(b',', 0usize), (b';', 0), (b'\t', 0)];
    for byte in first.bytes() {
        quoted ^= byte == b'"';
        if let Some(count) = counts.iter_mut().find(|(separator, _)| !quoted && *separator == byte) {
            count.1 += 1;
        }
    }
    // The first of equals: max_by_key would take the last.
    counts.iter().rev().max_by_key(|(_, count)| *count).map_or(b',', |(separator, _)| *separator)
}

fn text_of_csv(bytes: &[u8]) -> Result<(String, Vec<Remark>), Fault> {
    let utf16 = |read: fn([u8; 2]) -> u16, bytes: &[u8]| {
        let units = bytes.chunks_exact(2).map(|pair| read([pair[0], pair[1]]));
        char::decode_utf16(units).collect::<Result<String, _>>().map_err(|_| no_text())
    };
    let text = match bytes {
        [0xEF, 0xBB, 0xBF, rest @ ..] => String::from_utf8(rest.to_vec()).map_err(|_| no_text())?,
        [0xFF, 0xFE, rest @ ..] => utf16(u16::from_le_bytes, rest)?,
        [0xFE, 0xFF, rest @ ..] => utf16(u16::from_be_bytes, rest)?,
        [letter, 0, ..] if *letter != 0 => utf16(u16::from_le_bytes, bytes)?,
        [0, letter, ..] if *letter != 0 => utf16(u16::from_be_bytes, bytes)?,
        _ if bytes.contains(&0) => return Err(no_text()),
        _ => match std::str::from_utf8(bytes) {
            Ok(text) => text.to_owned(),
            Err(_) => {
                let text = "The class list is not UTF-8; it was read as Windows-1252. Look whether names with \
                            accents came out right; if not, save it as CSV (UTF-8).";
                let read = bytes.iter().map(|&byte| windows_1252(byte)).collect();
                return Ok((read, vec![Remark::new("table-encoding", text)]));
            }
        },
    };
    Ok((text, Vec::new()))
}

fn no_text() -> Fault {
    let help = "Is this the class list? Save it in your spreadsheet program as CSV (UTF-8) or XLSX.";
    Fault::new(FormatErrorKind::Encoding, "this is neither a CSV file nor an XLSX spreadsheet", help)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rows(bytes: &[u8]) -> Vec<Vec<String>> {
        let table = read_table_bytes("roster.csv", bytes).unwrap();
        std::iter::once(table.header).chain(table.rows.into_iter().map(|row| row.cells)).collect()
    }

    #[test]
    fn the_same_table_reads_the_same_in_every_encoding_and_with_every_separator() {
        let text = "student,group\r\n\"Čeněk, viola-1\",4B\r\n";
        let expected = vec![vec!["student", "group"], vec!["Čeněk, viola-1", "4B"]];
        assert_eq!(rows(text.as_bytes()), expected);
        assert_eq!(rows(&[b"\xEF\xBB\xBF", text.as_bytes()].concat()), expected);
        let le: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(rows(&le), expected);
        assert_eq!(rows(&[vec![0xFF, 0xFE], le].concat()), expected);
        let be: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(rows(&[vec![0xFE, 0xFF], be].concat()), expected);
        assert_eq!(rows("student;group\nČeněk, viola-1;4B\n".as_bytes()), expected);
        assert_eq!(rows("sep=;\nstudent;group\nČeněk, viola-1;4B".as_bytes()), expected);
        assert_eq!(rows("student\tgroup\n\nČeněk, viola-1\t4B\n".as_bytes()), expected);
    }

    #[test]
    fn a_quotation_mark_that_is_not_closed_swallows_no_rows() {
        for text in ["a,b\n1,\"2\n3,4\n", "a,b\r\n1,\"2\r\n3,\"4\"\r\n5,6\r\n"] {
            let error = read_table_bytes("t.csv", text.as_bytes()).unwrap_err();
            assert!(error.to_string().contains("row 2: a quotation mark is opened"), "{error}");
        }
        for text in ["a,b\n1,\"2\n3\"\n4,5\n", "a,b\n12\" long,2\n3,4\n", "a,b\n1,\"say \"\"so\"\"\"\n3,4"] {
            assert_eq!(read_table_bytes("t.csv", text.as_bytes()).unwrap().rows.len(), 2, "{text}");
        }
    }

    #[test]
    fn windows_1252_is_read_with_a_remark() {
        let table = read_table_bytes("roster.csv", b"student\nviola-\xE9 1\n").unwrap();
        assert_eq!(table.rows[0].cells, ["viola-é 1"]);
        assert_eq!(table.remarks[0].code, "table-encoding");
    }

    #[test]
    fn rows_keep_the_number_that_the_file_gives_them() {
        let table = read_table_bytes("r.csv", b"student\n\nviolin-1\n\"viola\n-1\"\ncello-1\n").unwrap();
        let numbers: Vec<usize> = table.rows.iter().map(|row| row.number).collect();
        assert_eq!(numbers, [3, 4, 6]);
        // Each way to end a line, as an editor counts them.
        for end in ["\n", "\r\n", "\r"] {
            let text = ["student", "violin-1", "", "viola-1", ""].join(end);
            let table = read_table_bytes("r.csv", text.as_bytes()).unwrap();
            let numbers: Vec<usize> = table.rows.iter().map(|row| row.number).collect();
            assert_eq!(numbers, [2, 4], "{end:?}");
        }
    }

    #[test]
    fn a_spreadsheet_reads_as_its_first_sheet_with_text() {
        let mut book = rust_xlsxwriter::Workbook::new();
        book.add_worksheet().set_name("empty").unwrap();
        let sheet = book.add_worksheet();
        sheet.set_name("class").unwrap();
        sheet.write_string(1, 0, "student").unwrap();
        sheet.write_string(1, 2, "group").unwrap();
        sheet.write_string(3, 0, "violin-1").unwrap();
        sheet.write_number(3, 2, 4.0).unwrap();
        let table = read_table_bytes("roster.xlsx", &book.save_to_buffer().unwrap()).unwrap();
        assert_eq!(table.header, ["student", "", "group"]);
        assert_eq!(
            table.rows,
            [TableRow { number: 4, cells: vec!["violin-1".into(), "".into(), "4".into()] }]
        );
        assert_eq!(table.remarks[0].code, "table-sheet");
    }

    #[test]
    fn what_is_no_table_is_an_error_that_says_what_to_do() {
        for bytes in [&b""[..], b"\n\n", b"PK\x03\x04nothing", b"fLaC\0\0\0\"", b"\xFF\xFE\x00\xD8"] {
            let error = read_table_bytes("roster.csv", bytes).unwrap_err().to_string();
            assert!(error.starts_with("roster.csv: "), "{error}");
        }
    }

    proptest! {
        #[test]
        fn any_bytes_get_an_answer(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
            let _ = read_table_bytes("roster.csv", &bytes);
        }
    }
}
