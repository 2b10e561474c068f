//! `fingertape class` as a teacher runs it: folders of takes with everything that a file drop brings, killed and run
//! again, on one thread and on many.

use calamine::{Data, Reader, Xlsx};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Instant;

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures").join(name)
}

/// Runs the command in a folder: exit code, standard output, standard error.
fn class(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output: Output = command(folder, arguments).output().expect("the program runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code().expect("it ends"), text(&output.stdout), text(&output.stderr))
}

fn command(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fingertape"));
    command.arg("class").args(arguments).current_dir(folder);
    command
}

/// A folder `takes` with these takes, each a fixture's, and a class list; the melodies lie beside them.
fn folder_of(roster: &str, takes: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let place = folder.path().join("takes");
    fs::create_dir(&place).expect("a folder");
    fs::write(place.join("roster.csv"), roster).expect("a file");
    for (name, case) in takes {
        let to = place.join(name);
        fs::create_dir_all(to.parent().expect("a folder")).expect("a folder");
        fs::copy(fixture(&format!("{case}/take.flac")), to).expect("a copy");
        let melody = place.join(format!("{case}.toml"));
        fs::copy(fixture(&format!("{case}/melody.toml")), melody).expect("a copy");
    }
    folder
}

/// Every file of a folder with its bytes.
fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(place) = folders.pop() {
        for entry in fs::read_dir(place).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("inside").to_string_lossy().into_owned();
                found.insert(name, fs::read(&path).expect("a file"));
            }
        }
    }
    found
}

const ROSTER: &str = "student,instrument,group,assignment\nviolin-1,violin,4A,all-right\nviolin-2,violin,4A,one-long-bow\n\
                      viola-1,viola,4A,missing-note\ncello-1,cello,4B,wrong-notes\nbass-1,bass,4B,extra-note\n";

const TAKES: [(&str, &str); 5] = [
    ("4A Violin 1.flac", "all-right"),
    ("violin_02/recording.flac", "one-long-bow"),
    ("VIOLA1 final.m4a", "missing-note"),
    ("cello-1.wav", "wrong-notes"),
    ("bass 1.flac", "extra-note"),
];

fn read(folder: &Path, name: &str) -> String {
    fs::read_to_string(folder.join("takes/marks").join(name))
        .unwrap_or_else(|error| panic!("{name}: {error}"))
}

#[test]
fn a_class_becomes_a_gradebook_with_the_notes_behind_each_mark() {
    let folder = folder_of(ROSTER, &TAKES);
    let (code, out, err) = class(folder.path(), &["takes"]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.starts_with("5 students, 5 takes: 5 with a mark, 0 to listen to or to look at.\n"), "{out}");
    let table = read(folder.path(), "gradebook.csv");
    // 2 of 15 notes are planted as wrong: pitch 87 %, rhythm and intonation full: (40 · 13/15 + 30 + 20) / 90 = 94.
    assert!(
        table.contains("\r\ncello-1,cello,4B,The Long Staircase,1,cello-1.wav,94,secure,87,100,,100,0,,\r\n"),
        "{table}"
    );
    let words = read(folder.path(), "students/cello-1.txt");
    assert!(words.contains("Bar 1, beat 3: F natural was played for F sharp (0:02.0)."), "{words}");
    let missing = read(folder.path(), "students/viola-1.txt");
    assert!(missing.contains("was not played (after 0:"), "{missing}");
    assert!(read(folder.path(), "listen-to-these.txt").contains("Nothing: every student has a mark"));
    assert!(read(folder.path(), "overview.html").contains("<a href=\"students/cello-1.html\">cello-1</a>"));
    assert!(read(folder.path(), "students/cello-1.html").contains("<title>cello-1, 4B: The Long Staircase"));
    // Each report has the findings that `check` has.
    let report: serde_json::Value =
        serde_json::from_str(&read(folder.path(), "students/cello-1.json")).expect("JSON");
    let wrong =
        report["notes"].as_array().expect("notes").iter().filter(|note| note["verdict"] == "wrong").count();
    assert_eq!(wrong, 2);
    let pdf = fs::read(folder.path().join("takes/marks/overview.pdf")).expect("a PDF");
    let text = pdf_extract::extract_text_from_mem(&pdf).expect("text");
    let text: String = text.split_whitespace().collect();
    assert!(text.contains("Playingtest") && text.contains("cello-1"), "{text}");
    assert!(pdf.windows(8).filter(|part| part == b"/Count 1").count() == 1, "one page");
    let page = read(folder.path(), "overview.html");
    assert!(
        !page.contains("http://")
            || page.matches("http://").count() == page.matches("http://www.w3.org/").count()
    );
    assert!(!page.contains("<script") && page.contains("default-src 'none'"));
}

