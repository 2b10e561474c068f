//! Where the take book is: as asked, as the environment says, or in the user's home folder.

use super::failure::Failure;
use fingertape::takes::{Book, TakesError};
use std::env;
use std::path::{Path, PathBuf};

/// The environment variable that names the book's folder.
pub const VARIABLE: &str = "FINGERTAPE_BOOK";

/// The book in the folder asked for, else in that of [`VARIABLE`], else in `fingertape-takes` at home.
pub fn book(asked: Option<&Path>) -> miette::Result<Book> {
    if let Some(folder) = asked {
        return Ok(Book::at(folder));
    }
    if let Some(folder) = env::var_os(VARIABLE).filter(|value| !value.is_empty()) {
        return Ok(Book::at(&PathBuf::from(folder)));
    }
    match env::home_dir().filter(|home| !home.as_os_str().is_empty()) {
        Some(home) => Ok(Book::at(&home.join("fingertape-takes"))),
        None => Err(Failure::new(
            "there is no home folder to keep the take book in",
            format!("say where it is to be: --book FOLDER, or set {VARIABLE}"),
        )
        .into()),
    }
}

/// An error of the take book with what to do about it.
pub fn failed(error: TakesError) -> miette::Report {
    let what_to_do = match &error {
        TakesError::File { .. } => "check that the disk is not full and that you may write there",
        TakesError::Damaged { .. } => "keep the file if you want to look at it, or delete the take",
        TakesError::Link { .. } => "put the real folder there, or choose another book with --book FOLDER",
        TakesError::Growing { .. } => "wait until its recording has ended",
        TakesError::NotThere { .. } => "'fingertape takes' lists what is there",
        TakesError::Taken { .. } => "choose another name",
    };
    Failure::new(error.to_string(), what_to_do).into()
}
