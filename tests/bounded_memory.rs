//! Small files that mean to be large, run by the whole program with little memory: each is answered with exit
//! code 2 and a sentence, and nothing is killed. (RLIMIT_AS, POSIX.1-2024 setrlimit; set by the shell.)
#![cfg(target_os = "linux")]

use fingertape::decode::read_take_bytes;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// Room for the program and what it reads, in KiB: 512 MiB.
const LITTLE: u32 = 512 << 10;
/// Room where ten minutes of sound may have to be kept, in KiB: 1.5 GiB.
const ENOUGH_FOR_SOUND: u32 = 1536 << 10;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs a program with at most so many KiB of memory.
fn limited(kib: u32, program: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new("sh");
    command.args(["-c", &format!("ulimit -v {kib} && exec \"$0\" \"$@\"")]).arg(program).args(arguments);
    command.env("RUST_BACKTRACE", "0").env("RAYON_NUM_THREADS", "2");
    command
}

fn fingertape(kib: u32, arguments: &[&str]) -> Output {
    limited(kib, Path::new(env!("CARGO_BIN_EXE_fingertape")), arguments).output().expect("a shell")
}

/// A file in a folder that lasts as long as the test.
fn file(name: &str, bytes: &[u8]) -> PathBuf {
    static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();
    let path = FOLDER.get_or_init(|| tempfile::tempdir().expect("a folder")).path().join(name);
    std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
    std::fs::write(&path, bytes).expect("a file");
    path
}

/// The program refuses, in words that hold these.
fn refused(output: &Output, words: &str) {
    let said = String::from_utf8_lossy(&output.stderr);
    // Lines are broken anywhere.
    let joined = said.replace('│', " ").split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(output.status.code(), Some(2), "{:?}: {said}", output.status);
    assert!(joined.contains(words), "{words:?} is not in: {said}");
    assert!(!joined.contains("panicked") && said.len() < 4_000, "{} bytes: {said}", said.len());
}

fn refused_melody(name: &str, bytes: &[u8], words: &str) {
    let melody = file(name, bytes);
    let out = melody.with_extension("out.toml");
    refused(&fingertape(LITTLE, &["convert", melody.to_str().unwrap(), out.to_str().unwrap()]), words);
}

fn refused_list(name: &str, bytes: &[u8], words: &str) {
    let list = file(name, bytes);
    let folder = list.parent().unwrap().to_str().unwrap();
    refused(&fingertape(LITTLE, &["class", folder, "--roster", list.to_str().unwrap()]), words);
}

/// A packed archive; each file is a name and a piece that is written so many times over.
fn archive(files: &[(&str, &[u8], usize)]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options =
        zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
    for (name, piece, times) in files {
        archive.start_file(*name, options).unwrap();
        let block = piece.repeat(1 + 65_536 / piece.len());
        let mut left = piece.len() * times;
        while left > 0 {
            let now = left.min(block.len());
            archive.write_all(&block[..now]).unwrap();
            left -= now;
        }
    }
    archive.finish().unwrap().into_inner()
}

const SCORE: &str = "<score-partwise><part-list><score-part id=\"P1\"><part-name>NAME</part-name></score-part></part-list>\
    <part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes><note><pitch><step>D</step>\
    <octave>4</octave></pitch><duration>4</duration></note>MORE</measure></part></score-partwise>";

#[test]
fn packed_scores_that_unpack_to_more_than_a_melody_are_refused() {
    let bomb = archive(&[("score.xml", b" ", 200 << 20)]);
    assert!(bomb.len() < 1 << 20);
    refused_melody("bomb.mxl", &bomb, "larger than a melody can be");
    let container = archive(&[("META-INF/container.xml", b" ", 200 << 20), ("score.xml", b" ", 1)]);
    refused_melody("container.mxl", &container, "larger than a melody can be");
}

#[test]
fn xml_that_grows_while_it_is_read_is_refused() {
    // Billion laughs, and the quadratic kind that nests nothing.
    let mut laughs = String::from("<!DOCTYPE a [<!ENTITY a0 \"lol\">");
    for at in 1..20 {
        let _ = write!(laughs, "<!ENTITY a{at} \"{}\">", format!("&a{};", at - 1).repeat(10));
    }
    laughs += &format!("]>{}", SCORE.replace("NAME", "&a19;"));
    refused_melody("laughs.musicxml", laughs.as_bytes(), "entities");
    let entity = format!("<!DOCTYPE a [<!ENTITY a \"{}\">]>", "x".repeat(200_000));
    let quadratic = entity + &SCORE.replace("NAME", &"&a;".repeat(50_000));
    refused_melody("quadratic.musicxml", quadratic.as_bytes(), "entities");
    let attributes: String = (0..500_000).map(|at| format!(" a{at}='b'")).collect();
    let tag = SCORE.replace("<measure", &format!("<measure{attributes}"));
    refused_melody("attributes.musicxml", tag.as_bytes(), "tags is longer");
    let namespaces: String = (0..60_000).map(|at| format!("<a xmlns:p{at}='u{at}'>")).collect();
    let nested = SCORE.replace("MORE", &(namespaces + &"</a>".repeat(60_000)));
    refused_melody("namespaces.musicxml", nested.as_bytes(), "namespaces");
    let nodes = SCORE.replace("MORE", &"<a/>".repeat(2_500_000));
    refused_melody("nodes.musicxml", nodes.as_bytes(), "not well-formed XML: nodes limit");
    let deep = SCORE.replace("MORE", &format!("{}{}", "<a>".repeat(400_000), "</a>".repeat(400_000)));
    let out = fingertape(
        LITTLE,
        &["convert", file("deep.xml", deep.as_bytes()).to_str().unwrap(), "--force", "/dev/null"],
    );
    assert!(out.status.code().is_some(), "{:?}", out.status);
}