#[test]
fn a_dry_run_shows_whose_each_file_is_and_writes_nothing() {
    let folder = folder_of(ROSTER, &TAKES);
    let before = contents(folder.path());
    let (code, out, _) = class(folder.path(), &["takes", "--dry-run"]);
    assert_eq!(code, 0, "{out}");
    assert!(
        out.contains(
            "violin-2 (violin, 4A; row 3)\n  melody: Swing Gate\n  take: violin_02/recording.flac\n"
        ),
        "{out}"
    );
    assert_eq!(contents(folder.path()), before);
}

#[test]
fn what_cannot_be_used_is_listed_and_costs_nobody_else_anything() {
    let folder = folder_of(ROSTER, &TAKES);
    let takes = folder.path().join("takes");
    let broken = |name: &str, to: &str| {
        fs::copy(fixture("broken").join(name), takes.join(to)).expect("a copy");
    };
    broken("empty.wav", "violin-1 empty.wav");
    broken("text.wav", "violin-1 text.wav");
    broken("eleven-minutes-in-few-bytes.flac", "viola-1 long.flac");
    broken("rate-768-khz.wav", "bass-1 rate.wav");
    fs::write(takes.join("cello-1 big.wav"), vec![0; 2 << 20]).expect("a file");
    fs::copy(fixture("rests/take.flac"), takes.join("someone.flac")).expect("a copy");
    fs::copy(fixture("rests/take.flac"), takes.join("violin-1 and violin-2.flac")).expect("a copy");
    fs::copy(takes.join("cello-1.wav"), takes.join("cello-1 copy.wav")).expect("a copy");
    let (code, out, _) = class(folder.path(), &["takes", "--largest", "1"]);
    assert_eq!(code, 1, "{out}");
    assert!(out.contains("5 students, 10 takes: 5 with a mark, 4 to listen to or to look at."), "{out}");
    assert!(out.contains("1 file fits no student, 1 file could belong to several students;"), "{out}");
    let list = read(folder.path(), "listen-to-these.txt");
    for line in [
        "violin-1 empty.wav",
        "violin-1 text.wav: The file is not a recording: it seems to be a text file.",
        "viola-1 long.flac: The recording is longer than 5 minutes.",
        "bass-1 rate.wav: The file claims 768000 samples a second",
        "cello-1 big.wav: The file is larger than 1 MB.",
    ] {
        assert!(list.contains(line), "{line}\n{list}");
    }
    let files = read(folder.path(), "files.txt");
    assert!(files.contains("violin-1 and violin-2.flac: violin-1 or violin-2?"), "{files}");
    assert!(files.contains("not judged):\n  someone.flac\n"), "{files}");
    assert!(
        files.contains("(left out):\n  cello-1.wav\n") || files.contains("(left out):\n  cello-1 copy.wav\n"),
        "{files}"
    );
}

#[test]
fn one_recording_for_two_students_is_nobodys() {
    let roster = "student,instrument,melody\nviolin-1,violin,all-right\nviolin-2,violin,all-right\n";
    let folder = folder_of(roster, &[("violin-1.flac", "all-right"), ("violin-2.flac", "all-right")]);
    let (code, out, _) = class(folder.path(), &["takes"]);
    assert_eq!(code, 1, "{out}");
    assert!(out.contains("0 with a mark, 2 to listen to"), "{out}");
    assert!(read(folder.path(), "files.txt").contains("violin-1.flac = violin-2.flac"));
    assert!(!read(folder.path(), "students/violin-1.txt").contains("violin-2"), "a report names nobody else");
}

