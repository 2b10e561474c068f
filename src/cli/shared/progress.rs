//! A line on the terminal that says that work goes on, for work that takes longer than a second.

use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread;
use std::time::Duration;

/// Nothing is shown before this.
const PATIENCE: Duration = Duration::from_secs(1);
/// From one sign of life to the next.
const BEAT: Duration = Duration::from_millis(250);

/// Does the work. Where the standard error is a terminal and it takes longer than a second, a line there says `what`
/// goes on and for how long already; it is gone when the work is done.
pub fn while_working<T>(what: &str, work: impl FnOnce() -> T) -> T {
    if !std::io::stderr().is_terminal() {
        return work();
    }
    let (done, waiting) = mpsc::channel::<()>();
    let goes_on = move |patience| matches!(waiting.recv_timeout(patience), Err(RecvTimeoutError::Timeout));
    thread::scope(|scope| {
        scope.spawn(move || {
            if !goes_on(PATIENCE) {
                return;
            }
            let style = ProgressStyle::with_template("{msg} ({elapsed})");
            let line = ProgressBar::new_spinner().with_elapsed(PATIENCE).with_message(format!("{what} ..."));
            let line = style.map_or(line.clone(), |style| line.with_style(style));
            while goes_on(BEAT) {
                line.tick();
            }
            line.finish_and_clear();
        });
        // Dropped when the work ends, also by a panic.
        let _done = done;
        work()
    })
}

/// A bar for work that is made of many alike pieces, with the time left; nothing where the standard error is no terminal.
pub struct Pieces(ProgressBar);

impl Pieces {
    /// For so many pieces, each of them `what`.
    pub fn new(count: usize, what: &str) -> Self {
        if !std::io::stderr().is_terminal() {
            return Self(ProgressBar::hidden());
        }
        let line = ProgressBar::new(count as u64).with_message(what.to_owned());
        let style = ProgressStyle::with_template("{msg} {pos} of {len} [{bar:30}] {eta} left");
        Self(style.map_or(line.clone(), |style| line.with_style(style.progress_chars("=- "))))
    }

    /// One more is done.
    pub fn one_done(&self) {
        self.0.inc(1);
    }
}

impl Drop for Pieces {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
