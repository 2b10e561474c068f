//! The contributors' guide speaks of files, examples and options that are there.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

fn read(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name))
        .unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// What stands between single backticks, blocks of code left out.
fn code_words(guide: &str) -> Vec<String> {
    let prose: Vec<&str> = guide.split("```").step_by(2).collect();
    prose.join(" ").split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

#[test]
fn every_path_in_the_guide_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let paths: BTreeSet<String> = code_words(&read("DEVELOPERS.md"))
        .iter()
        .flat_map(|word| word.split_whitespace())
        .filter(|word| {
            ["src/", "tests/", "benches/", "audio-fixtures/", "demo-data/", ".ci/"]
                .iter()
                .any(|start| word.starts_with(start))
        })
        .filter(|word| !word.contains("NAME") && !word.contains('*'))
        .map(str::to_owned)
        .collect();
    assert!(paths.len() >= 60, "hardly any path was found: {paths:?}");
    let lost: Vec<&String> = paths.iter().filter(|path| !root.join(path).exists()).collect();
    assert!(lost.is_empty(), "{lost:?}");
}

/// Every file with tests in a folder and those inside it, one after the other.
fn all_code(folder: &Path) -> String {
    let mut code = String::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            code += &all_code(&path);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            code += &fs::read_to_string(&path).expect("code");
        }
    }
    code
}

#[test]
fn every_promise_about_faults_is_shown_by_a_test_that_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let code = all_code(&root.join("src")) + &all_code(&root.join("tests"));
    let guide = read("DEVELOPERS.md");
    let table =
        guide.split("<!-- faults:begin -->").nth(1).and_then(|rest| rest.split("<!-- faults:end -->").next());
    let rows: Vec<&str> = table.expect("the table is marked").trim().lines().skip(2).collect();
    assert!(rows.len() >= 15, "{}", rows.len());
    let mut named = BTreeSet::new();
    for row in rows {
        // A bar inside a cell is written with a backslash.
        let cells: Vec<String> = row.replace("\\|", "/").split('|').map(str::to_owned).collect();
        let shown = code_words(cells.get(3).unwrap_or_else(|| panic!("three columns: {row}")));
        assert!(!shown.is_empty(), "{row}");
        for name in shown {
            let test = code.split(&format!("fn {name}(")).next().filter(|before| before.len() < code.len());
            let attribute = test.unwrap_or_else(|| panic!("there is no test {name}")).trim_end();
            assert!(attribute.ends_with("#[test]"), "{name} is no test");
            named.insert(name);
        }
    }
    // Nothing in the suite is left out of the table.
    for file in ["killed_recordings", "outputs", "recordings", "standard_output"] {
        let code = read(&format!("tests/faults/{file}.rs"));
        for test in code.split("#[test]\nfn ").skip(1).filter_map(|rest| rest.split('(').next()) {
            assert!(named.contains(test), "{test} is not in the table");
        }
    }
}

#[test]
fn the_picture_names_files_of_the_library() {
    let guide = read("DEVELOPERS.md");
    let picture = guide.split("```").nth(1).expect("the picture comes first");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut room = "";
    let mut named = 0;
    for word in picture.split_whitespace().map(|word| word.trim_end_matches(',')) {
        let Some(name) = word.strip_suffix(".rs") else { continue };
        // A name without its room is in the room of the name before it.
        let path = match name.rsplit_once('/') {
            Some((folder, _)) => {
                room = folder;
                source.join(word)
            }
            None if source.join(word).is_file() => source.join(word),
            None => source.join(room).join(word),
        };
        assert!(path.is_file(), "{word}");
        named += 1;
    }
    assert!(named >= 20, "{named}");
}

#[test]
fn every_example_and_bench_of_the_guide_is_in_the_manifest() {
    let (guide, manifest) = (read("DEVELOPERS.md"), read("Cargo.toml"));
    let words: Vec<&str> = guide.split_whitespace().collect();
    let asked: BTreeSet<&str> = words
        .windows(2)
        .filter(|pair| pair[0] == "--example" || pair[0] == "--bench")
        .map(|pair| pair[1].trim_end_matches(['`', ',', '.']))
        .collect();
    assert!(asked.len() >= 6, "{asked:?}");
    for name in asked {
        assert!(manifest.contains(&format!("name = \"{name}\"")), "{name}");
    }
}

#[test]
fn every_dependency_has_its_reason_beside_it() {
    let manifest = read("Cargo.toml");
    let (mut inside, mut before, mut counted) = (false, "", 0);
    for line in manifest.lines() {
        if line.starts_with('[') {
            inside = line.contains("dependencies]");
        } else if inside && line.contains(" = ") && !line.starts_with('#') {
            assert!(before.starts_with("# "), "no reason above: {line}");
            counted += 1;
        }
        before = line;
    }
    assert!(counted >= 40, "{counted}");
}

#[test]
fn no_code_is_unsafe_and_the_oldest_compiler_is_named_alike_everywhere() {
    let manifest = read("Cargo.toml");
    let lints = manifest.split("[lints.rust]").nth(1).expect("the lints of every target");
    assert!(lints.split("\n[").next().is_some_and(|table| table.contains("unsafe_code = \"forbid\"")));
    let oldest = manifest.split("rust-version = \"").nth(1).and_then(|rest| rest.split('"').next());
    let oldest = oldest.expect("a version");
    assert!(read("README.md").contains(&format!("Rust {oldest} or newer")));
    assert!(read("DEVELOPERS.md").contains(&format!("Rust {oldest} is the oldest")));
}
