//! Files that the user asks for, where the disk is full, the folder is not ours, or the program is killed.

use crate::program_with_files::{Desk, WRITERS, said};
use std::fs;
use std::path::Path;
use std::time::Duration;

/// The names in a folder.
fn names(folder: &Path) -> Vec<String> {
    let listed = fs::read_dir(folder).expect("the folder is there");
    let mut names: Vec<String> =
        listed.map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// The disk is full for files beyond so many KiB; pipes are not files.
fn full_after(kib: u32) -> String {
    format!("trap '' XFSZ; ulimit -f {kib}; exec \"$0\" \"$@\"")
}

#[test]
fn a_full_disk_leaves_the_old_file_whole_and_nothing_half_written() {
    let desk = Desk::new();
    for writer in &WRITERS {
        let place = format!("out/file.{}", writer.ending);
        // An exported book never replaces a file.
        let replaces = writer.ending != "zip";
        if replaces {
            fs::write(desk.path(&place), "what was there before").expect("a file");
        }
        let before = names(&desk.path("out"));
        // Not one byte, and a file that breaks off in its middle.
        for kib in
            if ["html", "pdf", "png", "wav", "zip"].contains(&writer.ending) { vec![0, 1] } else { vec![0] }
        {
            let output = desk.bash(&full_after(kib), &writer.words_to(&place)).output().expect("it ends");
            let (code, _, errors) = said(&output);
            let name = format!("{}, {kib} KiB", writer.name());
            assert_eq!(code, Some(2), "{name}: {errors}");
            assert!(errors.contains(&format!("file.{}", writer.ending)), "{name}: {errors}");
            assert!(errors.contains("too large") && errors.contains("help:"), "{name}: {errors}");
            assert!(!errors.contains("panicked") && !errors.contains("ZipWriter"), "{name}: {errors}");
            assert_eq!(names(&desk.path("out")), before, "{name}");
        }
        if replaces {
            let now = fs::read_to_string(desk.path(&place)).expect("it is still there");
            assert_eq!(now, "what was there before", "{}", writer.name());
        }
    }
}

#[test]
fn a_full_disk_costs_the_demo_and_the_class_nothing_that_was_there() {
    let desk = Desk::new();
    for (words, made) in [
        (vec!["demo", "--out", "out"], "out"),
        (vec!["class", "class", "--melody", "class/melody.toml", "--output", "out"], "out"),
    ] {
        let output = desk.bash(&full_after(0), &words).output().expect("it ends");
        let (code, _, errors) = said(&output);
        assert_eq!(code, Some(2), "{words:?}: {errors}");
        assert!(errors.contains("too large") && errors.contains("help:"), "{words:?}: {errors}");
        assert!(!errors.contains("panicked"), "{words:?}: {errors}");
        let half: Vec<String> =
            names(&desk.path(made)).into_iter().filter(|name| name.ends_with(".part")).collect();
        assert!(half.is_empty(), "{words:?}: {half:?}");
        let (code, _, errors) = said(&desk.program(&words).output().expect("it ends"));
        assert_eq!(code, Some(0), "{words:?} with room again: {errors}");
        fs::remove_dir_all(desk.path(made)).expect("it goes");
        fs::create_dir(desk.path(made)).expect("a folder");
    }
}

/// A folder in which nothing can be written: for root, whom modes do not stop, one of the kernel's.
fn folder_of_others(desk: &Desk) -> String {
    let folder = desk.path("of-others");
    fs::create_dir(&folder).expect("a folder");
    let mut mode = fs::metadata(&folder).expect("it is there").permissions();
    std::os::unix::fs::PermissionsExt::set_mode(&mut mode, 0o555);
    fs::set_permissions(&folder, mode).expect("a mode");
    let trial = folder.join("trial");
    if fs::write(&trial, "").is_err() {
        return "of-others".to_owned();
    }
    fs::remove_file(trial).expect("it goes");
    "/sys/kernel".to_owned()
}

#[test]
fn a_folder_that_may_not_be_written_is_named_with_what_to_do() {
    let desk = Desk::new();
    let folder = folder_of_others(&desk);
    for writer in &WRITERS {
        let place = format!("{folder}/file.{}", writer.ending);
        let (code, _, errors) = said(&desk.program(&writer.words_to(&place)).output().expect("it ends"));
        assert_eq!(code, Some(2), "{}: {errors}", writer.name());
        assert!(errors.contains(&place) && errors.contains("help:"), "{}: {errors}", writer.name());
        assert!(!errors.contains("panicked"), "{}: {errors}", writer.name());
    }
    for words in [
        vec!["demo", "--out", &folder],
        vec!["class", "class", "--melody", "class/melody.toml", "--output", &folder],
    ] {
        let (code, _, errors) = said(&desk.program(&words).output().expect("it ends"));
        assert_eq!(code, Some(2), "{words:?}: {errors}");
        assert!(errors.contains(&folder) && errors.contains("help:"), "{words:?}: {errors}");
    }
}

#[test]
fn a_program_killed_while_it_writes_leaves_the_old_file_or_the_new_one() {
    let seed = crate::seed_of_moments();
    let mut random = fingertape::sound::Noise::new(seed);
    let desk = Desk::new();
    let writer = &WRITERS[0];
    let whole = |place: &str| {
        let output = desk.program(&writer.words_to(place)).output().expect("it ends");
        assert_eq!(output.status.code(), Some(0));
        fs::read(desk.path(place)).expect("a page")
    };
    let began = std::time::Instant::now();
    let new = whole("out/whole.html");
    let most = began.elapsed().as_millis() as u64 + 20;
    let (mut olds, mut news) = (0, 0);
    for _ in 0..24 {
        let place = "out/killed.html";
        fs::write(desk.path(place), "old").expect("a file");
        let mut child = desk.program(&writer.words_to(place));
        let mut child = child.stdout(std::process::Stdio::null()).spawn().expect("it starts");
        // Half of the moments near the end, where the page is written.
        let share = (random.uniform() + 1.0) / 2.0;
        let share = if random.bits().is_multiple_of(2) { share } else { 0.8 + 0.2 * share };
        std::thread::sleep(Duration::from_micros((most as f64 * 1000.0 * share) as u64));
        child.kill().expect("a signal");
        child.wait().expect("it ends");
        let now = fs::read(desk.path(place)).expect("a file is there");
        assert!(now == b"old" || now == new, "seed {seed}: {} bytes of {}", now.len(), new.len());
        olds += usize::from(now == b"old");
        news += usize::from(now == new);
    }
    println!("{olds} old, {news} new");
    assert!(olds > 0, "no run was killed before its end, so nothing was tested");
}

#[test]
fn an_export_for_which_there_is_no_room_leaves_nothing_in_the_way_of_the_next() {
    let desk = Desk::new();
    let words = ["takes", "--book", "book", "--export", "out/copy"];
    let (code, _, errors) = said(&desk.bash(&full_after(1), &words).output().expect("it ends"));
    assert_eq!(code, Some(2), "{errors}");
    assert!(names(&desk.path("out")).is_empty(), "{:?}", names(&desk.path("out")));
    let (code, text, errors) = said(&desk.program(&words).output().expect("it ends"));
    assert_eq!(code, Some(0), "{errors}");
    assert!(text.starts_with("1 take copied to"), "{text}");
}
