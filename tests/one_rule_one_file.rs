//! Adding a rule is one file and one line of a list, and nothing else.

use fingertape::rules::RULES;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// Adding a rule touches its own file and one line of the list: nothing else in the program names it.
#[test]
fn a_rule_is_one_file_and_one_line() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let files: BTreeSet<String> = fs::read_dir(source.join("rules"))
        .expect("the room is there")
        .map(|entry| entry.expect("it can be read").file_name().to_string_lossy().into_owned())
        .filter_map(|name| name.strip_suffix(".rs").map(str::to_owned))
        .filter(|name| name.starts_with("rule_") && name != "rule_headers")
        .collect();
    let listed: BTreeSet<String> = RULES.iter().map(|rule| format!("rule_{}", rule.word)).collect();
    assert_eq!(files, listed, "files and list");
    assert_eq!(listed.len(), RULES.len(), "no rule is listed twice");
    for name in &listed {
        let mut places = Vec::new();
        count(&source, name, &mut places);
        assert_eq!(places, ["rules/mod.rs"], "{name} is named in its list and nowhere else");
    }
}

/// The files below `folder` that name a module, but for the module itself; once for each line.
fn count(folder: &Path, module: &str, places: &mut Vec<String>) {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("it can be read").path();
        if path.is_dir() {
            count(&path, module, places);
        } else if path.file_stem().is_some_and(|stem| stem != module) {
            let text = fs::read_to_string(&path).unwrap_or_default();
            let word =
                |line: &str| line.split(|c: char| !(c.is_alphanumeric() || c == '_')).any(|w| w == module);
            let lines = text.lines().filter(|line| word(line)).count();
            let place = path.strip_prefix(&source).expect("below src").display().to_string();
            places.extend(std::iter::repeat_n(place, lines));
        }
    }
}
