//! The program as the tests of whole commands run it: without colours, whatever the terminal says.

use std::process::{Command, Output};

/// The program with arguments, ready to run.
pub fn program(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fingertape"));
    command.args(arguments).env_remove("CLICOLOR_FORCE").env("NO_COLOR", "1");
    command
}

/// Exit code, standard output, standard error.
pub fn said(output: Output) -> (i32, String, String) {
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code().expect("it ends by itself"), text(output.stdout), text(output.stderr))
}