#[cfg(unix)]
#[test]
fn hostile_names_and_links_stay_where_they_are() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let roster = "student,instrument,melody\n\"=1+1\",violin,all-right\n\"../../cello\",cello,wrong-notes\n\"a\nb\",viola,missing-note\n";
    let folder = folder_of(
        roster,
        &[("1+1.flac", "all-right"), ("cello\n.flac", "wrong-notes"), ("a b.flac", "missing-note")],
    );
    let takes = folder.path().join("takes");
    let outside = tempfile::tempdir().expect("a folder");
    fs::copy(fixture("rests/take.flac"), outside.path().join("t.flac")).expect("a copy");
    symlink(outside.path().join("t.flac"), takes.join("1+1 link.flac")).expect("a link");
    symlink(outside.path(), takes.join("folder")).expect("a link");
    let (code, out, err) = class(folder.path(), &["takes"]);
    assert_eq!(code, 1, "{out}{err}");
    assert!(
        out.contains(
            "3 students, 3 takes: 3 with a mark, 0 to listen to or to look at.\n2 files were not looked at"
        ),
        "{out}"
    );
    let marks = takes.join("marks");
    let written = contents(&marks);
    let reports: Vec<&String> = written.keys().filter(|name| name.starts_with("students/")).collect();
    let names = ["1-1", "a-b", "cello"];
    let expected =
        names.map(|name| ["html", "json", "txt"].map(|ending| format!("students/{name}.{ending}")));
    assert_eq!(reports, expected.iter().flatten().collect::<Vec<_>>());
    assert!(read(folder.path(), "gradebook.csv").contains("\r\n'=1+1,violin,"));
    assert!(!read(folder.path(), "files.txt").contains("cello\n.flac"), "a line feed is spelled out");
    let mut book = Xlsx::new(std::io::Cursor::new(&written["gradebook.xlsx"])).expect("a spreadsheet");
    let range = book.worksheet_range("marks").expect("a sheet");
    assert_eq!(range.get_value((1, 0)), Some(&Data::String("=1+1".to_owned())));
    assert!(book.worksheet_formula("marks").expect("a sheet").used_cells().next().is_none());
    for place in ["", "students", "results"] {
        let mode = fs::metadata(marks.join(place)).expect("a folder").permissions().mode();
        assert_eq!(mode & 0o777, 0o700, "{place}");
    }
    for name in written.keys() {
        let mode = fs::metadata(marks.join(name)).expect("a file").permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "{name}");
    }
}

#[test]
fn anonymous_marks_hold_no_name() {
    let roster = "student,instrument,melody\nZebedee Quill,violin,zebedee\nOttoline Vane,cello,wrong-notes\n";
    let folder =
        folder_of(roster, &[("zebedee quill.flac", "all-right"), ("Ottoline_Vane.flac", "wrong-notes")]);
    let takes = folder.path().join("takes");
    fs::rename(takes.join("all-right.toml"), takes.join("zebedee.toml")).expect("renamed");
    fs::copy(fixture("broken/text.wav"), takes.join("Ottoline Vane 2.wav")).expect("a copy");
    fs::copy(fixture("broken/text.wav"), takes.join("Who Knows.wav")).expect("a copy");
    // The words above a note are quoted in a remark.
    fs::remove_file(takes.join("wrong-notes.toml")).expect("removed");
    let tune = "%abc-2.1\nX:1\nT:The Long Staircase\nM:4/4\nL:1/8\nQ:1/4=92\nV:1 name=\"Violoncello\" clef=bass\nK:D\n\
                \"D.C. for Ottoline\"D,2 E,2 F,2 G,2 | A,2 G,2 F,2 E,2 | B,2 A,2 G,2 F,2 | E,2 G,,2 D,4 |]\n";
    fs::write(takes.join("wrong-notes.abc"), tune).expect("written");
    // What a run with names has left must not stay.
    class(folder.path(), &["takes"]);
    let (code, out, _) = class(folder.path(), &["takes", "--anonymous"]);
    assert_eq!(code, 1, "{out}");
    let written = contents(&takes.join("marks"));
    for (name, bytes) in &written {
        let text = format!("{name} {}", String::from_utf8_lossy(bytes)).to_lowercase();
        for word in ["zebedee", "quill", "ottoline", "vane", "knows"] {
            assert!(!text.contains(word), "{word} in {name}");
        }
    }
    assert!(written.contains_key("students/violin-1.txt") && written.contains_key("students/cello-1.txt"));
    assert!(
        String::from_utf8_lossy(&written["students/cello-1.json"])
            .contains("(a word of the file) is only words")
    );
}

