//! Pages on the disk: which kind of file a name asks for, and writing it.

use super::failure::Failure;
use super::shown::Shown as _;
use super::{print, write_file};
use fingertape::engrave::{Page, pdf_from_pages, png_from_page, svg_from_page};
use fingertape::remark::Remark;
use std::path::{Path, PathBuf};

/// A kind of file that a sheet can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Pdf,
    Svg,
    Png,
}

/// Where a sheet goes.
#[derive(Debug)]
pub struct SheetFile {
    path: PathBuf,
    kind: Kind,
}

impl SheetFile {
    /// From the name that was asked for.
    pub fn from_path(path: &Path) -> miette::Result<Self> {
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
        let kind = match ending.as_deref() {
            Some("pdf") => Kind::Pdf,
            Some("svg") => Kind::Svg,
            Some("png") => Kind::Png,
            _ => {
                return Err(Failure::new(
                    format!("{} does not say which kind of sheet it is to be", path.display()),
                    "end the name in .pdf (to print), .svg (to draw on) or .png (a picture)",
                )
                .into());
            }
        };
        Ok(Self { path: path.to_owned(), kind })
    }

    /// The file of one page among several: `tune-2.png`.
    fn numbered(&self, number: usize) -> PathBuf {
        let mut name = self.path.file_stem().unwrap_or_default().to_owned();
        name.push(format!("-{number}."));
        name.push(self.path.extension().unwrap_or_default());
        self.path.with_file_name(name)
    }

    /// Pictures that lie there under names of this set and are none of its `count` pages: those of an earlier set. Nothing
    /// in a picture says who made it, so they are told of and left.
    fn left_over(&self, count: usize) -> Vec<PathBuf> {
        if self.kind == Kind::Pdf {
            return Vec::new();
        }
        let whole = (count > 1).then(|| self.path.clone());
        let first = if count > 1 { count + 1 } else { 1 };
        let numbered = (first..).map(|number| self.numbered(number)).take_while(|path| path.is_file());
        whole.into_iter().filter(|path| path.is_file()).chain(numbered).collect()
    }
}

/// Writes pages as one PDF, or as a picture each; what was written, to be printed. Pictures of an earlier set beside them
/// are remarked on.
pub fn write_pages(file: &SheetFile, pages: &[Page], title: &str, dpi: f64) -> miette::Result<String> {
    let single = |page: &Page| match file.kind {
        Kind::Svg => svg_from_page(page).into_bytes(),
        _ => png_from_page(page, dpi),
    };
    match (file.kind, pages) {
        (Kind::Pdf, _) => write_file::whole(&file.path, &pdf_from_pages(pages, title))?,
        (_, [page]) => write_file::whole(&file.path, &single(page))?,
        (_, pages) => {
            let mut names = String::new();
            for (place, page) in pages.iter().enumerate() {
                let path = file.numbered(place + 1);
                write_file::whole(&path, &single(page))?;
                names.push_str(&format!("{}: page {} of {}.\n", path.shown(), place + 1, pages.len()));
            }
            tell_of(&file.left_over(pages.len()));
            return Ok(names);
        }
    }
    let count = pages.len();
    tell_of(&file.left_over(count));
    Ok(format!("{}: {count} page{}.\n", file.path.shown(), if count == 1 { "" } else { "s" }))
}

fn tell_of(left_over: &[PathBuf]) {
    let Some(last) = left_over.last() else { return };
    let names = match left_over {
        [one] => one.shown(),
        [first, ..] => format!("{} to {}", first.shown(), last.shown()),
        [] => return,
    };
    let (lies, belongs) =
        if left_over.len() == 1 { ("lies", "it does not belong") } else { ("lie", "they do not belong") };
    let text = format!("{names} {lies} there from before: {belongs} to what was written now.");
    print::remarks(&[Remark::new("older-pages", text)]);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ending_decides_and_another_ending_is_an_error_with_advice() {
        assert_eq!(SheetFile::from_path(Path::new("a.PDF")).unwrap().kind, Kind::Pdf);
        assert_eq!(SheetFile::from_path(Path::new("a.b.svg")).unwrap().kind, Kind::Svg);
        for name in ["tune", "tune.jpg", ".pdf"] {
            let error = SheetFile::from_path(Path::new(name)).unwrap_err();
            assert!(format!("{error:?}").contains(".pdf (to print)"), "{error:?}");
        }
    }

    #[test]
    fn pages_of_pictures_are_numbered_before_the_ending() {
        let file = SheetFile::from_path(Path::new("folder/tune.v2.png")).unwrap();
        assert_eq!(file.numbered(2), Path::new("folder/tune.v2-2.png"));
    }

    #[test]
    fn pictures_of_an_earlier_set_are_known_by_their_numbers() {
        let folder = tempfile::tempdir().unwrap();
        let place = |name: &str| folder.path().join(name);
        for name in ["tune.png", "tune-1.png", "tune-2.png", "tune-3.png", "tune-5.png", "other-1.png"] {
            std::fs::write(place(name), "x").unwrap();
        }
        let file = SheetFile::from_path(&place("tune.png")).unwrap();
        assert_eq!(file.left_over(2), [place("tune.png"), place("tune-3.png")]);
        assert_eq!(file.left_over(1), [place("tune-1.png"), place("tune-2.png"), place("tune-3.png")]);
        assert_eq!(file.left_over(4), [place("tune.png"), place("tune-5.png")]);
        assert_eq!(SheetFile::from_path(&place("tune.pdf")).unwrap().left_over(1), [] as [PathBuf; 0]);
    }

    #[cfg(unix)]
    #[test]
    fn a_name_that_is_no_text_keeps_its_bytes() {
        use std::os::unix::ffi::OsStrExt as _;
        let path = Path::new(std::ffi::OsStr::from_bytes(b"t\xffne.png"));
        let file = SheetFile::from_path(path).unwrap();
        assert_eq!(file.numbered(3).as_os_str().as_bytes(), b"t\xffne-3.png");
    }
}