#[test]
fn melodies_of_more_text_than_anybody_writes_are_refused_and_not_printed() {
    let line = "C4 e D4 E4 F4 G4 A4 G4 F4\n";
    let toml = format!("bars = '''\n{}'''", line.repeat((60 << 20) / line.len()));
    refused_melody("long.toml", toml.as_bytes(), "larger than a melody can be");
    let toml = format!("bars = '''\n{}'''", line.repeat(60_000));
    refused_melody("bars.toml", toml.as_bytes(), "longer than 20000 bars");
    let abc = format!("X:1\nT:x\nM:4/4\nL:1/8\nK:C\n{}|]\n", "CDEFGABc|".repeat(100_000));
    refused_melody("bars.abc", abc.as_bytes(), "longer than a melody can be");
    let abc = format!("X:1\nT:x\nM:4/4\nL:1/8\nK:C\n{}|]\n", "C".repeat(1 << 20));
    refused_melody("bar.abc", abc.as_bytes(), "bar 1");
    refused_melody("deep.toml", format!("bars = {}", "[".repeat(1 << 20)).as_bytes(), "deep.toml");
    let keys: String = (0..100_000).map(|at| format!("k{at} = 1\n")).collect();
    refused_melody("keys.toml", (keys + "bars = 'D4 w'\n").as_bytes(), "keys.toml");
}

const WORKBOOK: [(&str, &str); 4] = [
    ("[Content_Types].xml", "<Types/>"),
    (
        "_rels/.rels",
        "<Relationships><Relationship Id=\"rId1\" Type=\"http://schemas.openxmlformats.org/officeDocument/2006/\
         relationships/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>",
    ),
    (
        "xl/workbook.xml",
        "<workbook xmlns:r=\"http://schemas.openxmlformats.org/officeDocument/2006/relationships\"><sheets>\
         <sheet name=\"s\" sheetId=\"1\" r:id=\"rId1\"/></sheets></workbook>",
    ),
    (
        "xl/_rels/workbook.xml.rels",
        "<Relationships><Relationship Id=\"rId1\" Type=\"worksheet\" Target=\"worksheets/sheet1.xml\"/></Relationships>",
    ),
];

/// A spreadsheet of one sheet.
fn spreadsheet(shared: (&str, usize, &str), cells: (&str, usize)) -> Vec<u8> {
    let (texts, piece) = (format!("{}{}", shared.0, shared.2), cells.0);
    let mut files: Vec<(&str, &[u8], usize)> =
        WORKBOOK.iter().map(|(name, text)| (*name, text.as_bytes(), 1)).collect();
    let sheet = format!("<worksheet><sheetData>{}</sheetData></worksheet>", piece.repeat(cells.1));
    let long = format!("{}{}{}", shared.0, "x".repeat(shared.1), shared.2);
    files.push(("xl/sharedStrings.xml", if shared.1 == 0 { texts.as_bytes() } else { long.as_bytes() }, 1));
    files.push(("xl/worksheets/sheet1.xml", sheet.as_bytes(), 1));
    archive(&files)
}

#[test]
fn spreadsheets_that_unpack_to_more_than_a_class_list_are_refused() {
    let student = "<row r=\"1\"><c r=\"A1\" t=\"s\"><v>0</v></c></row>";
    // A whole one first: what is refused below is refused for what was changed.
    let whole = spreadsheet(("<sst uniqueCount=\"1\"><si><t>student", 0, "</t></si></sst>"), (student, 1));
    refused_list("whole.xlsx", &whole, "no student below the first row");
    let bomb = archive(&[("xl/worksheets/sheet1.xml", b" ", 300 << 20)]);
    refused_list("bomb.xlsx", &bomb, "larger than a class list can be");
    for count in ["1000000000000", "99999999999999999999"] {
        let sst = format!("<sst count=\"1\" uniqueCount=\"{count}\"><si><t>student");
        let many = spreadsheet((&sst, 0, "</t></si></sst>"), (student, 1));
        refused_list("count.xlsx", &many, "longer than its file");
    }
    // One long text in very many cells.
    let row: String = (0..200).map(|_| "<c t=\"s\"><v>0</v></c>").collect();
    let shared = spreadsheet(
        ("<sst uniqueCount=\"1\"><si><t>", 1 << 20, "</t></si></sst>"),
        (&format!("<row>{row}</row>"), 500),
    );
    refused_list("shared.xlsx", &shared, "larger than a class list can be");
}