#[test]
fn one_thread_or_many_and_once_or_twice_are_the_same_bytes() {
    let folder = folder_of(ROSTER, &TAKES);
    for (output, jobs) in [("one", "1"), ("many", "7")] {
        let (code, out, _) = class(folder.path(), &["takes", "--output", output, "--jobs", jobs]);
        assert_eq!(code, 0, "{out}");
    }
    let one = contents(&folder.path().join("one"));
    assert_eq!(one, contents(&folder.path().join("many")));
    class(folder.path(), &["takes", "--output", "one"]);
    assert_eq!(one, contents(&folder.path().join("one")), "a second run changes nothing");
}

#[test]
fn a_second_run_listens_only_to_what_is_new() {
    let folder = folder_of(ROSTER, &TAKES);
    class(folder.path(), &["takes"]);
    let results = folder.path().join("takes/marks/results");
    let written = |results: &Path| -> BTreeMap<String, std::time::SystemTime> {
        let entries = fs::read_dir(results).expect("a folder").map(|entry| entry.expect("an entry"));
        let time =
            |entry: &fs::DirEntry| entry.metadata().and_then(|found| found.modified()).expect("a time");
        entries.map(|entry| (entry.file_name().to_string_lossy().into_owned(), time(&entry))).collect()
    };
    let first = written(&results);
    assert_eq!(first.len(), 5);
    fs::copy(fixture("tuned-low/take.flac"), folder.path().join("takes/VIOLA1 final.m4a")).expect("a copy");
    class(folder.path(), &["takes"]);
    let second = written(&results);
    let kept = first.iter().filter(|(name, time)| second.get(*name) == Some(time)).count();
    assert_eq!(
        (kept, second.len()),
        (4, 5),
        "four are kept as they are, one is new, and the old one is gone"
    );
}

/// Killed at random moments, then run to its end: the folder is that of a run that nobody disturbed.
#[test]
fn a_killed_run_resumes_with_the_same_bytes() {
    let folder = folder_of(ROSTER, &TAKES);
    let begun = Instant::now();
    let (code, ..) = class(folder.path(), &["takes", "--output", "whole"]);
    assert_eq!(code, 0);
    let lasts = begun.elapsed();
    let whole = contents(&folder.path().join("whole"));
    let seed = std::time::UNIX_EPOCH.elapsed().expect("a clock").as_nanos() as u64;
    // Knuth's MMIX constants; the seed is in the message of a failure.
    let mut dice = seed;
    let mut share = || {
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (dice >> 33) as f64 / f64::from(1u32 << 31)
    };
    let mut interrupted = 0;
    for round in 0..9 {
        let output = format!("killed-{round}");
        for _ in 0..2 {
            let mut child = command(folder.path(), &["takes", "--output", &output])
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .expect("the program starts");
            // A tenth more than a whole run, so that its end is hit as well.
            std::thread::sleep(lasts.mul_f64(1.1 * share()));
            child.kill().expect("it can be killed");
            interrupted += usize::from(!child.wait().expect("it ends").success());
        }
        let (code, out, err) = class(folder.path(), &["takes", "--output", &output]);
        assert_eq!(code, 0, "{out}{err}");
        let resumed = contents(&folder.path().join(&output));
        let names = |folder: &BTreeMap<String, Vec<u8>>| folder.keys().cloned().collect::<Vec<_>>();
        assert_eq!(names(&resumed), names(&whole), "seed {seed}, round {round}");
        assert!(resumed == whole, "seed {seed}, round {round}: some bytes differ");
    }
    assert!(interrupted > 0, "no run was killed before its end, so nothing was tested");
}

