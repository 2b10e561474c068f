//! Standard output. A reader that has seen enough (`| head`) is not an error.

use super::failure::Failure;
use fingertape::remark::Remark;
use fingertape::report::words::harmless;
use std::io::{ErrorKind, Write};

/// Whether standard output is a terminal that wants colours and weights (`NO_COLOR` and its like are
/// heeded).
pub fn wants_bold() -> bool {
    anstream::AutoStream::choice(&std::io::stdout()) != anstream::ColorChoice::Never
}

/// Prints text; colours and weights are dropped where the terminal does not want them.
pub fn styled(text: &str) -> miette::Result<()> {
    finish(anstream::stdout().write_all(text.as_bytes()))
}

/// Prints text byte for byte, for programs to read.
pub fn plain(text: &str) -> miette::Result<()> {
    let mut out = std::io::stdout().lock();
    finish(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
}

/// Says beside the output what a reader should know about a recording.
pub fn remarks(remarks: &[Remark]) {
    for remark in remarks {
        // The table is what was asked for; it is printed even where nobody hears the remark.
        let _ = writeln!(anstream::stderr(), "Remark: {}", harmless(&remark.text));
    }
}

fn finish(written: std::io::Result<()>) -> miette::Result<()> {
    match written {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::new(
            format!("standard output cannot be written: {error}"),
            "check that the disk is not full, or send the output somewhere else",
        )
        .into()),
        _ => Ok(()),
    }
}
