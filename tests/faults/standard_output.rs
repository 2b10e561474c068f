//! The reader of standard output goes away, or the disk behind it is full.

use crate::program_with_files::{Desk, said};

/// Every command that prints, with what it ends with when all is well.
const PRINTERS: [(&[&str], i32); 10] = [
    (&["check", "take.flac", "--melody", "melody.toml", "--detail"], 0),
    (&["check", "take.flac", "--melody", "melody.toml", "--format", "json"], 0),
    (&["contour", "take.flac", "--instrument", "viola"], 0),
    (&["demo"], 0),
    (&["jot", "--from", "take.flac", "--instrument", "viola", "--bpm", "88"], 0),
    (&["move", "melody.toml", "--to", "cello"], 0),
    (&["proofread", "melody.toml", "--rules", "rules.toml", "--tier", "long-walk"], 1),
    (&["takes", "--book", "book"], 0),
    (&["class", "class", "--melody", "class/melody.toml", "--dry-run"], 0),
    (&["string", "D", "--instrument", "viola", "--from", "take.flac"], 0),
];

#[test]
fn a_reader_that_has_seen_enough_is_no_error() {
    let desk = Desk::new();
    for (words, well) in PRINTERS {
        // The reader is gone before the first byte comes.
        let line = "exec 3> >(true); sleep 0.05; \"$0\" \"$@\" >&3";
        let (code, _, errors) = said(&desk.bash(line, words).output().expect("it ends"));
        assert_eq!((code, errors.as_str()), (Some(well), ""), "{words:?}");
        let line = "\"$0\" \"$@\" | head -c 1; exit ${PIPESTATUS[0]}";
        let (code, _, errors) = said(&desk.bash(line, words).output().expect("it ends"));
        assert_eq!((code, errors.as_str()), (Some(well), ""), "{words:?} | head");
    }
}

#[test]
fn output_that_does_not_fit_on_the_disk_is_an_error_that_says_so() {
    let desk = Desk::new();
    for (words, _) in PRINTERS {
        let (code, _, errors) =
            said(&desk.bash("\"$0\" \"$@\" > /dev/full", words).output().expect("it ends"));
        assert_eq!(code, Some(2), "{words:?}: {errors}");
        assert!(errors.contains("standard output cannot be written: No space left"), "{words:?}: {errors}");
    }
}

#[test]
fn without_an_error_stream_the_exit_code_still_tells() {
    let desk = Desk::new();
    for (words, well) in PRINTERS {
        let (code, _, _) =
            said(&desk.bash("\"$0\" \"$@\" > /dev/null 2>&-", words).output().expect("it ends"));
        assert_eq!(code, Some(well), "{words:?}");
    }
    let missing: &[&str] = &["check", "nowhere.wav", "--melody", "melody.toml"];
    let (code, _, _) = said(&desk.bash("\"$0\" \"$@\" 2>&-", missing).output().expect("it ends"));
    assert_eq!(code, Some(2));
}