#[test]
fn a_class_list_of_one_endless_row_is_answered() {
    let header = format!("student{}\n", ",x".repeat(4 << 20));
    refused_list("wide.csv", header.as_bytes(), "no student below the first row");
    let names: String = (0..200_000).map(|_| "\n").collect();
    refused_list("blank.csv", ("student".to_owned() + &names).as_bytes(), "no student below the first row");
}

/// Recordings that claim what no recording has: refused, or read as far as they go.
#[test]
fn recordings_that_claim_more_than_they_hold_are_answered_in_little_memory() {
    let melody = root().join("demo-data/melody.toml");
    let check = |take: &Path| {
        fingertape(ENOUGH_FOR_SOUND, &["check", take.to_str().unwrap(), "--melody", melody.to_str().unwrap()])
    };
    let float = |channels: u16, rate: u32, samples: &[f32]| {
        let data = samples.len() as u32 * 4;
        let mut wav = b"RIFF\xff\xff\xff\xffWAVEfmt \x10\0\0\0\x03\0".to_vec();
        wav.extend(channels.to_le_bytes());
        wav.extend(rate.to_le_bytes());
        wav.extend(rate.wrapping_mul(u32::from(channels) * 4).to_le_bytes());
        wav.extend((channels * 4).to_le_bytes());
        wav.extend(b"\x20\0data");
        wav.extend(data.to_le_bytes());
        wav.extend(samples.iter().flat_map(|sample| sample.to_le_bytes()));
        wav
    };
    let refused_take = |name: &str, bytes: &[u8], words: &str| refused(&check(&file(name, bytes)), words);
    let tone: Vec<f32> = (0..48_000).map(|at| (f64::from(at) * 0.05).sin() as f32 * 0.3).collect();
    refused_take("one-hertz.wav", &float(1, 1, &tone), "1 samples a second");
    refused_take("fast.wav", &float(1, 768_000, &tone), "768000 samples a second");
    refused_take("channels.wav", &float(64, 48_000, &tone), "64 channels");
    for (name, sample) in [("nan.wav", f32::NAN), ("infinite.wav", f32::NEG_INFINITY)] {
        let said = check(&file(name, &float(1, 48_000, &vec![sample; 96_000])));
        // Read, as silence, and not judged.
        assert_eq!(said.status.code(), Some(1), "{said:?}");
        assert!(String::from_utf8_lossy(&said.stdout).contains("no numbers"), "{said:?}");
    }
    let loud: Vec<f32> = tone.iter().map(|sample| sample * 1e38).collect();
    assert!(check(&file("loud.wav", &float(1, 48_000, &loud))).status.code().is_some());
}

/// Set in the child process that reads every file with every length falsified.
const CHILD: &str = "FINGERTAPE_TEST_LENGTH_FIELDS";
/// Fields are looked for in so many bytes at the beginning of a file.
const HEADER: usize = 160;

#[test]
fn no_length_field_of_any_container_makes_room_that_the_file_does_not_fill() {
    if std::env::var_os(CHILD).is_some() {
        return read_with_every_field_falsified();
    }
    let own = std::env::current_exe().expect("this test");
    let test = "no_length_field_of_any_container_makes_room_that_the_file_does_not_fill";
    let mut child = limited(ENOUGH_FOR_SOUND, &own, &["--exact", test, "--nocapture"]);
    let output = child.env(CHILD, "1").output().expect("a shell");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success() && said.contains("1 passed"), "{:?}: {said}\n{output:?}", output.status);
}

fn read_with_every_field_falsified() {
    let long = std::fs::read(root().join("audio-fixtures/broken/eleven-minutes-in-few-bytes.flac")).unwrap();
    assert_eq!(read_take_bytes("long", long).unwrap().samples.duration().0, 600.0);
    let mut files: Vec<PathBuf> = std::fs::read_dir(root().join("audio-fixtures/formats"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension != "txt"))
        .collect();
    files.sort();
    for path in files {
        let whole = std::fs::read(&path).unwrap();
        for at in 0..HEADER.min(whole.len() - 4) {
            for value in
                [u32::MAX.to_be_bytes(), 0x7fff_ffff_u32.to_be_bytes(), 0x7fff_ffff_u32.to_le_bytes()]
            {
                let mut bytes = whole.clone();
                bytes[at..at + 4].copy_from_slice(&value);
                if let Ok(take) = read_take_bytes("take", bytes) {
                    assert!(take.samples.mono.iter().all(|sample| sample.is_finite()), "{path:?}, byte {at}");
                }
            }
        }
    }
}
