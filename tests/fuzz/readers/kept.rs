//! What a take book keeps and reads again: notes on takes, reports, recordings that were cut off.

use fingertape::class::{Rubric, Thresholds, mark_from_report};
use fingertape::findings::Report;
use fingertape::notation::Fifths;
use fingertape::report::{TextSettings, for_child, for_teacher, json, progress, right_notes, what_changed};
use fingertape::takes::{About, Book, Take, TakesError, repair_wav};
use std::cell::RefCell;
use std::fs;

thread_local! {
    /// One take of one book, whose files are written over again and again.
    static TAKE: RefCell<Option<(Folder, Take)>> = const { RefCell::new(None) };
}

/// A folder that goes with its thread.
struct Folder(std::path::PathBuf);

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn with_take(use_it: impl FnOnce(&Take)) {
    TAKE.with_borrow_mut(|kept| {
        let (_, take) = kept.get_or_insert_with(|| {
            let thread =
                format!("{:?}", std::thread::current().id()).replace(|c: char| !c.is_alphanumeric(), "");
            let name = format!("fingertape-fuzzed-{}-{thread}", std::process::id());
            let folder = Folder(std::env::temp_dir().join(name));
            let about = About {
                recorded: String::new(),
                microphone: String::new(),
                melody: "fuzzed".to_owned(),
                instrument: None,
                a4_hz: None,
                fifths: Fifths::Equal,
                string_length_mm: None,
                bpm: 90.0,
                finished: false,
                lost_ms: 0.0,
                remarks: Vec::new(),
            };
            let take = Book::at(&folder.0).begin(&about, Some("toml"), b"").expect("a book in a new folder");
            (folder, take)
        });
        use_it(take);
    });
}

/// The first byte says what it is: 0 of 3 a note on a take, 1 a report, 2 a recording.
pub fn kept_files(bytes: &[u8]) {
    let Some((which, rest)) = bytes.split_first() else { return };
    with_take(|take| match which % 3 {
        0 => about(take, rest),
        1 => report(take, rest),
        _ => recording(take, rest),
    });
}

fn answered(error: &TakesError, take: &Take) {
    let text = error.to_string();
    assert!(text.contains(&take.stem()) && text.len() < 3_000, "{text}");
    assert!(!text.chars().any(|letter| letter.is_control() && letter != '\n'), "{text:?}");
}

fn about(take: &Take, bytes: &[u8]) {
    fs::write(take.about_json(), bytes).expect("the folder can be written to");
    match take.about() {
        Ok(about) => {
            take.write_about(&about).expect("what was read can be written");
            assert_eq!(take.about().expect("what was written can be read"), about);
        }
        Err(error) => answered(&error, take),
    }
}

fn report(take: &Take, bytes: &[u8]) {
    fs::write(take.report_json(), bytes).expect("the folder can be written to");
    match take.report() {
        Ok(Some(report)) => said(&report),
        Ok(None) => panic!("a report that is there"),
        Err(error) => answered(&error, take),
    }
}

/// A report becomes words, numbers and marks, whatever it says.
pub fn said(report: &Report) {
    let settings = TextSettings::default();
    assert!(for_child(report, &settings).ends_with('\n'));
    assert!(for_teacher(report, &settings).ends_with('\n'));
    assert!(!right_notes(report).is_empty());
    let _ = (progress(&[(1, report.clone()), (2, report.clone())]), what_changed(report, 1, report));
    let mark = mark_from_report(report, &Rubric::default(), Thresholds::default());
    assert!(mark.mark.is_none_or(|mark| (0.0..=100.0).contains(&mark)), "{:?}", mark.mark);
    let again: Report = serde_json::from_str(&json(report)).expect("our own JSON");
    assert_eq!(again.notes.len(), report.notes.len());
}

fn recording(take: &Take, bytes: &[u8]) {
    fs::write(take.wav(), bytes).expect("the folder can be written to");
    let once = repair_wav(&take.wav());
    assert_eq!(fs::metadata(take.wav()).expect("it is still there").len(), bytes.len() as u64);
    match once {
        Ok(once) => {
            assert!(once.duration.0.is_finite() && once.duration.0 > 0.0);
            let twice = repair_wav(&take.wav()).expect("what was repaired is whole");
            assert!(!twice.changed, "what was repaired is whole");
            assert_eq!(twice.duration, once.duration);
        }
        Err(error) => answered(&error, take),
    }
}
