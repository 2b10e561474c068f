//! Whole commands: `fingertape sheet` and `fingertape songbook`, their files, words and exit codes.

mod program;

use program::{program, said};
use std::fs;
use std::path::Path;

const MELODIES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engraving/melodies");
const RULES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/rules");

/// Runs the program in `folder`: exit code, standard output, standard error.
fn run(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    said(program(arguments).current_dir(folder).output().expect("the program runs"))
}

fn melody(name: &str) -> String {
    format!("{MELODIES}/{name}.toml")
}

#[test]
fn a_melody_becomes_a_pdf_an_svg_and_a_png_by_the_ending_of_the_name() {
    let folder = tempfile::tempdir().unwrap();
    for (name, starts) in [("a.pdf", &b"%PDF-1."[..]), ("a.svg", b"<svg "), ("a.PNG", b"\x89PNG")] {
        let (code, out, err) =
            run(folder.path(), &["sheet", &melody("01-plain"), "--output", name, "--names"]);
        assert_eq!((code, out, err), (0, format!("{name}: 1 page.\n"), String::new()));
        assert!(fs::read(folder.path().join(name)).unwrap().starts_with(starts), "{name}");
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 3, "no half-written file is left");
}

#[test]
fn two_runs_write_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["one.pdf", "two.pdf", "one.svg", "two.svg", "one.png", "two.png"] {
        let (code, ..) =
            run(folder.path(), &["sheet", &melody("05-sixteenths"), "--output", name, "--fingers"]);
        assert_eq!(code, 0);
    }
    let read = |name: &str| fs::read(folder.path().join(name)).unwrap();
    for ending in ["pdf", "svg", "png"] {
        assert!(read(&format!("one.{ending}")) == read(&format!("two.{ending}")), "{ending}");
    }
}

#[test]
fn pages_of_pictures_are_numbered_and_a_pdf_holds_them_all() {
    let folder = tempfile::tempdir().unwrap();
    let tune = melody("13-sixty-four-bars");
    let (code, out, _) = run(folder.path(), &["sheet", &tune, "--output", "town.png", "--dpi", "50"]);
    assert_eq!((code, out.as_str()), (0, "town-1.png: page 1 of 2.\ntown-2.png: page 2 of 2.\n"));
    let (code, out, _) = run(folder.path(), &["sheet", &tune, "--output", "town.pdf"]);
    assert_eq!((code, out.as_str()), (0, "town.pdf: 2 pages.\n"));
}

#[test]
fn another_instrument_reads_its_own_clef() {
    let folder = tempfile::tempdir().unwrap();
    let tune = melody("01-plain");
    for (instrument, glyph) in [("viola", "#cClef"), ("cello", "#fClef"), ("bass", "#fClef")] {
        let (code, ..) =
            run(folder.path(), &["sheet", &tune, "--instrument", instrument, "--output", "sheet.svg"]);
        let svg = fs::read_to_string(folder.path().join("sheet.svg")).unwrap();
        assert!(code == 0 && svg.contains(glyph), "{instrument}");
    }
}

#[test]
fn what_cannot_be_done_is_said_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("broken.toml"), "bars = ['D4 q']").unwrap();
    fs::write(folder.path().join("unsaid.toml"), "bars = ['G3 w']").unwrap();
    fs::copy(melody("01-plain"), folder.path().join("tune.pdf")).unwrap();
    let tune = melody("01-plain");
    for (arguments, said) in [
        (vec!["sheet", &*tune, "--output", "sheet.jpg"], ".pdf (to print)"),
        (vec!["sheet", "none.toml", "--output", "sheet.pdf"], "there is no file none.toml"),
        (vec!["sheet", "broken.toml", "--output", "sheet.pdf"], "ar 1"),
        (vec!["sheet", "unsaid.toml", "--output", "sheet.pdf"], "--instrument"),
        (vec!["sheet", "tune.pdf", "--output", "tune.pdf"], "the melody itself"),
        (vec!["sheet", &*tune, "--output", "no/sheet.pdf"], "make the folder first"),
        (vec!["sheet", &*tune, "--output", "sheet.pdf", "--staff-size", "2"], "4 to 16 millimetres"),
        (vec!["sheet", &*tune, "--output", "sheet.png", "--dpi", "9000"], "40 to 600 pixels"),
        (vec!["sheet", &*tune, "--output", "sheet.pdf", "--paper", "tabloid"], "letter, a4"),
        (vec!["songbook", ".", "--output", "book.png"], "end its name in .pdf"),
        (vec!["songbook", "nowhere", "--output", "book.pdf"], "nowhere cannot be read"),
    ] {
        let (code, out, err) = run(folder.path(), &arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}: {err}");
        assert!(err.contains(said), "{arguments:?}: {err}");
    }
    assert!(!folder.path().join("sheet.pdf").exists());
}

