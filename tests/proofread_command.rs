//! `fingertape proofread` as people and scripts use it, the demo's rule files on all four instruments,
//! and rule files of any bytes.

mod program;

use fingertape::formats::{read_rule_bytes, read_rule_file};
use fingertape::notation::Instrument;
use fingertape::rules::{RULES, RuleSheet};
use program::{program, said};
use proptest::prelude::*;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

fn demo(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data").join(name).display().to_string()
}

fn run(arguments: &[&str]) -> (i32, String, String) {
    let arguments = [&["proofread"], arguments].concat();
    said(program(&arguments).output().expect("the program runs"))
}

/// An error without its line breaks and frame.
fn words(text: &str) -> String {
    text.split_whitespace().filter(|word| !["│", "×", "help:"].contains(word)).collect::<Vec<_>>().join(" ")
}

/// A melody and a rule file in a folder of their own.
fn files(melody: &str, rules: &str) -> (tempfile::TempDir, String, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let place = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::write(&path, text).expect("a file");
        path.display().to_string()
    };
    let (melody, rules) = (place("tune.toml", melody), place("rules.toml", rules));
    (folder, melody, rules)
}

const TUNE: &str = "instrument = 'violin'\nkey = 'D'\nbars = ['D4 q E4 F#4 G4', 'A4 q G4 Bb4 r', 'D4 w']\n";

#[test]
fn a_melody_that_has_what_the_sheet_asks_ends_with_0_and_says_what_was_kept() {
    let (code, text, errors) =
        run(&[&demo("melody.toml"), "--rules", &demo("rules/canal.toml"), "--tier", "open-water"]);
    assert_eq!((code, errors.as_str()), (0, ""), "{text}");
    assert!(
        text.starts_with(
            "Lanterns on the Canal (viola)\nThe rule sheet: A tune along the water, open-water\n"
        )
    );
    assert!(
        text.contains("Nothing to change\nAll is as the sheet asks: the metre, the number of bars"),
        "{text}"
    );
}

#[test]
fn every_breach_is_told_by_bar_and_beat_and_the_exit_code_is_1() {
    let rules = "bars = 4\nmost_rests = 0\n[[notes]]\nstring = 'D'\nnotes = ['D', 'E', 'F#', 'G', 'A']\n";
    let (_folder, melody, rules) = files(TUNE, rules);
    let (code, text, errors) = run(&[&melody, "--rules", &rules]);
    assert_eq!((code, errors.as_str()), (1, ""));
    let told: Vec<&str> = text.lines().filter_map(|line| line.strip_prefix("- ")).collect();
    assert_eq!(
        told,
        [
            "Your melody has 3 bars; the sheet asks for 4, so write 1 more.",
            "Bar 2, beat 3: B flat is not on your list; you may use D, E, F sharp, G or A.",
            "Bar 2, beat 4: this is the 1st rest; the sheet allows none, so put a note here or somewhere before.",
        ]
    );
    assert!(text.contains("3 things to change"), "{text}");
}

#[test]
fn json_says_the_same_for_programs() {
    let rules = "metre = '4/4'\n[[notes]]\nstring = 'D'\nnotes = ['D', 'E', 'F#', 'G', 'A']\n";
    let (_folder, melody, rules) = files(TUNE, rules);
    let (code, text, _) = run(&[&melody, "--rules", &rules, "--format", "json"]);
    assert_eq!(code, 1);
    let said: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(said["outcome"], "to-change");
    assert_eq!(said["breaches"][0]["rule"], "notes");
    assert_eq!((&said["breaches"][0]["bar"], &said["breaches"][0]["beat"]), (&2.into(), &3.0.into()));
    assert_eq!(said["kept"], serde_json::json!(["metre"]));
    assert_eq!(said["melody"], "tune", "without a title the file gives its name");
    assert_eq!(said["sheet"]["asks"][1], "Choose from D, E, F sharp, G or A.");
}

