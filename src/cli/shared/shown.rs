//! Names of files on a screen: a name may hold anything, also what a terminal obeys.

use fingertape::report::words::harmless;
use std::path::Path;

/// A name to be printed.
pub trait Shown {
    /// The name without what steers a terminal, turns the direction of writing or cannot be seen.
    fn shown(&self) -> String;
}

impl Shown for Path {
    fn shown(&self) -> String {
        harmless(&self.display().to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_cannot_steer_the_terminal() {
        assert_eq!(Path::new("a\u{1b}[31m\u{7}/b\nc.toml").shown(), "a[31m/bc.toml");
        assert_eq!(Path::new("für Bratsche.toml").shown(), "für Bratsche.toml");
    }
}
