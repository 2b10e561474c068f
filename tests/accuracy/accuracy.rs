//! The proving ground: makes takes with known truth, has them judged, and scores the judgements.
//!
//! ```text
//! cargo run --release --example accuracy -- make --out DIR --takes N --seed S [--half tune|report] [--set SET]
//! cargo run --release --example accuracy -- score --dir DIR --reports DIR2 [--list FILE] [--only TEXT]
//! cargo run --release --example accuracy -- run --out DIR --takes N --seed S [--half …] [--program FILE]
//! cargo run --release --example accuracy -- sources
//! ```
//! `--publish SET` with `score` or `run` writes the short table into DEVELOPERS.md, between the marks
//! `accuracy:SET:begin` and `accuracy:SET:end`.
//!
//! `--set` is `samples` (the default: real notes put together), `foreign` (the sheet beside the take is
//! another melody), `borrowed` (voices that nobody recorded, for training) or `phrases --from FOLDER` (real playing,
//! the score edited). `make` writes `NNN.wav` or
//! `NNN.m4a`, `NNN.musicxml` and `NNN.truth.json`; `score` reads `NNN.json` reports; `run` makes takes where
//! the folder has none, calls the program (`target/release/fingertape`, to be built before) on each, and
//! scores; `sources` lists the recordings that takes are made of. Takes that are there are not made again:
//! after a change to the take maker give a new `--out`.

#[path = "../take_maker/mod.rs"]
mod take_maker;

use std::path::{Path, PathBuf};
use std::process::Command;
use take_maker::files::{Kind, make_take};
use take_maker::phrases::{self, make_phrase};
use take_maker::score::{ReportView, score};
use take_maker::score_table::{short_table, tables};
use take_maker::sources::{Half, Sources};
use take_maker::truth::Truth;

fn main() {
    if let Err(message) = run() {
        eprintln!("accuracy: {message}");
        std::process::exit(2);
    }
}

fn run() -> Result<(), String> {
    let arguments = Arguments { words: std::env::args().skip(1).collect() };
    match arguments.words.first().map(String::as_str) {
        Some("make") => make(&arguments),
        Some("score") => {
            let folder = PathBuf::from(arguments.value("--dir").ok_or("score needs --dir DIR")?);
            let reports = PathBuf::from(arguments.value("--reports").ok_or("score needs --reports DIR")?);
            score_folder(&arguments, &folder, &reports)
        }
        Some("run") => judge_and_score(&arguments),
        Some("sources") => list_sources(),
        _ => Err("say `make`, `score`, `run` or `sources`".into()),
    }
}

struct Arguments {
    words: Vec<String>,
}

impl Arguments {
    fn value(&self, name: &str) -> Option<&str> {
        let at = self.words.iter().position(|w| w == name)?;
        self.words.get(at + 1).map(String::as_str)
    }

