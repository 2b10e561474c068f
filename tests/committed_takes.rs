//! The committed takes are the ones that their generator makes.

mod made_takes;

use std::collections::BTreeSet;
use std::fs;

/// The mathematics library may round the last digit otherwise on another machine.
const LAST_DIGITS: i32 = 2;

#[test]
fn every_committed_take_is_what_its_generator_makes() {
    let cases = made_takes::cases();
    assert!(cases.len() >= 10);
    for case in &cases {
        let folder = made_takes::folder(case);
        let made = made_takes::files(case);
        let text = |name: &str| {
            fs::read_to_string(folder.join(name))
                .unwrap_or_else(|error| panic!("{}/{name}: {error}", case.name))
        };
        assert_eq!(text("melody.toml"), case.melody, "{}", case.name);
        assert_eq!(text("expected.json"), made.expected, "{}", case.name);
        assert_eq!(text("origin.txt"), made.origin, "{}", case.name);
        let take = fingertape::decode::read_take(&folder.join("take.flac")).expect("a take of our own");
        let committed = made_takes::sixteen_bits(&take.samples);
        assert_eq!(committed.len(), made.pcm.len(), "{}", case.name);
        let again = fingertape::decode::read_take_bytes("made.flac", made.flac).expect("a take just made");
        assert_eq!(made_takes::sixteen_bits(&again.samples), made.pcm, "{}: FLAC is lossless", case.name);
        let worst = committed.iter().zip(&made.pcm).map(|(a, b)| (a - b).abs()).max().unwrap_or(0);
        assert!(worst <= LAST_DIGITS, "{}: {worst} sixteen-bit steps apart", case.name);
    }
}

#[test]
fn every_fixture_folder_has_a_case() {
    let cases = made_takes::cases();
    let named: BTreeSet<String> =
        cases.iter().map(|case| case.name.to_owned()).filter(|name| name != "demo").collect();
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures");
    let there: BTreeSet<String> = fs::read_dir(root)
        .expect("audio-fixtures is there")
        .map(|entry| entry.expect("audio-fixtures can be read"))
        .filter(|entry| entry.path().join("expected.json").is_file())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(there, named);
}

#[test]
fn the_demo_take_stays_small_enough_to_be_built_in() {
    let cases = made_takes::cases();
    let demo = cases.iter().find(|case| case.name == "demo").expect("there is a demo");
    let size = fs::metadata(made_takes::folder(demo).join("take.flac")).expect("the demo is there").len();
    assert!(size < 600_000, "{size} bytes");
}