#[test]
fn a_finger_beyond_first_position_is_told_beside_the_sheet() {
    let folder = tempfile::tempdir().unwrap();
    let (code, _, err) =
        run(folder.path(), &["sheet", &melody("02-ledger-lines"), "--output", "a.pdf", "--fingers"]);
    assert_eq!(code, 0);
    assert!(err.starts_with("Remark: From bar 2 on: D6, C6, E6 and C#6 are not in first position"), "{err}");
}

#[test]
fn a_folder_becomes_a_book_sorted_by_title() {
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("book.pdf");
    let (code, out, err) =
        run(folder.path(), &["songbook", MELODIES, "--output", "book.pdf", "--title", "Tunes of 4B"]);
    assert_eq!(code, 0, "{err}");
    // Thirteen melodies of one page, one of two, and the contents.
    assert_eq!(out, "book.pdf: 16 pages.\n14 melodies are in it.\n");
    let text = pdf_extract::extract_text_by_pages(&book).expect("a PDF");
    let contents = text[0].replace(char::is_whitespace, "");
    let places: Vec<usize> =
        ["Tunesof4B", "10-one-bar", "DownintheCellar", "FlatasaLake", "WaltzoftheUmbrellas"]
            .iter()
            .map(|title| contents.find(title).unwrap_or_else(|| panic!("{title}: {contents}")))
            .collect();
    assert!(places.is_sorted(), "{places:?}: {contents}");
}

#[test]
fn a_book_is_sorted_without_accents_and_advises_only_what_it_has() {
    let folder = tempfile::tempdir().unwrap();
    for (name, title) in [("a", "Zebra"), ("b", "Äpfel"), ("c", "brook")] {
        let text = format!("title = '{title}'\nbars = ['D4 w', 'A4 w']");
        fs::write(folder.path().join(format!("{name}.toml")), text).unwrap();
    }
    let (code, _, err) = run(folder.path(), &["songbook", ".", "--output", "book.pdf"]);
    assert_eq!(code, 0, "{err}");
    assert!(err.contains("write the right one into the file") && !err.contains("--instrument"), "{err}");
    let contents = words_by_page(&folder.path().join("book.pdf"))[0].clone();
    let places: Vec<Option<usize>> = ["Äpfel", "brook", "Zebra"].map(|title| contents.find(title)).to_vec();
    assert!(places.iter().all(Option::is_some) && places.is_sorted(), "{places:?}: {contents}");
}