    fn number<T: std::str::FromStr>(&self, name: &str, otherwise: T) -> Result<T, String> {
        self.value(name).map_or(Ok(otherwise), |v| v.parse().map_err(|_| format!("{name} {v}: not a number")))
    }
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn make(arguments: &Arguments) -> Result<(), String> {
    let folder = PathBuf::from(arguments.value("--out").unwrap_or("target/take_maker/takes"));
    let takes: usize = arguments.number("--takes", 64)?;
    let seed: u64 = arguments.number("--seed", 1)?;
    let half = match arguments.value("--half") {
        None | Some("tune") => Half::Tune,
        Some("report") => Half::Report,
        Some(other) => return Err(format!("--half {other}: say tune or report")),
    };
    std::fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    match arguments.value("--set").unwrap_or("samples") {
        set @ ("samples" | "foreign" | "borrowed") => {
            let sources = Sources::load(root())?;
            let kind = match set {
                "foreign" => Kind::Foreign,
                "borrowed" => Kind::Borrowed,
                _ => Kind::Plain,
            };
            in_parallel(takes, |number| {
                make_take(&sources, &folder, (seed, number), half, kind).map(|_| ())
            })?;
        }
        "phrases" => {
            let from = arguments.value("--from").ok_or("--set phrases needs --from FOLDER of recordings")?;
            let performed = phrases::load(Path::new(from))?;
            in_parallel(takes, |number| make_phrase(&performed, &folder, seed, number).map(|_| ()))?;
        }
        other => return Err(format!("--set {other}: say samples, foreign, borrowed or phrases")),
    }
    println!("{takes} takes in {}", folder.display());
    Ok(())
}

/// The truths of a folder, in order of their names; `--only` keeps those whose name, condition,
/// instrument or planted mistakes contain a text.
fn truths(arguments: &Arguments, folder: &Path) -> Result<Vec<Truth>, String> {
    let listing = std::fs::read_dir(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let mut paths: Vec<_> = listing.flatten().map(|entry| entry.path()).collect();
    paths.retain(|path| path.to_string_lossy().ends_with(".truth.json"));
    paths.sort();
    let mut truths = Vec::new();
    for path in paths {
        let text = std::fs::read_to_string(&path).map_err(|e| format!("{}: {e}", path.display()))?;
        let truth: Truth = serde_json::from_str(&text).map_err(|e| format!("{}: {e}", path.display()))?;
        let label =
            format!("{} {} {:?} {}", truth.take, truth.condition, truth.instrument, truth.planted.join(" "));
        if arguments.value("--only").is_none_or(|only| label.to_lowercase().contains(only)) {
            truths.push(truth);
        }
    }
    if truths.is_empty() {
        return Err(format!("{}: no takes with truth", folder.display()));
    }
    Ok(truths)
}

fn score_folder(arguments: &Arguments, folder: &Path, reports: &Path) -> Result<(), String> {
    let mut scored = Vec::new();
    let mut list = Vec::new();
    for truth in truths(arguments, folder)? {
        let path = reports.join(format!("{}.json", truth.take));
        let report = match std::fs::read_to_string(&path) {
            Ok(text) => serde_json::from_str(&text).map_err(|e| format!("{}: {e}", path.display()))?,
            Err(_) => ReportView::default(),
        };
        let tally = score(&truth, &report, &mut list);
        scored.push((truth, tally));
    }
    println!("{}", tables(&scored, arguments.number("--draws", 1000)?));
    if let Some(set) = arguments.value("--publish") {
        publish(set, &short_table(&scored, arguments.number("--draws", 1000)?))?;
    }
    list.sort_by_key(|d| d.rank);
    let ranks =
        ["accused or refused wrongly", "praised or invented wrongly", "overlooked or misnamed", "unsure"];
    let mut text = String::new();
    for (rank, title) in ranks.iter().enumerate() {
        text.push_str(&format!("== {title}\n"));
        for line in list.iter().filter(|d| usize::from(d.rank) == rank) {
            text.push_str(&format!("{}\n", line.text));
        }
    }
    match arguments.value("--list") {
        Some(file) => std::fs::write(file, text).map_err(|e| format!("{file}: {e}"))?,
        None => println!("{text}"),
    }
    Ok(())
}

/// Writes a table into the contributors' guide.
fn publish(set: &str, table: &str) -> Result<(), String> {
    let file = root().join("DEVELOPERS.md");
    let text = std::fs::read_to_string(&file).map_err(|e| format!("{}: {e}", file.display()))?;
    let (begin, end) = (format!("<!-- accuracy:{set}:begin -->\n"), format!("<!-- accuracy:{set}:end -->"));
    let (Some(from), Some(to)) = (text.find(&begin), text.find(&end)) else {
        return Err(format!("{}: no marks accuracy:{set}:begin and accuracy:{set}:end", file.display()));
    };
    let text = format!("{}{table}{}", &text[..from + begin.len()], &text[to..]);
    std::fs::write(&file, text).map_err(|e| format!("{}: {e}", file.display()))
}

/// Makes the takes that are not there, has the program judge them all, and scores its reports.
fn judge_and_score(arguments: &Arguments) -> Result<(), String> {
    let folder = PathBuf::from(arguments.value("--out").unwrap_or("target/take_maker/takes"));
    let reports = folder.join("reports");
    std::fs::create_dir_all(&reports).map_err(|e| format!("{}: {e}", reports.display()))?;
    if !folder.join("000.truth.json").exists() {
        make(arguments)?;
    }
    let program =
        arguments.value("--program").map_or_else(|| root().join("target/release/fingertape"), PathBuf::from);
    let truths = truths(arguments, &folder)?;
    in_parallel(truths.len(), |number| {
        let truth = &truths[number];
        let output = Command::new(&program)
            .arg("check")
            .arg(folder.join(&truth.audio))
            .arg("--melody")
            .arg(folder.join(&truth.score))
            .args(["--instrument", &format!("{:?}", truth.instrument).to_lowercase(), "--format", "json"])
            .output()
            .map_err(|e| format!("{}: {e}", program.display()))?;
        let file = reports.join(format!("{}.json", truth.take));
        if output.stdout.is_empty() {
            eprintln!("{}: {}", truth.take, String::from_utf8_lossy(&output.stderr).trim());
            let _ = std::fs::remove_file(&file);
            return Ok(());
        }
        std::fs::write(&file, output.stdout).map_err(|e| format!("{}: {e}", file.display()))
    })?;
    score_folder(arguments, &folder, &reports)
}

/// Runs jobs 0 to `count` − 1 on every core.
fn in_parallel(count: usize, job: impl Fn(usize) -> Result<(), String> + Sync) -> Result<(), String> {
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        let handles: Vec<_> = (0..workers)
            .map(|worker| {
                let job = &job;
                scope.spawn(move || (worker..count).step_by(workers).try_for_each(job))
            })
            .collect();
        handles.into_iter().try_for_each(|h| h.join().map_err(|_| "a worker stopped".to_string())?)
    })
}

fn list_sources() -> Result<(), String> {
    for note in Sources::load(root())?.all() {
        println!(
            "{:24} {:7} {:7} midi {:6.2} level {:.3} body at {:.2} s, {:.1} s",
            note.name,
            note.player,
            note.half.name(),
            note.midi(),
            note.level,
            note.body_start as f64 / note.rate,
            note.samples.len() as f64 / note.rate
        );
    }
    Ok(())
}
