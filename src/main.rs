//! fingertape, the program: parse the arguments, run one command, end with an exit code.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    fingertape::contained::silence_contained_panics();
    let arguments = cli::Arguments::from_command_line();
    let ended = match arguments.command {
        cli::Command::Check(check) => cli::check::run(&check),
        cli::Command::Class(class) => cli::class::run(&class),
        cli::Command::Contour(contour) => cli::contour::run(&contour),
        cli::Command::Demo(demo) => cli::demo::run(&demo),
        cli::Command::String(string) => cli::string::run(&string),
        cli::Command::Jot(jot) => cli::jot::run(&jot),
        cli::Command::Move(moved) => cli::move_to::run(&moved),
        cli::Command::Convert(convert) => cli::convert::run(&convert),
        cli::Command::Play(play) => cli::play::run(&play),
        cli::Command::Proofread(proofread) => cli::proofread::run(&proofread),
        cli::Command::Sheet(sheet) => cli::sheet::run(&sheet),
        cli::Command::Songbook(songbook) => cli::songbook::run(&songbook),
        #[cfg(feature = "microphone")]
        cli::Command::Record(record) => cli::record::run(&record),
        cli::Command::Takes(takes) => cli::takes::run(&takes),
        #[cfg(feature = "microphone")]
        cli::Command::Inputs(inputs) => cli::inputs::run(&inputs),
    };
    cli::exit_codes::after(ended)
}