#[test]
fn a_book_names_every_file_that_it_had_to_leave_out_and_ends_with_1() {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(melody("01-plain"), folder.path().join("good.toml")).unwrap();
    fs::write(folder.path().join("half.toml"), "bars = ['D4 q']").unwrap();
    fs::write(folder.path().join("noise.abc"), [0xff, 0xfe, 0x00, 0xd8]).unwrap();
    fs::write(folder.path().join("notes.txt"), "not a melody, and not asked").unwrap();
    let (code, out, err) = run(folder.path(), &["songbook", ".", "--output", "book.pdf"]);
    assert_eq!(code, 1);
    assert!(out.starts_with("book.pdf: 2 pages.\n1 melody is in it.\n"), "{out}");
    assert_eq!(err, "");
    assert!(out.contains("  half.toml:1:10: bar 1, beat 2: ") && out.contains("  noise.abc: "), "{out}");
    assert!(!out.contains("notes.txt"), "{out}");
    fs::remove_file(folder.path().join("good.toml")).unwrap();
    fs::remove_file(folder.path().join("book.pdf")).unwrap();
    let (code, out, err) = run(folder.path(), &["songbook", ".", "--output", "book.pdf"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("there is no melody in") && err.contains("half.toml"), "{err}");
    assert!(!folder.path().join("book.pdf").exists());
}

#[test]
fn a_rule_file_beside_the_melodies_is_no_broken_melody() {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(melody("01-plain"), folder.path().join("good.toml")).unwrap();
    fs::copy(format!("{RULES}/canal.toml"), folder.path().join("rules.toml")).unwrap();
    let (code, out, err) = run(folder.path(), &["songbook", ".", "--output", "book.pdf"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.ends_with("1 melody is in it.\n./rules.toml holds rules, not a melody.\n"), "{out}");
    fs::remove_file(folder.path().join("rules.toml")).unwrap();
    fs::write(folder.path().join("rubric.toml"), "highest = 20\n").unwrap();
    let (code, out, err) = run(folder.path(), &["songbook", ".", "--output", "book.pdf"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.ends_with("1 melody is in it.\n./rubric.toml holds a rubric, not a melody.\n"), "{out}");
}

#[test]
fn a_melody_in_a_book_that_does_not_say_who_plays_it_is_printed_with_a_remark() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("low.toml"), "bars = ['C2 w']").unwrap();
    fs::write(folder.path().join("any.toml"), "bars = ['G3 w']").unwrap();
    let (code, out, err) = run(folder.path(), &["songbook", ".", "--output", "book.pdf"]);
    assert_eq!(code, 0, "{out}");
    assert!(
        err.contains("low: The melody does not say which instrument") && err.contains("for cello"),
        "{err}"
    );
    assert!(err.contains("any: Neither a clef nor an instrument is known"), "{err}");
}

/// The words of a PDF page by page, without spaces.
fn words_by_page(path: &Path) -> Vec<String> {
    let pages = pdf_extract::extract_text_by_pages(path).expect("a PDF");
    pages.iter().map(|page| page.replace(char::is_whitespace, "")).collect()
}

#[test]
fn a_class_set_is_one_pdf_with_a_sheet_for_each_instrument() {
    let folder = tempfile::tempdir().unwrap();
    let rules = format!("{RULES}/four-notes.toml");
    let (code, out, err) = run(
        folder.path(),
        &["sheet", "--rules", &rules, "--for", "violin,bass,VIOLA,bass", "--output", "set.pdf"],
    );
    assert_eq!(
        (code, out.as_str(), err.as_str()),
        (0, "set.pdf: 3 pages.\n", "Remark: On the bass, the G of the D string is the open G string.\n")
    );
    let pages = words_by_page(&folder.path().join("set.pdf"));
    for (page, instrument) in pages.iter().zip(["Violin", "Bass", "Viola"]) {
        assert!(page.starts_with("FournotesfromDtoG") && page.contains(instrument), "{page}");
        for words in ["Name", "Notestochoosefrom", "Barstotrythingsoutin", "Yourmelody", "UseatLeast1rest"] {
            assert!(page.to_lowercase().contains(&words.to_lowercase()), "{words}: {page}");
        }
    }
    // Without --for it is all four; twice the same command gives the same bytes.
    for name in ["one.pdf", "two.pdf"] {
        let (_, out, _) = run(folder.path(), &["sheet", "--rules", &rules, "--output", name]);
        assert_eq!(out, format!("{name}: 4 pages.\n"));
    }
    let read = |name: &str| fs::read(folder.path().join(name)).unwrap();
    assert!(read("one.pdf") == read("two.pdf"));
}

#[test]
fn every_rule_file_that_comes_along_prints_for_every_instrument_in_every_tier() {
    let folder = tempfile::tempdir().unwrap();
    for (file, tiers) in [
        ("four-notes", &[""][..]),
        ("canal", &["near-bank", "open-water"]),
        ("two-strings", &["first-steps", "long-walk"]),
    ] {
        for tier in tiers {
            let rules = format!("{RULES}/{file}.toml");
            let mut arguments = vec!["sheet", "--rules", &rules, "--output", "set.pdf"];
            if !tier.is_empty() {
                arguments.extend(["--tier", tier]);
            }
            let (code, _, err) = run(folder.path(), &arguments);
            assert_eq!((code, err.contains("not printed")), (0, false), "{file} {tier}: {err}");
            let pages = words_by_page(&folder.path().join("set.pdf")).concat();
            assert!(pages.contains(tier), "{file} {tier}: {pages}");
        }
    }
}

#[test]
fn a_blank_sheet_has_the_given_notes_and_the_bars_that_the_rules_ask_for() {
    let folder = tempfile::tempdir().unwrap();
    let rules = "title = 'Two'\nmetre = '3/4'\nbars = 6\nkey = 'G'\n\
        [[given]]\nbar = 2\nbeat = 3\nlength = 'q'\nnote = 1\n\
        [[given]]\nbar = 6\nbeat = 1\nlength = 'h.'\nnote = 'rest'\n";
    fs::write(folder.path().join("rules.toml"), rules).unwrap();
    let heads = |practice: &str| {
        let arguments = ["sheet", "--rules", "rules.toml", "--for", "cello", "--practice-bars", practice];
        let (code, _, err) = run(folder.path(), &[&arguments[..], &["--output", "sheet.svg"]].concat());
        assert_eq!(code, 0, "{err}");
        let svg = fs::read_to_string(folder.path().join("sheet.svg")).unwrap();
        (
            svg.matches("#noteheadBlack").count(),
            svg.matches("#restHalf").count(),
            svg.matches("#fClef").count(),
        )
    };
    let (notes, rests, staves) = heads("0");
    assert_eq!((notes, rests), (1, 1));
    let (_, _, more) = heads("1");
    assert_eq!(more, staves + 1);
}

#[test]
fn a_melody_is_printed_moved_for_every_instrument_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let (code, out, err) = run(
        folder.path(),
        &["sheet", &melody("01-plain"), "--for", "viola,cello", "--output", "friends.pdf", "--fingers"],
    );
    assert_eq!((code, out.as_str()), (0, "friends.pdf: 2 pages.\n"), "{err}");
    let pages = words_by_page(&folder.path().join("friends.pdf"));
    assert!(pages[0].contains("Viola") && pages[1].contains("Cello"), "{pages:?}");
}

