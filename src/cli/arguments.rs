//! What can be typed after `fingertape`.

use super::check::CheckArguments;
use super::class::ClassArguments;
use super::contour::ContourArguments;
use super::convert::ConvertArguments;
use super::demo::DemoArguments;
#[cfg(feature = "microphone")]
use super::inputs::InputsArguments;
use super::jot::JotArguments;
use super::move_to::MoveArguments;
use super::play::PlayArguments;
use super::proofread::ProofreadArguments;
#[cfg(feature = "microphone")]
use super::record::RecordArguments;
use super::sheet::SheetArguments;
use super::songbook::SongbookArguments;
use super::string::StringArguments;
use super::takes::TakesArguments;
use clap::{Parser, Subcommand};

/// So many letters are in a line of help.
const WIDEST: usize = 100;

/// Listens to a beginner string player play a short written melody and says which notes were wrong,
/// which rest was cut short, and how far each finger was from the pitch.
#[derive(Parser)]
#[command(name = "fingertape", version, max_term_width = WIDEST, after_help = AFTER_HELP)]
pub struct Arguments {
    /// The command to run.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Subcommand)]
pub enum Command {
    /// Compare a recording (the take) with the written melody and report what differs
    Check(CheckArguments),
    /// Print the pitch that the program hears, one row every 10 ms
    Contour(ContourArguments),
    /// Check a take and a melody that come with the program, with mistakes planted in it
    Demo(DemoArguments),
    /// Record a take from the microphone, keep it in the take book, and report what differs
    #[cfg(feature = "microphone")]
    Record(RecordArguments),
    /// List the takes that were recorded and what improved; delete, export or recover them
    Takes(TakesArguments),
    /// List the microphones, and how much they hear
    #[cfg(feature = "microphone")]
    Inputs(InputsArguments),
    /// Check one open string, or all four, while you bow them or from a recording
    String(StringArguments),
    /// Play freely and get a draft melody to edit
    Jot(JotArguments),
    /// Check a written melody against a teacher's rules and say what to change
    Proofread(ProofreadArguments),
    /// Play a melody on a bowed string of the program's own, aloud or to a WAV file
    Play(PlayArguments),
    /// Write the same tune for another instrument, and say what could not be kept
    Move(MoveArguments),
    /// Turn a melody into another file format: TOML, ABC, MusicXML or MIDI
    Convert(ConvertArguments),
    /// Print a melody: staff, notes, and under them names, fingers and strings if you like
    Sheet(SheetArguments),
    /// Print a folder of melodies as one book with a contents page
    Songbook(SongbookArguments),
    /// Mark a class's playing tests: a class list and a folder of takes become a gradebook
    Class(ClassArguments),
}

const AFTER_HELP: &str = "\
Examples:
  fingertape demo
  fingertape check my-take.m4a --melody my-melody.toml
  fingertape contour my-take.m4a --instrument cello
  fingertape record my-melody.toml
  fingertape takes
  fingertape string D --instrument violin --from my-d-string.m4a
  fingertape jot --from my-tune.m4a --instrument violin --bpm 80 --output draft.toml
  fingertape proofread my-melody.toml --rules rules.toml
  fingertape move my-melody.toml --to cello --output for-a-friend.toml
  fingertape convert my-melody.toml to-print.musicxml
  fingertape play my-melody.toml --slower 0.7
  fingertape sheet my-melody.toml --output my-melody.pdf
  fingertape class playing-tests --dry-run

Exit codes:
  0  the command did its work (the take was judged)
  1  not done, or something for you: a take was refused (because it is silent, for example) and
     nothing is graded, a string gave no steady reading, nothing was deleted, a melody has something
     to change, a take of the class needs a listener
  2  unusable input: a file or a microphone that cannot be used, or a wrong argument

Everything happens on this machine: no recording leaves it.
'fingertape help check' explains one command.";

impl Arguments {
    /// Reads the program's arguments. Usage errors are printed and end the program with exit code 2,
    /// `--help` and `--version` with 0.
    pub fn from_command_line() -> Self {
        Self::parse()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory as _;

    /// Longer lines are wrapped, and then begin where nobody expects it.
    #[test]
    fn lines_of_help_that_are_set_by_hand_fit_the_width() {
        let program = Arguments::command();
        for command in program.get_subcommands().chain([&program]) {
            let text = command.get_after_help().map(ToString::to_string).unwrap_or_default();
            for line in text.lines() {
                assert!(line.chars().count() <= WIDEST, "{}: {line}", command.get_name());
            }
        }
    }
}