#[test]
fn a_note_with_the_name_of_its_finger_is_not_to_be_changed() {
    let rules = "key = 'F'\n[[notes]]\nstring = 'A'\nfingers = ['0', '1 low', '2']\n";
    let tune = "instrument = 'violin'\nkey = 'F'\nbars = ['A4 q Bb4 C#5 A4']\n";
    let (_folder, melody, rules) = files(tune, rules);
    let (code, text, _) = run(&[&melody, "--rules", &rules]);
    assert_eq!(code, 0, "{text}");
}

#[test]
fn a_pickup_numbered_1_and_a_bar_without_a_number_are_counted_as_they_are() {
    let broken = |name: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/formats/broken").join(name);
        path.display().to_string()
    };
    let (_folder, _, rules) = files(TUNE, "bars = 2\nfill_every_bar = true\n");
    let (code, text, _) = run(&[&broken("pickup_numbered_1.musicxml"), "--rules", &rules]);
    assert_eq!(code, 0, "{text}");
    let (_folder, _, rules) = files(TUNE, "bars = 3\nfill_every_bar = true\nmost_rests = 1\n");
    let (code, text, _) = run(&[&broken("full_bar_without_number.musicxml"), "--rules", &rules]);
    assert_eq!(code, 1, "{text}");
    assert!(text.contains("Bar 2, beat 2: this is the 2nd rest"), "{text}");
    assert!(text.contains("1 thing to change"), "{text}");
    assert!(words(&text).contains("Bar 2 of the file is bar 3 here"), "{text}");
}

#[test]
fn a_repeated_bar_is_spoken_of_once() {
    let tune = "instrument = 'violin'\nbars = ['|: D4 q E4 C5 G4 :|', 'D4 w']\n";
    let (_folder, melody, rules) = files(tune, "bars = 2\n[[notes]]\nstring='D'\nnotes=['D','E','G']\n");
    let (code, text, _) = run(&[&melody, "--rules", &rules]);
    assert_eq!(code, 1);
    assert_eq!(text.matches("Bar 1, beat 3").count(), 1, "{text}");
    assert!(text.contains("As the sheet asks already: the number of bars."), "{text}");
}

#[test]
fn a_mistake_in_the_rule_file_is_shown_where_it_stands_and_ends_with_2() {
    for (rules, place, advice) in [
        ("largest_leep = 'fifth'\n", "rules.toml:1:1", "Did you mean largest_leap?"),
        ("bars = 4\nlargest_leap = 'huge'\n", "rules.toml:2:16", "Write second, third, fourth"),
        ("bars = '4'\n", "rules.toml:1:8", "Write it without quotes: bars = 1"),
        ("[tier.a]\nnote_values = ['x']\n", "rules.toml:2:16", "\"w\" whole, \"h\" half"),
        ("[[notes]]\nnotes = ['D']\n", "rules.toml:1:1", "Write string = \"D\""),
        ("[[notes]]\nstring = 'C'\nnotes = ['C']\n", "rules.toml:1:1", "instead.violin = { string = \"G\""),
        ("[[given]]\nbar=1\nbeat=5\nlength='q'\nnote=1\n", "rules.toml:1:1", "A bar of 4/4 has 4 beats."),
        ("metre = '4/3'\n", "rules.toml:1:9", "write it like 4/4"),
        ("bars = \n", "rules.toml:1:8", "Check quotes and brackets"),
    ] {
        let (_folder, melody, rules) = files(TUNE, rules);
        let (code, text, errors) = run(&[&melody, "--rules", &rules]);
        assert_eq!((code, text.as_str()), (2, ""), "{errors}");
        let errors = words(&errors);
        assert!(errors.contains(place) && errors.contains(advice), "{place}: {errors}");
    }
}

#[test]
fn every_mistake_of_a_rule_file_is_told() {
    let (_folder, melody, rules) = files(TUNE, "barz = 4\nmost_rests = -1\n[tier.a]\nkey = 'H'\n");
    let (code, _, errors) = run(&[&melody, "--rules", &rules]);
    assert_eq!(code, 2);
    for place in ["rules.toml:1:1", "rules.toml:2:14", "rules.toml:4:7"] {
        assert!(errors.contains(place), "{place}: {errors}");
    }
}