#[test]
fn what_is_wrong_with_a_class_set_is_said_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let tune = melody("01-plain");
    let canal = format!("{RULES}/canal.toml");
    fs::write(folder.path().join("bad.toml"), "metre = '4/4'\nmost_rest = 3\n").unwrap();
    fs::write(folder.path().join("rules.pdf"), "metre = '4/4'").unwrap();
    let take = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/take.flac");
    fs::copy(take, folder.path().join("take.flac")).unwrap();
    fs::write(folder.path().join("begun.toml"), "title = 'Rain'\nmetre = '4/4'\n").unwrap();
    for (arguments, said) in [
        (vec!["sheet", "--output", "set.pdf"], "<MELODY|--rules"),
        (vec!["sheet", &*tune, "--rules", &*canal, "--output", "set.pdf"], "cannot be used with"),
        (vec!["sheet", "--rules", &*canal, "--output", "set.pdf"], "--tier near-bank or --tier open-water"),
        (vec!["sheet", "--rules", &*canal, "--tier", "x", "--output", "set.pdf"], "has no tier x"),
        (vec!["sheet", "--rules", "none.toml", "--output", "set.pdf"], "there is no file none.toml"),
        (vec!["sheet", "--rules", "bad.toml", "--output", "set.pdf"], "most_rests"),
        (vec!["sheet", "--rules", "rules.pdf", "--output", "rules.pdf"], "the rule file itself"),
        (
            vec!["sheet", "--rules", &*canal, "--for", "horn", "--output", "set.pdf"],
            "violin, viola, cello, bass",
        ),
        (
            vec!["sheet", "--rules", &*canal, "--practice-bars", "99", "--output", "set.pdf"],
            "give 0 to 32 bars",
        ),
        (vec!["sheet", "--rules", &*tune, "--output", "set.pdf"], "leave out --rules to print it"),
        (vec!["sheet", &*canal, "--output", "set.pdf"], "canal.toml is a rule file, not a melody"),
        (vec!["sheet", "begun.toml", "--output", "set.pdf"], "there are no bars"),
        (vec!["sheet", "take.flac", "--output", "set.pdf"], "take.flac is a recording"),
        (vec!["sheet", &*tune, "--tier", "x", "--output", "set.pdf"], "cannot be used with"),
    ] {
        let (code, out, err) = run(folder.path(), &arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}: {err}");
        let words: Vec<&str> = err.split_whitespace().filter(|word| *word != "│").collect();
        assert!(words.join(" ").contains(said), "{arguments:?}: {err}");
        assert!(!err.contains("check TAKE"), "{arguments:?}: {err}");
    }
    assert!(!folder.path().join("set.pdf").exists());
}