#[test]
fn a_students_page_has_the_mark_the_trace_and_the_sound_where_asked_for() {
    let folder = folder_of(ROSTER, &TAKES);
    class(folder.path(), &["takes"]);
    let page = read(folder.path(), "students/cello-1.html");
    for words in [
        "Mark: 94 of 100, secure",
        "How the mark was made",
        "13 of 15",
        "The pitch inside",
        "holds no recording",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert!(!page.contains("id=\"take-sound\""));
    class(folder.path(), &["takes", "--sound"]);
    let with_sound = read(folder.path(), "students/cello-1.html");
    assert!(with_sound.contains("id=\"take-sound\"") && with_sound.contains("holds the recording itself"));
    class(folder.path(), &["takes"]);
    assert_eq!(read(folder.path(), "students/cello-1.html"), page, "the recording does not stay");
}

/// Takes are first read as short ones, so that many fit into the memory; a longer one is read again, to its end.
#[test]
fn a_take_longer_than_it_is_first_given_room_for_is_heard_to_its_end() {
    let folder = folder_of("student,instrument\nviolin-1,violin\n", &[("violin-1.flac", "all-right")]);
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let take = folder.path().join("takes/violin-1 b.wav");
    let mut file = hound::WavWriter::create(take, spec).expect("a file");
    for at in 0..40 * 48_000u32 {
        let sample = (f64::from(at) * 440.0 / 48_000.0 * std::f64::consts::TAU).sin() * 3000.0;
        file.write_sample(sample as i16).expect("written");
        file.write_sample(sample as i16).expect("written");
    }
    file.finalize().expect("written");
    let (code, out, err) = class(folder.path(), &["takes"]);
    assert_eq!(code, 1, "{out}{err}");
    let results = contents(&folder.path().join("takes/marks/results"));
    let long = results.values().any(|bytes| {
        let kept: serde_json::Value = serde_json::from_slice(bytes).expect("JSON");
        kept["report"]["take"]["duration_s"] == 40.0
    });
    assert!(long, "{out}");
    let (_, _, err) = class(folder.path(), &["takes", "--longest", "0.5", "--output", "short"]);
    let list = std::fs::read_to_string(folder.path().join("short/listen-to-these.txt")).expect("a list");
    assert!(list.contains("violin-1 b.wav: The recording is longer than 0.5 minutes."), "{list}{err}");
}

#[test]
fn the_teachers_own_mark_stands_and_its_file_is_never_changed() {
    let folder = folder_of(ROSTER, &TAKES);
    fs::copy(fixture("silence/take.flac"), folder.path().join("takes/cello-1.wav")).expect("a copy");
    let (code, ..) = class(folder.path(), &["takes"]);
    assert_eq!(code, 1);
    assert!(
        read(folder.path(), "listen-to-these.txt")
            .contains("cello-1: no mark: There is no sound in this take.")
    );
    let own = "student,mark,note\r\ncello 1,85,heard in class\r\n";
    fs::write(folder.path().join("takes/marks/teachers-marks.csv"), own).expect("a file");
    let (code, out, _) = class(folder.path(), &["takes"]);
    assert_eq!(code, 0, "{out}");
    assert_eq!(read(folder.path(), "teachers-marks.csv"), own);
    let table = read(folder.path(), "gradebook.csv");
    assert!(
        table.contains(",85,,,,,,1,,the teacher's own mark: heard in class (the program's: none)"),
        "{table}"
    );
    let comma = "student,mark,note\r\ncello 1,8,5,heard in class\r\n";
    fs::write(folder.path().join("takes/marks/teachers-marks.csv"), comma).expect("a file");
    let (code, _, err) = class(folder.path(), &["takes"]);
    let flat = err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(code == 1 && flat.contains("Write 8.5, or put quotes around it"), "{err}");
    assert!(!read(folder.path(), "gradebook.csv").contains("the teacher's own mark"));
    fs::write(folder.path().join("takes/marks/teachers-marks.csv"), ",,\n").expect("a file");
    let (code, _, err) = class(folder.path(), &["takes"]);
    assert!(code == 2 && err.contains("the table of your own marks") && err.contains("is empty"), "{err}");
}

#[test]
fn rubric_pattern_earlier_marks_and_a_spreadsheet_as_class_list_are_heard() {
    let folder = folder_of(
        "",
        &[("4A_violin-1_swing.flac", "one-long-bow"), ("4A_violin-2_violin-1.flac", "all-right")],
    );
    let takes = folder.path().join("takes");
    fs::remove_file(takes.join("roster.csv")).expect("removed");
    fs::remove_file(takes.join("one-long-bow.toml")).expect("removed");
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (line, row) in (0..).zip([
        ["Student", "Instrument", "Group"],
        ["violin-1", "violin", "4A"],
        ["violin-2", "violin", "4A"],
    ]) {
        for (column, text) in (0..).zip(row) {
            sheet.write_string(line, column, text).expect("a cell");
        }
    }
    book.save(takes.join("roster.xlsx")).expect("a file");
    fs::write(takes.join("rubric.toml"), "highest = 20\n[weights]\nrhythm = 1\n[bands]\nthere = 10\n")
        .expect("a file");
    let (code, out, err) = class(folder.path(), &["takes", "--pattern", "{group}_{student}_*"]);
    assert_eq!(code, 0, "{out}{err}");
    // 11 of 12 notes were begun, of 20 points.
    let table = read(folder.path(), "gradebook.csv");
    assert!(
        table.contains("violin-1,violin,4A,Swing Gate,1,4A_violin-1_swing.flac,18,there,100,92,"),
        "{table}"
    );
    let (code, out, err) = class(
        folder.path(),
        &["takes", "--pattern", "{group}_{student}_*", "--before", "takes/marks", "--output", "now"],
    );
    assert_eq!(code, 0, "{out}{err}");
    let table = fs::read_to_string(folder.path().join("now/gradebook.csv")).expect("a table");
    assert!(table.contains(",0,18,\r\n") && table.contains(",0,20,\r\n"), "{table}");
    // Of 100 points now, of 20 then.
    fs::write(takes.join("rubric.toml"), "[weights]\nrhythm = 1\n").expect("a file");
    let (code, out, err) = class(
        folder.path(),
        &["takes", "--pattern", "{group}_{student}_*", "--before", "takes/marks", "--output", "later"],
    );
    assert_eq!(code, 0, "{out}{err}");
    let later = |name: &str| fs::read_to_string(folder.path().join("later").join(name)).expect("a file");
    let table = later("gradebook.csv");
    assert!(table.contains(",0,18 of 20,\r\n") && table.contains(",0,20 of 20,\r\n"), "{table}");
    assert!(later("students/violin-1.txt").contains("Last test: 18 of 20\n"));
}

#[test]
fn an_earlier_mark_follows_the_name_and_never_the_chair() {
    let takes = [("Geige-A.flac", "one-long-bow"), ("Geige-B.flac", "all-right")];
    let folder = folder_of("student,instrument\nGeige-A,violin\nGeige-B,violin\n", &takes);
    let place = folder.path().join("takes");
    fs::remove_file(place.join("one-long-bow.toml")).expect("removed");
    fs::write(place.join("rubric.toml"), "[weights]\nrhythm = 1\n").expect("a file");
    for (output, more) in [("named", &[][..]), ("chairs", &["--anonymous"][..])] {
        let (code, out, err) = class(folder.path(), &[&["takes", "--output", output][..], more].concat());
        assert_eq!(code, 0, "{out}{err}");
    }
    // The first has left, so that the second sits on the first chair.
    fs::remove_file(place.join("Geige-A.flac")).expect("removed");
    fs::write(place.join("roster.csv"), "student,instrument\nGeige-B,violin\n").expect("a file");
    for (before, more, mark, remark) in [
        ("named", &["--anonymous"][..], ",0,100,\r\n", false),
        ("named", &[][..], ",0,100,\r\n", false),
        ("chairs", &["--anonymous"][..], ",0,,\r\n", true),
        ("chairs", &[][..], ",0,,\r\n", true),
    ] {
        let arguments = [&["takes", "--before", before, "--output", "now"][..], more].concat();
        let (code, out, err) = class(folder.path(), &arguments);
        assert_eq!(code, 0, "{out}{err}");
        let table = fs::read_to_string(folder.path().join("now/gradebook.csv")).expect("a table");
        assert!(table.contains(mark), "{before} {more:?}: {table}");
        assert_eq!(err.contains("has no names in it but chairs"), remark, "{err}");
        let text = fs::read_dir(folder.path().join("now/students")).expect("a folder");
        let text = text
            .map(|file| file.expect("an entry").path())
            .find(|path| path.extension().is_some_and(|e| e == "txt"));
        let text = fs::read_to_string(text.expect("a text")).expect("a file");
        assert_eq!(text.contains("Last test"), !remark, "{text}");
    }
}

#[test]
fn a_take_after_the_last_day_is_told_of_and_does_not_count_where_the_rubric_says_so() {
    let folder = folder_of(
        "student,instrument\nviolin-1,violin\n",
        &[("violin-1 2026-11-19.flac", "one-long-bow"), ("violin-1 20261121_180312.flac", "all-right")],
    );
    let takes = folder.path().join("takes");
    fs::remove_file(takes.join("one-long-bow.toml")).expect("removed");
    for (late, counted, note) in [
        ("counts", "violin-1 20261121_180312.flac,100,", "late: 2026-11-21"),
        ("apart", "violin-1 2026-11-19.flac,9", ""),
    ] {
        let rubric = format!("due = 2026-11-20\nlate = \"{late}\"\n");
        fs::write(takes.join("rubric.toml"), rubric).expect("a file");
        let (code, out, err) = class(folder.path(), &["takes"]);
        assert_eq!(code, 0, "{out}{err}");
        let table = read(folder.path(), "gradebook.csv");
        assert!(table.contains(counted) && table.ends_with(&format!(",{note}\r\n")), "{table}");
        assert!(
            read(folder.path(), "students/violin-1.txt")
                .contains("Take: violin-1 20261121_180312.flac (late: 2026-11-21)")
        );
    }
}

#[test]
fn input_that_cannot_be_used_ends_with_2_and_says_what_to_do() {
    let folder = folder_of("who\nme\n", &TAKES);
    let open = "student,instrument\nviolin-1,violin\nviolin-2,\"violin\nviolin-3,violin\n";
    fs::write(folder.path().join("open.csv"), open).expect("a file");
    for (arguments, said) in [
        (vec!["no-such"], "the folder no-such is not there"),
        (vec!["takes"], "roster.csv, column student: the first row has no such column; it has “who”"),
        (
            vec!["takes", "--roster", "takes/bass 1.flac"],
            "this is neither a CSV file nor an XLSX spreadsheet",
        ),
        (vec!["takes/roster.csv"], "the folder takes/roster.csv is no folder but a file"),
        (vec!["takes", "--roster", "open.csv"], "row 3: a quotation mark is opened and not closed"),
        (vec!["takes", "--roster", "open.csv"], "help: Close the quotation mark"),
        (vec!["takes", "--roster", "none.csv"], "there is no file none.csv (the class list)"),
        (vec!["takes", "--pattern", "*"], "{student} has to be in it"),
        (vec!["takes", "--longest", "600"], "give 0.1 to 10 minutes"),
    ] {
        let (code, out, err) = class(folder.path(), &arguments);
        let flat = err.replace("\n  │ ", " ").split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?} {err}");
        assert!(flat.contains(said), "{said}\n{err}");
    }
    for empty in ["", "\n\n", ",,\n"] {
        fs::write(folder.path().join("takes/roster.csv"), empty).expect("a file");
        let (code, _, err) = class(folder.path(), &["takes"]);
        assert_eq!(code, 2);
        let first = err.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
        assert!(first.contains("the class list takes/roster.csv is empty"), "{err}");
        assert!(err.contains("names the columns") && !err.contains("melody::"), "{err}");
    }
    fs::write(folder.path().join("takes/roster.csv"), ROSTER).expect("a file");
    fs::write(folder.path().join("takes/rubric.toml"), "[weights]\nstars = 5\n").expect("a file");
    let (code, _, err) = class(folder.path(), &["takes"]);
    assert_eq!(code, 2);
    assert!(err.contains("weights.stars"), "{err}");
}
