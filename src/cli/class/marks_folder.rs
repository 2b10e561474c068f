//! The folder of marks: only its owner can read it, one run at a time writes it, and each file in it is wholly there or
//! not at all.

use crate::cli::shared::failure::{Failure, said};
use crate::cli::shared::print;
use fingertape::class::{Cell, GRADEBOOK_COLUMNS, TEACHERS_MARKS_HEADER, csv_cell};
use fingertape::takes::write_whole_private;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, XlsxError};
use std::fs::{self, DirBuilder, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

/// The teacher's own marks.
pub const TEACHERS_MARKS: &str = "teachers-marks.csv";
/// One report for each student.
pub const STUDENTS: &str = "students";
/// What was heard in each take.
pub const RESULTS: &str = "results";
/// Everything once more for programs, and for the next test.
pub const CLASS_JSON: &str = "class.json";

/// A folder of marks that this run may write.
pub struct MarksFolder {
    folder: PathBuf,
    // Held until the run ends, however it ends.
    _lock: File,
}

impl MarksFolder {
    /// Opens the folder, or makes it.
    pub fn open(folder: &Path) -> miette::Result<Self> {
        let failed = |error: io::Error| failure(folder, &error);
        for place in [folder.to_owned(), folder.join(STUDENTS), folder.join(RESULTS)] {
            if place.exists() && !place.is_dir() {
                let what = format!("{} is a file, not a folder", place.display());
                return Err(
                    Failure::new(what, "give --output a folder; it is made if it is not there").into()
                );
            }
            // What is written and cleared away in here must not be somewhere else. Where the whole folder lies is the
            // teacher's choice.
            if place != folder && place.is_symlink() {
                let what = format!("{} is a link to another place", place.display());
                return Err(Failure::new(what, "remove the link, or choose another --output").into());
            }
            private_folder(&place).map_err(failed)?;
        }
        let lock = private_file(OpenOptions::new().write(true).create(true)).open(folder.join(".lock"));
        let lock = lock.map_err(failed)?;
        match lock.try_lock() {
            Err(TryLockError::WouldBlock) => {
                let what = format!("another fingertape is writing to {}", folder.display());
                return Err(Failure::new(what, "wait until it has ended, or choose another --output").into());
            }
            // Some network disks know no locks; then there is none.
            Ok(()) | Err(TryLockError::Error(_)) => {}
        }
        let marks = Self { folder: folder.to_owned(), _lock: lock };
        for place in [folder.to_owned(), folder.join(STUDENTS), folder.join(RESULTS)] {
            remove_leftovers(&place).map_err(failed)?;
        }
        // Made once, whole or not at all, and never written again: what the teacher writes into it stays.
        let own = folder.join(TEACHERS_MARKS);
        match fs::symlink_metadata(&own) {
            Ok(_) => {}
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                write_whole_private(&own, TEACHERS_MARKS_HEADER.as_bytes()).map_err(failed)?;
            }
            Err(error) => return Err(failed(error)),
        }
        Ok(marks)
    }

    /// A place inside.
    pub fn place(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// Writes a file inside, unless it is there with these bytes.
    pub fn write(&self, name: &str, bytes: &[u8]) -> miette::Result<()> {
        let path = self.place(name);
        if fs::metadata(&path).is_ok_and(|found| found.len() == bytes.len() as u64)
            && fs::read(&path).is_ok_and(|there| there == bytes)
        {
            return Ok(());
        }
        write_whole_private(&path, bytes).map_err(|error| failure(&path, &error))
    }

    /// Removes reports of students that an earlier run wrote and this one did not.
    pub fn remove_reports(&self, earlier: &[String], now: &[String]) -> miette::Result<()> {
        for name in earlier.iter().filter(|name| !now.contains(name)) {
            // Only a plain name inside the folder of reports is ours.
            if name.contains(['/', '\\']) || name.starts_with('.') {
                continue;
            }
            let path = self.place(STUDENTS).join(name);
            match fs::remove_file(&path) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(failure(&path, &error)),
                _ => {}
            }
        }
        Ok(())
    }
}

/// What to do about a place that cannot be written.
pub fn failure(path: &Path, error: &io::Error) -> miette::Report {
    let what = format!("{} cannot be written: {}", path.display(), said(error));
    let what_to_do = match error.kind() {
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "choose a folder that you may write to, with --output"
        }
        _ => "check that the disk is not full, or choose another place with --output",
    };
    Failure::new(what, what_to_do).into()
}

