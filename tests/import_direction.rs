//! Rooms import only from rooms above them, and every file says on its first line what it is.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// The rooms in the order in which sound becomes findings, as in `src/lib.rs`. Rooms on one line do not
/// import from each other.
const ROOMS: [&[&str]; 22] = [
    &["units", "remark", "contained"],
    &["samples"],
    &["notation"],
    &["formats"],
    &["rules"],
    &["capture", "decode", "recording_quality"],
    &["loudspeaker"],
    &["pitch"],
    &["open_string"],
    &["segment"],
    &["align"],
    &["findings"],
    &["pipeline"],
    &["jot"],
    &["sound"],
    &["live"],
    &["engrave"],
    &["report"],
    &["page"],
    &["class"],
    &["takes"],
    // The command line may use every room; nobody imports from it.
    &["cli"],
];

fn rank(room: &str) -> Option<usize> {
    ROOMS.iter().position(|row| row.contains(&room))
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("the sources can be listed") {
        let path = entry.expect("the sources can be listed").path();
        if path.is_dir() {
            // What was built of the fuzz targets.
            if path.ends_with("fuzz/target") {
                continue;
            }
            found.extend(rust_files(&path));
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// The room that a file of `src/` belongs to; `None` for `lib.rs` and `main.rs`.
fn room_of(path: &Path) -> Option<String> {
    let inside = path.strip_prefix(source()).expect("a file of src/");
    let first = inside.components().next()?.as_os_str().to_string_lossy().into_owned();
    let room = first.trim_end_matches(".rs").to_owned();
    (!["lib", "main"].contains(&room.as_str())).then_some(room)
}

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// The rooms named after `crate::` or `fingertape::` in code, with `crate::{a, b::c}` taken apart.
/// Lines of comment are not code.
fn imports(text: &str) -> Vec<String> {
    let code: String =
        text.lines().map(|line| line.split("//").next().unwrap_or("")).collect::<Vec<_>>().join("\n");
    let mut rooms = Vec::new();
    for start in ["crate::", "fingertape::"] {
        for (at, _) in code.match_indices(start) {
            let rest = &code[at + start.len()..];
            match rest.strip_prefix('{') {
                Some(group) => rooms.extend(heads_of_group(group)),
                None => rooms.push(head(rest)),
            }
        }
    }
    rooms.retain(|room| !room.is_empty());
    rooms
}

fn head(path: &str) -> String {
    path.trim_start().chars().take_while(|letter| letter.is_alphanumeric() || *letter == '_').collect()
}

fn heads_of_group(group: &str) -> Vec<String> {
    let mut depth = 0;
    let mut heads = vec![head(group)];
    for (at, letter) in group.char_indices() {
        match letter {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => heads.push(head(&group[at + 1..])),
            _ => {}
        }
    }
    heads
}

#[test]
fn rooms_import_only_from_rooms_above_them() {
    let mut wrong = Vec::new();
    let mut counted = BTreeMap::new();
    for path in rust_files(&source()) {
        let Some(room) = room_of(&path) else { continue };
        let Some(own) = rank(&room) else {
            wrong.push(format!("{}: the room {room} has no place in the order", path.display()));
            continue;
        };
        let text = fs::read_to_string(&path).expect("a source file can be read");
        for import in imports(&text) {
            // `crate::Name` of the program's own root and macros are no rooms.
            let Some(theirs) = rank(&import) else { continue };
            *counted.entry(room.clone()).or_insert(0) += 1;
            if import != room && theirs >= own {
                wrong
                    .push(format!("{}: {room} imports from {import}, which is not above it", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(counted.len() >= 8, "hardly any import was found, so nothing was checked: {counted:?}");
}

#[test]
fn the_library_lists_its_rooms_in_this_order() {
    let text = fs::read_to_string(source().join("lib.rs")).expect("lib.rs can be read");
    let rooms: Vec<&str> =
        text.lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';')).collect();
    assert!(rooms.len() >= 10, "{rooms:?}");
    let ranks: Vec<usize> =
        rooms.iter().map(|room| rank(room).unwrap_or_else(|| panic!("{room} has no place"))).collect();
    assert!(ranks.is_sorted(), "lib.rs lists its rooms in another order: {rooms:?}");
}

#[test]
fn the_contributors_guide_has_the_same_table() {
    let guide = Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md");
    let guide = fs::read_to_string(guide).expect("DEVELOPERS.md can be read");
    let (_, rest) = guide.split_once("<!-- rooms:begin -->").expect("the table of rooms begins");
    let (table, _) = rest.split_once("<!-- rooms:end -->").expect("the table of rooms ends");
    let rows: Vec<Vec<&str>> = table
        .lines()
        .filter(|line| line.starts_with("| `"))
        .map(|line| line.split('|').nth(1).unwrap_or_default().split('`').skip(1).step_by(2).collect())
        .collect();
    assert_eq!(rows, ROOMS.map(<[&str]>::to_vec));
}

#[test]
fn every_source_file_opens_by_saying_what_it_is() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = rust_files(&source());
    files.extend(rust_files(&root.join("tests")));
    if root.join("benches").is_dir() {
        files.extend(rust_files(&root.join("benches")));
    }
    let silent: Vec<String> = files
        .iter()
        .filter(|path| {
            let text = fs::read_to_string(path).expect("a source file can be read");
            !(text.starts_with("//! ") || text.starts_with("#![doc = "))
        })
        .map(|path| path.display().to_string())
        .collect();
    assert!(silent.is_empty(), "{silent:?}");
}

#[test]
fn only_the_rooms_that_touch_files_do() {
    let allowed = ["formats", "capture", "decode", "takes", "cli"];
    let mut wrong = Vec::new();
    for path in rust_files(&source()) {
        let Some(room) = room_of(&path) else { continue };
        let text = fs::read_to_string(&path).expect("a source file can be read");
        let touches = ["std::fs", "std::net", "SystemTime", "Instant::now", "std::env"]
            .into_iter()
            .find(|word| text.contains(word));
        if let Some(word) = touches
            && !allowed.contains(&room.as_str())
        {
            wrong.push(format!("{}: {word}", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
}

#[test]
fn the_reader_of_imports_sees_groups_and_skips_comments() {
    let text = "use crate::units::Hertz;\nuse crate::{samples::Samples, pitch::{Contour, Frame}, notation};\n\
                // use crate::report::json;\nlet x = fingertape::align::decode();";
    let mut found = imports(text);
    found.sort();
    assert_eq!(found, ["align", "notation", "pitch", "samples", "units"]);
}