#[test]
fn a_tier_is_chosen_or_asked_for() {
    let canal = demo("rules/canal.toml");
    for (more, said) in [
        (&[][..], "has 2 tiers choose one: --tier near-bank or --tier open-water"),
        (&["--tier", "sea"][..], "has no tier sea choose one: --tier near-bank or --tier open-water"),
    ] {
        let mut arguments = vec![demo("melody.toml"), "--rules".into(), canal.clone()];
        arguments.extend(more.iter().map(|one| (*one).to_owned()));
        let (code, _, errors) = run(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
        assert_eq!(code, 2);
        assert!(words(&errors).contains(said), "{errors}");
    }
    let (_folder, melody, rules) = files(TUNE, "[tier.only]\nbars = 9\n");
    let (code, text, _) = run(&[&melody, "--rules", &rules]);
    assert_eq!(code, 1);
    assert!(text.contains("The rule sheet: without a title, only"), "{text}");
}

#[test]
fn a_file_that_is_not_there_is_said_to_be_which() {
    let (_, _, errors) = run(&[&demo("melody.toml"), "--rules", "/nowhere.toml"]);
    assert!(words(&errors).contains("there is no file /nowhere.toml (the rules)"), "{errors}");
}

#[test]
fn the_help_names_every_rule() {
    let (code, text, _) = run(&["--help"]);
    assert_eq!(code, 0);
    for rule in RULES {
        assert!(text.contains(rule.word), "{}", rule.word);
    }
}

fn demo_rules() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/rules");
    let mut files: Vec<PathBuf> =
        fs::read_dir(folder).expect("rule files").map(|entry| entry.expect("a file").path()).collect();
    files.sort();
    files
}

#[test]
fn every_demo_sheet_serves_all_four_instruments_in_first_position() {
    let files = demo_rules();
    assert!(files.len() >= 3, "{files:?}");
    let mut sheets = 0;
    for path in files {
        let file = read_rule_file(&path).expect("a rule file");
        let tiers = file.tiers.iter().map(|tier| Some(tier.name.as_str()));
        for tier in tiers.chain(file.tiers.is_empty().then_some(None)) {
            let (rules, complaints) = RuleSheet::from_file(&file, tier);
            assert_eq!(complaints, [], "{}", path.display());
            for instrument in Instrument::ALL {
                let (sheet, complaints) = rules.for_instrument(instrument);
                assert_eq!(complaints, [], "{} {tier:?} {instrument}", path.display());
                assert_eq!((sheet.clef, sheet.tier.as_deref()), (instrument.clef(), tier));
                assert!(sheet.choices.len() >= 4 && !sheet.sentences.is_empty());
                for choice in &sheet.choices {
                    let fingering = choice.fingering;
                    assert_eq!(
                        instrument.open_strings()[fingering.string] + fingering.semitones,
                        choice.sounding
                    );
                    assert_eq!(choice.written.midi() + instrument.sounding_shift(), choice.sounding);
                    assert_eq!(instrument.string_names()[fingering.string], choice.string_name);
                }
                let given = sheet.given.iter().filter_map(|given| given.note.as_ref());
                for pitch in given {
                    let known = sheet.choices.iter().any(|choice| choice.sounding == pitch.sounding);
                    assert!(known, "{instrument}: what is given may be used");
                }
                sheets += 1;
            }
        }
    }
    assert!(sheets >= 20, "{sheets}");
}

/// Worked out by hand: the fingers of the violin's D string, as each instrument plays those notes.
#[test]
fn one_row_of_fingers_is_four_hands() {
    let file =
        read_rule_bytes("r.toml", b"key = 'D'\nnotes = [{ string = 'D', fingers = ['0', 1, '2', 3] }]");
    let (rules, _) = RuleSheet::from_file(&file.expect("a file"), None);
    for (instrument, expected) in [
        (Instrument::Violin, "D4 D0, E4 D1, F#4 D2, G4 D3"),
        (Instrument::Viola, "D4 D0, E4 D1, F#4 D2, G4 D3"),
        (Instrument::Cello, "D3 D0, E3 D1, F#3 D3, G3 D4"),
        // The bass has G as its open string, and reads an octave higher than it sounds.
        (Instrument::Bass, "D3 D0, E3 D1, F#3 D4, G3 G0"),
    ] {
        let (sheet, complaints) = rules.for_instrument(instrument);
        assert_eq!(complaints, []);
        let found = sheet
            .choices
            .iter()
            .map(|choice| format!("{} {}{}", choice.written, choice.string_name, choice.fingering.finger));
        assert_eq!(found.collect::<Vec<_>>().join(", "), expected, "{instrument}");
        let moved = (instrument == Instrument::Bass)
            .then_some("On the bass, the G of the D string is the open G string.");
        assert_eq!(sheet.remarks.first().map(|remark| remark.text.as_str()), moved);
    }
}

