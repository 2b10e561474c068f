//! A passage through the loudspeaker, until it is over or Ctrl-C stops it.

use super::stop::stop_on_ctrl_c;
use crate::cli::shared::exit_codes::Ending;
use crate::cli::shared::failure::Failure;
use crate::cli::shared::print;
use fingertape::loudspeaker;
use fingertape::sound::{LineSettings, Passage, bowed_line};
use std::sync::atomic::Ordering;
use std::thread::sleep;
use std::time::{Duration, Instant};

/// How often is looked whether it is over.
const LOOK: Duration = Duration::from_millis(20);
/// What the device still holds when everything was handed over.
const DRAIN: Duration = Duration::from_millis(150);
/// A device that takes nothing for so long has stopped.
const STALLED: Duration = Duration::from_secs(3);

/// Plays it, once begun to its end; what is played is said first.
pub fn play(passage: &Passage, settings: &LineSettings, what: &str) -> miette::Result<Ending> {
    let stop = stop_on_ctrl_c()?;
    let trouble = |what: String| {
        Failure::new(what, "check the cable and the system's sound settings, or write a file: --wav FILE")
    };
    let playing = loudspeaker::open(|rate| bowed_line(passage, settings, rate))
        .map_err(|error| trouble(error.to_string()))?;
    print::plain(&format!(
        "Playing {what}. Ctrl-C stops it.\nHeadphones: turn them low before you put them on.\n"
    ))?;
    playing.start().map_err(|error| trouble(error.to_string()))?;
    let progress = playing.progress();
    let (mut played, mut since) = (0, Instant::now());
    let mut stopped = false;
    while !progress.is_over() {
        sleep(LOOK);
        if stop.load(Ordering::Relaxed) && !stopped {
            progress.stop();
            stopped = true;
        }
        match progress.played() {
            now if now != played => (played, since) = (now, Instant::now()),
            // Nobody waits for a device that has gone once Ctrl-C was pressed.
            _ if stopped && since.elapsed() > DRAIN => break,
            _ if since.elapsed() > STALLED => {
                return Err(trouble(format!("the loudspeaker \"{}\" has stopped", playing.name)).into());
            }
            _ => {}
        }
    }
    sleep(DRAIN);
    if stopped {
        print::plain("Stopped.\n")?;
    }
    Ok(Ending::Done)
}
