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