/// Reads bytes as a rule file for everybody; whatever is complained about points into the file.
fn survives(bytes: &[u8]) -> Result<(), TestCaseError> {
    let Ok(file) = read_rule_bytes("r.toml", bytes) else { return Ok(()) };
    let tiers: Vec<Option<&str>> =
        file.tiers.iter().map(|tier| Some(tier.name.as_str())).chain([None]).collect();
    for tier in tiers {
        let (rules, mut complaints) = RuleSheet::from_file(&file, tier);
        for instrument in Instrument::ALL {
            let (sheet, more) = rules.for_instrument(instrument);
            complaints.extend(more);
            for choice in sheet.choices {
                prop_assert!(instrument.fingerings(choice.sounding).contains(&choice.fingering));
            }
        }
        for complaint in complaints {
            prop_assert!(complaint.span.end <= bytes.len() && !complaint.help.is_empty());
            let error = file.complaint(complaint.span, &complaint.message, &complaint.help);
            prop_assert!(error.line_column().is_some());
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_bytes_get_an_answer(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        survives(&bytes)?;
    }

    #[test]
    fn a_damaged_rule_file_gets_an_answer(
        which in 0..3_usize,
        changes in proptest::collection::vec((any::<proptest::sample::Index>(), proptest::sample::select(
            vec!["", "9", "-1", "'", "\"", "[", "]", "{}", "=", "\n", "é", "[[given]]\n", "1e9", "true", ".", "#", "nothing"],
        )), 1..6),
    ) {
        let text = fs::read_to_string(&demo_rules()[which]).expect("a rule file");
        let mut letters: Vec<String> = text.chars().map(String::from).collect();
        for (place, new) in changes {
            let at = place.index(letters.len());
            letters[at] = new.to_owned();
        }
        survives(letters.concat().as_bytes())?;
    }

    #[test]
    fn any_setting_of_any_word_gets_an_answer(
        word in proptest::sample::select(RULES.iter().map(|rule| rule.word).chain(["title", "bpm"]).collect::<Vec<_>>()),
        value in proptest::sample::select(vec![
            "0", "-7", "4294967296", "1.5", "nan", "1e300", "''", "'D'", "'q'", "'5/16'", "'0 on D'", "'rest'", "[]", "[[]]", "{}",
            "true", "false", "1979-05-27", "0x10", "[1, 2, 'F#']", "[{}]", "[{string='D',notes=['D']}]", "[{string='E',fingers=['4']}]",
            "{bar=1,beat=1,length='q',note='rest'}", "{bar=1,beat=2.5,length='w',note=9}", "['q','e']", "'fifth'",
        ]),
    ) {
        survives(format!("{word} = {value}\n").as_bytes())?;
        survives(format!("[tier.a]\n{word} = {value}\n").as_bytes())?;
    }
}

#[test]
fn of_a_given_note_that_is_gone_no_more_is_said_than_that() {
    let tune =
        "instrument = 'violin'\nkey = 'D'\nbars = ['B4 q E4 F#4 G4', 'G4 q F#4 E4 r', 'D4 w', 'D4 w']\n";
    let (_folder, melody, _) = files(tune, "");
    let (code, text, _) = run(&[&melody, "--rules", &demo("rules/four-notes.toml")]);
    assert_eq!(code, 1);
    assert_eq!(text.matches("Bar 1, beat 1").count(), 1, "{text}");
    assert!(text.contains("Bar 1, beat 1: the sheet gives D as a quarter note here"), "{text}");
}
