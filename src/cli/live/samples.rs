//! The microphone as a queue of chunks for the command that listens, until somebody presses Enter.

use crate::cli::shared::failure;
use fingertape::capture::{self, CaptureError, Heard, Listening, Summary, Wish};
use fingertape::units::SampleRate;
use std::io::IsTerminal;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

/// What came from the microphone.
pub enum Live {
    /// The next samples.
    Samples(Vec<f32>),
    /// Something went wrong; [`CaptureError::listening_continues`] says whether more will come.
    Trouble(CaptureError),
    /// Nothing yet.
    Wait,
}

/// A microphone that is open. The worker of the capture room copies what it hears into the queue; the audio
/// callback before it keeps its own promise.
pub struct LiveSamples {
    listening: Listening,
    queue: Receiver<Result<Vec<f32>, CaptureError>>,
    enter: Arc<AtomicBool>,
}

impl LiveSamples {
    /// Opens the microphone of that name, or the system's choice.
    pub fn open(input: Option<&str>) -> miette::Result<Self> {
        let (send, queue) = channel();
        let wish = Wish { input: input.map(str::to_owned), rate: None };
        let listening = capture::listen(&wish, move |heard| {
            let message = match heard {
                Heard::Samples(samples) => Ok(samples.to_vec()),
                Heard::Trouble(error) => Err(error),
            };
            // At the very end nobody may be listening any more.
            let _ = send.send(message);
        })
        .map_err(failure::unusable_microphone)?;
        Ok(Self { listening, queue, enter: enter_pressed() })
    }

    /// Samples a second.
    pub fn rate(&self) -> SampleRate {
        self.listening.rate
    }

    /// The microphone's name.
    pub fn name(&self) -> &str {
        &self.listening.name
    }

    /// What comes next, after at most 50 ms.
    pub fn next(&self) -> Live {
        match self.queue.recv_timeout(Duration::from_millis(50)) {
            Ok(Ok(samples)) => Live::Samples(samples),
            Ok(Err(error)) => Live::Trouble(error),
            Err(RecvTimeoutError::Timeout) => Live::Wait,
            Err(RecvTimeoutError::Disconnected) => Live::Trouble(CaptureError::Stopped {
                why: "the recording part of the program failed".to_owned(),
            }),
        }
    }

    /// Whether there is somebody who can press Enter.
    pub fn can_be_stopped(&self) -> bool {
        std::io::stdin().is_terminal()
    }

    /// Whether somebody has pressed Enter.
    pub fn enter(&self) -> bool {
        self.enter.load(Ordering::Acquire)
    }

    /// Closes the microphone.
    pub fn stop(self) -> Summary {
        self.listening.stop()
    }
}

/// Becomes true when a line is typed; never where nobody can type.
fn enter_pressed() -> Arc<AtomicBool> {
    let pressed = Arc::new(AtomicBool::new(false));
    if std::io::stdin().is_terminal() {
        let set = Arc::clone(&pressed);
        // The thread waits for a key for as long as the program runs, and ends with it.
        std::thread::spawn(move || {
            let mut line = String::new();
            if std::io::stdin().read_line(&mut line).is_ok_and(|bytes| bytes > 0) {
                set.store(true, Ordering::Release);
            }
        });
    }
    pressed
}
