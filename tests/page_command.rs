//! `fingertape check --page`, and the pages that `demo` makes: files, words, errors and exit codes.

mod program;

use program::{program, said};
use std::fs;
use std::path::Path;

fn fixture(name: &str, file: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures").join(name).join(file).display().to_string()
}

/// `check` on a fixture, in `folder`.
fn check(folder: &Path, name: &str, more: &[&str]) -> (i32, String, String) {
    let (take, melody) = (fixture(name, "take.flac"), fixture(name, "melody.toml"));
    let arguments = [&["check", &take, "--melody", &melody], more].concat();
    said(program(&arguments).current_dir(folder).output().expect("the program runs"))
}

#[test]
fn a_page_is_written_for_a_browser_and_for_paper_and_the_words_are_printed_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let plain = check(folder.path(), "wrong-notes", &[]);
    let paged =
        check(folder.path(), "wrong-notes", &["--page", "r.html", "--page", "r.pdf", "--paper", "a4"]);
    assert_eq!(plain, paged);
    let html = fs::read_to_string(folder.path().join("r.html")).unwrap();
    assert!(html.starts_with("<!DOCTYPE html>") && html.contains("id=\"take-sound\""));
    let pages = pdf_extract::extract_text_by_pages(folder.path().join("r.pdf")).expect("a PDF");
    assert_eq!(pages.len(), 2);
    let words = pages.concat().replace(char::is_whitespace, "");
    for heading in ["Fixthisfirst", "Aswritten,andasheard", "Whereyourfingersfell", "Yourbeat,barbybar"] {
        assert!(words.contains(heading), "{heading}: {words}");
    }
}

#[test]
fn the_same_take_gives_the_same_bytes_and_detail_adds_every_number() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["a", "b"] {
        let (html, pdf) = (format!("{name}.html"), format!("{name}.pdf"));
        let (code, ..) = check(folder.path(), "rests", &["--page", &html, "--page", &pdf, "--detail"]);
        assert_eq!(code, 0);
    }
    let read = |name: &str| fs::read(folder.path().join(name)).unwrap();
    assert!(read("a.html") == read("b.html") && read("a.pdf") == read("b.pdf"));
    assert!(String::from_utf8_lossy(&read("a.html")).contains("For the teacher: every number"));
    let text = pdf_extract::extract_text(folder.path().join("a.pdf")).expect("a PDF");
    let text = text.replace(char::is_whitespace, "");
    assert!(text.contains("Fortheteacher:everynumber") && text.contains("confidence"), "{text}");
}

#[test]
fn without_sound_no_recording_is_in_the_page() {
    let folder = tempfile::tempdir().unwrap();
    let (code, ..) = check(folder.path(), "all-right", &["--page", "r.html", "--no-sound"]);
    let html = fs::read_to_string(folder.path().join("r.html")).unwrap();
    assert!(code == 0 && !html.contains("id=\"take-sound\"") && html.contains("no recording"));
}

#[test]
fn a_refused_take_has_a_page_that_grades_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (code, ..) = check(folder.path(), "silence", &["--page", "r.html", "--page", "r.pdf"]);
    assert_eq!(code, 1);
    let html = fs::read_to_string(folder.path().join("r.html")).unwrap();
    assert!(html.contains("Nothing was graded") && !html.contains("id=\"take-sound\""));
    let text = pdf_extract::extract_text(folder.path().join("r.pdf")).expect("a PDF");
    assert!(text.replace(char::is_whitespace, "").contains("Nothingwasgraded"), "{text}");
}

#[test]
fn what_cannot_be_written_is_said_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(fixture("all-right", "take.flac"), folder.path().join("take.html")).unwrap();
    let (code, out, err) = check(folder.path(), "all-right", &["--page", "report.docx"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains(".html (for a browser), .pdf (to print), or .png"), "{err}");
    let (code, out, err) = check(folder.path(), "all-right", &["--page", "no/report.pdf"]);
    assert_eq!(code, 2);
    assert!(out.contains("What went well"), "the player gets the report even so: {out}");
    assert!(err.contains("make the folder first"), "{err}");
    let melody = fixture("all-right", "melody.toml");
    let arguments = ["check", "take.html", "--melody", &melody, "--page", "take.html"];
    let (code, _, err) = said(program(&arguments).current_dir(folder.path()).output().expect("it runs"));
    assert_eq!(code, 2);
    assert!(err.contains("would replace the file that is to be checked"), "{err}");
    let (code, ..) = check(folder.path(), "all-right", &["--no-sound"]);
    assert_eq!(code, 2, "--no-sound is about a page");
}

#[test]
fn the_demo_leaves_a_page_to_look_at_and_one_to_print() {
    let folder = tempfile::tempdir().unwrap();
    let (code, out, _) =
        said(program(&["demo", "--out", "here"]).current_dir(folder.path()).output().expect("it runs"));
    assert!(code == 0 && out.contains("here/report.html") && out.contains("here/report.pdf"), "{out}");
    for name in ["report.html", "report.pdf"] {
        assert!(folder.path().join("here").join(name).is_file(), "{name}");
    }
}
