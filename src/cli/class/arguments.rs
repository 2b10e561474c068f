//! What can be typed after `fingertape class`.

use crate::cli::shared::choices::{FifthsName, PaperName};
use crate::cli::shared::ranges;
use clap::Args;
use fingertape::class::NamePattern;
use std::path::PathBuf;

/// The arguments of `class`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct ClassArguments {
    /// The folder with the takes, just as they were handed in; folders inside it are opened too
    #[arg(value_name = "FOLDER")]
    pub folder: PathBuf,
    /// The class list, CSV or XLSX: student, instrument, group, melody [default: roster.csv or
    /// roster.xlsx in FOLDER]
    #[arg(long, value_name = "FILE")]
    pub roster: Option<PathBuf>,
    /// The melody of everybody whose line in the class list names none
    #[arg(long, value_name = "FILE")]
    pub melody: Option<PathBuf>,
    /// The folder with the melodies [default: FOLDER]
    #[arg(long, value_name = "FOLDER")]
    pub melodies: Option<PathBuf>,
    /// What marks are given for [default: rubric.toml in FOLDER, else the usual one below]
    #[arg(long, value_name = "FILE")]
    pub rubric: Option<PathBuf>,
    /// How a file's name says whose it is, such as '{group}_{student}_*' or '{student}/*'
    /// [default: the student's name anywhere in the file's or a folder's name]
    #[arg(long, value_name = "PATTERN", value_parser = NamePattern::parse)]
    pub pattern: Option<NamePattern>,
    /// Where the marks go [default: marks in FOLDER]
    #[arg(long, value_name = "FOLDER")]
    pub output: Option<PathBuf>,
    /// The marks folder of an earlier test, to compare with, student by student; it has to be one with names.
    /// Marks of another highest mark say so: 16 of 20
    #[arg(long, value_name = "FOLDER")]
    pub before: Option<PathBuf>,
    /// Only show whose each file is; judge and write nothing
    #[arg(long)]
    pub dry_run: bool,
    /// Call students by their chairs (violin-1, violin-2, in the order of the class list) in everything
    /// that is written
    #[arg(long)]
    pub anonymous: bool,
    /// Put each student's recording into their page, so that each note can be heard there (about 1 MB a
    /// minute)
    #[arg(long)]
    pub sound: bool,
    /// What stands at the top of the overview
    #[arg(long, value_name = "TEXT", default_value = "Playing test")]
    pub title: String,
    /// The paper of the overview
    #[arg(long, value_enum, ignore_case = true, default_value = "letter")]
    pub paper: PaperName,
    /// The pitch that A4 was tuned to, in hertz, 390 to 470 [default: as the melody says, else 440]
    #[arg(long, value_name = "HERTZ", allow_negative_numbers = true, value_parser = ranges::a4)]
    pub a4: Option<f64>,
    /// How the open strings follow from A
    #[arg(long, value_enum, default_value_t = FifthsName::Equal)]
    pub fifths: FifthsName,
    /// The tempo that was set, in beats per minute, 20 to 300 (in 6/8 of eighths)
    /// [default: as the melody says]
    #[arg(long, value_name = "BEATS", allow_negative_numbers = true, value_parser = ranges::bpm)]
    pub bpm: Option<f64>,
    /// How many takes are listened to at a time [default: one for each core]
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..=256))]
    pub jobs: Option<u16>,
    /// The longest take in minutes, up to 10; a longer one is not judged
    #[arg(long, value_name = "MINUTES", default_value = "5", value_parser = ranges::longest_take)]
    pub longest: f64,
    /// The largest file in MB; a larger one is not opened
    #[arg(long, value_name = "MB", default_value = "256", value_parser = clap::value_parser!(u64).range(1..=4096))]
    pub largest: u64,
    /// How long a file may take to be read; a slower one is not judged
    #[arg(long, value_name = "SECONDS", default_value = "60", value_parser = ranges::reading_time)]
    pub patience: f64,
}

const AFTER_HELP: &str = "\
The class list has a line for each student; the first line names the columns, in any order:
  student,instrument,group,melody
  violin-1,violin,4B,swing-gate
  cello-1,cello,4B,
A take belongs to the student whose name is in its name or in the name of its folder: violin-1.m4a,
\"4B Violin 1 take 2.wav\", violin_1/recording.m4a. Case, accents, blanks and separators do not
matter. What fits two students is listed and not judged. A melody is named without its ending, or is
the one with the student's name in its own, or the only one there is, or that of --melody. If it was
written for another instrument (as it says, or by its clef and notes where it names none), it is
moved by octaves, as 'sheet --for' prints it.

The rubric; every line may be left out, these are the usual values:
  highest = 100
  repeated = \"best\"          # of several takes the best, the \"last\" (by name), or \"all\": their mean
  # due = \"2026-11-20\"       # a take with a later day in its name (2026-11-21, 20261121) is late
  # late = \"counts\"          # or \"apart\": it is told of, and the mark is made without it
  [weights]                  # who writes weights writes all that count
  pitch = 40                 # written notes that were played
  rhythm = 30                # notes that began with the player's own beat
  rests = 10                 # rests that were kept, those at either end left out
  intonation = 20            # stopped notes in tune, the tuning of the strings allowed for
  [bands]                    # the word from a mark on
  \"secure\" = 90
  \"nearly there\" = 75
  \"on the way\" = 50
  \"begun\" = 0
  [thresholds]
  in_tune_cents = 20
  in_time_beats = 0.25       # in 6/8, 9/8 and 12/8 of a dotted beat
  unsure_percent = 25        # more than this unsure, and there is no mark
  # [level.grade-4]          # other thresholds for the groups (or the column level) named so
  # groups = [\"4A\", \"4B\"]
  # in_tune_cents = 30

No mark is given where the take was refused, or where what is unsure could move the mark into
another band: listen-to-these.txt says where to listen. Your own marks are lines in
teachers-marks.csv (student,mark,note) in the marks folder; no run ever changes that file. Write 8.5
with a point, and quotes around a note with a comma in it.

In the marks folder: gradebook.csv, gradebook.xlsx, listen-to-these.txt, overview.html,
overview.pdf, files.txt (whose each file is), students/ (for each a .txt and a .html page with the
mark and every note behind it, and .json for programs), class.json (for programs),
teachers-marks.csv, and results/, what was heard in each take, so that a second run listens only to
what is new. Only you can read it. To erase all of it, delete the folder. --anonymous keeps names
out of everything but teachers-marks.csv, which is yours. --before finds earlier marks by name: the
folder of an anonymous run has none, and nothing is compared with it.

Examples:
  fingertape class playing-tests --dry-run
  fingertape class playing-tests --melody swing-gate.toml
  fingertape class playing-tests --roster 4B.xlsx --rubric rubric.toml --output marks-november
  fingertape class playing-tests --before marks-october --anonymous

Exit codes:
  0  every student has a mark, and there is nothing to listen to
  1  something is on a list: a take without a mark, a place to listen to, a file of nobody's
  2  a class list, a rubric or a folder that cannot be used, or a wrong argument";