fn private_folder(path: &Path) -> io::Result<()> {
    if path.is_dir() {
        warn_if_open(path);
        return Ok(());
    }
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

/// Others can look into the folder: its files are still only the owner's, but their names are seen.
#[cfg(unix)]
fn warn_if_open(path: &Path) {
    use std::os::unix::fs::PermissionsExt;
    if fs::metadata(path).is_ok_and(|found| found.permissions().mode() & 0o077 != 0) {
        let text = format!(
            "Other people on this computer can see the names of the files in {}; what is in the files they cannot read.",
            path.display()
        );
        print::remarks(&[fingertape::remark::Remark::new("folder-open", text)]);
    }
}

#[cfg(not(unix))]
fn warn_if_open(_: &Path) {}

fn private_file(options: &mut OpenOptions) -> &mut OpenOptions {
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(options, 0o600);
    options
}

/// Half-written files of a run that was killed: `.fingertape.PROCESS-NUMBER.part`. No other run is at work here now.
fn remove_leftovers(folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let ours = name.starts_with(".fingertape.") && name.ends_with(".part");
        if ours && entry.file_type()?.is_file() {
            fs::remove_file(entry.path())?;
        }
    }
    Ok(())
}

/// The gradebook as CSV (RFC 4180, UTF-8).
pub fn csv_bytes(rows: &[Vec<Cell>]) -> Vec<u8> {
    let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    let rows = rows.iter().map(|row| row.iter().map(csv_cell).collect::<Vec<String>>());
    let header = GRADEBOOK_COLUMNS.map(str::to_owned).to_vec();
    for row in std::iter::once(header).chain(rows) {
        out.write_record(&row).expect("memory can be written, and all rows are as long as the first");
    }
    out.into_inner().expect("memory can be written")
}

/// The gradebook as XLSX: text is text whatever it begins with, and the file has one fixed date, so that the same marks
/// are the same bytes.
pub fn xlsx_bytes(rows: &[Vec<Cell>]) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let date = ExcelDateTime::from_ymd(2020, 1, 1)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&date).set_author("fingertape"));
    let head = Format::new().set_bold();
    let sheet = book.add_worksheet();
    sheet.set_name("marks")?.set_freeze_panes(1, 1)?;
    for (column, name) in (0u16..).zip(GRADEBOOK_COLUMNS) {
        sheet.write_string_with_format(0, column, name, &head)?;
        sheet.set_column_width(column, if column == 0 || column == 3 { 22.0 } else { 11.0 })?;
    }
    sheet.set_column_width(14, 60.0)?;
    for (line, row) in (1u32..).zip(rows) {
        for (column, cell) in (0u16..).zip(row) {
            match cell {
                Cell::Number(number) => sheet.write_number(line, column, *number)?,
                Cell::Text(text) if text.is_empty() => continue,
                Cell::Text(text) => sheet.write_string(line, column, text)?,
            };
        }
    }
    book.save_to_buffer()
}

#[cfg(test)]
mod tests {
    use super::*;
    use calamine::{Data, Reader, Xlsx};

    #[test]
    fn a_student_called_like_a_formula_stays_text_in_the_spreadsheet() {
        let names = ["=1+1", "+1", "-1", "@x", "12", "violin-1"];
        let rows: Vec<Vec<Cell>> =
            names.iter().map(|name| vec![Cell::Text((*name).to_owned()), Cell::Number(3.0)]).collect();
        let bytes = xlsx_bytes(&rows).unwrap();
        assert_eq!(bytes, xlsx_bytes(&rows).unwrap(), "the same marks are the same bytes");
        let mut book = Xlsx::new(io::Cursor::new(bytes)).unwrap();
        let range = book.worksheet_range("marks").unwrap();
        for (line, name) in (1..).zip(names) {
            assert_eq!(range.get_value((line, 0)), Some(&Data::String(name.to_owned())));
            assert_eq!(range.get_value((line, 1)), Some(&Data::Float(3.0)));
        }
        assert!(book.worksheet_formula("marks").unwrap().used_cells().next().is_none());
    }

    #[test]
    fn two_runs_at_once_are_refused_and_leftovers_are_cleared() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("marks");
        let first = MarksFolder::open(&place).unwrap();
        assert!(MarksFolder::open(&place).is_err());
        fs::write(place.join(".fingertape.123-4.part"), "half").unwrap();
        fs::write(place.join(TEACHERS_MARKS), "student,mark,note\nviolin-1,90,\n").unwrap();
        drop(first);
        assert!(MarksFolder::open(&place.join(TEACHERS_MARKS)).is_err(), "a file is no folder");
        let again = MarksFolder::open(&place).unwrap();
        assert!(!place.join(".fingertape.123-4.part").exists());
        assert!(fs::read_to_string(again.place(TEACHERS_MARKS)).unwrap().contains("violin-1,90"));
    }
}
